package dwell

import (
	"strconv"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

var kelvin = units.MustParse("K")

// mostShown bounds the parts of a dose whose derivation is shown.
const mostShown = 1000

// Working derives the numbers of d, which [Profile.Dose] found for p, with temperatures
// in kelvins; nothing for a profile of more than a thousand parts.
func (p *Profile) Working(d *Dose) []scaling.Step {
	if len(d.Parts) > mostShown {
		return nil
	}
	c := new(exact.Calc)
	at := func(t Temperature) units.Quantity { return units.Quantity{Value: t.kelvins(c).Float(), Unit: kelvin} }
	reference, z := input("reference", at(p.Reference)), input("z", units.Quantity{Value: p.z(), Unit: kelvin})
	var steps []scaling.Step
	if p.Z.Scale == NoScale {
		a, b := &p.ZFrom[0], &p.ZFrom[1]
		steps = append(steps, step("z-of-pair/1", "difference that changes the effect tenfold", "(T2 - T1) / log10(t1 / t2)", z.Value,
			input("T1", at(a.Temperature)), input("T2", at(b.Temperature)), input("t1", a.Time), input("t2", b.Time)))
	}
	var terms []string
	var inputs []scaling.Input
	for i := range d.Parts {
		rate := units.Quantity{Value: d.Rates[i], Unit: one}
		if len(p.Steps) > 0 {
			steps = append(steps, step("lethal-rate/1", "lethal rate of step "+strconv.Itoa(i+1), "pow10((T - reference) / z)", rate, input("T", at(p.Steps[i].Temperature)), reference, z))
		} else {
			from, to := at(p.Points[i].Temperature), at(p.Points[i+1].Temperature)
			formula := "(pow10((T2 - reference) / z) - pow10((T1 - reference) / z)) / (log(10) * (T2 - T1) / z)"
			if from == to {
				formula = "pow10((max(T1, T2) - reference) / z)"
			}
			steps = append(steps, step("lethal-rate-mean/1", "mean lethal rate from point "+strconv.Itoa(i+1)+" to the next", formula, rate, input("T1", from), input("T2", to), reference, z))
		}
		name := "part" + strconv.Itoa(i+1)
		terms, inputs = append(terms, name), append(inputs, input(name, d.Parts[i]))
	}
	return append(steps, step("thermal-dose/1", "equivalent time at the reference: the sum of each time times its rate", strings.Join(terms, " + "), d.Equivalent, inputs...))
}
