package report_test

import (
	"bytes"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// What comes from outside is harmless and stays within its columns in the texts of what
// was observed, and the cautions stand on each.
func TestTextsOfWhatWasObserved(t *testing.T) {
	const bad = "\x1b[2J\x00\x07\r\n\t\u202e\u2028\u009b long enough to need a second line of the page"
	q := &linepacev1.Quantity{Value: 1.23456789e-5, Unit: bad}
	drive := &linepacev1.Drive{Id: bad, Description: bad, Motor: &linepacev1.Motor{}}
	mistake := &linepacev1.DiagnoseResponse_Mistake{Field: bad, Text: bad, Confirm: bad, Size: q}
	texts := map[string]func(*bytes.Buffer) error{
		"diagnosis": func(w *bytes.Buffer) error {
			return report.Diagnosis(w, &linepacev1.DiagnoseRequest{Drive: drive, Observations: []*linepacev1.DiagnoseRequest_Observation{
				{At: &linepacev1.DiagnoseRequest_Observation_Shown{Shown: q}, Shaft: linepacev1.Register_LAST}}},
				&linepacev1.DiagnoseResponse{
					Compared: []*linepacev1.DiagnoseResponse_Compared{{Calculated: q, Observed: q}, {}},
					Candidates: []*linepacev1.DiagnoseResponse_Candidate{{
						Mistakes: []*linepacev1.DiagnoseResponse_Mistake{mistake, mistake},
						Fits:     []*linepacev1.DiagnoseResponse_Fit{{}, {}}, LikelihoodPercent: proto.Float64(50), ChancePercent: proto.Float64(0),
						Ties: []int32{1, 2, math.MaxInt32}, NeedsSecondObservation: true,
					}},
					Next: bad, Working: []*linepacev1.Step{{Name: bad, Id: bad, Formula: bad, Result: q}},
				})
		},
		"reading": func(w *bytes.Buffer) error {
			return report.CheckReading(w, &linepacev1.CheckReadingRequest{Drive: drive, Loaded: &linepacev1.CheckReadingRequest_Setpoint{Setpoint: q}},
				&linepacev1.CheckReadingResponse{
					Expected: q, Measured: q, Deviation: q, StandardUncertainty: q, ExpandedUncertainty: &linepacev1.Quantity{Value: 1e-300, Unit: bad},
					DegreesOfFreedom: proto.Float64(1e15),
					Budget: []*linepacev1.CheckReadingResponse_BudgetLine{{
						Source: linepacev1.CheckReadingResponse_BudgetLine_COUNTED_MARKS, Value: q, Divisor: 42.42640687, Sensitivity: 1.23456789e-5,
						Distribution: linepacev1.CheckReadingResponse_BudgetLine_RECTANGULAR, StandardUncertainty: q, SharePercent: 100,
					}},
					Limits:   &linepacev1.CheckReadingResponse_Limits{Low: q, High: q, GuardBand: q, Rule: bad, Verdict: 17},
					Remedies: []*linepacev1.CheckReadingResponse_Remedy{{Text: bad}, {Text: bad}},
					Checks:   []*linepacev1.Check{{Message: bad}},
				})
		},
	}
	for name, write := range texts {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			require.NoError(t, write(&out))
			requirePrintable(t, out.String())
			require.Contains(t, out.String(), "can start without warning")
			require.Contains(t, out.String(), "lock it out before you touch a shaft")
			require.NotContains(t, out.String(), "PROVEN", "a verdict that is not known is none")
		})
	}
}
