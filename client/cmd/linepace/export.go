package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"linepace.example/client/batchlog"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// exportFlags say what of an entry to write, and where.
type exportFlags struct {
	log, to    string
	leaf, json bool
}

func newExport() *cobra.Command {
	f := &exportFlags{}
	c := &cobra.Command{
		Use:   "export --log FILE ENTRY",
		Short: "Write the record of an entry, to be verified elsewhere",
		Long: `Write the record of an entry as JSON, or its leaf as it stands in the log: the
detached signature, a newline and the payload, byte for byte. verify takes both,
and needs neither the log nor a server.

With --json the whole entry is written as JSON, in the form in which list --json
lists it and with its leaf in base64: what the log holds of it, index and all.

` + exitHelp,
		Example: `  linepace export --log line-2.db 17 -o entry-17.json`,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return f.run(c.Context(), args[0], c.OutOrStdout())
		},
	}
	addLogFlag(c, &f.log, "`file` of the batch log")
	c.Flags().BoolVar(&f.leaf, "leaf", false, "write the leaf instead of the record")
	c.Flags().BoolVar(&f.json, "json", false, "write the entry with its leaf, digests and index as JSON")
	c.Flags().StringVarP(&f.to, "output", "o", "", "new `file` to write instead of standard output")
	c.MarkFlagsMutuallyExclusive("leaf", "json")
	return c
}

func (f *exportFlags) run(ctx context.Context, number string, stdout io.Writer) error {
	log, n, err := openEntry(ctx, f.log, number)
	if err != nil {
		return err
	}
	defer log.Close()
	rec, err := log.Get(ctx, n)
	if err != nil {
		return explainLog(err)
	}
	var text bytes.Buffer
	switch {
	case f.leaf:
		text.Write(record.Leaf(rec.GetJws(), rec.GetPayload()))
	case f.json:
		err = printEntry(ctx, &text, log, n, rec)
	default:
		err = printJSON(&text, rec)
	}
	if err != nil {
		return err
	}
	if f.to != "" {
		return writeNew(f.to, text.Bytes(), 0o666)
	}
	_, err = stdout.Write(text.Bytes())
	return err
}

// openEntry opens a log, and reads the number of an entry, counted from 0.
func openEntry(ctx context.Context, path, number string) (*batchlog.Log, int64, error) {
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil || n < 0 {
		return nil, 0, fmt.Errorf("entry %q; it must be a number, counted from 0, as linepace list shows it", number)
	}
	log, err := openLog(ctx, path)
	return log, n, err
}

// printEntry prints an entry with its leaf as JSON.
func printEntry(ctx context.Context, w io.Writer, log *batchlog.Log, n int64, rec *linepacev1.Record) error {
	found, err := log.Entry(ctx, n)
	if err != nil {
		return explainLog(err)
	}
	entry := newEntryJSON(found)
	entry.Leaf = record.Leaf(rec.GetJws(), rec.GetPayload())
	return json.NewEncoder(w).Encode(entry)
}
