package changeover

import (
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/scaling"
)

func TestFormulaIDs(t *testing.T) {
	require.LessOrEqual(t, int(formulaCount), 64, "a set has 64 bits")
	require.True(t, slices.IsSorted(formulaIDs[:]), "a set lists them in this order")
	form := regexp.MustCompile(`^[a-z]+(-[a-z]+)*/[1-9][0-9]*$`)
	for i, id := range formulaIDs {
		require.Regexp(t, form, id)
		require.True(t, Known(id))
		require.False(t, i > 0 && formulaIDs[i-1] == id, "%s twice", id)
	}
	for _, id := range []string{"", "ratio/999", "ratio", "ratio/1 ", "Ratio/1"} {
		require.False(t, Known(id), id)
	}
}

// Every step of the working names a formula of the list, and asking for the
// working does not change the list.
func TestFormulasHoldThoseOfTheWorking(t *testing.T) {
	requests := []*Request{request(), line(12), line(24), outOfRange(), measured()}
	for seed := range uint64(60) {
		requests = append(requests, mixed(seed))
	}
	shown := map[string]bool{}
	planned := 0
	for i, req := range requests {
		req.Working = false
		plan, faults, ok := Make(req, nil, nil)
		require.True(t, ok)
		if len(faults) > 0 {
			continue
		}
		planned++
		list := Formulas(req, &plan)
		require.True(t, slices.IsSorted(list))
		require.Equal(t, list, slices.Compact(slices.Clone(list)))
		req.Working = true
		withWorking, _, _ := Make(req, nil, nil)
		require.Equal(t, list, Formulas(req, &withWorking))
		for _, sp := range withWorking.Setpoints {
			for _, step := range sp.Working {
				require.Contains(t, list, step.ID, "request %d, drive %s", i, sp.Drive.ID)
				shown[step.ID] = true
			}
		}
	}
	require.Greater(t, planned, 40)
	require.Greater(t, len(shown), 20, "the requests must show most steps: %v", shown)
}

func outOfRange() *Request {
	req := request()
	req.Product.Demands[1] = rate("takeaway", 5000, "m/min")
	return req
}

// What a plan does not use is not in its list. Worked by hand: one belt by rate in
// its own kind, without register, readout, sensor, regulation and tolerance.
func TestFormulasOfOneBelt(t *testing.T) {
	b := belt("belt")
	b.Register = scaling.Register{}
	req := &Request{Line: &Line{ID: "line", Drives: []scaling.Drive{b}},
		Product: &Product{ID: "p", Demands: []Demand{rate("belt", 50, "m/min")}}}
	list := func() []string {
		plan, faults, ok := Make(req, nil, nil)
		require.Empty(t, faults)
		require.True(t, ok)
		return Formulas(req, &plan)
	}
	bare := []string{"changeover/1", "delivery-per-turn/1", "error/1", "highest-speed/1", "lowest-speed/1",
		"motor-speed/1", "per-motor-turn/1", "process-rate/1"}
	require.Equal(t, bare, list())

	req.Line.Drives[0].Register = counts(20000, q(2000, "r/min"))
	require.Equal(t, with(bare, "achieved-speed/1", "count/1", "register-limit/1", "register/1"), list())

	req.Line.Drives[0].Register = scaling.Register{}
	req.Product.Demands[0].Tolerance = scaling.Some(scaling.Tolerance{MinusPercent: 1, PlusPercent: 1})
	require.Equal(t, with(bare, "tolerance/1"), list())

	req.Product.Demands[0].Tolerance = scaling.Optional[scaling.Tolerance]{}
	drive := &req.Line.Drives[0]
	drive.Readout = scaling.Readout{Unit: q(1, "m/min").Unit, Digits: 4}
	require.Equal(t, with(bare, "readout-value/1", "readout/1"), list())
	drive.Readout.Truncates = true
	require.Equal(t, with(bare, "readout-cut/1", "readout-value/1"), list())
	drive.Readout = scaling.Readout{}
	drive.Sensors = []scaling.Sensor{{ID: "s", Kind: scaling.ShaftSensor, PulsesPerTurn: 60}}
	require.Equal(t, bare, list())
	drive.Sensors[0].Counting = scaling.Counting{Kind: scaling.ByGate, Gate: q(1, "s")}
	require.Equal(t, with(bare, "sensor-resolution/1"), list())
	drive.Sensors = nil

	req.Product.Demands[0] = rate("belt", 5000, "m/min")
	require.Equal(t, []string{"changeover/1", "delivery-per-turn/1", "fit/1", "highest-speed/1", "lowest-speed/1",
		"motor-speed/1", "per-motor-turn/1"}, list())

	req.Product.Demands[0] = Demand{DriveID: "belt", Kind: LeaveAsIs}
	require.Equal(t, []string{"changeover/1"}, list())

	req.Running = &Product{ID: "r", Demands: []Demand{{DriveID: "belt", Kind: Stopped}}}
	require.Equal(t, []string{"change/1", "changeover/1"}, list())
}

func with(list []string, more ...string) []string {
	out := append(slices.Clone(list), more...)
	slices.Sort(out)
	return out
}

func BenchmarkFormulas(b *testing.B) {
	req := line(12)
	plan, _, _ := Make(req, nil, nil)
	b.ReportAllocs()
	for b.Loop() {
		Formulas(req, &plan)
	}
}
