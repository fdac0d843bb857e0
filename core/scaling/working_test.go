package scaling_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	. "linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

func counts(k0 int32, v0 units.Quantity, k1 int32, v1 units.Quantity) Register {
	return Register{Kind: IntegerRegister, Type: Uint16, Span: [2]SpanPoint{{Count: Some(k0), Value: v0}, {Count: Some(k1), Value: v1}}}
}

// Every step's formula, read as an equation between quantities, must give the
// step's result: the working is not a story told beside the calculation.
func TestWorkingAddsUp(t *testing.T) {
	material := Material{ID: "m", Density: q(1.2, "kg/L"), BulkDensity: q(0.8, "kg/L"), FillPercent: Some(45.0)}
	roll := Delivery{Kind: Roll, Diameter: q(98, "mm"), BeltThickness: q(2, "mm"), SlipPercent: 1.5}
	pump := Delivery{Kind: Pump, Displacement: q(12, "mL/r"), SlipFlow: q(0.2, "L/min")}
	stages := []Stage{
		{Kind: Gearbox, Ratio: 12.5, Exact: true}, {Kind: Belt, DriverDiameter: q(4, "in"), DrivenDiameter: q(150, "mm"), SlipPercent: 1},
		{Kind: Chain, DriverTeeth: 15, DrivenTeeth: 38}, {Kind: GearPair, DriverTeeth: 20, DrivenTeeth: 21},
	}
	inRPM := counts(0, q(0, "r/min"), 18000, q(1800, "r/min"))
	onLast := inRPM
	onLast.Shaft = LastShaft
	loop := []Sensor{{Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, StagesFromMotor: 1, MinHz: 1, MaxHz: Some(5000.0)}}
	meter := []Sensor{{Kind: FlowSensor, ClosesLoop: true, KFactor: q(250, "pulse/L")}}
	for name, c := range map[string]struct {
		drive  Drive
		target units.Quantity
		steps  int
	}{
		"rate of a roll":      {Drive{Transmission: stages, Delivery: roll, Register: inRPM, Sensors: loop}, q(2, "m/min"), 14},
		"dwell":               {Drive{Transmission: stages, Delivery: roll, Register: onLast, Sensors: loop}, q(9, "min"), 19},
		"sprocket, own unit":  {Drive{Delivery: Delivery{Kind: Sprocket, Teeth: 17, Pitch: q(0.5, "in")}, Register: counts(0, q(0, "ft/min"), 5000, q(500, "ft/min"))}, q(200, "ft/min"), 13},
		"pump by mass":        {Drive{Delivery: pump, Register: counts(0, q(0, "L/min"), 5000, q(10, "L/min")), Sensors: meter}, q(3, "kg/min"), 16},
		"pump by efficiency":  {Drive{Delivery: Delivery{Kind: Pump, Displacement: q(12, "mL/r"), VolumetricEfficiencyPercent: Some(93.0), AtRPM: Some(400.0)}}, q(5, "L/min"), 9},
		"screw by mass":       {Drive{Transmission: stages[:1], Delivery: Delivery{Kind: Screw, VolumePerTurn: q(1.5, "L/r")}, Register: inRPM}, q(900, "kg/h"), 15},
		"feeder mass":         {Drive{Delivery: Delivery{Kind: Feeder, MassPerTurn: q(12, "g/r")}}, q(20, "L/h"), 11},
		"indexer":             {Drive{Delivery: Delivery{Kind: Indexer, PiecesPerTurn: 2}, Register: inRPM}, q(90, "pc/min"), 12},
		"reference":           {Drive{References: []Reference{{Value: q(12, "m/min"), MotorRPM: 900}}, Register: inRPM}, q(8, "m/min"), 11},
		"motor speed":         {Drive{Register: inRPM}, q(777.77, "r/min"), 6},
		"volume pitch roller": {Drive{Delivery: Delivery{Kind: Roll, PitchDiameter: q(101, "mm")}}, q(30, "m/min"), 9},
	} {
		t.Run(name, func(t *testing.T) {
			d := c.drive
			d.Motor = Motor{MaxRPM: 6000, Regulation: Regulation{Percent: Some(0.5), Of: MaxSpeed}}
			if name == "dwell" {
				d.Readout = Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 2}
				d.Motor.Regulation = Regulation{DroopPercent: Some(3.0)}
			}
			s := Subject{Drive: &d, Material: &material, ReadoutSection: &Section{Length: q(20, "m")}}
			m := Measure{Unit: c.target.Unit, Length: q(20, "m")}
			find := func(target units.Quantity) (out Setpoint) {
				var checks []Check
				For(new(exact.Calc), &s, m, target.Base(new(exact.Calc)), &checks, &out)
				return out
			}
			out := find(c.target)
			require.True(t, out.AchievedRPM.Set)
			steps := Working(&s, m, &out)
			require.Len(t, steps, c.steps)
			if d.RateDimension() != (units.Dimension{}) {
				steps = append(steps, ScaleWorking(&s)...)
			}
			tooFast := c.target
			tooFast.Value *= 1000
			if tooFast.Unit.Dimension() == units.TimeDim {
				tooFast.Value *= 1e-6
			}
			out = find(tooFast)
			require.False(t, out.AchievedRPM.Set)
			steps = append(steps, Working(&s, m, &out)...)
			for _, step := range steps {
				require.NotEmpty(t, step.Name)
				got, want, err := formulatest.Evaluate(step)
				require.NoError(t, err)
				// The result and the inputs are rounded doubles; a small difference
				// of two of them, as an error in percent, keeps fewer digits.
				require.InDelta(t, want, got, 1e-12*math.Max(math.Abs(want), 1), "%s: %s", step.ID, step.Formula)
			}
		})
	}
}

