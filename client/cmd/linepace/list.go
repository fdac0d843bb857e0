package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"linepace.example/client/batchlog"
	"linepace.example/client/report"
)

// listFlags say what to list.
type listFlags struct {
	log, from, to string
	filter        batchlog.Filter
	json          bool
}

func newList() *cobra.Command {
	f := &listFlags{}
	c := &cobra.Command{
		Use:   "list --log FILE",
		Short: "List the entries of a batch log",
		Long: `List the entries of a batch log, in their order: those that meet every filter
that is given. With --json one object a line.

` + exitHelp,
		Example: `  linepace list --log line-2.db --batch B-2291`,
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.run(c.Context(), c.OutOrStdout())
		},
	}
	addLogFlag(c, &f.log, "`file` of the batch log")
	flags := c.Flags()
	flags.StringVar(&f.filter.Batch, "batch", "", "only this batch, by its `id`")
	flags.StringVar(&f.filter.Recipe, "recipe", "", "only this recipe, by its `id`")
	flags.StringVar(&f.filter.Product, "product", "", "only this product, by its `id`")
	flags.StringVar(&f.filter.Equipment, "equipment", "", "only this equipment, by its `id`")
	flags.StringVar(&f.filter.Drive, "drive", "", "only lines with this drive, by its `id`")
	flags.StringVar(&f.from, "from", "", "only what was asked for at this RFC 3339 `time` or later")
	flags.StringVar(&f.to, "to", "", "only what was asked for before this RFC 3339 `time`")
	flags.BoolVar(&f.json, "json", false, "print the entries as JSON, an object a line")
	return c
}

func (f *listFlags) run(ctx context.Context, stdout io.Writer) (err error) {
	if f.filter.From, err = readInstant("from", f.from); err != nil {
		return err
	}
	if f.filter.To, err = readInstant("to", f.to); err != nil {
		return err
	}
	log, err := openLog(ctx, f.log)
	if err != nil {
		return err
	}
	defer log.Close()
	if f.json {
		return f.printJSON(ctx, log, stdout)
	}
	return f.printTable(ctx, log, stdout)
}

// entryJSON is an entry as JSON.
type entryJSON struct {
	Index         int64     `json:"index"`
	Digest        string    `json:"digest"`
	RequestDigest string    `json:"requestDigest"`
	BatchID       string    `json:"batchId"`
	RecipeID      string    `json:"recipeId"`
	ProductID     string    `json:"productId"`
	EquipmentID   string    `json:"equipmentId"`
	RequestedAt   time.Time `json:"requestedAt"`
	DriveIDs      []string  `json:"driveIds"`
	ReplanOf      *int64    `json:"replanOf,omitempty"`
	Leaf          []byte    `json:"leaf,omitempty"` // exported, not listed
}

func newEntryJSON(e batchlog.Entry) entryJSON {
	return entryJSON{e.Index, e.Digest, e.RequestDigest, e.Batch, e.Recipe, e.Product, e.Equipment, e.RequestedAt, e.Drives, e.ReplanOf, nil}
}

func (f *listFlags) printJSON(ctx context.Context, log *batchlog.Log, stdout io.Writer) error {
	out := json.NewEncoder(stdout)
	for e, err := range log.Query(ctx, f.filter) {
		if err != nil {
			return explainLog(err)
		}
		if err := out.Encode(newEntryJSON(e)); err != nil {
			return err
		}
	}
	return nil
}

func (f *listFlags) printTable(ctx context.Context, log *batchlog.Log, stdout io.Writer) error {
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "entry\tasked at\tbatch\trecipe\tproduct\tequipment\tdigest\tre-plan of")
	for e, err := range log.Query(ctx, f.filter) {
		if err != nil {
			return explainLog(err)
		}
		replan := "-"
		if e.ReplanOf != nil {
			replan = fmt.Sprint("entry ", *e.ReplanOf)
		}
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%s\t%s\t%.12s\t%s\n", e.Index, e.RequestedAt.Format(time.RFC3339),
			cell(e.Batch), cell(e.Recipe), cell(e.Product), cell(e.Equipment), e.Digest, replan)
	}
	return w.Flush()
}

// cell makes a text harmless in a table.
func cell(s string) string {
	if s == "" {
		return "-"
	}
	return report.Clean(s)
}
