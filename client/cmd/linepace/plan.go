package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"linepace.example/client/report"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// planFlags say what to plan, how to show it and where to keep it.
type planFlags struct {
	server                 serverFlags
	batch                  batchFlags
	line, product, running string
	transitions            string
	working, json          bool
	signingKey             string
	record, log            string
}

func newPlan() *cobra.Command {
	f := &planFlags{}
	c := &cobra.Command{
		Use:   "plan --line FILE --product FILE [--running FILE]",
		Short: "Find every drive's setpoint for a product and print the changeover sheet",
		Long: `Find every drive's setpoint for a product and print the changeover sheet.

The files are YAML or JSON: the line as a message linepace.v1.Line, the products
as linepace.v1.Product. A file named - is standard input. The file of --transitions
holds the field transitions of a linepace.v1.PlanRequest, which tells how pieces come
through the change of a belt's speed.

With --record or --log the plan is kept as a record, which anyone can compute
again. The record is on the disk before the sheet is printed. A record tells when
it was asked for, so it needs --at. The server signs it by its key; the service in
this process by that of --signing-key, or not at all. With --log and --json a
second line tells where the record stands in the log.

` + exitHelp,
		Example: `  linepace plan --line line.yaml --product product-b.yaml --running product-a.yaml
  linepace plan --line line.yaml --product product-b.yaml --batch B-2291 --by "shift 2" --at now --log line-2.db`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.run(c.Context(), c.InOrStdin(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f.server.add(c)
	flags := c.Flags()
	flags.StringVar(&f.line, "line", "", "`file` of the line")
	flags.StringVar(&f.product, "product", "", "`file` of the product to change to")
	flags.StringVar(&f.running, "running", "", "`file` of the product that runs now; then the sheet tells what changes")
	flags.StringVar(&f.transitions, "transitions", "", "`file` of the transitions to be found; needs --running")
	f.batch.add(c)
	flags.BoolVar(&f.working, "working", false, "show how each number was found")
	flags.BoolVar(&f.json, "json", false, "print the answer as JSON instead of the sheet")
	flags.StringVar(&f.record, "record", "", "new `file` that takes the record of the plan, as JSON")
	flags.StringVar(&f.log, "log", "", "`file` of the batch log that takes the record of the plan; made where there is none")
	flags.StringVar(&f.signingKey, "signing-key", "", "`file` of the key by which the service in this process signs records")
	c.MarkFlagsMutuallyExclusive("signing-key", "server")
	for _, name := range []string{"line", "product", "running", "transitions"} {
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
	req, docs, err := f.request(stdin)
	if err != nil {
		return err
	}
	if f.server.signer, err = readSigner(f.signingKey); err != nil {
		return err
	}
	c, end, err := f.server.connect(stderr)
	if err != nil {
		return err
	}
	defer end()
	resp, err := c.Plan(ctx, req)
	if err != nil {
		return f.server.explain(placed(err, docs))
	}
	var rows []report.Row
	var entry *logged
	if f.keeps() { // before anything is printed, so that no sheet goes out without it
		if rows, entry, err = f.keep(ctx, resp.GetRecord()); err != nil {
			return err
		}
	}
	if err := f.print(stdout, req, resp, rows, entry); err != nil {
		return err
	}
	if resp.GetVerdict() == linepacev1.Check_NOT_RUNNABLE {
		return &notGood{exitNotGood, "the plan is not runnable: load nothing from it"}
	}
	return nil
}

func (f *planFlags) request(stdin io.Reader) (*linepacev1.PlanRequest, documents, error) {
	req := &linepacev1.PlanRequest{
		Line: &linepacev1.Line{}, Product: &linepacev1.Product{}, Batch: f.batch.message(),
		IncludeWorking: f.working, IncludeRecord: f.keeps(),
	}
	if f.keeps() && req.GetBatch().GetRequestedAt() == "" {
		return nil, nil, &hintedError{errors.New("a record tells when its plan was asked for: give --at"), "--at now takes this computer's clock"}
	}
	files := []planFile{{"line", f.line, req.Line}, {"product", f.product, req.Product}}
	if f.running != "" {
		req.Running = &linepacev1.Product{}
		files = append(files, planFile{"running", f.running, req.Running})
	}
	more := &linepacev1.PlanRequest{}
	if f.transitions != "" {
		files = append(files, planFile{"transitions", f.transitions, more})
	}
	docs, err := readAll(&input{stdin: stdin}, files)
	if req.Transitions = more.GetTransitions(); err == nil && !proto.Equal(more, &linepacev1.PlanRequest{Transitions: req.Transitions}) {
		err = fmt.Errorf("%s holds more than transitions", f.transitions)
	}
	return req, docs, err
}

// planFile is a file that goes into a request.
type planFile struct {
	field, path string
	into        proto.Message
}

// documents are those of a request, by its fields.
type documents map[string]*document

// readAll reads files, and tells what is wrong in all of them.
func readAll(in *input, files []planFile) (documents, error) {
	docs := documents{}
	var all faultsError
	for _, file := range files {
		doc, err := in.read(file.path, file.into)
		docs[file.field] = doc
		all.add(err)
	}
	if len(all.faults) > 0 {
		return nil, &all
	}
	return docs, nil
}

// placed tells what a service refuses by its place in the documents. Other errors
// stay as they are.
func placed(err error, docs documents) error {
	var all faultsError
	for _, v := range refusal.Violations(err) {
		first, path, _ := strings.Cut(v.Path, ".")
		if strings.HasPrefix(first, "transitions[") {
			first, path = "transitions", v.Path // the file has the list itself
		}
		all.faults = append(all.faults, docs[first].placed(v, path))
	}
	if len(all.faults) == 0 {
		return err
	}
	return &all
}

// keeps reports whether the plan is to be kept as a record.
func (f *planFlags) keeps() bool { return f.record != "" || f.log != "" }

// keep writes the record of a plan where it is to be kept, and tells where.
func (f *planFlags) keep(ctx context.Context, rec *linepacev1.Record) (rows []report.Row, entry *logged, err error) {
	if rec == nil {
		return nil, nil, &notGood{exitUnreachable, "the server made no record of the plan"}
	}
	rows = recordRows(rec.GetDigest(), judge(rec, nil).by)
	if f.record != "" {
		if err := writeRecord(f.record, rec); err != nil {
			return nil, nil, err
		}
		rows = append(rows, report.Row{Label: "record", Text: "in " + f.record})
	}
	if f.log != "" {
		results, err := appendAll(ctx, f.log, []*linepacev1.Record{rec})
		if err != nil {
			return nil, nil, err
		}
		l := newLogged("", rec.GetDigest(), results[0])
		entry = &l
		rows = append(rows, report.Row{Label: "log", Text: f.log + ": " + l.String()})
	}
	return rows, entry, nil
}

func (f *planFlags) print(stdout io.Writer, req *linepacev1.PlanRequest, resp *linepacev1.PlanResponse, rows []report.Row, entry *logged) error {
	if f.json {
		if err := printJSON(stdout, resp); err != nil || entry == nil {
			return err
		}
		return json.NewEncoder(stdout).Encode(entry)
	}
	if err := report.Sheet(stdout, req, resp); err != nil || len(rows) == 0 {
		return err
	}
	return report.Block(stdout, "RECORD", rows...)
}

func printJSON(stdout io.Writer, m proto.Message) error {
	text, err := codec.Append(nil, m)
	if err != nil {
		return err
	}
	_, err = stdout.Write(append(text, '\n'))
	return err
}