// The same of what is found from a number that is loaded, of readouts that cut off, of
// a time while the belt runs backwards, and of sensors whose way of counting is known.
func TestWorkingFromNumbersAddsUp(t *testing.T) {
	belt := Delivery{Kind: Sprocket, Teeth: 10, Pitch: q(12.5, "mm")}
	both := counts(-8000, q(-1000, "r/min"), 8000, q(1000, "r/min"))
	both.Type = Int16
	current := Register{Kind: CurrentOutput, Span: [2]SpanPoint{{Milliamps: Some(4.0), Value: q(0, "r/min")}, {Milliamps: Some(20.0), Value: q(1750, "r/min")}}}
	voltage := Register{Kind: VoltageOutput, Span: [2]SpanPoint{{Volts: Some(0.0), Value: q(0, "m/min")}, {Volts: Some(10.0), Value: q(100, "m/min")}}}
	loop := func(k Counting) []Sensor {
		return []Sensor{{Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, Counting: k}}
	}
	gate, period := Counting{Kind: ByGate, Gate: q(50, "ms")}, Counting{Kind: ByPeriod, ClockHz: 1e6, Periods: Some[int32](4)}
	for name, c := range map[string]struct {
		register Register
		number   float64
		unit     string
		sensors  []Sensor
		ids      []string
	}{
		"current":         {current, 12.5, "m/min", loop(gate), []string{"achieved-speed/1", "readout-cut/1", "sensor-resolution/1"}},
		"voltage":         {voltage, 4.4, "m/min", loop(period), []string{"achieved-speed/1", "readout-cut/1", "sensor-resolution/1"}},
		"backwards":       {both, -4001, "m/min", nil, []string{"achieved-speed/1", "readout-cut/1"}},
		"time, backwards": {both, -4001, "s", loop(period), []string{"readout-value/1", "readout-cut/1", "sensor-resolution/1"}},
	} {
		t.Run(name, func(t *testing.T) {
			d := Drive{Motor: Motor{MaxRPM: 1750}, Delivery: belt, Sensors: c.sensors, Register: c.register,
				Readout: Readout{Unit: units.MustParse(c.unit), Digits: 6, Decimals: 1, Truncates: true}}
			s := Subject{Drive: &d, ReadoutSection: &Section{Length: q(20, "m")}}
			m := Measure{Unit: units.MustParse("m/min")}
			var checks []Check
			var out Setpoint
			if c.register.Kind == IntegerRegister {
				FromCount(new(exact.Calc), &s, m, int32(c.number), &checks, &out)
			} else {
				FromOutput(new(exact.Calc), &s, m, c.number, &checks, &out)
			}
			found := map[string]bool{}
			for _, step := range append(Working(&s, m, &out), ScaleWorking(&s)...) {
				got, want, err := formulatest.Evaluate(step)
				require.NoError(t, err)
				require.InDelta(t, want, got, 1e-12*math.Max(math.Abs(want), 1), "%s: %s", step.ID, step.Formula)
				found[step.ID] = true
			}
			for _, id := range c.ids {
				require.True(t, found[id], id)
			}
		})
	}
}
