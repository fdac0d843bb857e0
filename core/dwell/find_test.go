package dwell

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

// belt returns a drive whose belt moves 1 m for each turn of the motor, so that its
// r/min are m/min, with counts for each m/min.
func belt(id string, most, counts float64) scaling.Drive {
	zero := q(0, "m/min")
	return scaling.Drive{
		ID: id, Motor: scaling.Motor{MinRPM: 0.01, MaxRPM: most},
		Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(100, "mm")},
		Register: scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Int32, Span: [2]scaling.SpanPoint{
			{Count: scaling.Some[int32](0), Value: zero}, {Count: scaling.Some(int32(counts)), Value: q(1, "m/min")},
		}},
	}
}

// exactBelt has no register, so that nothing is rounded.
func exactBelt(id string) scaling.Drive {
	d := belt(id, 1000, 1)
	d.Register = scaling.Register{}
	return d
}

func section(id, drive string, length units.Quantity) scaling.Section {
	return scaling.Section{ID: id, DriveID: drive, Length: length}
}

func mustFind(t *testing.T, req *Request) Answer {
	t.Helper()
	if req.Demand.Piece.Meaning == NoMeaning {
		req.Demand.Piece.Meaning = Point
	}
	req.Working = true
	out, faults := Find(req, nil)
	require.Empty(t, faults)
	for _, s := range out.Working {
		requireStep(t, s)
	}
	for i := range out.Setpoints {
		for _, s := range out.Setpoints[i].Working {
			requireStep(t, s)
		}
	}
	return out
}

func requireStep(t *testing.T, s scaling.Step) {
	t.Helper()
	got, want, err := formulatest.Evaluate(s)
	require.NoError(t, err)
	require.InDelta(t, want, got, 1e-9*(1+math.Abs(want)), "%s: %s", s.ID, s.Formula)
}

// one section on an exact belt, for a time.
func oneSection(length, time units.Quantity) *Request {
	return &Request{
		Drives: []scaling.Drive{exactBelt("b")}, Sections: []scaling.Section{section("s", "b", length)},
		Demand: Demand{SectionIDs: []string{"s"}, Time: time},
	}
}

// 60 ft in 90 s is 40 ft/min, 12.192 m/min. Computed with GNU units 2.22.
func TestSpeedForADwell(t *testing.T) {
	out := mustFind(t, oneSection(q(60, "ft"), q(90, "s")))
	require.InEpsilon(t, 12.192, out.Setpoints[0].Speed.Value, 1e-15)
	require.Equal(t, 90.0, out.Achieved.Value)
}

// 4 ft/min for 3 to 5 minutes are 12 to 20 ft: the worked example of a service life
// handbook for washers, taken from the check values of this project.
func TestLengthOfADwell(t *testing.T) {
	for _, x := range []struct{ minutes, feet float64 }{{3, 12}, {5, 20}} {
		out := mustFind(t, oneSection(q(x.feet, "ft"), q(x.minutes, "min")))
		require.InEpsilon(t, 4*0.3048, out.Setpoints[0].Speed.Value, 1e-15)
	}
}

// Zones of 12, 18 and 10 ft at 4 ft/min take 180, 270 and 150 s; in 7.5 min over all
// 40 ft the speed is 16/3 ft/min. Computed with fractions.
func TestZones(t *testing.T) {
	zones := []scaling.Zone{{ID: "a", Length: q(12, "ft")}, {ID: "b", Length: q(18, "ft")}, {ID: "c", Length: q(10, "ft")}}
	req := oneSection(q(40, "ft"), q(600, "s"))
	req.Sections[0].Zones = zones
	out := mustFind(t, req)
	for i, want := range []float64{180, 270, 150} {
		require.Equal(t, zones[i].ID, out.Zones[i].ID)
		require.InEpsilon(t, want, out.Zones[i].Time.Value, 1e-15)
	}
	req.Demand.Time = q(7.5, "min")
	require.InEpsilon(t, 16.0/3*0.3048, mustFind(t, req).Setpoints[0].Speed.Value, 1e-15)
	// At 1.3 m/min zones of 3, 4.5 and 2.5 m take 138.46..., 207.69... and 115.38... s.
	req = oneSection(q(10, "m"), q(10/1.3, "min"))
	req.Sections[0].Zones = []scaling.Zone{{ID: "a", Length: q(3, "m")}, {ID: "b", Length: q(4.5, "m")}, {ID: "c", Length: q(2.5, "m")}}
	req.Demand.Time = q(7.692307692307692, "min")
	out = mustFind(t, req)
	for i, want := range []float64{138.46153846153845, 207.69230769230768, 115.38461538461539} {
		require.InEpsilon(t, want, out.Zones[i].Time.Value*60, 1e-15)
	}
}

