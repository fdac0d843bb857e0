package dwell

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
)

func degC(v float64) Temperature    { return Temperature{v, Celsius} }
func degF(v float64) Temperature    { return Temperature{v, Fahrenheit} }
func kelvins(v float64) Temperature { return Temperature{v, Kelvin} }

func mustDose(t *testing.T, p Profile) Dose {
	t.Helper()
	var faults fault.List
	p.Validate(&faults)
	require.Empty(t, faults)
	out := p.Dose()
	for _, s := range p.Working(&out) {
		requireStep(t, s)
	}
	return out
}

// 110 degC against 121.11 degC with z = 10: 0.077 in a printed lethality table; the
// digits computed with mpmath.
func TestLethalRate(t *testing.T) {
	l := Lethality{Reference: degC(121.11), Z: kelvins(10)}
	require.InEpsilon(t, 0.0774461797802518731, l.Rate(degC(110)), 1e-14)
	// The same in Fahrenheit: z = 18 degF, and 230 degF against 249.998 degF.
	l = Lethality{Reference: degF(249.998), Z: degF(18)}
	require.InEpsilon(t, 0.0774461797802518731, l.Rate(degF(230)), 1e-13)
	require.InEpsilon(t, 0.0774461797802518731, l.Rate(kelvins(383.15)), 1e-13)
}

// A published F value by summing steps of a minute at 80 to 135 degC with z = 11 and a
// reference of 121.1 degC: the rates as printed, and their sum without the first.
func TestFBySteps(t *testing.T) {
	p := Profile{Lethality: Lethality{Reference: degC(121.1), Z: kelvins(11)}}
	for _, at := range []float64{80, 105, 130, 135, 125, 115, 105} {
		p.Steps = append(p.Steps, Exposure{degC(at), q(1, "min")})
	}
	all := mustDose(t, p)
	for i, want := range []float64{0.0001835, 0.034385, 6.443041, 18.350012, 2.262275, 0.278904, 0.034385} {
		require.InDelta(t, want, all.Rates[i], 1e-6)
	}
	p.Steps = p.Steps[1:]
	require.InDelta(t, 27.403003, mustDose(t, p).Equivalent.Value, 3e-6) // six rates, each printed to 1e-6
	p.Reference = degC(121)                                              // computed with mpmath
	require.InEpsilon(t, 27.982663596790563, mustDose(t, p).Equivalent.Value, 1e-13)
}

// Pasteurisation units with z = 7 from 60 degC, and with the rate 1.393^(T - 60), which is
// another z: the two conventions differ by half a percent. Computed with mpmath.
func TestPasteurisationUnits(t *testing.T) {
	p := Profile{Lethality: Lethality{Reference: degC(60), Z: kelvins(7)}}
	for _, x := range [][2]float64{{3, 58}, {4, 60}, {5, 62}, {6, 63}, {4, 61}} {
		p.Steps = append(p.Steps, Exposure{degC(x[1]), q(x[0], "min")})
	}
	require.InEpsilon(t, 36.8614877973565192, mustDose(t, p).Equivalent.Value, 1e-13)
	p.Z = kelvins(1 / math.Log10(1.393))
	require.InEpsilon(t, 37.0385516753834592, mustDose(t, p).Equivalent.Value, 1e-13)
}

// z from two rows of published tables of times of equal effect, in degF: 130 degF for 112
// min and 140 degF for 12 min; 161 degF for 15 s and 145 degF for 1800 s.
func TestZFromTwoExposures(t *testing.T) {
	l := Lethality{Reference: degF(140), ZFrom: []Exposure{{degF(130), q(112, "min")}, {degF(140), q(12, "min")}}}
	require.InEpsilon(t, 10.308887498902549, l.ZOn().Value, 1e-13)
	l.ZFrom = []Exposure{{degF(161), q(15, "s")}, {degF(145), q(1800, "s")}}
	require.InEpsilon(t, 7.69533682088315205, l.ZOn().Value, 1e-13)
	// The two exposures are of equal effect by it.
	a := Profile{Lethality: l, Steps: []Exposure{l.ZFrom[0]}}
	b := Profile{Lethality: l, Steps: []Exposure{{degF(145), q(30, "min")}}}
	require.InEpsilon(t, mustDose(t, a).Equivalent.Value/60, mustDose(t, b).Equivalent.Value, 1e-12)
}

// Between points the temperature goes linearly: against a sum over fine steps.
func TestDoseBetweenPoints(t *testing.T) {
	p := Profile{Lethality: Lethality{Reference: degC(70), Z: kelvins(7.5)}, Points: []Exposure{
		{degC(20), q(0, "min")}, {degC(65), q(4, "min")}, {degC(72), q(5, "min")}, {degC(72.01), q(9, "min")}, {degC(71.5), q(10, "min")}, {degC(30), q(14, "min")},
	}}
	sum := 0.0
	for i := 1; i < len(p.Points); i++ {
		a, b := p.Points[i-1], p.Points[i]
		const n = 20000
		for k := range n {
			at := a.Temperature.Value + (b.Temperature.Value-a.Temperature.Value)*(float64(k)+0.5)/n
			sum += (b.Time.Value - a.Time.Value) / n * math.Pow(10, (at-70)/7.5)
		}
	}
	require.InEpsilon(t, sum, mustDose(t, p).Equivalent.Value, 1e-7)
}

