package measurement

import (
	"strings"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Working derives the rates that Find found.
func (m *Catch) Working(rates []CatchRate) []scaling.Step {
	var out []scaling.Step
	for i := range rates {
		run, rate := &m.Runs[i], &rates[i]
		out = append(out, m.rateStep(run, rate))
		if rate.UncertaintyPercent.Set {
			out = append(out, m.uncertaintyStep(run, rate))
		}
		if rate.LeastTime.Unit != nil {
			out = append(out, m.timeStep(run, rate))
		}
	}
	return out
}

func (m *Catch) rateStep(run *CatchRun, rate *CatchRate) scaling.Step {
	formula, inputs := "amount / time", []scaling.Input{{Name: "amount", Value: run.Amount}, {Name: "time", Value: run.Time}}
	if m.needsDensity() {
		formula += " / density"
		if _, own := ownUnit(m.Drive); own == units.MassFlow {
			formula = "amount / time * density"
		}
		inputs = append(inputs, scaling.Input{Name: "density", Value: scaling.DensityFor(m.Drive, m.Material)})
	}
	return scaling.Step{ID: "catch-rate/1", Name: "process rate of the run", Formula: formula, Inputs: inputs, Result: rate.Rate}
}

// lasting are the parts of a rate's uncertainty that no longer run lessens.
func (m *Catch) lasting() (terms []string, inputs []scaling.Input) {
	if m.AmountPercent.Set {
		terms, inputs = append(terms, square("ofAmount")), append(inputs, scaling.Input{Name: "ofAmount", Value: percents(m.AmountPercent.Value)})
	}
	if m.needsDensity() && m.DensityPercent.Set {
		terms, inputs = append(terms, square("ofDensity")), append(inputs, scaling.Input{Name: "ofDensity", Value: percents(m.DensityPercent.Value)})
	}
	return terms, inputs
}

// fixed are the parts that a longer run lessens.
func (m *Catch) fixed(run *CatchRun) (terms []string, inputs []scaling.Input) {
	if m.AmountUncertainty.Unit != nil {
		terms = append(terms, square("(amountUncertainty / amount)"))
		inputs = append(inputs, scaling.Input{Name: "amountUncertainty", Value: m.AmountUncertainty}, scaling.Input{Name: "amount", Value: run.Amount})
	}
	terms = append(terms, square("(timeUncertainty / time)"))
	return terms, append(inputs, scaling.Input{Name: "timeUncertainty", Value: m.TimeUncertainty}, scaling.Input{Name: "time", Value: run.Time})
}

func (m *Catch) uncertaintyStep(run *CatchRun, rate *CatchRate) scaling.Step {
	terms, inputs := m.fixed(run)
	more, moreInputs := m.lasting()
	return scaling.Step{ID: "catch-uncertainty/1", Name: "expanded uncertainty of that rate",
		Formula: "sqrt(" + strings.Join(append(terms, more...), " + ") + ")", Inputs: append(inputs, moreInputs...), Result: percents(rate.UncertaintyPercent.Value)}
}

func (m *Catch) timeStep(run *CatchRun, rate *CatchRate) scaling.Step {
	terms, inputs := m.fixed(run)
	less, lessInputs := m.lasting()
	below := strings.Join(append([]string{square("wanted")}, less...), " - ")
	inputs = append(append(inputs, scaling.Input{Name: "wanted", Value: percents(m.WantedPercent.Value)}), lessInputs...)
	return scaling.Step{ID: "catch-time/1", Name: "least time for the wanted uncertainty",
		Formula: "time * sqrt((" + strings.Join(terms, " + ") + ") / (" + below + "))", Inputs: inputs, Result: rate.LeastTime}
}