// 17 m in at least 7 min with steps of 0.01 m/min: 17/7 m/min is shown as 2.42, which
// gives 7.024793388429752 min; the nearest, 2.43, would give 6.995884773662551 min, too
// short. Computed with fractions.
func TestRoundsToTheSafeSide(t *testing.T) {
	req := oneSection(q(17, "m"), units.Quantity{})
	req.Drives[0] = belt("b", 100, 100)
	req.Demand.AtLeast = q(7, "min")
	out := mustFind(t, req)
	require.Equal(t, int32(242), out.Setpoints[0].Count.Value)
	require.Equal(t, 7.024793388429752, out.Achieved.Value)
	require.InEpsilon(t, 0.024793388429752, out.Margin.Value, 1e-12)
	require.Equal(t, scaling.NearestCountBreaksBound, out.Checks[0].Code)
	require.Equal(t, 243.0, out.Checks[0].Number)

	req.Demand.AtLeast, req.Demand.Time = units.Quantity{}, q(7, "min")
	require.Equal(t, int32(243), mustFind(t, req).Setpoints[0].Count.Value)

	// At most 7 min: the slowest that is fast enough is 2.43.
	req.Demand.Time, req.Demand.AtMost = units.Quantity{}, q(7, "min")
	out = mustFind(t, req)
	require.Equal(t, int32(243), out.Setpoints[0].Count.Value)
	require.Equal(t, 6.995884773662551, out.Achieved.Value)
	require.Empty(t, out.Checks)

	// Between 6.99 and 7 min only 2.43 does; between 6.999 and 7 min nothing.
	req.Demand.AtLeast = q(6.99, "min")
	require.Equal(t, int32(243), mustFind(t, req).Setpoints[0].Count.Value)
	req.Demand.AtLeast = q(6.999, "min")
	out = mustFind(t, req)
	require.False(t, out.Setpoints[0].Count.Set)
	require.Nil(t, out.Achieved.Unit)
	require.Equal(t, scaling.NoCountWithinBounds, out.Checks[0].Code)
}

// A bound that the drive keeps at its limit already is met there; one that it cannot
// keep is an error, with a time that would fit.
func TestBoundsAtTheLimits(t *testing.T) {
	req := oneSection(q(17, "m"), units.Quantity{})
	req.Drives[0] = belt("b", 2, 100)
	req.Demand.AtLeast = q(7, "min") // 17/7 m/min would do, and the belt makes 2 at most
	out := mustFind(t, req)
	require.Equal(t, int32(200), out.Setpoints[0].Count.Value)
	require.Equal(t, 8.5, out.Achieved.Value)
	require.Equal(t, scaling.SpeedLimitMeetsBound, out.Checks[0].Code)

	req.Demand.AtLeast, req.Demand.AtMost = units.Quantity{}, q(7, "min")
	out = mustFind(t, req)
	require.Equal(t, scaling.AboveHighestSpeed, out.Checks[0].Code)
	require.Equal(t, "dwell.atMost", out.Checks[0].FitField)
	require.Equal(t, 8.5, out.Checks[0].Fit.Value)
	req.Demand.AtMost = out.Checks[0].Fit
	require.Equal(t, int32(200), mustFind(t, req).Setpoints[0].Count.Value)

	req.Drives[0].Motor.MinRPM = 1.5
	req.Demand.AtMost = q(20, "min") // 0.85 m/min would do, and the belt makes 1.5 at least
	out = mustFind(t, req)
	require.Equal(t, int32(150), out.Setpoints[0].Count.Value)
	require.Equal(t, scaling.SpeedLimitMeetsBound, out.Checks[0].Code)
}

