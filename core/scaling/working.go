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
	Formula string // in the names of the inputs, with + - * / ( ), pi and round()
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
	unit := perTurnUnit(w.rel.dim)
	result := quantity(c, w.rel.perTurn, unit)
	if len(d.References) > 0 {
		ref := &d.References[0]
		w.step("per-motor-turn/1", "delivered per motor turn, measured", "value / speed", result,
			Input{"value", ref.Value}, Input{"speed", speedQuantity(ref.MotorRPM)})
		return
	}
	if d.Delivery.Kind == NoDelivery {
		return
	}
	ratio := plain(transmissionRatio(c, d.Transmission).Float())
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

// demandSteps derives the motor speed from the demanded amount.
func (w *worker) demandSteps(amount exact.Num) {
	speed := Input{"speed", speedQuantity(w.out.DemandedRPM.Value)}
	perTurn := Input{"perMotorTurn", quantity(w.c, w.rel.perTurn, perTurnUnit(w.rel.dim))}
	dim := w.measure.Unit.Dimension()
	if dim == units.Rotation {
		w.registerSteps(speed)
		return
	}
	rate := w.out.Demanded
	switch {
	case dim == units.TimeDim:
		rate = quantity(w.c, w.measure.Length.Base(w.c).Quo(amount), RateUnit(w.subject.Drive))
		w.step("dwell-speed/1", "process speed for the time", "length / time", rate,
			Input{"length", w.measure.Length}, Input{"time", w.out.Demanded})
	case dim != w.rel.dim:
		rate = w.materialStep(amount, dim)
	}
	formula, inputs := "rate / perMotorTurn", []Input{{"rate", rate}, perTurn}
	if w.leaks() {
		formula = "(rate + leak) / perMotorTurn"
		inputs = append(inputs, Input{"leak", w.subject.Drive.Delivery.SlipFlow})
	}
	w.step("motor-speed/1", "motor speed that meets the demand", formula, speed.Value, inputs...)
	w.registerSteps(speed)
}

func (w *worker) leaks() bool {
	d := &w.subject.Drive.Delivery
	return len(w.subject.Drive.References) == 0 && d.Kind == Pump && d.SlipFlow.Unit != nil
}

func (w *worker) materialStep(amount exact.Num, dim units.Dimension) units.Quantity {
	d, m := w.subject.Drive, w.subject.Material
	rate := quantity(w.c, convert(w.c, d, m, amount, dim, w.rel.dim), RateUnit(d))
	formula, name := "rate / density", "volume rate of the material"
	if dim == units.VolumeFlow {
		formula, name = "rate * density", "mass rate of the material"
	}
	w.step("material-rate/1", name, formula, rate, Input{"rate", w.out.Demanded}, Input{"density", densityFor(d, m)})
	return rate
}

// registerSteps derives the number that the register takes from the motor speed.
func (w *worker) registerSteps(speed Input) {
	d, c := w.subject.Drive, w.c
	r := &d.Register
	if r.Kind == NoRegister {
		return
	}
	n := c.Dec(speed.Value.Value)
	x := Input{"x", quantity(c, w.line.coordinate(n), r.Span[0].Value.Unit)}
	w.coordinateStep(speed, x)
	ends := []Input{{"n0", plain(r.at(&r.Span[0]))}, {"x0", r.Span[0].Value}, {"n1", plain(r.at(&r.Span[1]))}, {"x1", r.Span[1].Value}}
	number := plain(w.line.number(n).Float())
	w.step("register/1", "number on the register's line", "n0 + (x - x0) * (n1 - n0) / (x1 - x0)", number, append([]Input{x}, ends...)...)
	if !w.out.Count.Set {
		return
	}
	count := Input{"count", plain(float64(w.out.Count.Value))}
	w.step("count/1", "nearest whole count, ties away from zero", "round(number)", count.Value, Input{"number", number})
	set := c.Dec(w.out.AchievedRPM.Value)
	achieved := Input{"x", quantity(c, w.line.coordinate(set), r.Span[0].Value.Unit)}
	w.step("register-inverse/1", "what the count sets", "x0 + (count - n0) * (x1 - x0) / (n1 - n0)", achieved.Value, append([]Input{count}, ends...)...)
}

