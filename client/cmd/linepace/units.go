package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	linepacev1 "linepace.example/proto/linepace/v1"
)

func newUnits() *cobra.Command {
	server, json := &serverFlags{}, false
	c := &cobra.Command{
		Use:   "units",
		Short: "List the units that quantities may have",
		Long:  "List the units that quantities may have. Products, quotients and powers of the\nsymbols are taken too.\n\n" + exitHelp,
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return listUnits(c.Context(), server, json, c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	server.add(c)
	c.Flags().BoolVar(&json, "json", false, "print the list as JSON")
	return c
}

func listUnits(ctx context.Context, server *serverFlags, json bool, stdout, stderr io.Writer) error {
	c, end, err := server.connect(stderr)
	if err != nil {
		return err
	}
	defer end()
	list, err := c.List(ctx, &linepacev1.ListRequest{})
	if err != nil {
		return server.explain(err)
	}
	if json {
		return printJSON(stdout, list)
	}
	w := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "symbol\tname\tquantity\tfactor\tbase unit\tUCUM\tRec 20")
	for _, u := range list.GetUnits() {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n",
			u.GetSymbol(), u.GetName(), u.GetQuantity(), u.GetFactor(), u.GetBaseUnit(), u.GetUcumCode(), u.GetUneceCode())
	}
	return w.Flush()
}
