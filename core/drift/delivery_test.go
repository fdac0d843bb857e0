package drift_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

// A tachometer counts 1750 pulses of 60 per turn in 1 s, and 29 of 1 per turn, with a
// gate good to 50 ppm. Computed with the Python package uncertainties 3.1.6.
func TestGateSpeed(t *testing.T) {
	for _, c := range []struct{ pulses, perTurn, countU, rpm, u float64 }{
		{1750, 60, 1 / math.Sqrt(3), 1750, 0.5839431336468761},
		{1750, 60, drift.UnsynchronisedCount, 1750, 0.4175199596027317},
		{29, 1, 1 / math.Sqrt(3), 1740, 34.64112540030997},
	} {
		got, err := drift.GateSpeed(c.pulses, c.perTurn, 1.0/60, c.countU, 50e-6)
		require.NoError(t, err)
		require.InEpsilon(t, c.rpm, got.Value, 1e-15)
		require.InEpsilon(t, c.u, got.U, 1e-12)
	}
	for _, bad := range [][5]float64{{0, 1, 1, 1, 1}, {1, 0, 1, 1, 1}, {1, 1, 0, 1, 1}, {1, 1, 1, -1, 1}, {1, 1, 1, 1, math.NaN()}} {
		_, err := drift.GateSpeed(bad[0], bad[1], bad[2], bad[3], bad[4])
		var domain *statistics.DomainError
		require.ErrorAs(t, err, &domain)
	}
}

// Whole pulses in a gate that begins anywhere scatter by 1/sqrt(6) about its length.
func TestUnsynchronisedCount(t *testing.T) {
	require.InEpsilon(t, 1/math.Sqrt(6), drift.UnsynchronisedCount, 1e-15)
	r := rand.New(rand.NewPCG(31, 32))
	squares := 0.0
	const trials = 200000
	for range trials {
		length, phase := 100+50*r.Float64(), r.Float64()
		d := math.Floor(length+phase) - length
		squares += d * d
	}
	require.InEpsilon(t, 1.0/6, squares/trials, 0.02)
}

var pump = drift.Model{PerTurn: 0.05, SlipFlow: 1.2} // L/r, L/min

// Worked by hand: 10 min at 1400 r/min are 700 L less 12 L.
func TestReadingOfPump(t *testing.T) {
	r, err := pump.Read(drift.Observation{Minutes: 10, Turns: 14000, Amount: 680, AmountPulses: 6800, TurnPulses: 14000 * 60})
	require.NoError(t, err)
	require.InDelta(t, 688, r.Expected, 1e-10)
	require.InDelta(t, -100*8.0/688, r.Percent, 1e-10)
	meter, turns := 0.1/math.Sqrt(6), 0.05/60/math.Sqrt(6)*680/688
	require.InEpsilon(t, 100/688.0*math.Hypot(meter, turns), r.CountingU, 1e-12)
	l, err := pump.LossBy(drift.Leak, drift.Observation{Minutes: 10, Turns: 14000, Amount: 680})
	require.NoError(t, err)
	require.InDelta(t, 0.8, l.Value, 1e-12)
	require.InDelta(t, 0.688, l.PerPoint, 1e-12)
	l, err = pump.LossBy(drift.Share, drift.Observation{Minutes: 10, Turns: 14000, Amount: 680})
	require.NoError(t, err)
	require.InDelta(t, 800.0/700, l.Value, 1e-12)
	require.InDelta(t, 688.0/700, l.PerPoint, 1e-12)
	r, err = pump.Read(drift.Observation{Minutes: 10, Turns: 14000})
	require.NoError(t, err)
	require.Equal(t, -100.0, r.Percent)
	require.Zero(t, r.CountingU)
}