// 90 s within a speed of +-0.5 % take 89.55223880597015 to 90.45226130653266 s.
// Computed with fractions.
func TestDwellUnderASpeedTolerance(t *testing.T) {
	req := oneSection(q(9, "m"), q(90, "s"))
	req.Drives[0].Motor.Regulation = scaling.Regulation{Percent: scaling.Some(0.5), Of: scaling.SetSpeed}
	out := mustFind(t, req)
	require.InEpsilon(t, 89.55223880597015, out.Setpoints[0].Low.Value, 1e-15)
	require.InEpsilon(t, 90.45226130653266, out.Setpoints[0].High.Value, 1e-15)
	req.Demand.Time, req.Demand.AtLeast = units.Quantity{}, q(90, "s")
	out = mustFind(t, req)
	require.False(t, out.Setpoints[0].BandWithinTolerance.Value)
	require.Equal(t, scaling.BandOutsideTolerance, out.Checks[0].Code)
}

// 30 m at 2.4 m/min with a piece each 0.25 m: 12.5 min, 576 pieces an hour, 120 inside
// by Little's law. 2.5 kg/m at 12 m/min are 1800 kg/h; a pitch of 150 mm at 9 m/min is 60
// pieces a minute. Computed with fractions.
func TestThroughput(t *testing.T) {
	req := oneSection(q(30, "m"), q(12.5, "min"))
	req.Pieces = &Pieces{Length: q(200, "mm"), Pitch: q(0.25, "m"), Mass: q(500, "g")}
	out := mustFind(t, req)
	require.InEpsilon(t, 576, out.Throughput.PieceRate.Value*60, 1e-15)
	require.InEpsilon(t, 120, out.Throughput.WorkInProcess.Value, 1e-15)
	require.InEpsilon(t, 12.5, out.Throughput.FirstOut.Value, 1e-15)
	require.InEpsilon(t, 30.2/2.4, out.Throughput.LineClear.Value, 1e-15)
	require.InEpsilon(t, 50, out.Throughput.Belts[0].Gap.Value, 1e-13)
	require.InEpsilon(t, 288, out.Throughput.MassRate.Value, 1e-15)

	req = oneSection(q(12, "m"), q(1, "min"))
	req.Pieces = &Pieces{Length: q(1, "m"), Pitch: q(2, "m"), Mass: q(5, "kg")}
	out = mustFind(t, req)
	require.InEpsilon(t, 2.5, out.Throughput.Belts[0].MassLoading.Value, 1e-15)
	require.InEpsilon(t, 1800, out.Throughput.MassRate.Value, 1e-15)

	req = oneSection(q(9, "m"), q(1, "min"))
	req.Pieces = &Pieces{Length: q(100, "mm"), Pitch: q(150, "mm")}
	require.InEpsilon(t, 60, mustFind(t, req).Throughput.PieceRate.Value, 1e-15)
	req.Pieces.Rows = 3
	require.InEpsilon(t, 180, mustFind(t, req).Throughput.PieceRate.Value, 1e-15)
	req.Pieces = &Pieces{Length: q(100, "mm"), Rate: q(180, "pc/min"), Rows: 3}
	require.InEpsilon(t, 150, mustFind(t, req).Throughput.Belts[0].Pitch.Value, 1e-13)
}

// series is two belts with a dead plate between, 6 m and 4 m.
func series(belts ...Belt) *Request {
	req := &Request{
		Drives:   []scaling.Drive{exactBelt("first"), exactBelt("second")},
		Sections: []scaling.Section{section("in", "first", q(6, "m")), section("out", "second", q(4, "m"))},
		Demand:   Demand{SectionIDs: []string{"in", "out"}, Time: q(10, "min"), Belts: belts, Piece: Piece{Meaning: Point}},
	}
	return req
}

func ratio(id string, percent float64) Belt {
	return Belt{DriveID: id, SpeedPercent: scaling.Some(percent)}
}

func share(id string, percent float64) Belt {
	return Belt{DriveID: id, TimeSharePercent: scaling.Some(percent)}
}

