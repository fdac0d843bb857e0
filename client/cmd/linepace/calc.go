package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"linepace.example/client"
	"linepace.example/client/chart"
	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// calculations are the single calculations of the service, by the name of their
// command.
var calculations = []calculation{
	withObservations(of("assess", "Whether a drive still delivers what it did, by its readings over time", (*client.Client).Assess, report.Drift)),
	of("blend", "Speeds and counts of a blend, and the composition that the counts give", (*client.Client).Blend, report.Blend),
	of("draw", "Rolls that draw a material, following the leader or their neighbours", (*client.Client).Draw, report.Draw),
	of("gear", "The integers of an electronic gear, or change gears, and what they lose", (*client.Client).Gear, report.Gear),
	of("ramps", "A common ramp of drives, and what is made off ratio meanwhile", (*client.Client).Ramps, report.Ramps),
	of("scale", "What one turn of the motor delivers, and over which speeds", (*client.Client).Scale, report.Scale),
	of("setpoint", "The setpoint for a target, or what a count does", (*client.Client).Setpoint, report.Setpoint),
	of("catch", "What a pump or feeder gives, from a catch test", (*client.Client).Catch, report.Catch),
	of("lap", "A belt's speed, from the time of its laps or from a surface wheel", (*client.Client).Lap, report.Lap),
	of("check-reading", "What a tachometer should read, and what its reading proves of the drive", (*client.Client).CheckReading, report.CheckReading),
	of("diagnose", "The mistake that explains why a drive gives something else than was calculated", (*client.Client).Diagnose, report.Diagnosis),
	of("dose", "The equivalent time of a temperature profile at a reference", (*client.Client).Dose, report.Dose),
	of("dwell", "The speeds that give pieces a time in sections", (*client.Client).Dwell, report.Dwell),
	withState(of("track", "What new observations say of a drive, from the state that the last answer gave", (*client.Client).Track, report.Track)),
	withPicture(of("transition", "What a change of speed does to the pieces in a section", (*client.Client).Transition, report.Transition), report.TransitionPicture),
	of("window", "Range of total in which all drives of blends stay within their limits, and the trim", (*client.Client).Window, report.Window),
}

// calculation is one call of the service that is not about a whole plan.
type calculation struct {
	name, short string
	message     protoreflect.FullName // of the request
	request     func() proto.Message
	call        func(context.Context, *client.Client, proto.Message) (proto.Message, error)
	text        func(w io.Writer, req, resp proto.Message) error
	picture     func(w io.Writer, req, resp proto.Message) error // nil: there is none
	observed    bool                                             // by a series, which may come from a CSV file
	keyed       bool                                             // its answer holds a state that a key authenticates
}

// withObservations lets a calculation take its observations from a CSV file.
func withObservations(k calculation) calculation {
	k.observed = true
	return k
}

// withState lets a calculation name the key of the states that it takes and gives.
func withState(k calculation) calculation {
	k.keyed = true
	return k
}

// withPicture adds to a calculation the picture of its answer, which needs its pieces.
func withPicture[PtrReq, PtrResp proto.Message](k calculation, draw func(io.Writer, PtrReq, PtrResp) error) calculation {
	k.picture = func(w io.Writer, req, resp proto.Message) error { return draw(w, req.(PtrReq), resp.(PtrResp)) }
	return k
}

// of makes a calculation of a method of the client and the text of its answer.
func of[Req any, Resp proto.Message, PtrReq interface {
	*Req
	proto.Message
}](name, short string,
	call func(*client.Client, context.Context, PtrReq, ...grpc.CallOption) (Resp, error),
	text func(io.Writer, PtrReq, Resp) error,
) calculation {
	return calculation{
		name: name, short: short,
		message: PtrReq(new(Req)).ProtoReflect().Descriptor().FullName(),
		request: func() proto.Message { return PtrReq(new(Req)) },
		call: func(ctx context.Context, c *client.Client, req proto.Message) (proto.Message, error) {
			return call(c, ctx, req.(PtrReq))
		},
		text: func(w io.Writer, req, resp proto.Message) error { return text(w, req.(PtrReq), resp.(Resp)) },
	}
}

func newCalc() *cobra.Command {
	c := &cobra.Command{
		Use:   "calc CALCULATION FILE",
		Short: "Make a single calculation and print its answer",
		Long: `Make a single calculation of the service and print its answer.

The file is the request, in YAML or JSON. With --line the drives and sections of a
line are taken from its file, so that the request need not repeat them: for a
calculation on one drive name it with --drive.

` + exitHelp,
		Example: `  linepace calc scale --line line.yaml --drive takeaway
  linepace calc setpoint --line line.yaml --drive takeaway target.yaml
  linepace calc setpoint --working request.yaml`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			var names []string
			for _, k := range calculations {
				names = append(names, k.name)
			}
			return &hintedError{errors.New("which calculation is not said"), "there are " + strings.Join(names, ", ")}
		},
	}
	for i := range calculations {
		c.AddCommand(newCalculation(&calculations[i]))
	}
	return c
}

