package scaling

import (
	"fmt"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Step is one step of the derivation of a number. Its formula is an equation
// between quantities: with every input in base units (and turns, pieces and
// pulses) it gives the result in base units.
type Step struct {
	ID      string // the formula and its version
	Name    string // what the step finds
	Formula string // in the names of the inputs, with + - * / ( ), pi, round(), floor(), ceil(), sqrt(), min() and max()
	Inputs  []Input
	Result  units.Quantity
}

// Input is a named value that enters a step.
type Input struct {
	Name  string
	Value units.Quantity
}

var (
	one     = units.MustParse("1")
	percent = units.MustParse("%")
	hertz   = units.MustParse("pulse/s")
)

func plain(v float64) units.Quantity    { return units.Quantity{Value: v, Unit: one} }
func percents(v float64) units.Quantity { return units.Quantity{Value: v, Unit: percent} }

func speedQuantity(rpm float64) units.Quantity {
	return units.Quantity{Value: rpm, Unit: revolutionPerMin}
}

// worker collects the steps of one evaluation.
type worker struct {
	*run
	steps []Step
}

func (w *worker) step(id, name, formula string, result units.Quantity, inputs ...Input) {
	w.steps = append(w.steps, Step{ID: id, Name: name, Formula: formula, Inputs: inputs, Result: result})
}

// scaleSteps derives what one turn of the motor delivers.
func (w *worker) scaleSteps() {
	d, c := w.subject.Drive, w.c
	unit := perTurnUnit(w.rel.kind)
	result := quantity(c, w.rel.perTurn, unit)
	if d.Corrected() {
		w.step("corrected-model/1", "delivered per motor turn, corrected for drift", "perTurn", result, Input{"perTurn", d.Correction.PerTurn})
		return
	}
	switch len(d.References) {
	case 0:
	case 1:
		ref := &d.References[0]
		w.step("per-motor-turn/1", "delivered per motor turn, measured", "value / speed", result,
			Input{"value", ref.Value}, Input{"speed", speedQuantity(ref.MotorRPM)})
		return
	default:
		w.fitSteps(unit)
		return
	}
	if d.Delivery.Kind == NoDelivery {
		return
	}
	ratio := plain(w.turns.last.Float())
	if len(d.Transmission) > 0 {
		formula, inputs := transmissionFormula(d.Transmission)
		w.step("transmission/1", "turns of the last shaft per motor turn", formula, ratio, inputs...)
	}
	formula, inputs := deliveryFormula(&d.Delivery, w.subject.Material)
	perLast := quantity(c, perLastTurn(c, &d.Delivery, w.subject.Material), unit)
	w.step("delivery-per-turn/1", "delivered per turn of the last shaft", formula, perLast, inputs...)
	w.step("per-motor-turn/1", "delivered per motor turn", "transmission * perTurn", result,
		Input{"transmission", ratio}, Input{"perTurn", perLast})
}

func transmissionFormula(stages []Stage) (string, []Input) {
	var terms []string
	var inputs []Input
	for i := range stages {
		s, n := &stages[i], fmt.Sprint(i+1)
		switch s.Kind {
		case GearPair, Chain:
			terms = append(terms, "driverTeeth"+n+" / drivenTeeth"+n)
			inputs = append(inputs, Input{"driverTeeth" + n, plain(float64(s.DriverTeeth))}, Input{"drivenTeeth" + n, plain(float64(s.DrivenTeeth))})
		case Gearbox:
			terms = append(terms, "1 / ratio"+n)
			inputs = append(inputs, Input{"ratio" + n, plain(s.Ratio)})
		case Belt:
			terms = append(terms, "driverDiameter"+n+" / drivenDiameter"+n+" * (1 - slip"+n+")")
			inputs = append(inputs, Input{"driverDiameter" + n, s.DriverDiameter}, Input{"drivenDiameter" + n, s.DrivenDiameter},
				Input{"slip" + n, percents(s.SlipPercent)})
		}
	}
	return strings.Join(terms, " * "), inputs
}

func deliveryFormula(d *Delivery, m *Material) (string, []Input) {
	switch d.Kind {
	case Roll:
		return rollFormula(d)
	case Sprocket:
		return "teeth * pitch", []Input{{"teeth", plain(float64(d.Teeth))}, {"pitch", d.Pitch}}
	case Pump:
		if e := d.VolumetricEfficiencyPercent; e.Set {
			return "displacement * efficiency", []Input{{"displacement", d.Displacement}, {"efficiency", percents(e.Value)}}
		}
		return "displacement", []Input{{"displacement", d.Displacement}}
	case Screw:
		if m != nil && m.FillPercent.Set {
			return "volumePerTurn * fill", []Input{{"volumePerTurn", d.VolumePerTurn}, {"fill", percents(m.FillPercent.Value)}}
		}
		return "volumePerTurn", []Input{{"volumePerTurn", d.VolumePerTurn}}
	case Feeder:
		if d.MassPerTurn.Unit != nil {
			return "massPerTurn", []Input{{"massPerTurn", d.MassPerTurn}}
		}
		return "volumePerTurn", []Input{{"volumePerTurn", d.VolumePerTurn}}
	}
	return "piecesPerTurn", []Input{{"piecesPerTurn", units.Quantity{Value: d.PiecesPerTurn, Unit: piecePerTurn}}}
}

func rollFormula(d *Delivery) (string, []Input) {
	formula, inputs := "pi * diameter", []Input{{"diameter", d.Diameter}}
	switch {
	case d.PitchDiameter.Unit != nil:
		formula, inputs = "pi * pitchDiameter", []Input{{"pitchDiameter", d.PitchDiameter}}
	case d.BeltThickness.Unit != nil:
		formula = "pi * (diameter + beltThickness)"
		inputs = append(inputs, Input{"beltThickness", d.BeltThickness})
	}
	if d.SlipPercent == 0 {
		return formula, inputs
	}
	return formula + " * (1 - slip)", append(inputs, Input{"slip", percents(d.SlipPercent)})
}

// Working derives the numbers of out, which [For] or [FromCount] found for s in
// measure m.
func Working(s *Subject, m Measure, out *Setpoint) []Step {
	var none []Check
	var r run
	r.begin(new(exact.Calc), s, m, &none, out)
	w := worker{run: &r}
	w.scaleSteps()
	if out.DemandedRPM.Set {
		w.demandSteps()
	}
	if out.DemandedRPM.Set && !out.AchievedRPM.Set { // out of range: show why
		w.limitSteps()
	}
	if out.AchievedRPM.Set {
		w.achievedSteps()
	}
	return w.steps
}

// ReferenceWorking derives what one turn of the motor delivers from the references of
// s's drive, which has some, and how certain that is.
func ReferenceWorking(s *Subject) []Step {
	var r run
	r.begin(new(exact.Calc), s, Measure{Unit: RateUnit(s.Drive)}, nil, nil)
	w := worker{run: &r}
	w.scaleSteps()
	w.uncertaintySteps()
	return w.steps
}

// ScaleWorking derives the numbers of the [Scale] of s's drive.
func ScaleWorking(s *Subject) []Step {
	var none []Check
	var r run
	r.begin(new(exact.Calc), s, Measure{Unit: RateUnit(s.Drive)}, &none, nil)
	w := worker{run: &r}
	w.scaleSteps()
	w.uncertaintySteps()
	w.limitSteps()
	w.digitSteps()
	w.chordalSteps()
	return w.steps
}

// RateWorking derives the process rate at one end of the speeds that s's drive can
// run, as the mass or volume rate that rate is.
func RateWorking(s *Subject, rate units.Quantity, end string, speed exact.Num) []Step {
	var r run
	r.begin(new(exact.Calc), s, Measure{}, nil, nil)
	w := worker{run: &r}
	own := quantity(r.c, r.rel.rate(speed), RateUnit(s.Drive))
	formula, inputs := w.rateFormula("speed")
	w.step("process-rate/1", "process rate at the "+end+" usable speed", formula, own, append(inputs, Input{"speed", speedQuantity(speed.Float())})...)
	if of := kindOf(rate.Unit); of != r.rel.kind {
		formula, inputs := w.amountFormula("rate", of, units.Quantity{})
		w.step("material-rate/1", "the same rate as the whole counts it", formula, rate, append(inputs, Input{"rate", own})...)
	}
	return w.steps
}