// Worked by hand. By shares of 75 and 25 %: 6 m in 7.5 min, 4 m in 2.5 min. By speeds of 100
// and 160: 6/v + 4/(1.6 v) = 10 min, v = 0.85 m/min. A dead plate of 0.5 m lengthens the first.
// A piece of 0.8 m wholly inside starts and ends 0.4 m within.
func TestBeltsInSeries(t *testing.T) {
	speeds := func(req *Request) (first, second float64) {
		out := mustFind(t, req)
		require.InEpsilon(t, 10, out.Achieved.Value, 1e-14)
		return out.Setpoints[0].Speed.Value, out.Setpoints[1].Speed.Value
	}
	near := func(want, got float64) { t.Helper(); require.InEpsilon(t, want, got, 1e-14) }
	first, second := speeds(series(share("first", 75), share("second", 25)))
	near(0.8, first)
	near(1.6, second)
	first, second = speeds(series(ratio("first", 100), ratio("second", 160)))
	near(0.85, first)
	near(1.36, second)
	plate := series(share("second", 25), share("first", 75)) // in any order
	plate.Sections[0].DeadPlate, plate.Sections[1].DeadPlate = q(500, "mm"), q(3, "m")
	first, second = speeds(plate)
	near(6.5/7.5, first)
	near(1.6, second) // what lies behind the last section does not count
	plate.Demand.Piece = Piece{Length: q(800, "mm"), Meaning: WholePiece}
	first, second = speeds(plate)
	near(6.1/7.5, first)
	near(3.6/2.5, second)
	plate.Demand.Piece.Meaning = AnyPart
	first, second = speeds(plate)
	near(6.9/7.5, first)
	near(4.4/2.5, second)
}

// At a transfer the pitch follows the ratio of the speeds: a second belt at half the
// speed halves it, and pieces that just fit on the first would touch on the second.
func TestPitchAtATransfer(t *testing.T) {
	req := series(ratio("first", 100), ratio("second", 50))
	req.Pieces = &Pieces{Length: q(300, "mm"), Pitch: q(600, "mm")}
	out := mustFind(t, req)
	require.Equal(t, scaling.PiecesWouldTouch, out.Checks[0].Code)
	require.Equal(t, "second", out.Checks[0].DriveID)
	require.Equal(t, "pieces.pitch", out.Checks[0].Field)
	require.InEpsilon(t, 300, out.Throughput.Belts[1].Pitch.Value, 1e-14)

	req.Pieces.Pitch = q(700, "mm")
	require.Empty(t, mustFind(t, req).Checks)
	req.Pieces.LeastGap = q(60, "mm")
	out = mustFind(t, req)
	require.Equal(t, scaling.GapBelowLeast, out.Checks[0].Code)
	require.InEpsilon(t, 50, out.Checks[0].Limit.Value, 1e-12)
	req.Pieces.LeastGap = q(50, "mm") // just kept
	require.Empty(t, mustFind(t, req).Checks)

	req.Sections[0].DeadPlate = q(300, "mm")
	require.Equal(t, scaling.DeadPlateNotBridged, mustFind(t, req).Checks[0].Code)
}

// A whole time is offered that gives the belt out of range a part it can run.
func TestFitOfASeries(t *testing.T) {
	req := series(share("first", 75), share("second", 25))
	req.Drives[1] = belt("second", 1.5, 1000)
	out := mustFind(t, req)
	require.Nil(t, out.Achieved.Unit)
	require.Equal(t, scaling.AboveHighestSpeed, out.Checks[0].Code)
	require.Equal(t, "dwell.time", out.Checks[0].FitField)
	require.InEpsilon(t, 4/1.5/0.25, out.Checks[0].Fit.Value, 1e-4)
	req.Demand.Time = out.Checks[0].Fit
	require.NotNil(t, mustFind(t, req).Achieved.Unit)
}

// Each count against all counts near it, in rational numbers: a bound's is the
// fastest that is slow enough, or the slowest that is fast enough.
func TestBoundedCountsAgainstEveryNeighbour(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 4))
	for range 3000 {
		counts := 1 + r.IntN(200)
		length, bound := float64(1+r.IntN(300))/10, float64(1+r.IntN(200))/10
		if r.IntN(3) == 0 { // just on a count
			counts, bound = 100, length/(float64(1+r.IntN(1000))/100)
		}
		req := oneSection(q(length, "m"), units.Quantity{})
		req.Drives[0] = belt("b", 1e5, float64(counts))
		req.Drives[0].Motor.MinRPM = 0
		time := func(count int32) *big.Rat { // length / (count / counts)
			return new(big.Rat).Quo(new(big.Rat).Mul(decimal(length), big.NewRat(int64(counts), 1)), big.NewRat(int64(count), 1))
		}
		req.Demand.AtLeast = q(bound, "min")
		if sp := mustFind(t, req).Setpoints[0]; sp.Count.Set {
			n := sp.Count.Value
			require.GreaterOrEqual(t, time(n).Cmp(decimal(bound)), 0, "%v %v %v", counts, length, bound)
			require.Less(t, time(n+1).Cmp(decimal(bound)), 0, "%v %v %v", counts, length, bound)
		}
		req.Demand.AtLeast, req.Demand.AtMost = units.Quantity{}, q(bound, "min")
		n := mustFind(t, req).Setpoints[0].Count.Value
		require.LessOrEqual(t, time(n).Cmp(decimal(bound)), 0)
		require.True(t, n == 1 || time(n-1).Cmp(decimal(bound)) > 0, "%v %v %v", counts, length, bound)
	}
}

