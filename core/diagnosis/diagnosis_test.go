package diagnosis_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/diagnosis"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

// noise is the standard uncertainty of the simulated observations.
const noise = 0.005

// The table of simulated mistakes over varied drives. Where no other candidate's
// prediction lies within four standard uncertainties of the true one, the true cause
// comes first in at least 95 percent. Where one does, the true cause is first, or a
// tie of the first, in at least 95 percent too.
func TestSimulatedMistakes(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 8))
	cases := simulatedMistakes()
	require.GreaterOrEqual(t, len(cases), 80)
	const draws = 10
	var apart, apartFirst, tied, tiedFirst int
	for i := range cases {
		c := &cases[i]
		for range draws {
			answer := c.diagnose(random)
			place := c.find(&answer)
			require.GreaterOrEqual(t, place, 0, "%s: the true cause is not listed", c.name)
			ties := answer.Candidates[place].Ties
			if len(ties) == 0 {
				apart++
				if place == 0 {
					apartFirst++
				}
				continue
			}
			tied++
			if place == 0 || slices.Contains(ties, 0) {
				tiedFirst++
			}
		}
	}
	t.Logf("%d mistakes, %d draws each. Told apart: %d, true cause first in %d (%.1f %%). Tied: %d, true cause first or its tie in %d (%.1f %%)",
		len(cases), draws, apart, apartFirst, share(apartFirst, apart), tied, tiedFirst, share(tiedFirst, tied))
	require.Greater(t, apart, 400)
	require.GreaterOrEqual(t, share(apartFirst, apart), 95.0)
	require.GreaterOrEqual(t, share(tiedFirst, tied), 95.0)
}

func share(part, of int) float64 { return 100 * float64(part) / float64(of) }

// Without noise the true cause's prediction is the simulated factor itself.
func TestPredictionsAreThoseOfTheSimulation(t *testing.T) {
	for _, c := range simulatedMistakes() {
		answer := c.diagnose(nil)
		place := c.find(&answer)
		require.GreaterOrEqual(t, place, 0, "%s: %v", c.name, answer.Candidates)
		for i, remains := range answer.Candidates[place].RemainsPercent {
			require.InDelta(t, 0, remains, 1e-9, "%s, observation %d", c.name, i)
		}
	}
}

// Factors that no mistake explains: random ones, log-uniform over the reference
// range, which lie more than four standard uncertainties from every factor that the
// simulation has for the drive.
func TestFactorsThatNoMistakeExplains(t *testing.T) {
	random := rand.New(rand.NewPCG(200, 1))
	cases := simulatedMistakes()
	named := map[string][]float64{}
	for i := range cases {
		named[cases[i].plant.name] = append(named[cases[i].plant.name], cases[i].factor())
	}
	const rows = 200
	unknown, chance := 0, 0.0
	for row := 0; row < rows; {
		c := &cases[random.IntN(len(cases))]
		factor := math.Exp((2*random.Float64() - 1) * math.Log(ReferenceSpan))
		if slices.ContainsFunc(named[c.plant.name], func(f float64) bool { return math.Abs(math.Log(factor/f)) < 4*noise }) {
			continue
		}
		row++
		answer := c.plant.diagnoseFactor(factor)
		chance += answer.ChanceMatchPercent
		if answer.Candidates[0].Mistakes[0].Cause == SomethingElse {
			unknown++
		}
	}
	t.Logf("something else first in %d of %d; the answers' mean chance of a match is %.1f %%", unknown, rows, chance/rows)
	require.GreaterOrEqual(t, unknown, rows*9/10)
}

// The chance of a match that the answer states is the rate at which random factors of
// the reference range are given a mistake first, within three standard deviations.
func TestChanceOfAMatchIsCalibrated(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 14))
	for _, p := range plants() {
		const rows = 600
		matched, stated := 0, 0.0
		for range rows {
			answer := p.diagnoseFactor(math.Exp((2*random.Float64() - 1) * math.Log(ReferenceSpan)))
			stated = answer.ChanceMatchPercent / 100
			if answer.Candidates[0].Mistakes[0].Cause != SomethingElse {
				matched++
			}
		}
		t.Logf("%s: stated %.2f %%, found %.2f %% of %d", p.name, 100*stated, 100*float64(matched)/rows, rows)
		require.InDelta(t, stated, float64(matched)/rows, 3*math.Sqrt(stated*(1-stated)/rows), p.name)
	}
}

