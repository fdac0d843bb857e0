package diagnosis_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/diagnosis"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
)

// Every step's formula gives its result, for every kind of mistake that can come first.
func TestWorkingAddsUp(t *testing.T) {
	shown := map[Cause]bool{}
	check := func(s *scaling.Subject, observations ...Observation) {
		answer := Diagnose(s, observations, true)
		for _, c := range answer.Candidates {
			shown[c.Mistakes[0].Cause] = true
		}
		require.NotEmpty(t, answer.Working)
		for _, step := range answer.Working {
			require.NotEmpty(t, step.Name)
			got, want, err := formulatest.Evaluate(step)
			require.NoError(t, err)
			require.InDelta(t, want, got, 1e-11*math.Max(math.Abs(want), 1), "%s: %s", step.ID, step.Formula)
		}
	}
	for _, c := range simulatedMistakes() {
		check(c.subject(), c.observation())
		// The same seen at the motor shaft, where a stage before the sensor shows inverted.
		motor := c.observation()
		motor.Observed = q(2*setTo, "r/min")
		check(c.subject(), motor)
	}
	meters := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1500},
		Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: q(10, "mL/r"), VolumetricEfficiencyPercent: scaling.Some(92.0), AtRPM: scaling.Some(900.0)},
		Sensors: []scaling.Sensor{
			{ID: "meter", Kind: scaling.FlowSensor, ClosesLoop: true, KFactor: q(250, "pulse/L")},
			{ID: "old meter", Kind: scaling.FlowSensor, KFactor: q(1000, "pulse/gal_us")},
		}}
	at := func(rpm, litres float64) Observation {
		return Observation{MotorRPM: scaling.Some(rpm), Observed: q(litres, "L/min"), UncertaintyPercent: 1}
	}
	s := &scaling.Subject{Drive: &meters}
	check(s, at(900, 8.28*1000/3.785411784/250))
	check(s, at(900, 9), at(200, 1.2))
	check(s, at(900, 9))
	for cause := NoMistake; cause <= SomethingElse; cause++ {
		require.True(t, shown[cause], "cause %d was never shown", cause)
	}
}

func TestBadObservations(t *testing.T) {
	belt := plants()[1].drive
	belt.Register = scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Uint16, Span: [2]scaling.SpanPoint{
		{Count: scaling.Some[int32](0), Value: q(0, "r/min")}, {Count: scaling.Some[int32](18000), Value: q(1800, "r/min")}}}
	bare := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1500}}
	leaky := scaling.Drive{Motor: scaling.Motor{MaxRPM: 1500}, Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: q(10, "mL/r"), SlipFlow: q(3, "L/min")}}
	good := Observation{MotorRPM: scaling.Some(200.0), Observed: q(12, "m/min"), UncertaintyPercent: 1}
	type violation struct {
		path   string
		reason fault.Reason
	}
	for name, c := range map[string]struct {
		drive  scaling.Drive
		change func(*Observation)
		want   []violation
	}{
		"good":            {belt, func(*Observation) {}, nil},
		"reading of zero": {belt, func(o *Observation) { o.Observed.Value = 0 }, []violation{{"observations[0].observed.value", fault.OutOfRange}}},
		"reading below":   {belt, func(o *Observation) { o.Observed.Value = -1 }, []violation{{"observations[0].observed.value", fault.OutOfRange}}},
		"no uncertainty":  {belt, func(o *Observation) { o.UncertaintyPercent = 0 }, []violation{{"observations[0].uncertaintyPercent", fault.OutOfRange}}},
		"too uncertain":   {belt, func(o *Observation) { o.UncertaintyPercent = 51 }, []violation{{"observations[0].uncertaintyPercent", fault.OutOfRange}}},
		"mass of a belt":  {belt, func(o *Observation) { o.Observed = q(3, "kg/h") }, []violation{{"observations[0].observed.unit", fault.UnitWrongKind}}},
		"rate of a motor": {bare, func(*Observation) {}, []violation{{"observations[0].observed.unit", fault.UnitWrongKind}}},
		"shaft of a rate": {belt, func(o *Observation) { o.Shaft = scaling.LastShaft }, []violation{{"observations[0].shaft", fault.Conflict}}},
		"no such sensor":  {bare, func(o *Observation) { o.Observed, o.Shaft = q(9, "r/min"), scaling.SensorShaft }, []violation{{"observations[0].shaft", fault.Conflict}}},
		"count, no register": {bare, func(o *Observation) {
			o.MotorRPM, o.Count, o.Observed = scaling.Optional[float64]{}, scaling.Some[int32](7), q(9, "r/min")
		}, []violation{{"observations[0].count", fault.Conflict}}},
		"count too high": {belt, func(o *Observation) {
			o.MotorRPM, o.Count = scaling.Optional[float64]{}, scaling.Some[int32](70000)
		}, []violation{{"observations[0].count", fault.OutOfRange}}},
		"count of a stand": {belt, func(o *Observation) {
			o.MotorRPM, o.Count = scaling.Optional[float64]{}, scaling.Some[int32](0)
		}, []violation{{"observations[0].observed", fault.Conflict}}},
		"pump gives nothing": {leaky, func(o *Observation) { o.Observed = q(1, "L/min") }, []violation{{"observations[0].observed", fault.Conflict}}},
		"mass without density": {leaky, func(o *Observation) {
			o.MotorRPM.Value, o.Observed = 900, q(1, "kg/min")
		}, []violation{{"material.density", fault.Required}}},
		"time without section": {belt, func(o *Observation) {
			o.MotorRPM, o.Shown = scaling.Optional[float64]{}, q(4, "min")
		}, []violation{{"section", fault.Required}}},
		"time of a pump": {leaky, func(o *Observation) {
			o.MotorRPM, o.Shown, o.Observed = scaling.Optional[float64]{}, q(4, "min"), q(1, "L/min")
		}, []violation{{"observations[0].shown", fault.Conflict}}},
		"motor too slow to be": {belt, func(o *Observation) { o.MotorRPM.Value = -5 }, []violation{{"observations[0].motorRpm", fault.OutOfRange}}},
	} {
		t.Run(name, func(t *testing.T) {
			o := good
			c.change(&o)
			at := fault.Root("observations")
			var faults fault.List
			Validate(&scaling.Subject{Drive: &c.drive}, []Observation{o}, &at, &faults)
			var got []violation
			for _, f := range faults {
				got = append(got, violation{f.Path, f.Reason})
			}
			require.Equal(t, c.want, got, "%v", faults)
		})
	}
}