func decimal(v float64) *big.Rat {
	out, _ := new(big.Rat).SetString(fmt.Sprint(v))
	return out
}

// One count more changes the time by about what is told.
func TestTimePerCount(t *testing.T) {
	req := oneSection(q(48, "m"), q(42, "min"))
	req.Drives[0] = belt("b", 10, 10000)
	out := mustFind(t, req)
	n := float64(out.Setpoints[0].Count.Value)
	require.InEpsilon(t, 48/(n-0.5)*1e4-48/(n+0.5)*1e4, out.TimePerCount.Value, 1e-7)
}

func TestFaultsOfADwell(t *testing.T) {
	for _, x := range []struct {
		name, path string
		reason     fault.Reason
		change     func(*Request)
	}{
		{"no time", "dwell.time", fault.Required, func(r *Request) { r.Demand.Time = units.Quantity{} }},
		{"time and bound", "dwell.time", fault.Conflict, func(r *Request) { r.Demand.AtLeast = q(1, "min") }},
		{"bounds upside down", "dwell.atMost", fault.OutOfRange, func(r *Request) {
			r.Demand.Time, r.Demand.AtLeast, r.Demand.AtMost = units.Quantity{}, q(2, "min"), q(1, "min")
		}},
		{"bound with a tolerance", "tolerance", fault.Conflict, func(r *Request) {
			r.Demand.Time, r.Demand.AtLeast, r.Tolerance = units.Quantity{}, q(2, "min"), scaling.Some(scaling.Tolerance{MinusPercent: 1})
		}},
		{"piece as long as the sections", "dwell.wholePiece.length", fault.OutOfRange, func(r *Request) { r.Demand.Piece = Piece{Length: q(10, "m"), Meaning: WholePiece} }},
		{"section unknown", "dwell.sectionIds[1]", fault.NotFound, func(r *Request) { r.Demand.SectionIDs[1] = "nowhere" }},
		{"section twice", "dwell.sectionIds[1]", fault.Duplicate, func(r *Request) { r.Demand.SectionIDs[1] = "in" }},
		{"belts not said", "dwell.belts", fault.Required, func(r *Request) { r.Demand.Belts = nil }},
		{"a belt left out", "dwell.belts", fault.Required, func(r *Request) { r.Demand.Belts = r.Demand.Belts[:1] }},
		{"belts for one drive", "dwell.belts", fault.Conflict, func(r *Request) { r.Demand.SectionIDs = r.Demand.SectionIDs[:1] }},
		{"a belt twice", "dwell.belts[1].driveId", fault.Duplicate, func(r *Request) { r.Demand.Belts[1].DriveID = "first" }},
		{"a belt of another drive", "dwell.belts[1].driveId", fault.NotFound, func(r *Request) { r.Demand.Belts[1].DriveID = "other" }},
		{"shares and speeds", "dwell.belts[1]", fault.Conflict, func(r *Request) { r.Demand.Belts[1] = ratio("second", 100) }},
		{"shares that do not sum", "dwell.belts", fault.SharesOff, func(r *Request) { r.Demand.Belts[1] = share("second", 24) }},
		{"a speed of zero", "dwell.belts[0].speedPercent", fault.OutOfRange, func(r *Request) { r.Demand.Belts = []Belt{ratio("first", 0), ratio("second", 1)} }},
		{"zones longer than the section", "sections[0].zones", fault.OutOfRange, func(r *Request) {
			r.Sections[0].Zones = []scaling.Zone{{ID: "a", Length: q(4, "m")}, {ID: "b", Length: q(2.1, "m")}}
		}},
		{"zone twice", "sections[0].zones[1].id", fault.Duplicate, func(r *Request) {
			r.Sections[0].Zones = []scaling.Zone{{ID: "a", Length: q(1, "m")}, {ID: "a", Length: q(2.1, "m")}}
		}},
		{"dead plate below zero", "sections[0].deadPlate.value", fault.OutOfRange, func(r *Request) { r.Sections[0].DeadPlate = q(-1, "m") }},
		{"drive unknown", "sections[1].driveId", fault.NotFound, func(r *Request) { r.Sections[1].DriveID = "none" }},
		{"a pump moves a section", "drives[1]", fault.Conflict, func(r *Request) {
			r.Drives[1].Register = scaling.Register{}
			r.Drives[1].Delivery = scaling.Delivery{Kind: scaling.Pump, Displacement: q(1, "L/r")}
		}},
		{"pitch shorter than the piece", "pieces.pitch", fault.OutOfRange, func(r *Request) { r.Pieces = &Pieces{Length: q(1, "m"), Pitch: q(0.9, "m")} }},
		{"length zero", "sections[0].length.value", fault.OutOfRange, func(r *Request) { r.Sections[0].Length.Value = 0 }},
		{"a piece that never lies on a belt", "dwell.belts[0]", fault.Conflict, func(r *Request) {
			r.Sections[0].Length, r.Demand.Piece = q(1, "m"), Piece{Length: q(2.5, "m"), Meaning: WholePiece}
		}},
	} {
		t.Run(x.name, func(t *testing.T) {
			req := series(share("first", 75), share("second", 25))
			x.change(req)
			_, faults := Find(req, nil)
			require.NotEmpty(t, faults)
			require.Equal(t, x.path, faults[0].Path, "%v", faults)
			require.Equal(t, x.reason, faults[0].Reason)
		})
	}
}