// calcFlags say what a calculation is made of and how to show it.
type calcFlags struct {
	*calculation
	server        serverFlags
	line, drive   string
	working, json bool
	drawing       string
	csv           csvFlags
	chart         string
	stateKey      string
}

func newCalculation(k *calculation) *cobra.Command {
	f := &calcFlags{calculation: k}
	c := &cobra.Command{
		Use:   k.name + " [FILE]",
		Short: k.short,
		Long: k.short + `.

The file is a message ` + string(k.message) + `, in YAML or JSON; - is standard
input. What --line and --drive take from the file of a line it may leave out.

` + exitHelp,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return f.run(c.Context(), args, c.InOrStdin(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f.server.add(c)
	c.Flags().StringVar(&f.line, "line", "", "`file` of the line whose drives and sections the request speaks of")
	c.Flags().StringVar(&f.drive, "drive", "", "`id` of the drive of the line, for a calculation on one drive")
	c.Flags().BoolVar(&f.working, "working", false, "show how each number was found")
	c.Flags().BoolVar(&f.json, "json", false, "print the answer as JSON")
	must(c.MarkFlagFilename("line", "yaml", "yml", "json"))
	if k.picture != nil {
		c.Flags().StringVar(&f.drawing, "picture", "", "new `file` that takes the picture of the answer, as SVG; the request asks for its pieces")
		must(c.MarkFlagFilename("picture", "svg"))
	}
	if k.keyed {
		c.Flags().StringVar(&f.stateKey, "state-key", "", "`file` of the key by which the service in this process authenticates states, as of a server")
		c.MarkFlagsMutuallyExclusive("state-key", "server")
	}
	if k.observed {
		f.csv.add(c)
		c.Flags().StringVar(&f.chart, "chart", "", "new `file` that takes the chart of the answer, .svg or .png")
		must(c.MarkFlagFilename("chart", "svg", "png"))
	}
	return c
}

func (f *calcFlags) run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) error {
	if _, known := chartFormats[filepath.Ext(f.chart)]; f.chart != "" && !known {
		return fmt.Errorf("--chart is %q; its name must end in .svg or .png, which says how it is drawn", f.chart)
	}
	req, docs, err := f.read(args, &input{stdin: stdin}, stderr)
	if err != nil {
		return err
	}
	if f.server.stateKey, err = readStateKey(f.stateKey); err != nil {
		return err
	}
	c, end, err := f.server.connect(stderr)
	if err != nil {
		return err
	}
	defer end()
	resp, err := f.ask(ctx, c, req)
	if err != nil {
		return f.server.explain(docs.place(err))
	}
	if f.drawing != "" {
		if err := f.draw(req, resp); err != nil {
			return err
		}
	}
	if f.chart != "" {
		if err := f.drawChart(req, resp); err != nil {
			return err
		}
	}
	if f.json {
		err = printJSON(stdout, resp)
	} else {
		err = f.text(stdout, req, resp)
	}
	if err != nil {
		return err
	}
	if v, ok := resp.(interface {
		GetVerdict() linepacev1.Check_Verdict
	}); ok && v.GetVerdict() == linepacev1.Check_NOT_RUNNABLE {
		return &notGood{exitNotGood, "the drives cannot run so: load nothing from this answer"}
	}
	return nil
}

// ask makes the calculation.
func (f *calcFlags) ask(ctx context.Context, c *client.Client, req proto.Message) (proto.Message, error) {
	if f.csv.file != "" {
		return f.csv.assess(ctx, c, req.(*linepacev1.AssessRequest))
	}
	return f.call(ctx, c, req)
}

// draw writes the picture of an answer.
func (f *calcFlags) draw(req, resp proto.Message) error {
	var svg bytes.Buffer
	if err := f.picture(&svg, req, resp); err != nil {
		return err
	}
	return writeNew(f.drawing, svg.Bytes(), 0o644)
}

var chartFormats = map[string]chart.Format{".svg": chart.SVG, ".png": chart.PNG}

// drawChart writes the chart of an answer.
func (f *calcFlags) drawChart(req, resp proto.Message) error {
	var drawn bytes.Buffer
	if err := chart.Drift(&drawn, chartFormats[filepath.Ext(f.chart)], req.(*linepacev1.AssessRequest), resp.(*linepacev1.AssessResponse)); err != nil {
		return err
	}
	return writeNew(f.chart, drawn.Bytes(), 0o644)
}

// read reads the request, and what it leaves out from the file of the line.
func (f *calcFlags) read(args []string, in *input, stderr io.Writer) (proto.Message, *sources, error) {
	req, docs := f.request(), &sources{taken: map[string]string{}}
	var all faultsError
	if len(args) == 1 {
		doc, err := in.read(args[0], req)
		docs.request = doc
		all.add(err)
	}
	line := &linepacev1.Line{}
	if f.line != "" {
		doc, err := in.read(f.line, line)
		docs.line = doc
		all.add(err)
	}
	switch {
	case len(all.faults) > 0:
		return nil, nil, &all
	case f.line == "" && f.drive != "":
		return nil, nil, &hintedError{errors.New("--drive names a drive of a line"), "give the file of the line by --line"}
	case f.observed && f.csv.file == "" && f.csv.given():
		return nil, nil, &hintedError{errors.New("columns are named, and no file that has them"), "give the file of the observations by --csv"}
	case f.line == "" && len(args) == 0:
		return nil, nil, &hintedError{errors.New("there is nothing to calculate"), "give the file of the request, or a line by --line"}
	}
	if err := f.takeLine(req.ProtoReflect(), line, docs); err != nil {
		return nil, nil, err
	}
	if f.csv.file != "" {
		if err := f.csv.read(in, req.(*linepacev1.AssessRequest), stderr); err != nil {
			return nil, nil, err
		}
		docs.observations = &f.csv
	}
	if working := req.ProtoReflect().Descriptor().Fields().ByName("include_working"); working != nil && f.working {
		req.ProtoReflect().Set(working, protoreflect.ValueOfBool(true))
	}
	if pieces := req.ProtoReflect().Descriptor().Fields().ByName("include_pieces"); pieces != nil && f.drawing != "" {
		req.ProtoReflect().Set(pieces, protoreflect.ValueOfBool(true))
	}
	return req, docs, nil
}

// takeLine gives the request what it leaves out of a line: its drives and sections,
// or one drive and the section that its readout speaks of.
func (f *calcFlags) takeLine(req protoreflect.Message, line *linepacev1.Line, docs *sources) error {
	whole := line.ProtoReflect()
	for _, list := range []string{"drives", "sections"} {
		if into := missing(req, list); into != nil && whole.Has(whole.Descriptor().Fields().ByName(into.Name())) {
			req.Set(into, whole.Get(whole.Descriptor().Fields().ByName(into.Name())))
			docs.taken[list] = list
		}
	}
	if f.drive == "" {
		return nil
	}
	drive := slices.IndexFunc(line.GetDrives(), func(d *linepacev1.Drive) bool { return d.GetId() == f.drive })
	if drive < 0 {
		return fmt.Errorf("%s has no drive %q", f.line, f.drive)
	}
	into := missing(req, "drive")
	if into == nil {
		return &hintedError{fmt.Errorf("--drive: %s takes no drive from the line, or its file gives one", f.name), "leave out --drive, or the drive in the file"}
	}
	req.Set(into, protoreflect.ValueOfMessage(line.GetDrives()[drive].ProtoReflect()))
	docs.taken["drive"] = fmt.Sprintf("drives[%d]", drive)
	if section := readoutSection(line, line.GetDrives()[drive]); section >= 0 {
		if into := missing(req, "section"); into != nil {
			req.Set(into, protoreflect.ValueOfMessage(line.GetSections()[section].ProtoReflect()))
			docs.taken["section"] = fmt.Sprintf("sections[%d]", section)
		}
	}
	return nil
}

// missing returns the field of a request that is not given, or nil where there is
// none of this name or it is given.
func missing(req protoreflect.Message, name string) protoreflect.FieldDescriptor {
	field := req.Descriptor().Fields().ByName(protoreflect.Name(name))
	if field == nil || req.Has(field) {
		return nil
	}
	return field
}

// readoutSection returns the place of the section that a drive's readout speaks of,
// or of the only one that the drive moves; -1 where there is none.
func readoutSection(line *linepacev1.Line, drive *linepacev1.Drive) int {
	found := -1
	for i, section := range line.GetSections() {
		switch {
		case section.GetDriveId() != drive.GetId():
		case section.GetId() == drive.GetReadout().GetSectionId():
			return i
		case found >= 0:
			return -1 // which one is not said
		default:
			found = i
		}
	}
	return found
}

// sources are the documents of a request, and which of its fields came from the line.
type sources struct {
	request, line *document
	taken         map[string]string // field of the request: where it stands in the line
	observations  *csvFlags         // nil: the request has its own
}

// place tells what a service refuses by its place in the documents. Other errors
// stay as they are.
func (s *sources) place(err error) error {
	var all faultsError
	for _, v := range refusal.Violations(err) {
		name := v.Path[:strings.IndexAny(v.Path+".", ".[")]
		if s.observations != nil && (name == "columns" || name == "observations") {
			all.faults = append(all.faults, s.observations.placed(v))
			continue
		}
		if at, ok := s.taken[name]; ok {
			all.faults = append(all.faults, s.line.placed(v, at+v.Path[len(name):]))
			continue
		}
		all.faults = append(all.faults, s.request.placed(v, v.Path))
	}
	if len(all.faults) == 0 {
		return err
	}
	return &all
}
