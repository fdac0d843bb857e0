package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"linepace.example/client"
	"linepace.example/client/report"
	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// commissionFlags say of which drives to print the commissioning sheet.
type commissionFlags struct {
	server        serverFlags
	line, product string
	drives        []string
	json          bool
}

func newCommission() *cobra.Command {
	f := &commissionFlags{}
	c := &cobra.Command{
		Use:   "commission --line FILE [--product FILE] [--drive ID]",
		Short: "Print the sheet on which each drive's speeds are tried and noted",
		Long: `Print the commissioning sheet of a line: for each drive a low, a set and a high
point, what to expect there on shaft, delivery, readout and sensor and between which
limits the drive's regulation keeps it, with room for what is found and what is left,
and the same speed in every unit that the line uses.

The set point is that of the product; without one, and where the product gives none, it
is the middle of what the drive can run.

` + exitHelp,
		Example: `  linepace commission --line line.yaml --product product-b.yaml
  linepace commission --line line.yaml --drive takeaway`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.run(c.Context(), c.InOrStdin(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f.server.add(c)
	c.Flags().StringVar(&f.line, "line", "", "`file` of the line")
	c.Flags().StringVar(&f.product, "product", "", "`file` of a product of the line")
	c.Flags().StringSliceVar(&f.drives, "drive", nil, "`id` of a drive; several are given one by one; without it all drives of the line")
	c.Flags().BoolVar(&f.json, "json", false, "print the answers as JSON")
	for _, name := range []string{"line", "product"} {
		must(c.MarkFlagFilename(name, "yaml", "yml", "json"))
	}
	must(c.MarkFlagRequired("line"))
	return c
}

func (f *commissionFlags) run(ctx context.Context, stdin io.Reader, stdout, stderr io.Writer) error {
	t := &trial{flags: f, line: &linepacev1.Line{}}
	files := []planFile{{"line", f.line, t.line}}
	if f.product != "" {
		t.product = &linepacev1.Product{}
		files = append(files, planFile{"product", f.product, t.product})
	}
	docs, err := readAll(&input{stdin: stdin}, files)
	if err != nil {
		return err
	}
	var end func()
	if t.client, end, err = f.server.connect(stderr); err != nil {
		return err
	}
	defer end()
	drives, err := t.run(ctx, docs)
	if err != nil {
		return f.server.explain(err)
	}
	if f.json {
		return printTrials(stdout, drives)
	}
	return report.CommissioningSheet(stdout, t.line, t.product, drives)
}

// trial asks the service for all that a commissioning sheet says.
type trial struct {
	flags   *commissionFlags
	client  *client.Client
	line    *linepacev1.Line
	product *linepacev1.Product // nil: none
	plan    map[string]*linepacev1.Setpoint
}

// run has the whole line judged by a plan, and then tries its drives.
func (t *trial) run(ctx context.Context, docs documents) ([]report.CommissioningDrive, error) {
	req := &linepacev1.PlanRequest{Line: t.line, Product: t.product}
	if t.product == nil {
		req.Product = &linepacev1.Product{Id: "none", Demands: leaveAll(t.line)}
	}
	plan, err := t.client.Plan(ctx, req)
	if err != nil {
		return nil, placed(err, docs)
	}
	t.plan = map[string]*linepacev1.Setpoint{}
	for _, p := range plan.GetSetpoints() {
		t.plan[p.GetDriveId()] = p
	}
	for _, id := range t.flags.drives {
		if _, ok := t.plan[id]; !ok {
			return nil, fmt.Errorf("%s has no drive %q", t.flags.line, id)
		}
	}
	var out []report.CommissioningDrive
	for _, drive := range t.line.GetDrives() {
		if len(t.flags.drives) > 0 && !slices.Contains(t.flags.drives, drive.GetId()) {
			continue
		}
		d, err := t.drive(ctx, drive)
		if err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, nil
}

func (t *trial) drive(ctx context.Context, drive *linepacev1.Drive) (report.CommissioningDrive, error) {
	out := report.CommissioningDrive{Drive: drive}
	var err error
	if out.Scale, out.Why, err = scaleOf(ctx, t.client, drive, t.line, t.product); err != nil {
		return out, err
	}
	asked := &linepacev1.SetpointRequest{Drive: drive, Material: materialOf(drive.GetId(), t.product)}
	if section := readoutSection(t.line, drive); section >= 0 {
		asked.Section = t.line.GetSections()[section]
	}
	low, high, err := t.ends(ctx, asked, out.Scale)
	if err != nil {
		return out, err
	}
	if asked.Units, err = t.units(ctx, asked, low); err != nil {
		return out, err
	}
	for _, point := range []struct {
		name string
		from from
	}{{"low", low}, {"set", t.set(drive, low, high)}, {"high", high}} {
		p := report.CommissioningPoint{Name: point.name}
		if p.Answer, err = t.ask(ctx, asked, point.from); err != nil {
			return out, err
		}
		out.Points = append(out.Points, p)
	}
	return out, nil
}

// from is where a setpoint is reckoned from: a number that is loaded, or a speed of
// the motor in r/min where the register takes no steps or none is described.
type from struct {
	count *int32
	rpm   float64
}

func (t *trial) ask(ctx context.Context, asked *linepacev1.SetpointRequest, at from) (*linepacev1.SetpointResponse, error) {
	req := &linepacev1.SetpointRequest{Drive: asked.GetDrive(), Material: asked.GetMaterial(), Section: asked.GetSection(), Units: asked.GetUnits()}
	req.From = &linepacev1.SetpointRequest_Target{Target: &linepacev1.Quantity{Value: at.rpm, Unit: "r/min"}}
	if at.count != nil {
		req.From = &linepacev1.SetpointRequest_Count{Count: *at.count}
	}
	return t.client.Setpoint(ctx, req)
}

// ends returns the lowest and the highest point that the drive can run.
func (t *trial) ends(ctx context.Context, asked *linepacev1.SetpointRequest, scale *linepacev1.ScaleResponse) (low, high from, err error) {
	switch {
	case scale != nil && scale.CountAtMin != nil:
		return from{count: scale.CountAtMin}, from{count: scale.CountAtMax}, nil
	case scale != nil:
		return from{rpm: notZero(scale.GetEffectiveMinRpm(), scale.GetEffectiveMaxRpm())}, from{rpm: scale.GetEffectiveMaxRpm()}, nil
	}
	motor := asked.GetDrive().GetMotor()
	if low, err = t.nearest(ctx, asked, notZero(motor.GetMinRpm(), motor.GetMaxRpm())); err != nil {
		return low, high, err
	}
	high, err = t.nearest(ctx, asked, motor.GetMaxRpm())
	return low, high, err
}

// notZero returns the lowest speed at which to try a drive: a tenth of its highest
// where it may turn as slowly as one likes, since a stand tells nothing.
func notZero(lowest, highest float64) float64 {
	if lowest == 0 {
		return highest / 10
	}
	return lowest
}

// nearest returns the point at a motor speed, or the nearest that the drive can run.
func (t *trial) nearest(ctx context.Context, asked *linepacev1.SetpointRequest, rpm float64) (from, error) {
	resp, err := t.ask(ctx, asked, from{rpm: rpm})
	if err != nil {
		return from{}, err
	}
	for _, check := range resp.GetChecks() {
		switch {
		case check.GetFit() != nil:
			return from{rpm: check.GetFit().GetValue()}, nil
		case check.GetCode() == linepacev1.Check_COUNT_PAST_MOTOR_LIMIT:
			return t.beside(ctx, asked, resp.GetSetpoint().GetCount())
		}
	}
	return from{rpm: rpm}, nil
}

// beside returns the count next to one that is just out of range.
func (t *trial) beside(ctx context.Context, asked *linepacev1.SetpointRequest, count int32) (from, error) {
	for _, next := range []int32{count + 1, count - 1} {
		resp, err := t.ask(ctx, asked, from{count: &next})
		if err != nil {
			return from{}, err
		}
		if resp.GetVerdict() != linepacev1.Check_NOT_RUNNABLE {
			return from{count: &next}, nil
		}
	}
	return from{count: &count}, nil
}

// set returns the point of the product, else the middle.
func (t *trial) set(drive *linepacev1.Drive, low, high from) from {
	p := t.plan[drive.GetId()]
	switch {
	case p.GetAction() == linepacev1.Setpoint_RUN && p.Count != nil:
		return from{count: p.Count}
	case p.GetAction() == linepacev1.Setpoint_RUN && p.AchievedRpm != nil:
		return from{rpm: p.GetAchievedRpm()}
	case low.count != nil && high.count != nil:
		middle := int32((int64(*low.count) + int64(*high.count)) / 2)
		return from{count: &middle}
	}
	return from{rpm: (low.rpm + high.rpm) / 2}
}

// commonUnits are those in which speeds are commonly told, whatever the line uses.
var commonUnits = []string{"m/min", "ft/min", "mm/s", "L/min", "L/h", "gal_us/min", "kg/h", "lb/h", "pc/min", "pc/h", "min", "s"}

// units returns those of the line's and the common units that the drive can be told
// in: the service refuses the others by their place.
func (t *trial) units(ctx context.Context, asked *linepacev1.SetpointRequest, at from) ([]string, error) {
	all := t.lineUnits()
	req := &linepacev1.SetpointRequest{Drive: asked.GetDrive(), Material: asked.GetMaterial(), Section: asked.GetSection(), Units: all}
	_, err := t.ask(ctx, req, at)
	refused := map[string]bool{}
	for _, v := range refusal.Violations(err) {
		refused[v.Path] = true
	}
	if err != nil && len(refused) == 0 {
		return nil, err
	}
	var out []string
	for i, unit := range all {
		if !refused[fmt.Sprintf("units[%d]", i)] {
			out = append(out, unit)
		}
	}
	return out, nil
}

// lineUnits lists the units of the line's readouts, registers and references, and then
// the common ones, each once and no more than a request takes.
func (t *trial) lineUnits() []string {
	var out []string
	add := func(unit string) {
		if unit != "" && unit != "r/min" && !slices.Contains(out, unit) {
			out = append(out, unit)
		}
	}
	for _, drive := range t.line.GetDrives() {
		add(drive.GetReadout().GetUnit())
		for _, point := range drive.GetRegister().GetSpan() {
			add(point.GetValue().GetUnit())
		}
		for _, reference := range drive.GetReferences() {
			add(reference.GetValue().GetUnit())
		}
	}
	const most = 64
	out = out[:min(len(out), most-len(commonUnits))]
	for _, unit := range commonUnits {
		add(unit)
	}
	return out
}

func printTrials(stdout io.Writer, drives []report.CommissioningDrive) error {
	type pointJSON struct {
		Point  string          `json:"point"`
		Answer json.RawMessage `json:"answer"`
	}
	type driveJSON struct {
		DriveID string      `json:"driveId"`
		Points  []pointJSON `json:"points"`
	}
	var out struct {
		Drives []driveJSON `json:"drives"`
	}
	for i := range drives {
		d := driveJSON{DriveID: drives[i].Drive.GetId()}
		for _, point := range drives[i].Points {
			text, err := codec.Append(nil, point.Answer)
			if err != nil {
				return err
			}
			d.Points = append(d.Points, pointJSON{point.Name, text})
		}
		out.Drives = append(out.Drives, d)
	}
	return json.NewEncoder(stdout).Encode(out)
}
