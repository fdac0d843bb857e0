package main

import (
	"context"
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

func newExport() *cobra.Command {
	path, to, leaf := "", "", false
	c := &cobra.Command{
		Use:   "export --log FILE ENTRY",
		Short: "Write the record of an entry, to be verified elsewhere",
		Long: `Write the record of an entry as JSON, or its leaf as it stands in the log: the
detached signature, a newline and the payload, byte for byte. verify takes both,
and needs neither the log nor a server.

` + exitHelp,
		Example: `  linepace export --log line-2.db 17 -o entry-17.json`,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			rec, _, err := readEntry(c.Context(), path, args[0])
			if err != nil {
				return err
			}
			return export(rec, leaf, to, c.OutOrStdout())
		},
	}
	addLogFlag(c, &path, "`file` of the batch log")
	c.Flags().BoolVar(&leaf, "leaf", false, "write the leaf instead of JSON")
	c.Flags().StringVarP(&to, "output", "o", "", "new `file` to write instead of standard output")
	return c
}

// readEntry reads an entry, counted from 0, of a log.
func readEntry(ctx context.Context, path, number string) (*linepacev1.Record, int64, error) {
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil || n < 0 {
		return nil, 0, fmt.Errorf("entry %q; it must be a number, counted from 0, as linepace list shows it", number)
	}
	log, err := openLog(ctx, path)
	if err != nil {
		return nil, 0, err
	}
	defer log.Close()
	rec, err := log.Get(ctx, n)
	return rec, n, explainLog(err)
}

func export(rec *linepacev1.Record, leaf bool, to string, stdout io.Writer) error {
	switch {
	case leaf && to != "":
		return writeNew(to, record.Leaf(rec.GetJws(), rec.GetPayload()), 0o666)
	case leaf:
		_, err := stdout.Write(record.Leaf(rec.GetJws(), rec.GetPayload()))
		return err
	case to != "":
		return writeRecord(to, rec)
	}
	return printJSON(stdout, rec)
}