func TestFaultsOfADose(t *testing.T) {
	sound := func() Profile {
		return Profile{Lethality: Lethality{Reference: degC(70), Z: kelvins(10)}, Steps: []Exposure{{degC(70), q(1, "min")}}}
	}
	for _, x := range []struct {
		path   string
		reason fault.Reason
		change func(*Profile)
	}{
		{"reference", fault.Required, func(p *Profile) { p.Reference = Temperature{} }},
		{"reference.value", fault.OutOfRange, func(p *Profile) { p.Reference = degC(-300) }},
		{"z", fault.Required, func(p *Profile) { p.Z = Temperature{} }},
		{"z.value", fault.OutOfRange, func(p *Profile) { p.Z = kelvins(0) }},
		{"z.value", fault.OutOfRange, func(p *Profile) { p.Z = kelvins(-10) }},
		{"z", fault.Conflict, func(p *Profile) { p.ZFrom = p.Steps }},
		{"zFrom", fault.OutOfRange, func(p *Profile) { p.Z, p.ZFrom = Temperature{}, p.Steps }},
		{"zFrom", fault.Conflict, func(p *Profile) {
			p.Z, p.ZFrom = Temperature{}, []Exposure{{degC(60), q(1, "min")}, {degC(70), q(2, "min")}}
		}},
		{"steps", fault.Required, func(p *Profile) { p.Steps = nil }},
		{"points", fault.Conflict, func(p *Profile) { p.Points = []Exposure{{degC(1), q(0, "s")}, {degC(1), q(1, "s")}} }},
		{"points", fault.OutOfRange, func(p *Profile) { p.Points, p.Steps = p.Steps, nil }},
		{"points[1].time", fault.OutOfRange, func(p *Profile) { p.Steps, p.Points = nil, []Exposure{{degC(1), q(1, "min")}, {degC(1), q(60, "s")}} }},
		{"steps[0].time.value", fault.OutOfRange, func(p *Profile) { p.Steps[0].Time.Value = 0 }},
		{"steps[0].temperature", fault.OutOfRange, func(p *Profile) { p.Steps[0].Temperature = degC(1500) }},
	} {
		p := sound()
		x.change(&p)
		var faults fault.List
		p.Validate(&faults)
		require.NotEmpty(t, faults, x.path)
		require.Equal(t, x.path, faults[0].Path)
		require.Equal(t, x.reason, faults[0].Reason)
	}
}

// Zones of 6 m at the reference and 4 m at z below it give a point the time of the first
// and a tenth of that of the second. Worked by hand.
func TestDoseOfZones(t *testing.T) {
	req := oneSection(q(10, "m"), q(5, "min"))
	req.Sections[0].Zones = []scaling.Zone{{ID: "hot", Length: q(6, "m")}, {ID: "warm", Length: q(4, "m")}}
	req.Dose = &ZoneDose{Lethality: Lethality{Reference: degC(90), Z: degF(18)}, Zones: []ZoneTemperature{
		{"s", "warm", degF(176)}, {"s", "hot", kelvins(363.15)},
	}}
	out := mustFind(t, req)
	require.InEpsilon(t, 3+0.2, out.Dose.Equivalent.Value, 1e-13)
	require.InEpsilon(t, 0.2, out.Dose.Parts[0].Value, 1e-13)
	require.Equal(t, scaling.ZoneTemperatureOverstates, out.Checks[0].Code)
	require.Equal(t, scaling.ProcessAuthorityDecides, out.Checks[1].Code)

	req.Dose.Zones[1].ID = "cold"
	_, faults := Find(req, nil)
	require.Equal(t, "thermalDose.zones[1].id", faults[0].Path)
}

// At the reference all along the section the dose of a piece is its time; with a step from
// 2 to 3 m/min the piece half way has been 150 s in the first half, at the reference, and
// is 100 s in the second, at z below it.
func TestDosesOfATransition(t *testing.T) {
	in := zone(5, 10)
	in.Ramp = q(0, "s")
	in.Dose = &AlongDose{Lethality: Lethality{Reference: degC(90), Z: kelvins(10)}, Zones: []Along{{q(5, "m"), degC(90)}, {q(5, "m"), degC(80)}}}
	p := mustOutcome(t, in).Policies[0]
	require.InEpsilon(t, 150+10, p.DoseMost.Value, 1e-13)
	require.InEpsilon(t, 100+10, p.DoseLeast.Value, 1e-13) // a steady piece: 100 s and 100 s

	r := rand.New(rand.NewPCG(6, 8))
	for range 300 {
		in := random(r)
		in.Piece = Piece{Meaning: Point}
		in.Dose = &AlongDose{Lethality: Lethality{Reference: degC(90), Z: kelvins(10)}, Zones: []Along{{in.Length, degC(90)}}}
		var faults fault.List
		in.Validate(nil, &faults)
		require.Empty(t, faults)
		out := in.Outcome()
		for _, p := range out.Policies {
			for _, piece := range in.Pieces(&p, &out) {
				require.InEpsilon(t, piece.Time.Value, piece.Dose.Value, 1e-12)
			}
			if p.Possible {
				require.InEpsilon(t, p.Shortest.Value, p.DoseLeast.Value, 1e-12)
				require.InEpsilon(t, p.Longest.Value, p.DoseMost.Value, 1e-12)
			}
		}
	}
}

// Run clear, every outgoing piece gets the dose of the old speed, whatever is counted.
func TestDosesOfAClearedBelt(t *testing.T) {
	in := zone(0, 2)
	in.Piece = Piece{Length: q(1.5, "m"), Meaning: WholePiece}
	in.Dose = &AlongDose{Lethality: Lethality{Reference: degC(90), Z: kelvins(10)}, Zones: []Along{{q(10, "m"), degC(90)}}}
	out := mustOutcome(t, in)
	for _, piece := range in.Pieces(&out.Policies[2], &out) {
		want := 300.0
		if piece.Incoming {
			want = 200
		}
		require.InEpsilon(t, want, piece.Dose.Value, 1e-13)
	}
}