// timeBelt takes its setpoint as a time: counts of 0.1 min over 48 m.
func timeBelt() *Request {
	req := oneSection(q(48, "m"), q(42, "min"))
	d := belt("b", 10, 1)
	d.Motor.MinRPM = 0.5
	d.Register = scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Uint16, DwellLength: q(48, "m"), Span: [2]scaling.SpanPoint{
		{Count: scaling.Some[int32](0), Value: q(0, "min")}, {Count: scaling.Some[int32](1000), Value: q(100, "min")},
	}}
	d.Readout = scaling.Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 1}
	req.Drives[0] = d
	return req
}

// Worked by hand: 42 min are 420 counts, one count is 0.1 min at any speed. In speed it is
// v^2/48 * 0.1 min: at 48/42 = 1.142857 m/min 0.002721 m/min. Within 0.5 % of the time
// together, one count is too coarse below 20 min, above 2.4 m/min.
func TestATimeAsTheSetpoint(t *testing.T) {
	req := timeBelt()
	req.Tolerance = scaling.Some(scaling.Tolerance{MinusPercent: 0.25, PlusPercent: 0.25})
	out := mustFind(t, req)
	require.Equal(t, int32(420), out.Setpoints[0].Count.Value)
	require.Equal(t, 42.0, out.Achieved.Value)
	require.InEpsilon(t, 0.1, out.TimePerCount.Value, 1e-14)
	require.InEpsilon(t, 2.4, out.Setpoints[0].CoarseAbove.Value, 1e-14)
	require.Nil(t, out.Setpoints[0].CoarseBelow.Unit)
	require.InEpsilon(t, 48.0/42/42*0.1, out.Setpoints[0].ReadoutDigit.Value, 1e-14)
	require.Equal(t, "42.0", out.Setpoints[0].ReadoutText.String())

	// Nearest in the register's own unit is nearest in time: 42.06 min take 421 counts and
	// not 420, whose speed is nearer.
	req.Demand.Time = q(42.05, "min")
	require.Equal(t, int32(421), mustFind(t, req).Setpoints[0].Count.Value) // a tie, away from zero
	req.Demand.Time, req.Demand.AtLeast, req.Tolerance = units.Quantity{}, q(42.01, "min"), scaling.Optional[scaling.Tolerance]{}
	out = mustFind(t, req)
	require.Equal(t, int32(421), out.Setpoints[0].Count.Value)
	require.Equal(t, scaling.NearestCountBreaksBound, out.Checks[0].Code)
	req.Demand.AtLeast, req.Demand.AtMost = units.Quantity{}, q(42.09, "min")
	require.Equal(t, int32(420), mustFind(t, req).Setpoints[0].Count.Value)
}

