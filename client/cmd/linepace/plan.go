package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"linepace.example/client/report"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// planFlags say what to plan and how to show it.
type planFlags struct {
	server                 *serverFlags
	line, product, running string
	working, json          bool
}

func newPlan(server *serverFlags) *cobra.Command {
	f := &planFlags{server: server}
	c := &cobra.Command{
		Use:   "plan --line FILE --product FILE [--running FILE]",
		Short: "Find every drive's setpoint for a product and print the changeover sheet",
		Long: `Find every drive's setpoint for a product and print the changeover sheet.

The files are YAML or JSON: the line as a message linepace.v1.Line, the products
as linepace.v1.Product. A file named - is standard input.

` + exitHelp,
		Example: `  linepace plan --line line.yaml --product product-b.yaml --running product-a.yaml`,
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.run(c.Context(), c.InOrStdin(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.line, "line", "", "`file` of the line")
	flags.StringVar(&f.product, "product", "", "`file` of the product to change to")
	flags.StringVar(&f.running, "running", "", "`file` of the product that runs now; then the sheet tells what changes")
	flags.BoolVar(&f.working, "working", false, "show how each number was found")
	flags.BoolVar(&f.json, "json", false, "print the answer as JSON instead of the sheet")
	for _, name := range []string{"line", "product", "running"} {
		must(c.MarkFlagFilename(name, "yaml", "yml", "json"))
	}
	must(c.MarkFlagRequired("line"))
	must(c.MarkFlagRequired("product"))
	return c
}

// must holds a flag's name in the code to one that exists.
func must(err error) {
	if err != nil {
		panic("linepace: internal error: " + err.Error())
	}
}

func (f *planFlags) run(ctx context.Context, stdin io.Reader, stdout, stderr io.Writer) error {
	req, err := f.request(stdin)
	if err != nil {
		return err
	}
	c, end, err := f.server.connect(stderr)
	if err != nil {
		return err
	}
	defer end()
	resp, err := c.Plan(ctx, req)
	if err != nil {
		return f.explain(err)
	}
	if err := f.print(stdout, req, resp); err != nil {
		return err
	}
	if resp.GetVerdict() == linepacev1.Check_NOT_RUNNABLE {
		return errNotRunnable
	}
	return nil
}

func (f *planFlags) request(stdin io.Reader) (*linepacev1.PlanRequest, error) {
	in := &input{stdin: stdin}
	req := &linepacev1.PlanRequest{
		Line: &linepacev1.Line{}, Product: &linepacev1.Product{}, IncludeWorking: f.working,
	}
	if err := in.read(f.line, req.Line); err != nil {
		return nil, err
	}
	if err := in.read(f.product, req.Product); err != nil {
		return nil, err
	}
	if f.running == "" {
		return req, nil
	}
	req.Running = &linepacev1.Product{}
	return req, in.read(f.running, req.Running)
}

// explain says in which file a path of the request is to be found.
func (f *planFlags) explain(err error) error {
	if status.Code(err) != codes.InvalidArgument {
		return f.server.explain(err)
	}
	hint := "line is " + f.line + ", product is " + f.product
	if f.running != "" {
		hint += ", running is " + f.running
	}
	return &hintedError{err, hint}
}

func (f *planFlags) print(stdout io.Writer, req *linepacev1.PlanRequest, resp *linepacev1.PlanResponse) error {
	if f.json {
		return printJSON(stdout, resp)
	}
	return report.Sheet(stdout, req, resp)
}

func printJSON(stdout io.Writer, m proto.Message) error {
	text, err := codec.Append(nil, m)
	if err != nil {
		return err
	}
	_, err = stdout.Write(append(text, '\n'))
	return err
}