// A change of speed is no drift, and each kind of wear costs the same at all speeds in
// its own measure; the worn model makes it good.
func TestSpeedIsNoDrift(t *testing.T) {
	const lost = 0.7
	for _, w := range []drift.Wear{drift.Leak, drift.Share} {
		worn, err := pump.Worn(w, lost)
		require.NoError(t, err)
		percents := map[string]bool{}
		for _, rpm := range []float64{60, 300, 1400, 3000} {
			at := func(m drift.Model) drift.Observation {
				return drift.Observation{Minutes: 2, Turns: 2 * rpm, Amount: 2 * (m.PerTurn*rpm - m.SlipFlow)}
			}
			good, err := pump.Read(at(pump))
			require.NoError(t, err)
			require.InDelta(t, 0, good.Percent, 1e-10)
			now, err := pump.Read(at(worn))
			require.NoError(t, err)
			percents[fmt.Sprintf("%.3f", now.Percent)] = true
			loss, err := pump.LossBy(w, at(worn))
			require.NoError(t, err)
			require.InEpsilon(t, lost, loss.Value, 1e-9)
			require.InEpsilon(t, -now.Percent*loss.PerPoint, loss.Value, 1e-9)
			require.InEpsilon(t, 1/(loss.PerPercent*loss.PerPercent), loss.Weight(), 1e-12)
			require.InEpsilon(t, loss.PerPoint*(1+now.Percent/100), loss.PerPercent, 1e-9)
			corrected, err := worn.Read(at(worn))
			require.NoError(t, err)
			require.InDelta(t, 0, corrected.Percent, 1e-10)
		}
		require.Len(t, percents, 4, "in percent it depends on the speed")
	}
}

// The levels of a loss are those at which the worn model is just out of tolerance, or just
// needs the speed.
func TestLossLevels(t *testing.T) {
	for _, w := range []drift.Wear{drift.Leak, drift.Share} {
		level, err := pump.LossAtTolerance(w, 2, 1400)
		require.NoError(t, err)
		worn, err := pump.Worn(w, level)
		require.NoError(t, err)
		r, err := pump.Read(drift.Observation{Minutes: 1, Turns: 1400, Amount: worn.PerTurn*1400 - worn.SlipFlow})
		require.NoError(t, err)
		require.InDelta(t, -2, r.Percent, 1e-9)

		level, err = pump.LossAtSpeed(w, 68.8, 1750)
		require.NoError(t, err)
		worn, err = pump.Worn(w, level)
		require.NoError(t, err)
		rpm, err := worn.SpeedFor(68.8)
		require.NoError(t, err)
		require.InEpsilon(t, 1750, rpm, 1e-12)
		level, err = pump.LossAtSpeed(w, 100, 1750)
		require.NoError(t, err)
		require.Negative(t, level)
	}
	rpm, err := pump.SpeedFor(68.8)
	require.NoError(t, err)
	require.InEpsilon(t, 1400, rpm, 1e-13)
}

func TestDeliveryDomains(t *testing.T) {
	good := drift.Observation{Minutes: 1, Turns: 1000, Amount: 40}
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		model drift.Model
		o     drift.Observation
	}{
		{"perTurn", drift.Model{}, good}, {"perTurn", drift.Model{PerTurn: nan}, good}, {"slipFlow", drift.Model{PerTurn: 1, SlipFlow: -1}, good},
		{"minutes", pump, drift.Observation{Turns: 1}}, {"minutes", pump, drift.Observation{Minutes: -1, Turns: 1}},
		{"turns", pump, drift.Observation{Minutes: 1}}, {"turns", pump, drift.Observation{Minutes: 1, Turns: math.Inf(1)}},
		{"amount", pump, drift.Observation{Minutes: 1, Turns: 1000, Amount: -1}}, {"amountPulses", pump, drift.Observation{Minutes: 1, Turns: 1000, AmountPulses: -1}},
		{"turnPulses", pump, drift.Observation{Minutes: 1, Turns: 1000, TurnPulses: nan}},
		{"turns", pump, drift.Observation{Minutes: 1, Turns: 24}}, // all of it slips
	} {
		var domain *statistics.DomainError
		_, err := c.model.Read(c.o)
		require.ErrorAs(t, err, &domain, c.name)
		require.Equal(t, c.name, domain.Name)
		_, err = c.model.LossBy(drift.Share, c.o)
		require.ErrorAs(t, err, &domain, c.name)
	}
	var domain *statistics.DomainError
	_, err := pump.Worn(drift.Share, 100)
	require.ErrorAs(t, err, &domain)
	_, err = pump.Worn(drift.Leak, -1.3)
	require.ErrorAs(t, err, &domain)
	_, err = pump.SpeedFor(-1)
	require.ErrorAs(t, err, &domain)
	for _, bad := range [][2]float64{{0, 1400}, {101, 1400}, {nan, 1400}, {2, 0}, {2, nan}, {2, 20}} {
		_, err = pump.LossAtTolerance(drift.Leak, bad[0], bad[1])
		require.ErrorAs(t, err, &domain)
	}
	_, err = pump.LossAtSpeed(drift.Leak, -1, 1000)
	require.ErrorAs(t, err, &domain)
}
