package scaling_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	. "linepace.example/core/scaling"
	"linepace.example/core/units"
)

// kiln is a roller kiln as a plan has it: two stages, a sensor in the loop, a readout
// of the time, a register in r/min, a regulation and a tolerance.
func kiln() Subject {
	d := &Drive{
		ID:           "kiln-rollers",
		Motor:        Motor{MinRPM: 90, MaxRPM: 1750, Regulation: Regulation{Percent: Some(0.5), Of: MaxSpeed}},
		Transmission: []Stage{{Kind: Gearbox, Ratio: 60, Exact: true}, {Kind: Chain, DriverTeeth: 15, DrivenTeeth: 38}},
		Delivery:     Delivery{Kind: Roll, Diameter: q(40, "mm")},
		Sensors:      []Sensor{{ID: "motor-pickup", Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60}},
		Readout:      Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 1},
		Register:     counts(0, q(0, "r/min"), 18000, q(1800, "r/min")),
	}
	return Subject{Drive: d, ReadoutSection: &Section{ID: "kiln", Length: q(48, "m")}, Tolerance: &Tolerance{MinusPercent: 1, PlusPercent: 1}}
}

// The fast path of the calculations of one drive leaves the heap alone.
func TestFastPathAllocatesNothing(t *testing.T) {
	s := kiln()
	checks := make([]Check, 0, 8)
	var out Setpoint
	var c exact.Calc
	m := Measure{Unit: units.MustParse("min"), Length: s.ReadoutSection.Length}
	rate := Measure{Unit: units.MustParse("m/min")}
	amount := q(42, "min").Base(&c)
	for name, find := range map[string]func(){
		"scale":    func() { checks = checks[:0]; c = exact.Calc{}; ScaleOf(&c, &s, &checks) },
		"setpoint": func() { checks = checks[:0]; c = exact.Calc{}; For(&c, &s, m, amount, &checks, &out) },
		"count":    func() { checks = checks[:0]; c = exact.Calc{}; FromCount(&c, &s, rate, 13824, &checks, &out) },
	} {
		require.Zero(t, testing.AllocsPerRun(100, find), name)
		require.False(t, c.Undecided(), name)
	}
}

func BenchmarkOneDrive(b *testing.B) {
	s := kiln()
	checks := make([]Check, 0, 8)
	var out Setpoint
	var c exact.Calc
	m := Measure{Unit: units.MustParse("min"), Length: s.ReadoutSection.Length}
	amount := q(42, "min").Base(&c)
	b.Run("scale", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			checks = checks[:0]
			ScaleOf(&c, &s, &checks)
		}
	})
	b.Run("setpoint", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			checks = checks[:0]
			For(&c, &s, m, amount, &checks, &out)
		}
	})
}
