package scaling

import (
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// counted is a belt whose motor of 10 to 2000 r/min has 60 pulses a turn, so 10 to
// 2000 Hz; one turn is 0.1 m.
func counted(k Counting) Drive {
	d := belt(Register{})
	d.Motor = Motor{MinRPM: 10, MaxRPM: 2000}
	d.Sensors = []Sensor{{ID: "s", Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, Counting: k}}
	return d
}

// Worked by hand: 0.1 s of gate tells 10 Hz, which is 100 % of 10 Hz and 0.5 % of
// 2000 Hz; for 1 % a gate of 1/(0.01 * f) is needed. A clock of 1 MHz over 10 periods
// tells f^2/10^7: 10^-5 Hz at 10 Hz, 0.4 Hz at 2000 Hz; 1 % is met up to 10^5 Hz. The
// frequencies of shafts: 1750 r/min on 60 teeth are 1750 Hz (published, with 1500 on 24).
func TestCountingResolution(t *testing.T) {
	byGate := counted(Counting{Kind: ByGate, Gate: q(100, "ms"), WantedPercent: Some(1.0)})
	var checks []Check
	report := SensorsOf(new(exact.Calc), &Subject{Drive: &byGate}, &checks)[0]
	require.Equal(t, []Code{SensorCoarserThanWanted}, codes(checks)) // at the lowest speed
	require.Contains(t, checks[0].Message(), "at 10 r/min of the motor one pulse in the gate of sensor \"s\" is 100 % of the speed, and 1 % is wanted; a gate of 10 s would do")
	require.Equal(t, "the motor shaft, which is the last shaft", report.Shaft)
	require.Equal(t, Some(100.0/0.1/1), Some(report.HzAtWanted.Value))
	low, high := report.Low, report.High
	require.Equal(t, []float64{10, 2000}, []float64{low.Hz, high.Hz})
	require.InEpsilon(t, 10.0, low.ResolutionHz.Value, 1e-15)
	require.InEpsilon(t, 10.0, low.ResolutionRPM.Value, 1e-15)
	require.InEpsilon(t, 1.0, low.ResolutionRate.Value, 1e-15) // m/min
	require.InEpsilon(t, 100.0, low.ResolutionPercent.Value, 1e-15)
	require.InEpsilon(t, 0.5, high.ResolutionPercent.Value, 1e-15)
	require.InEpsilon(t, 0.1, low.UpdateSeconds.Value, 1e-15)
	require.InEpsilon(t, 10.0, low.WantedSeconds.Value, 1e-15)
	require.InEpsilon(t, 0.05, high.WantedSeconds.Value, 1e-15)

	byPeriod := counted(Counting{Kind: ByPeriod, ClockHz: 1e6, Periods: Some[int32](10), WantedPercent: Some(0.001)})
	report = SensorsOf(new(exact.Calc), &Subject{Drive: &byPeriod}, new([]Check))[0]
	low, high = report.Low, report.High
	require.InEpsilon(t, 1e-5, low.ResolutionHz.Value, 1e-14)
	require.InEpsilon(t, 0.4, high.ResolutionHz.Value, 1e-14)
	require.InEpsilon(t, 0.02, high.ResolutionPercent.Value, 1e-14)
	require.InEpsilon(t, 1.0, low.UpdateSeconds.Value, 1e-14)   // ten periods of 0.1 s
	require.InEpsilon(t, 0.1, low.WantedSeconds.Value, 1e-14)   // one is enough
	require.InEpsilon(t, 0.1, high.WantedSeconds.Value, 1e-14)  // 200 of 0.5 ms
	require.InEpsilon(t, 100.0, report.HzAtWanted.Value, 1e-14) // 10^-5 * 10^7
	require.Equal(t, Optional[float64]{}, SensorsOf(new(exact.Calc), &Subject{Drive: ptr(counted(Counting{}))}, new([]Check))[0].Low.ResolutionHz)
}

func ptr[T any](v T) *T { return &v }

// Simulated counting: of a gate laid anywhere over the pulses, the count is one of
// two neighbours, so one pulse is what the gate tells apart.
func TestGateTellsOnePulse(t *testing.T) {
	const gate, hz = 0.1, 123.0
	seen := map[int]bool{}
	for i := range 1000 {
		start := float64(i) / 1000 / hz
		seen[int((start+gate)*hz)-int(start*hz)] = true
	}
	require.Equal(t, map[int]bool{12: true, 13: true}, seen) // 120 or 130 Hz: 1/gate apart
}

// Simulated timing: a clock of 100 kHz that is asynchronous to 5 periods of 123 Hz counts
// one of two neighbours, whose frequencies lie f^2 / (periods * clock) apart, but for
// the curvature of 1/x.
func TestPeriodsTellOneTick(t *testing.T) {
	const clock, periods, hz = 1e5, 5, 123.0
	seen := map[int]bool{}
	for i := range 1000 {
		start := float64(i) / 1000 / clock
		seen[int((start+periods/hz)*clock)-int(start*clock)] = true
	}
	require.Equal(t, map[int]bool{4065: true, 4066: true}, seen)
	apart := periods*clock/4065 - periods*clock/4066
	require.InEpsilon(t, hz*hz/(periods*clock), apart, 1e-3)
	d := counted(Counting{Kind: ByPeriod, ClockHz: clock, Periods: Some[int32](periods)})
	d.Motor = Motor{MinRPM: hz, MaxRPM: 2000}
	report := SensorsOf(new(exact.Calc), &Subject{Drive: &d}, new([]Check))[0]
	require.InEpsilon(t, apart, report.Low.ResolutionHz.Value, 1e-3)
}

func TestSensorChecks(t *testing.T) {
	d := counted(Counting{Kind: ByGate, Gate: q(100, "ms"), WantedPercent: Some(1.0)})
	d.Readout = Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 1}
	d.Sensors = append(d.Sensors,
		Sensor{ID: "plain", Kind: ShaftSensor, PulsesPerTurn: 60, MaxHz: Some(100.0)}, // says nothing without counting
		Sensor{ID: "slow", Kind: ShaftSensor, PulsesPerTurn: 1, MinHz: 10, Counting: Counting{Kind: ByGate, Gate: q(1, "s")}},
		Sensor{ID: "fast", Kind: ShaftSensor, PulsesPerTurn: 600, MaxHz: Some(4000.0), Counting: Counting{Kind: ByPeriod, ClockHz: 1e6}})
	_, checks := set(Subject{Drive: &d}, q(50, "m/min"), units.Quantity{}) // 500 r/min, 500 Hz
	require.Equal(t, []Code{SensorCoarserThanWanted, ReadoutFinerThanSensor, SensorBelowItsLimit, SensorAboveItsLimit}, codes(checks))
	require.Contains(t, checks[0].Message(), "is 2 % of the speed, and 1 % is wanted; a gate of 0.2 s would do")
	require.InEpsilon(t, 10.0, checks[1].Number, 1e-12) // 1 m/min, and the last digit is 0.1
	require.InEpsilon(t, 500.0/60, checks[2].Number, 1e-12)
	require.InEpsilon(t, 5000.0, checks[3].Number, 1e-12)
	for i := range checks {
		require.NotEmpty(t, checks[i].Message())
	}
	d.Readout.Decimals = 0
	d.Sensors = d.Sensors[:1]
	d.Sensors[0].Counting = Counting{Kind: ByPeriod, ClockHz: 1e5, WantedPercent: Some(0.1)}
	_, checks = set(Subject{Drive: &d}, q(50, "m/min"), units.Quantity{})
	require.Equal(t, []Code{SensorCoarserThanWanted}, codes(checks))
	require.Contains(t, checks[0].Message(), "over 1 periods of sensor \"s\" is 0.5 % of the speed, and 0.1 % is wanted; 5 periods would do")
}

