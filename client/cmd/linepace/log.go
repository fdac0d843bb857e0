package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"linepace.example/client/batchlog"
	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
)

func newLog() *cobra.Command {
	path, asJSON := "", false
	c := &cobra.Command{
		Use:   "log --log FILE RECORD...",
		Short: "Append records to a batch log",
		Long: `Append records to a batch log, which is made where there is none.

A record is a file that plan --record or export wrote. All are read before the
first is appended. A record that is in the log already is said so and not written
again. With --json one object a line.

` + exitHelp,
		Example: `  linepace log --log line-2.db record.json`,
		Args:    cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return appendFiles(c.Context(), path, &input{stdin: c.InOrStdin()}, args, asJSON, c.OutOrStdout())
		},
	}
	addLogFlag(c, &path, "`file` of the batch log")
	c.Flags().BoolVar(&asJSON, "json", false, "print where the records stand as JSON, an object a line")
	return c
}

func appendFiles(ctx context.Context, path string, in *input, files []string, asJSON bool, stdout io.Writer) error {
	records := make([]*linepacev1.Record, len(files))
	for i, file := range files {
		var err error
		if records[i], err = readRecord(in, file); err != nil {
			return err
		}
	}
	results, failed := appendAll(ctx, path, records)
	for i, r := range results {
		l := newLogged(files[i], records[i].GetDigest(), r)
		if err := printLogged(stdout, l, asJSON); err != nil {
			return err
		}
	}
	if failed != nil && len(records) > 1 {
		return fmt.Errorf("%s: %w", files[len(results)], failed)
	}
	return failed
}

func printLogged(stdout io.Writer, l logged, asJSON bool) error {
	if asJSON {
		return json.NewEncoder(stdout).Encode(l)
	}
	_, err := fmt.Fprintln(stdout, report.Clean(l.File+": "+l.String()))
	return err
}

// appendAll appends records in their order, and returns where those stand that
// were appended before an error.
func appendAll(ctx context.Context, path string, records []*linepacev1.Record) (results []batchlog.Result, err error) {
	log, err := batchlog.Open(ctx, path, batchlog.Options{})
	if err != nil {
		return nil, explainLog(err)
	}
	for _, rec := range records {
		r, err := log.Append(ctx, rec)
		if err != nil {
			log.Close()
			return results, explainLog(err)
		}
		results = append(results, r)
	}
	return results, log.Close()
}