func (w *worker) coordinateStep(speed, x Input) {
	d := w.subject.Drive
	switch {
	case x.Value.Unit.Dimension() != units.Rotation:
		formula, inputs := "perMotorTurn * speed", []Input{{"perMotorTurn", quantity(w.c, w.rel.perTurn, perTurnUnit(w.rel.dim))}, speed}
		if w.leaks() {
			formula, inputs = formula+" - leak", append(inputs, Input{"leak", d.Delivery.SlipFlow})
		}
		w.step("register-rate/1", "process rate that the register is asked for", formula, x.Value, inputs...)
	case d.Register.Shaft != MotorShaft:
		w.step("register-shaft/1", "speed of the register's shaft", "speed * transmission", x.Value, speed,
			Input{"transmission", plain(shaftRatio(w.c, d).Float())})
	default:
		w.step("register-shaft/1", "speed of the register's shaft, the motor's", "speed", x.Value, speed)
	}
}

// achievedSteps derives what the achieved speed gives.
func (w *worker) achievedSteps() {
	d, c, m := w.subject.Drive, w.c, w.subject.Material
	speed := Input{"speed", speedQuantity(w.out.AchievedRPM.Value)}
	n := c.Dec(speed.Value.Value)
	if w.rel.dim != (units.Dimension{}) {
		rate := Input{"rate", quantity(c, w.rel.rate(n), RateUnit(d))}
		formula, inputs := "perMotorTurn * speed", []Input{{"perMotorTurn", quantity(c, w.rel.perTurn, perTurnUnit(w.rel.dim))}, speed}
		if w.leaks() {
			formula, inputs = formula+" - leak", append(inputs, Input{"leak", d.Delivery.SlipFlow})
		}
		w.step("process-rate/1", "process rate at the achieved speed", formula, rate.Value, inputs...)
		switch dim := w.measure.Unit.Dimension(); {
		case w.out.Achieved.Unit == nil:
		case dim == units.TimeDim:
			w.step("dwell-time/1", "time at the achieved speed", "length / rate", w.out.Achieved, Input{"length", w.measure.Length}, rate)
		case dim == units.MassFlow && w.rel.dim == units.VolumeFlow:
			w.step("material-achieved/1", "mass rate of the material", "rate * density", w.out.Achieved, rate, Input{"density", densityFor(d, m)})
		case dim == units.VolumeFlow && w.rel.dim == units.MassFlow:
			w.step("material-achieved/1", "volume rate of the material", "rate / density", w.out.Achieved, rate, Input{"density", densityFor(d, m)})
		}
	}
	if w.out.ErrorPercent.Set {
		w.step("error/1", "rounding of the count", "(achieved - demanded) / demanded", percents(w.out.ErrorPercent.Value),
			Input{"achieved", w.out.Achieved}, Input{"demanded", w.out.Demanded})
	}
	w.pulseStep(speed)
}

func (w *worker) pulseStep(speed Input) {
	s := w.subject.Drive.loopSensor()
	if s == nil || !w.out.PulseHz.Set {
		return
	}
	hz := units.Quantity{Value: w.out.PulseHz.Value, Unit: hertz}
	if s.Kind == ShaftSensor {
		perTurn := units.Quantity{Value: pulsesPerMotorTurn(w.c, w.subject.Drive, s).Float(), Unit: pulsePerTurn}
		w.step("pulse-frequency/1", "frequency of the sensor in the loop", "speed * pulsesPerMotorTurn", hz, speed, Input{"pulsesPerMotorTurn", perTurn})
		return
	}
	n := w.c.Dec(speed.Value.Value)
	flow := convert(w.c, w.subject.Drive, w.subject.Material, w.rel.rate(n), w.rel.dim, units.VolumeFlow)
	w.step("pulse-frequency/1", "frequency of the flow meter in the loop", "flow * kFactor", hz,
		Input{"flow", quantity(w.c, flow, litrePerMinute)}, Input{"kFactor", s.KFactor})
}

var pulsePerTurn = units.MustParse("pulse/r")

// Working derives the numbers of out, which [For] or [FromCount] found for s in
// measure m.
func Working(s *Subject, m Measure, out *Setpoint) []Step {
	c := new(exact.Calc)
	var none []Check
	r := newRun(c, s, m, &none, out)
	w := worker{run: &r}
	w.scaleSteps()
	if out.DemandedRPM.Set {
		w.demandSteps(out.Demanded.Base(c))
	}
	if out.AchievedRPM.Set {
		w.achievedSteps()
	}
	return w.steps
}

// ScaleWorking derives the per-turn numbers of s's drive.
func ScaleWorking(s *Subject) []Step {
	var none []Check
	r := newRun(new(exact.Calc), s, Measure{}, &none, nil)
	w := worker{run: &r}
	w.scaleSteps()
	return w.steps
}