// A sensor on the last shaft, and behind the first of two stages.
func TestSensorsOnDrivenShafts(t *testing.T) {
	d := counted(Counting{})
	d.Transmission = []Stage{{Kind: Gearbox, Ratio: 10, Exact: true}, {Kind: Chain, DriverTeeth: 20, DrivenTeeth: 40}}
	d.Sensors = append(d.Sensors,
		Sensor{ID: "last", Kind: ShaftSensor, PulsesPerTurn: 60, StagesFromMotor: 2, MaxHz: Some(50.0)},
		Sensor{ID: "between", Kind: ShaftSensor, PulsesPerTurn: 60, StagesFromMotor: 1, MinHz: 2})
	var checks []Check
	reports := SensorsOf(new(exact.Calc), &Subject{Drive: &d}, &checks)
	require.Equal(t, []string{"the motor shaft", "the last shaft", "the shaft behind stage 1"}, []string{reports[0].Shaft, reports[1].Shaft, reports[2].Shaft})
	require.InEpsilon(t, 3.0, reports[1].PulsesPerMotorTurn.Value, 1e-15)
	require.InEpsilon(t, 0.1, reports[2].TurnsPerMotorTurn.Value, 1e-15)
	require.InEpsilon(t, 200.0, reports[2].High.Hz, 1e-15)
	require.Equal(t, []Code{SensorAboveItsLimit, SensorBelowItsLimit}, codes(checks))
}

// 250 pulses a litre: 10 L/min are 2500/60 Hz; a gate of 1 s tells 60/250 L/min.
func TestFlowMeterCounts(t *testing.T) {
	d := Drive{
		Motor: Motor{MinRPM: 100, MaxRPM: 1020}, Delivery: Delivery{Kind: Pump, Displacement: q(10, "mL/r"), SlipFlow: q(0.2, "L/min")},
		Sensors: []Sensor{{ID: "meter", Kind: FlowSensor, ClosesLoop: true, KFactor: q(250, "pulse/L"), Counting: Counting{Kind: ByGate, Gate: q(1, "s")}}},
		Readout: Readout{Unit: units.MustParse("L/min"), Digits: 4, Decimals: 2},
	}
	report := SensorsOf(new(exact.Calc), &Subject{Drive: &d}, new([]Check))[0]
	require.Empty(t, report.Shaft)
	require.InEpsilon(t, 2500.0/60, report.High.Hz, 1e-14)
	require.InEpsilon(t, 24.0, report.High.ResolutionRPM.Value, 1e-14)
	require.InEpsilon(t, 0.24, report.High.ResolutionRate.Value, 1e-14)
	readout := ReadoutOf(new(exact.Calc), &Subject{Drive: &d})
	require.InEpsilon(t, 24.0, readout.High.SensorStep.Value, 1e-12)
	require.Equal(t, []string{"0.00", "0.80", "10.00"}, []string{readout.AtStand.String(), readout.Low.Text.String(), readout.High.Text.String()})
}