// Two observations at different speeds tell a pump's slip from a factor, and one does not.
func TestTwoSpeedsTellAnOffsetFromAFactor(t *testing.T) {
	d := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1500}, Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: q(10, "mL/r")}}
	s := scaling.Subject{Drive: &d}
	observe := func(rpm, litres float64) Observation {
		return Observation{MotorRPM: scaling.Some(rpm), Observed: q(litres, "L/min"), UncertaintyPercent: 1}
	}
	// 10 mL a turn: 2 and 8 L/min without slip. With 0.4 L/min that slips back: 1.6 and 7.6.
	one := Diagnose(&s, []Observation{observe(200, 1.6)}, false)
	require.Equal(t, Slip, one.Candidates[0].Mistakes[0].Cause)
	two := Diagnose(&s, []Observation{observe(200, 1.6), observe(800, 7.6)}, false)
	top := two.Candidates[0].Mistakes[0]
	require.Equal(t, Offset, top.Cause)
	require.Equal(t, "drive.delivery.pump.slipFlow", top.Field)
	require.InDelta(t, -0.4, top.Size.Value, 1e-12)
	require.Equal(t, "L/min", top.Size.Unit.Symbol())
	require.Empty(t, two.Candidates[0].Ties)
	// A factor of both, 1/1.2009 for imperial against US gallons, is no offset.
	factor := 3.785411784 / 4.54609
	same := Diagnose(&s, []Observation{observe(200, 2*factor), observe(800, 8*factor)}, false)
	require.Equal(t, UsForImperialGallon, same.Candidates[0].Mistakes[0].Cause)
	// Neither a factor nor an offset: the observations do not go together.
	neither := Diagnose(&s, []Observation{observe(200, 4), observe(800, 3), observe(1200, 30)}, false)
	require.Equal(t, SomethingElse, neither.Candidates[0].Mistakes[0].Cause)
}

// Observations at two places tell mistakes apart that predict the same rate.
func TestTwoPlacesTellTheSensorFromTheRoll(t *testing.T) {
	p := plants()[0]
	s := scaling.Subject{Drive: &p.drive}
	rate := p.rate(1000, p.pulses()) // as reckoned
	at := func(quantity units.Quantity, shaft scaling.Shaft) Observation {
		return Observation{MotorRPM: scaling.Some(1000.0), Observed: quantity, Shaft: shaft, UncertaintyPercent: 1}
	}
	one := Diagnose(&s, []Observation{at(q(2*rate, p.unit), scaling.MotorShaft)}, false)
	require.NotEmpty(t, one.Candidates[0].Ties, "two edges or a radius")
	require.Contains(t, one.Next, "the motor shaft")
	edges := Diagnose(&s, []Observation{at(q(2*rate, p.unit), scaling.MotorShaft), at(q(2000, "r/min"), scaling.MotorShaft)}, false)
	require.Equal(t, EdgesCounted, edges.Candidates[0].Mistakes[0].Cause)
	require.Empty(t, edges.Candidates[0].Ties)
	radius := Diagnose(&s, []Observation{at(q(2*rate, p.unit), scaling.MotorShaft), at(q(1000, "r/min"), scaling.MotorShaft)}, false)
	require.Equal(t, RadiusForDiameter, radius.Candidates[0].Mistakes[0].Cause)
}

// A pair of mistakes comes below something else and below every single one.
func TestPairsComeLast(t *testing.T) {
	p := plants()[0]
	answer := p.diagnoseFactor(2 * 25.4 * 1.0004) // two edges, and inches for millimetres
	require.Equal(t, SomethingElse, answer.Candidates[0].Mistakes[0].Cause)
	pairs := 0
	for i, c := range answer.Candidates {
		if len(c.Mistakes) == 2 {
			pairs++
			require.False(t, c.LikelihoodPercent.Set)
			require.Greater(t, c.ChancePercent.Value, 10.0, "so many pairs leave little to chance")
			require.InDelta(t, 2*25.4, c.Predicted[0], 1)
		} else {
			require.Zero(t, pairs, "candidate %d is single and below a pair", i)
		}
	}
	require.NotZero(t, pairs)
}

