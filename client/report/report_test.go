package report_test

import (
	"bytes"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"buf.build/go/protoyaml"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
)

var update = flag.Bool("update", false, "write the sheets in testdata anew")

func read(t *testing.T, path string, m proto.Message) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, protoyaml.UnmarshalOptions{Path: path}.Unmarshal(text, m))
}

func sheet(t *testing.T, req *linepacev1.PlanRequest, resp *linepacev1.PlanResponse) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.Sheet(&out, req, resp))
	return out.String()
}

func TestSheet(t *testing.T) {
	for _, name := range []string{"runnable", "warnings", "not-runnable"} {
		t.Run(name, func(t *testing.T) {
			base := filepath.Join("testdata", name)
			req, resp := &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{}
			read(t, base+".request.yaml", req)
			read(t, base+".response.yaml", resp)
			got := sheet(t, req, resp)
			if *update {
				require.NoError(t, os.WriteFile(base+".txt", []byte(got), 0o644))
			}
			want, err := os.ReadFile(base + ".txt")
			require.NoError(t, err)
			require.Equal(t, string(want), got)
			requirePrintable(t, got)
		})
	}
}

// requirePrintable checks what a terminal and a printer need of every sheet.
func requirePrintable(t *testing.T, sheet string) {
	t.Helper()
	for line := range strings.Lines(sheet) {
		line = strings.TrimSuffix(line, "\n")
		require.LessOrEqual(t, len([]rune(line)), 100, "%q", line)
		require.Equal(t, strings.TrimRight(line, " "), line, "trailing blanks")
		for _, r := range line {
			require.True(t, unicode.IsPrint(r), "%q in %q", r, line)
		}
	}
}

// The cautions do not depend on what is in the plan.
func TestCautionsOnEverySheet(t *testing.T) {
	for verdict := range linepacev1.Check_Verdict_name {
		got := sheet(t, &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{Verdict: linepacev1.Check_Verdict(verdict)})
		for _, caution := range []string{
			"can start without warning", "lock it out before you touch a shaft", "tachometer at low speed before product",
			"Local codes and licensed practice decide", "commands no machine",
		} {
			require.Contains(t, got, caution)
		}
	}
}

// Only a plan that says so may be loaded: no verdict, or one of a later version,
// is not a yes.
func TestVerdictThatIsNotAYes(t *testing.T) {
	for _, verdict := range []linepacev1.Check_Verdict{
		linepacev1.Check_VERDICT_UNSPECIFIED, linepacev1.Check_NOT_RUNNABLE, 17,
	} {
		got := sheet(t, &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{
			Verdict: verdict,
			Setpoints: []*linepacev1.Setpoint{
				{DriveId: "kiln", Action: linepacev1.Setpoint_RUN, Tag: "KILN_SP", Count: proto.Int32(13824)},
				{DriveId: "fan", Action: linepacev1.Setpoint_STOP, Tag: "FAN_SP", Count: proto.Int32(0)},
			},
		})
		require.Contains(t, got, "Load nothing from this sheet", "verdict %v", verdict)
		require.NotContains(t, got, "into KILN_SP", "verdict %v", verdict)
		require.NotContains(t, got, "into FAN_SP", "verdict %v", verdict)
		require.NotRegexp(t, `(kiln|fan) +(run|stop)`, got, "verdict %v", verdict)
	}
}

