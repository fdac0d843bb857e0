package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"linepace.example/client"
	"linepace.example/client/report"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// checkFlags say what to check.
type checkFlags struct {
	server        serverFlags
	line, product string
	json          bool
}

func newCheck() *cobra.Command {
	f := &checkFlags{}
	c := &cobra.Command{
		Use:   "check --line FILE [--product FILE]",
		Short: "Check a line and a product, and print what each drive can do",
		Long: `Check the file of a line, and that of a product if one is given: every fault is
told with its line and column. Of a good line the speeds of each drive are
printed, what sets their limits, what one count is worth, and the pulses at the
ends.

` + exitHelp,
		Example: `  linepace check --line line.yaml --product product-b.yaml`,
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.run(c.Context(), c.InOrStdin(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f.server.add(c)
	c.Flags().StringVar(&f.line, "line", "", "`file` of the line")
	c.Flags().StringVar(&f.product, "product", "", "`file` of a product of the line")
	c.Flags().BoolVar(&f.json, "json", false, "print the answer as JSON")
	for _, name := range []string{"line", "product"} {
		must(c.MarkFlagFilename(name, "yaml", "yml", "json"))
	}
	must(c.MarkFlagRequired("line"))
	return c
}

func (f *checkFlags) run(ctx context.Context, stdin io.Reader, stdout, stderr io.Writer) error {
	req := &linepacev1.PlanRequest{Line: &linepacev1.Line{}}
	files := []planFile{{"line", f.line, req.Line}}
	if f.product != "" {
		req.Product = &linepacev1.Product{}
		files = append(files, planFile{"product", f.product, req.Product})
	}
	docs, err := readAll(&input{stdin: stdin}, files)
	if err != nil {
		return err
	}
	c, end, err := f.server.connect(stderr)
	if err != nil {
		return err
	}
	defer end()
	checked, err := f.check(ctx, c, req, docs)
	if err != nil {
		return err
	}
	if f.json {
		err = checked.printJSON(stdout)
	} else {
		err = checked.print(stdout, req)
	}
	if err != nil {
		return err
	}
	if checked.plan.GetVerdict() == linepacev1.Check_NOT_RUNNABLE {
		return &hintedError{&notGood{exitNotGood, "the line cannot run the product"}, "linepace plan prints what stands in the way"}
	}
	return nil
}

// checked is what a good line can do.
type checked struct {
	drives []*linepacev1.Drive
	scales []*linepacev1.ScaleResponse // nil where there is none
	why    []string                    // there is none
	plan   *linepacev1.PlanResponse    // of the product, or nil
}

// check has the whole line judged by a plan: of the product, or of one that leaves
// every drive as it is. Then it asks for the scale of each drive.
func (f *checkFlags) check(ctx context.Context, c *client.Client, req *linepacev1.PlanRequest, docs documents) (*checked, error) {
	given := req.GetProduct()
	if given == nil {
		req.Product = &linepacev1.Product{Id: "none", Demands: leaveAll(req.GetLine())}
	}
	plan, err := c.Plan(ctx, req)
	if err != nil {
		return nil, f.server.explain(placed(err, docs))
	}
	out := &checked{drives: req.GetLine().GetDrives()}
	if given != nil {
		out.plan = plan
	}
	for _, drive := range out.drives {
		scale, why, err := scaleOf(ctx, c, drive, req.GetLine(), given)
		if err != nil {
			return nil, f.server.explain(err)
		}
		out.scales, out.why = append(out.scales, scale), append(out.why, why)
	}
	return out, nil
}

func leaveAll(line *linepacev1.Line) []*linepacev1.Demand {
	var demands []*linepacev1.Demand
	for _, drive := range line.GetDrives() {
		demands = append(demands, &linepacev1.Demand{
			DriveId: drive.GetId(), Kind: &linepacev1.Demand_LeaveAsIs{LeaveAsIs: &linepacev1.LeaveAsIs{}},
		})
	}
	return demands
}

// scaleOf asks for the scale of a drive with the material that the product gives it
// and the section that it moves. Of a drive that has none, such as a mass register
// without a material, it tells why.
func scaleOf(ctx context.Context, c *client.Client, drive *linepacev1.Drive, line *linepacev1.Line, product *linepacev1.Product) (scale *linepacev1.ScaleResponse, why string, err error) {
	if drive.GetDelivery() == nil && len(drive.GetReferences()) == 0 {
		return nil, "neither a delivery nor a reference is described", nil
	}
	req := &linepacev1.ScaleRequest{Drive: drive, Material: materialOf(drive.GetId(), product)}
	for _, section := range line.GetSections() {
		if section.GetDriveId() == drive.GetId() && req.Section == nil {
			req.Section = section
		}
	}
	scale, err = c.Scale(ctx, req)
	if status.Code(err) != codes.InvalidArgument {
		return scale, "", err
	}
	var texts []string
	for _, v := range refusal.Violations(err) {
		texts = append(texts, v.Path+" "+v.Text)
	}
	return nil, strings.Join(texts, "; "), nil
}

func materialOf(driveID string, product *linepacev1.Product) *linepacev1.Material {
	id := ""
	for _, demand := range product.GetDemands() {
		if demand.GetDriveId() == driveID {
			id = demand.GetMaterialId()
		}
	}
	for _, blend := range product.GetBlends() {
		for _, component := range blend.GetComponents() {
			if component.GetDriveId() == driveID {
				id = component.GetMaterialId()
			}
		}
	}
	for _, material := range product.GetMaterials() {
		if id != "" && material.GetId() == id {
			return material
		}
	}
	return nil
}

func (k *checked) printJSON(stdout io.Writer) error {
	type driveJSON struct {
		DriveID string          `json:"driveId"`
		Scale   json.RawMessage `json:"scale,omitempty"`
		Why     string          `json:"noScale,omitempty"`
	}
	var out struct {
		Drives  []driveJSON `json:"drives"`
		Verdict string      `json:"verdict,omitempty"`
	}
	for i, drive := range k.drives {
		d := driveJSON{DriveID: drive.GetId(), Why: k.why[i]}
		if k.scales[i] != nil {
			text, err := codec.Append(nil, k.scales[i])
			if err != nil {
				return err
			}
			d.Scale = text
		}
		out.Drives = append(out.Drives, d)
	}
	if k.plan != nil {
		out.Verdict = k.plan.GetVerdict().String()
	}
	return json.NewEncoder(stdout).Encode(out)
}

func (k *checked) print(stdout io.Writer, req *linepacev1.PlanRequest) error {
	rows := []report.Row{{Label: "line", Text: fmt.Sprintf("%s: %d drives, in order", req.GetLine().GetId(), len(k.drives))}}
	if k.plan == nil {
		rows = append(rows, report.Row{Label: "product", Text: "none given: a screw counts as full, and no density is known"})
	} else {
		rows = append(rows, report.Row{Label: "product", Text: req.GetProduct().GetId() + ": " + strings.ReplaceAll(k.plan.GetVerdict().String(), "_", " ")})
	}
	if err := report.Block(stdout, "LINE CHECK", rows...); err != nil {
		return err
	}
	for i, drive := range k.drives {
		if err := report.Block(stdout, "", k.card(i, drive)...); err != nil {
			return err
		}
	}
	return nil
}

// card tells what one drive can do.
func (k *checked) card(i int, drive *linepacev1.Drive) []report.Row {
	title := drive.GetId()
	if drive.GetDescription() != "" {
		title += ": " + drive.GetDescription()
	}
	rows := []report.Row{{Mark: fmt.Sprint(i + 1), Text: title}}
	s := k.scales[i]
	if s == nil {
		return append(rows, report.Row{Label: "motor", Text: fmt.Sprintf("%s to %s r/min", report.Number(drive.GetMotor().GetMinRpm()), report.Number(drive.GetMotor().GetMaxRpm()))},
			report.Row{Label: "no scale", Text: k.why[i]})
	}
	rows = append(rows, report.ScaleRows(drive, s)...)
	return append(rows, report.CheckRows(s.GetChecks())...)
}
