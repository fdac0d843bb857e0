package measurement

import (
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Working derives the speeds that Find found.
func (m *Lap) Working(speeds []LapSpeed) []scaling.Step {
	var out []scaling.Step
	for i := range speeds {
		run, speed := &m.Runs[i], &speeds[i]
		if run.Kind == ByWheel {
			formula, inputs := m.wheelFormula(run)
			out = append(out, scaling.Step{ID: "wheel-speed/1", Name: "belt speed on the straight run", Formula: formula, Inputs: inputs, Result: speed.Speed})
			continue
		}
		laps := scaling.Input{Name: "laps", Value: units.Quantity{Value: float64(run.Laps), Unit: one}}
		length := scaling.Input{Name: "lapLength", Value: m.LapLength}
		time := scaling.Input{Name: "time", Value: run.Time}
		out = append(out, scaling.Step{ID: "lap-speed/1", Name: "belt speed", Formula: "laps * lapLength / time",
			Inputs: []scaling.Input{laps, length, time}, Result: speed.Speed})
		if !speed.UncertaintyPercent.Set {
			continue
		}
		uncertain := []scaling.Input{{Name: "lengthUncertainty", Value: m.LengthUncertainty}, length, {Name: "timeUncertainty", Value: m.TimeUncertainty}, time}
		out = append(out, scaling.Step{ID: "lap-uncertainty/1", Name: "expanded uncertainty of that speed",
			Formula: "sqrt(" + square("(lengthUncertainty / lapLength)") + " + " + square("(timeUncertainty / time)") + ")",
			Inputs:  uncertain, Result: percents(speed.UncertaintyPercent.Value)})
		if speed.LapsNeeded.Set {
			out = append(out, m.neededStep(laps, uncertain, float64(speed.LapsNeeded.Value)))
		}
	}
	return out
}

// neededStep derives the uncertainty that the laps needed give, which is at most the
// wanted one.
func (m *Lap) neededStep(laps scaling.Input, uncertain []scaling.Input, needed float64) scaling.Step {
	share := percentOf(m.TimeUncertainty, uncertain[3].Value) * laps.Value.Value / needed
	result := root(percentOf(m.LengthUncertainty, m.LapLength), share)
	return scaling.Step{ID: "laps-needed/1", Name: "uncertainty with the least whole number of laps that reaches the wanted one",
		Formula: "sqrt(" + square("(lengthUncertainty / lapLength)") + " + " + square("(timeUncertainty / time * laps / lapsNeeded)") + ")",
		Inputs:  append(uncertain, laps, scaling.Input{Name: "lapsNeeded", Value: units.Quantity{Value: needed, Unit: one}}), Result: percents(result)}
}