// What comes from outside cannot move the cursor or turn the writing around,
// wherever it stands.
func TestTextFromOutsideIsHarmless(t *testing.T) {
	const bad = "\x1b[2J\x00\x07\r\n\t\u202e\u2028\u009b"
	q := &linepacev1.Quantity{Value: 1, Unit: bad}
	req := &linepacev1.PlanRequest{
		Line: &linepacev1.Line{Id: bad, Description: bad, Drives: []*linepacev1.Drive{{
			Id: bad, Description: bad, Sensors: []*linepacev1.Sensor{{Id: bad, ClosesLoop: true}},
		}}},
		Product: &linepacev1.Product{
			Id: bad, Description: bad,
			Demands: []*linepacev1.Demand{{DriveId: bad, Kind: &linepacev1.Demand_Ratio{Ratio: &linepacev1.Ratio{LeaderId: bad}}}},
			Blends:  []*linepacev1.Blend{{Id: bad, Total: q}},
		},
		Running: &linepacev1.Product{Id: bad, Description: bad},
		Batch: &linepacev1.Batch{
			BatchId: bad, RecipeId: bad, EquipmentId: bad, RequestedBy: bad, Reason: bad, RequestedAt: bad,
		},
	}
	resp := &linepacev1.PlanResponse{
		Verdict: linepacev1.Check_RUNNABLE_WITH_WARNINGS,
		Setpoints: []*linepacev1.Setpoint{{
			DriveId: bad, Action: linepacev1.Setpoint_RUN, Tag: bad, Count: proto.Int32(1), Demanded: q, Achieved: q,
			ReadoutText: proto.String(bad), ReadoutUnit: proto.String(bad), PulseHz: proto.Float64(1),
			Band: &linepacev1.Setpoint_Band{Low: q, High: q},
			Working: []*linepacev1.Step{{
				Id: bad, Name: bad, Formula: bad, Inputs: []*linepacev1.Step_Input{{Name: bad, Value: q}}, Result: q,
			}},
		}},
		Checks: []*linepacev1.Check{
			{Severity: linepacev1.Check_WARNING, DriveId: bad, Message: bad, Limit: q, Fit: q, FitField: "product.blends[0].total"},
			{Severity: linepacev1.Check_INFO, DriveId: bad, Message: bad},
		},
	}
	requirePrintable(t, sheet(t, req, resp))
}

// The list stays within its columns with the widest value in each.
func TestWidestRows(t *testing.T) {
	wide := strings.Repeat("W", 256)
	setpoint := &linepacev1.Setpoint{
		DriveId: wide, Action: linepacev1.Setpoint_LEAVE, Tag: wide, Count: proto.Int32(math.MinInt32),
		ReadoutText: proto.String("-12345.6789"), ReadoutUnit: proto.String(wide), AchievedRpm: proto.Float64(-1e6),
	}
	resp := &linepacev1.PlanResponse{Verdict: linepacev1.Check_NOT_RUNNABLE}
	for range 10000 {
		resp.Setpoints = append(resp.Setpoints, setpoint)
	}
	got := sheet(t, &linepacev1.PlanRequest{}, resp)
	require.Contains(t, got, "\n10000  WWW")
	for line := range strings.Lines(got) {
		require.LessOrEqual(t, len(strings.TrimSuffix(line, "\n")), 100, "%q", line)
	}
}

func TestPathsThatPointNowhere(t *testing.T) {
	for _, path := range []string{
		"", "line", "product.demands[0].rate", "product.blends[7].total", "product.demands[99999999999999999999].rate",
	} {
		got := sheet(t, &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{Checks: []*linepacev1.Check{{
			Severity: linepacev1.Check_ERROR, Message: "too fast",
			Fit: &linepacev1.Quantity{Value: 12, Unit: "m/min"}, FitField: path,
		}}})
		require.Contains(t, got, "would fit   12 m/min\n", path)
	}
}

func TestNumbersForReading(t *testing.T) {
	for _, c := range []struct {
		value float64
		want  string
	}{
		{0, "0"}, {42, "42"}, {0.1, "0.1"}, {1382.3743628, "1382.37"}, {41.999221112, "41.9992"},
		{-12.5, "-12.5"}, {999999.5, "1000000"}, {1234567.8, "1234568"}, {123456789012, "123456789012"},
		{0.00012345678, "0.000123457"}, {1.5e-9, "1.5e-09"}, {2e18, "2e+18"}, {1.0 / 3, "0.333333"},
		{math.Inf(1), "+Inf"}, {math.NaN(), "NaN"},
	} {
		got := sheet(t, &linepacev1.PlanRequest{}, &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{
			Action: linepacev1.Setpoint_RUN, Achieved: &linepacev1.Quantity{Value: c.value, Unit: "m/min"},
		}}})
		require.Contains(t, got, "gives       "+c.want+" m/min\n", "%v", c.value)
	}
}

type brokenWriter struct{ err error }

func (w brokenWriter) Write([]byte) (int, error) { return 0, w.err }

func TestWriterThatFails(t *testing.T) {
	broken := errors.New("disk full")
	require.ErrorIs(t, report.Sheet(brokenWriter{broken}, nil, nil), broken)
}
