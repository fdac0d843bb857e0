package ratio

import (
	"strconv"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// SetpointWorking derives the setpoint to which ramp i goes, as for any drive.
func (q *Ramps) SetpointWorking(found *RampSet, i int) []scaling.Step {
	s := q.subject(i)
	return scaling.Working(&s, scaling.Measure{Unit: q.Ramps[i].To.Unit}, &found.ToSetpoint[i])
}

// Working derives the times of found, which [Ramps.Find] found for q.
func (q *Ramps) Working(found *RampSet) (steps []scaling.Step) {
	if found.LeastTime.Unit == nil {
		return nil
	}
	var names []string
	var inputs []scaling.Input
	for i := range found.Ramps {
		if found.Ramps[i].FastestTime.Unit == nil {
			continue
		}
		steps = append(steps, q.fastestStep(found, i))
		name := "time" + strconv.Itoa(i+1)
		names, inputs = append(names, name), append(inputs, scaling.Input{Name: name, Value: found.Ramps[i].FastestTime})
	}
	if found.CommonTime.Unit == nil {
		return steps
	}
	steps = append(steps, scaling.Step{ID: "common-ramp/1", Name: "common ramp: the slowest drive's time", Formula: greatest(names), Result: found.LeastTime, Inputs: inputs})
	if step, ok := q.wholeSteps(found); ok {
		steps = append(steps, step)
	}
	for i := range found.Ramps {
		if found.Ramps[i].Setting.Unit != nil {
			steps = append(steps, q.settingSteps(found, i)...)
		}
	}
	steps = append(steps, q.materialSteps(found)...)
	return append(steps, q.delaySteps(found)...)
}

// wholeSteps derives the common time where it was taken up to whole steps.
func (q *Ramps) wholeSteps(found *RampSet) (step scaling.Step, ok bool) {
	size := q.run(new(exact.Calc)).coarsest()
	if size.Unit == nil || q.Time.Unit != nil {
		return step, false
	}
	return scaling.Step{ID: "common-ramp/1", Name: "the same in whole steps of the drives that take the time of the change", Formula: "ceil(least / step) * step",
		Result: found.CommonTime, Inputs: []scaling.Input{{Name: "least", Value: found.LeastTime}, {Name: "step", Value: size}}}, true
}

func greatest(names []string) string {
	if len(names) == 1 {
		return names[0]
	}
	return "max(" + strings.Join(names, ", ") + ")"
}

// changeInput is the change of a motor's speed without its sign.
func changeInput(ramp *RampOf) scaling.Input {
	change := ramp.ToRPM.Value - ramp.FromRPM.Value
	return scaling.Input{Name: "change", Value: units.Quantity{Value: max(change, -change), Unit: rpm}}
}

func (q *Ramps) fastestStep(found *RampSet, i int) scaling.Step {
	ramp, out := &q.Ramps[i], &found.Ramps[i]
	step := scaling.Step{ID: "ramp-time/1", Name: "shortest time of the change of " + ramp.DriveID, Result: out.FastestTime}
	fastest := scaling.Input{Name: "fastest", Value: ramp.FastestTime}
	switch {
	case ramp.Acceleration.Unit != nil && ramp.Acceleration.Unit.Dimension() == units.RotationPerTime:
		step.Formula, step.Inputs = "change / acceleration", []scaling.Input{changeInput(out), {Name: "acceleration", Value: ramp.Acceleration}}
	case ramp.Acceleration.Unit != nil:
		step.Formula, step.Inputs = "change / acceleration", []scaling.Input{q.rateChange(i), {Name: "acceleration", Value: ramp.Acceleration}}
	case ramp.Meaning == ThisChange:
		step.Formula, step.Inputs = "fastest", []scaling.Input{fastest}
	default:
		step.Formula, step.Inputs = "fastest * change / rampMax", []scaling.Input{fastest, changeInput(out), q.rampMaxInput(i)}
	}
	return step
}

// rateChange is the change of the rate that the drive would deliver without slip flow.
func (q *Ramps) rateChange(i int) scaling.Input {
	r := q.run(new(exact.Calc))
	change := r.to[i].Rate.Sub(r.from[i].Rate).Abs()
	unit := scaling.UsualRateUnit(q.drive(i).RateDimension())
	return scaling.Input{Name: "change", Value: units.Quantity{Value: units.FromBase(r.c, change, unit).Float(), Unit: unit}}
}

func (q *Ramps) rampMaxInput(i int) scaling.Input {
	return scaling.Input{Name: "rampMax", Value: units.Quantity{Value: q.rampMax(i), Unit: rpm}}
}

// settingSteps derives the ramp-time setting of drive i, and the time that it takes.
func (q *Ramps) settingSteps(found *RampSet, i int) (steps []scaling.Step) {
	ramp, out := &q.Ramps[i], &found.Ramps[i]
	formula, back := "time", "setting"
	inputs := []scaling.Input{{Name: "time", Value: found.CommonTime}}
	backInputs := []scaling.Input{{Name: "setting", Value: out.Setting}}
	if ramp.Meaning == ZeroToMax {
		formula, back = "time * rampMax / change", "setting * change / rampMax"
		inputs = append(inputs, q.rampMaxInput(i), changeInput(out))
		backInputs = append(backInputs, q.rampMaxInput(i), changeInput(out))
	}
	name := "ramp-time setting of " + ramp.DriveID
	if ramp.TimeStep.Unit != nil {
		formula, inputs = "round(("+formula+") / step) * step", append(inputs, scaling.Input{Name: "step", Value: ramp.TimeStep})
		if roundedUp(q, found, i) {
			formula, name = formula+" + step", name+", a step longer so that it is not too fast"
		}
	}
	return append(steps,
		scaling.Step{ID: "ramp-setting/1", Name: name, Formula: formula, Result: out.Setting, Inputs: inputs},
		scaling.Step{ID: "ramp-setting/1", Name: "time that its change then takes", Formula: back, Result: out.Time, Inputs: backInputs})
}

// roundedUp reports whether the nearest step would have been too fast.
func roundedUp(q *Ramps, found *RampSet, i int) bool {
	c := new(exact.Calc)
	share := 1.0
	if q.Ramps[i].Meaning == ZeroToMax {
		share = changeInput(&found.Ramps[i]).Value.Value / q.rampMax(i)
	}
	exactSetting := found.CommonTime.Base(c).Float() / share
	return found.Ramps[i].Setting.Base(c).Float()-exactSetting > q.Ramps[i].TimeStep.Base(c).Float()*0.500001 // a tie goes up by itself
}

// delaySteps derive the travel of the belt from each delay.
func (q *Ramps) delaySteps(found *RampSet) (steps []scaling.Step) {
	if q.Stagger == nil {
		return nil
	}
	r := q.run(new(exact.Calc))
	belt := q.find(q.Stagger.BeltID)
	speed := func(name string, rate exact.Num) scaling.Input {
		return scaling.Input{Name: name, Value: units.Quantity{Value: rate.Float(), Unit: metrePerMinute}}
	}
	from, to := speed("from", r.from[belt].Rate), speed("to", r.to[belt].Rate)
	ramp := scaling.Input{Name: "time", Value: found.Ramps[belt].Time}
	for _, start := range found.Starts {
		if start.Delay.Unit == nil {
			continue
		}
		step := scaling.Step{ID: "start-delay/1", Name: "travel of the belt in the delay of " + start.DriveID, Result: start.Travel}
		delay := scaling.Input{Name: "delay", Value: start.Delay}
		switch {
		case ramp.Value.Unit == nil:
			step.Formula, step.Inputs = "delay * speed", []scaling.Input{delay, speed("speed", r.to[belt].Rate)}
		case start.Delay.Value <= ramp.Value.Value:
			step.Formula, step.Inputs = "from * delay + (to - from) * delay * delay / (2 * time)", []scaling.Input{from, delay, to, ramp}
		default:
			step.Formula, step.Inputs = "(from + to) / 2 * time + to * (delay - time)", []scaling.Input{from, to, ramp, delay}
		}
		steps = append(steps, step)
	}
	return steps
}

var metrePerMinute = units.MustParse("m/min")