// The limits of a reciprocal register: the shortest time above 0 that it can say, and the
// longest.
func TestLimitsOfATimeRegister(t *testing.T) {
	req := timeBelt()
	req.Drives[0].Motor = scaling.Motor{MinRPM: 0, MaxRPM: 10000}
	req.Demand.Time = q(0.05, "min") // half a count
	out := mustFind(t, req)
	require.Equal(t, scaling.AboveHighestSpeed, out.Checks[0].Code)
	require.Equal(t, scaling.RegisterBound, out.Checks[0].Binds)
	require.InEpsilon(t, 0.1, out.Checks[0].Limit.Value, 1e-14)
	req.Demand.Time = q(7000, "min") // the type ends at 6553.5 min
	out = mustFind(t, req)
	require.Equal(t, scaling.BelowLowestSpeed, out.Checks[0].Code)
	require.InEpsilon(t, 6553.5, out.Checks[0].Limit.Value, 1e-14)

	// A register that falls: 1000 counts are 0 min, 0 counts 100 min.
	req.Drives[0].Register.Span[0].Value, req.Drives[0].Register.Span[1].Value = q(100, "min"), q(0, "min")
	req.Demand.Time = q(42, "min")
	require.Equal(t, int32(580), mustFind(t, req).Setpoints[0].Count.Value)
	req.Demand.Time = q(0.05, "min")
	require.InEpsilon(t, 0.1, mustFind(t, req).Checks[0].Limit.Value, 1e-12)

	// A current that stands for a time has no steps, and no time is no speed: it can say
	// any speed.
	req.Drives[0].Register = scaling.Register{Kind: scaling.CurrentOutput, DwellLength: q(48, "m"), Span: [2]scaling.SpanPoint{
		{Milliamps: scaling.Some(4.0), Value: q(0, "min")}, {Milliamps: scaling.Some(20.0), Value: q(100, "min")},
	}}
	req.Demand.Time = q(42, "min")
	require.InEpsilon(t, 4+16*0.42, mustFind(t, req).Setpoints[0].Milliamps.Value, 1e-13)
	req.Demand.Time = q(0.01, "min")
	require.True(t, mustFind(t, req).Setpoints[0].Milliamps.Set)
	req.Drives[0].Register.Span[1].Value, req.Drives[0].Register.Span[0].Value = q(0, "min"), q(1e-3, "min")
	req.Demand.Time = q(1, "min")
	require.Equal(t, scaling.BelowLowestSpeed, mustFind(t, req).Checks[0].Code)
}

// Counts that are steps of speed are too coarse at low speed: 0.01 m/min is 1 % of 1 m/min.
func TestSpeedBelowWhichACountIsTooCoarse(t *testing.T) {
	req := oneSection(q(17, "m"), q(7, "min"))
	req.Drives[0] = belt("b", 100, 100)
	req.Tolerance = scaling.Some(scaling.Tolerance{MinusPercent: 0.4, PlusPercent: 0.6})
	require.InEpsilon(t, 1, mustFind(t, req).Setpoints[0].CoarseBelow.Value, 1e-14)
}

func TestFaultsOfATimeRegister(t *testing.T) {
	for _, x := range []struct {
		path   string
		reason fault.Reason
		change func(*scaling.Register)
	}{
		{"drives[0].register.dwellLength", fault.Required, func(r *scaling.Register) { r.DwellLength = units.Quantity{} }},
		{"drives[0].register.dwellLength.value", fault.OutOfRange, func(r *scaling.Register) { r.DwellLength.Value = 0 }},
		{"drives[0].register.span[0].value.value", fault.OutOfRange, func(r *scaling.Register) { r.Span[0].Value.Value = -1 }},
		{"drives[0].register.span", fault.Conflict, func(r *scaling.Register) { r.Span[0].Value = q(0, "m/min") }},
		{"drives[0].register.span", fault.Conflict, func(r *scaling.Register) { r.Span[0].Value = q(6000, "s") }},
		{"drives[0].register.shaft", fault.Conflict, func(r *scaling.Register) { r.Shaft = scaling.LastShaft }},
	} {
		req := timeBelt()
		x.change(&req.Drives[0].Register)
		req.Demand.Piece.Meaning = Point
		_, faults := Find(req, nil)
		require.NotEmpty(t, faults, x.path)
		require.Equal(t, x.path, faults[0].Path)
		require.Equal(t, x.reason, faults[0].Reason)
	}
	req := oneSection(q(1, "m"), q(1, "min"))
	req.Drives[0] = belt("b", 10, 10)
	req.Drives[0].Register.DwellLength = q(1, "m")
	_, faults := Find(req, nil)
	require.Equal(t, "drives[0].register.dwellLength", faults[0].Path)
}