// The shares of the likelihood are those of a hand calculation by the stated weights,
// for a drive of which little can be mistaken.
func TestLikelihoodByHand(t *testing.T) {
	d := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1500}, Delivery: scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 2}}
	s := scaling.Subject{Drive: &d}
	answer := Diagnose(&s, []Observation{{MotorRPM: scaling.Some(60.0), Observed: q(119, "pc/min"), UncertaintyPercent: 2}}, false)
	// None, 60 and 3600 either way, powers of ten either way, 2 and 4 edges either way,
	// of a sensor that is not described: 15 hypotheses, of which
	// only "no mistake" is near. z = ln(119/120) / 0.01.
	z := math.Log(119.0/120) / 0.01
	none := math.Exp(-z*z/2) / 15
	other := math.Sqrt(2*math.Pi) * 0.01 / (2 * math.Log(1000))
	require.Equal(t, 15, answer.Considered)
	require.Equal(t, NoMistake, answer.Candidates[0].Mistakes[0].Cause)
	require.InEpsilon(t, 100*none/(none+other), answer.Candidates[0].LikelihoodPercent.Value, 1e-12)
	require.InEpsilon(t, 100*other/(none+other), answer.Candidates[1].LikelihoodPercent.Value, 1e-12)
	// Fifteen windows of one standard uncertainty either way, none overlapping, less the
	// outer halves of those at 1/1000 and 1000, which end the range, and all of those
	// at 1/3600 and 3600, beyond it.
	require.InEpsilon(t, 100*12*2*0.01/(2*math.Log(1000)), answer.Candidates[0].ChancePercent.Value, 1e-9)
}

func BenchmarkDiagnose(b *testing.B) {
	p := plants()[0]
	for name, factor := range map[string]float64{"explained": 2, "unexplained": 1.37} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				p.diagnoseFactor(factor)
			}
		})
	}
}

func (p *plant) diagnoseFactor(factor float64) Answer {
	observed := Observation{
		MotorRPM: scaling.Some(1000.0), Observed: q(factor*p.rate(1000, p.pulses()), p.unit), UncertaintyPercent: 200 * noise,
	}
	return Diagnose(&scaling.Subject{Drive: &p.drive, Material: p.material}, []Observation{observed}, false)
}

// What lies before the sensor's shaft the loop makes up for: of a belt that slips there,
// or a gearbox of another ratio that the drive's set-up does not know of, the rate shows
// nothing, and the motor is off. Behind the sensor it is the other way round.
func TestWhichShaftShowsIt(t *testing.T) {
	p := &plant{
		name: "belt before the sensor", unit: "m/min", edgePulses: 60, sensorAt: 1, ratios: []float64{0.5, 1.0 / 20}, perTurn: math.Pi * 0.2,
		drive: scaling.Drive{Motor: scaling.Motor{MaxRPM: 1800},
			Transmission: []scaling.Stage{
				{Kind: scaling.Belt, DriverDiameter: q(100, "mm"), DrivenDiameter: q(200, "mm")}, {Kind: scaling.Gearbox, Ratio: 20, Exact: true}},
			Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: q(200, "mm")},
			Sensors:  []scaling.Sensor{closing(sensor("driven", 60, 1, 1))}},
	}
	for name, c := range map[string]struct {
		change func(*plant)
		cause  Cause
		field  string
	}{
		"belt slips before the sensor":      {func(q *plant) { q.ratios[0] *= 0.96 }, Slip, "drive.transmission[0].belt"},
		"belt turned before the sensor":     {func(q *plant) { q.ratios[0] = 2 }, StageInverted, "drive.transmission[0].belt"},
		"gearbox missing behind the sensor": {func(q *plant) { q.ratios[1] = 1 }, StageCountedTwice, "drive.transmission[1].gearbox"},
	} {
		t.Run(name, func(t *testing.T) {
			machine := p.clone()
			c.change(machine)
			answer := Diagnose(&scaling.Subject{Drive: &p.drive}, []Observation{
				{MotorRPM: scaling.Some(1000.0), Observed: q(machine.motor(1000, p.pulses()), "r/min"), UncertaintyPercent: 1},
				{MotorRPM: scaling.Some(1000.0), Observed: q(machine.rate(1000, p.pulses()), "m/min"), UncertaintyPercent: 1},
			}, false)
			top := answer.Candidates[0]
			require.Equal(t, c.cause, top.Mistakes[0].Cause, "%v", answer.Candidates)
			require.Equal(t, c.field, top.Mistakes[0].Field)
			require.Empty(t, top.Ties)
			for _, remains := range top.RemainsPercent {
				require.InDelta(t, 0, remains, 1e-6)
			}
		})
	}
}
