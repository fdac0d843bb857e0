package scaling

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// perTurnInput is the motor's delivery per turn, as scaleSteps found it.
func (w *worker) perTurnInput() Input {
	return Input{"perMotorTurn", quantity(w.c, w.rel.perTurn, perTurnUnit(w.rel.kind))}
}

// leakInput is the slip flow, as described or as the references say.
func (w *worker) leakInput() Input {
	d := w.subject.Drive
	if d.Corrected() {
		return Input{"leak", d.Correction.SlipFlow}
	}
	if len(d.References) == 0 {
		return Input{"leak", d.Delivery.SlipFlow}
	}
	return Input{"leak", quantity(w.c, w.rel.leak, RateUnit(d))}
}

// speedFormula gives the motor speed for a process rate, written as rate.
func (w *worker) speedFormula(rate string) (string, []Input) {
	if w.rel.leaks {
		return "(" + rate + " + leak) / perMotorTurn", []Input{w.perTurnInput(), w.leakInput()}
	}
	return rate + " / perMotorTurn", []Input{w.perTurnInput()}
}

// rateFormula gives the process rate at a motor speed, written as speed.
func (w *worker) rateFormula(speed string) (string, []Input) {
	if w.rel.leaks {
		return "perMotorTurn * " + speed + " - leak", []Input{w.perTurnInput(), w.leakInput()}
	}
	return "perMotorTurn * " + speed, []Input{w.perTurnInput()}
}

// amountFormula gives a process rate of the drive, written as rate, as an amount
// of a kind; length is that of the section, for a time.
func (w *worker) amountFormula(rate string, of kind, length units.Quantity) (string, []Input) {
	switch {
	case of == timeInSection:
		return "length / (" + rate + ")", []Input{{"length", length}}
	case of == w.rel.kind:
		return rate, nil
	case of == massRate:
		return "(" + rate + ") * density", []Input{{"density", DensityFor(w.subject.Drive, w.subject.Material)}}
	}
	return "(" + rate + ") / density", []Input{{"density", DensityFor(w.subject.Drive, w.subject.Material)}}
}

// valueFormula gives what a motor speed, written as speed, means as an amount
// of a kind.
func (w *worker) valueFormula(speed string, of kind, length units.Quantity) (string, []Input) {
	if of == motorSpeed {
		return speed, nil
	}
	rate, inputs := w.rateFormula(speed)
	formula, more := w.amountFormula(rate, of, length)
	return formula, append(inputs, more...)
}

// demandSteps derives the motor speed from the demanded amount, and from that the
// number that the register takes.
func (w *worker) demandSteps() {
	speed := w.speedStep()
	if w.measure.Goal != Nearest && w.out.AchievedRPM.Set {
		speed = w.targetStep(speed)
	}
	if w.subject.Drive.Register.Kind != NoRegister {
		w.numberSteps(speed)
	}
}

// speedStep derives the motor speed from the demand.
func (w *worker) speedStep() Input {
	speed := Input{"speed", speedQuantity(w.out.DemandedRPM.Value)}
	if w.asked != motorSpeed {
		rate := w.demandedRate()
		formula, inputs := w.speedFormula("rate")
		w.step("motor-speed/1", "motor speed that meets the demand", formula, speed.Value, append(inputs, Input{"rate", rate})...)
	}
	return speed
}

// demandedRate derives the process rate of the drive's own kind that meets the demand.
func (w *worker) demandedRate() units.Quantity {
	d, m := w.subject.Drive, w.subject.Material
	demanded := w.out.Demanded
	switch {
	case w.asked == timeInSection:
		rate := quantity(w.c, w.measure.way(w.c).Quo(demanded.Base(w.c)), RateUnit(d))
		w.step("dwell-speed/1", "process speed for the time", "length / time", rate, Input{"length", w.measure.Length}, Input{"time", demanded})
		return rate
	case w.asked == w.rel.kind:
		return demanded
	}
	rate := quantity(w.c, convert(w.c, d, m, demanded.Base(w.c), w.asked, w.rel.kind), RateUnit(d))
	formula := "rate / density"
	if w.asked == volumeRate {
		formula = "rate * density"
	}
	w.step("material-rate/1", "the same rate in the drive's own kind", formula, rate, Input{"rate", demanded}, Input{"density", DensityFor(d, m)})
	return rate
}

// spanInputs are the two points of the register.
func (w *worker) spanInputs() []Input {
	r := &w.subject.Drive.Register
	return []Input{{"n0", plain(r.at(&r.Span[0]))}, {"x0", r.Span[0].Value}, {"n1", plain(r.at(&r.Span[1]))}, {"x1", r.Span[1].Value}}
}

// numberSteps derives the number that the register takes from the motor speed.
func (w *worker) numberSteps(speed Input) {
	r := &w.subject.Drive.Register
	n := speed.Value.Base(w.c)
	x := Input{"x", quantity(w.c, w.line.x.rate(n), r.Span[0].Value.Unit)}
	switch {
	case w.line.reciprocal:
		x.Value = quantity(w.c, w.line.length.Quo(w.line.x.rate(n)), r.Span[0].Value.Unit)
		formula, inputs := w.rateFormula("speed")
		w.step("register-time/1", "time that the register is asked for", "dwellLength / ("+formula+")", x.Value, append(inputs, speed, Input{"dwellLength", r.DwellLength})...)
	case w.line.x.kind == pulsesInTime:
		w.step("register-value/1", "frequency of the sensor in the loop", "speed * pulsesPerMotorTurn", x.Value, speed, w.pulsesInput())
	case w.line.x.kind != motorSpeed:
		formula, inputs := w.rateFormula("speed")
		w.step("register-value/1", "process rate that the register is asked for", formula, x.Value, append(inputs, speed)...)
	case r.Shaft != MotorShaft:
		w.step("register-value/1", "speed of the register's shaft", "speed * shaftTurns", x.Value, speed, w.shaftInput())
	default:
		x.Value = speed.Value
	}
	number := plain(w.line.number(n).Float())
	w.step("register/1", "number on the register's line", "n0 + (x - x0) * (n1 - n0) / (x1 - x0)", number, append(w.spanInputs(), x)...)
	switch {
	case w.out.Fraction.Set:
		f := &w.out.Fraction.Value
		w.step("best-fraction/1", "best fraction within the bounds, off by", "(numerator / denominator - number) / number", plain(f.ErrorPPM/1e6),
			Input{"numerator", plain(float64(f.Numerator))}, Input{"denominator", plain(float64(f.Denominator))}, Input{"number", number})
	case w.out.NearestCount.Set:
		nearest := plain(float64(w.out.NearestCount.Value))
		w.step("count/1", "nearest whole count, ties away from zero", "round(number)", nearest, Input{"number", number})
		w.step("joint-count/1", "count chosen together with the blend's others", "nearest + change", plain(float64(w.out.Count.Value)),
			Input{"nearest", nearest}, Input{"change", plain(float64(w.out.Count.Value - w.out.NearestCount.Value))})
	case w.out.Count.Set && w.measure.Goal != Nearest:
		w.boundedCountStep(Input{"number", number})
	case w.out.Count.Set:
		count := float64(w.out.Count.Value)
		w.step("count/1", "nearest whole count, ties away from zero", "round(number)", plain(count), Input{"number", plain(tied(number.Value, count))})
	}
}

// tied returns a number that rounds to its count: where the true number lies in the
// middle between two counts and its float64 just beside it, that middle.
func tied(number, count float64) float64 {
	switch {
	case math.Round(number) == count:
		return number
	case number < count:
		return count - 0.5
	}
	return count + 0.5
}

// shaftInput is turns of the register's shaft per motor turn.
func (w *worker) shaftInput() Input {
	return Input{"shaftTurns", plain(w.turns.of(w.c, w.subject.Drive.Register.Shaft).Float())}
}

// numberSpeedStep derives the motor speed that a number of the register sets.
func (w *worker) numberSpeedStep(id, name string, number Input, speed units.Quantity) {
	x := "x0 + (" + number.Name + " - n0) * (x1 - x0) / (n1 - n0)"
	inputs := append(w.spanInputs(), number)
	switch {
	case w.line.x.kind == pulsesInTime:
		w.step(id, name, "("+x+") / pulsesPerMotorTurn", speed, append(inputs, w.pulsesInput())...)
	case w.line.reciprocal:
		formula, more := w.speedFormula("(dwellLength / (" + x + "))")
		w.step(id, name, formula, speed, append(append(inputs, more...), Input{"dwellLength", w.subject.Drive.Register.DwellLength})...)
	case w.line.x.kind != motorSpeed:
		formula, more := w.speedFormula("(" + x + ")")
		w.step(id, name, formula, speed, append(inputs, more...)...)
	case w.subject.Drive.Register.Shaft != MotorShaft:
		w.step(id, name, "("+x+") / shaftTurns", speed, append(inputs, w.shaftInput())...)
	default:
		w.step(id, name, x, speed, inputs...)
	}
}

// achievedSteps derives what the achieved speed gives.
func (w *worker) achievedSteps() {
	speed := Input{"speed", speedQuantity(w.out.AchievedRPM.Value)}
	switch asked := w.out.DemandedRPM.Set; {
	case w.out.Count.Set:
		w.numberSpeedStep("achieved-speed/1", "motor speed that the count sets", Input{"count", plain(float64(w.out.Count.Value))}, speed.Value)
	case w.out.Fraction.Set:
		f := &w.out.Fraction.Value
		w.numberSpeedStep("achieved-speed/1", "motor speed that the fraction sets", Input{"fraction", plain(float64(f.Numerator) / float64(f.Denominator))}, speed.Value)
	case w.out.Milliamps.Set && !asked:
		w.numberSpeedStep("achieved-speed/1", "motor speed that the current sets", Input{"milliamps", plain(w.out.Milliamps.Value)}, speed.Value)
	case w.out.Volts.Set && !asked:
		w.numberSpeedStep("achieved-speed/1", "motor speed that the voltage sets", Input{"volts", plain(w.out.Volts.Value)}, speed.Value)
	}
	if w.out.ProcessRate.Unit != nil {
		formula, inputs := w.rateFormula("speed")
		w.step("process-rate/1", "process rate at that speed", formula, w.out.ProcessRate, append(inputs, speed)...)
	}
	if w.asked != motorSpeed && w.asked != w.rel.kind {
		formula, inputs := w.amountFormula("rate", w.asked, w.measure.Length)
		w.step("achieved/1", "what that gives of the demand", formula, w.out.Achieved, append(inputs, Input{"rate", w.out.ProcessRate})...)
	}
	if w.out.ErrorPercent.Set {
		w.step("error/1", "rounding of the count", "(achieved - demanded) / demanded", percents(w.out.ErrorPercent.Value),
			Input{"achieved", w.out.Achieved}, Input{"demanded", w.out.Demanded})
	}
	if w.measure.Goal != Nearest {
		w.marginStep()
	}
	w.bandSteps(speed)
	w.readoutSteps(speed)
	w.pulseStep(speed)
}

// bandSteps derives the ends of the expected band.
func (w *worker) bandSteps(speed Input) {
	if w.out.Low.Unit == nil {
		return
	}
	g, motor := &w.subject.Drive.Motor.Regulation, &w.subject.Drive.Motor
	slow, fast, inputs := "speed * (1 - regulation)", "speed * (1 + regulation)", []Input{speed}
	switch {
	case g.DroopPercent.Set:
		slow, fast, inputs = "speed * (1 - droop)", "speed", append(inputs, Input{"droop", percents(g.DroopPercent.Value)})
	case g.Of == SetSpeed:
		inputs = append(inputs, Input{"regulation", percents(g.Percent.Value)})
	default:
		base := motor.MaxRPM
		if g.Of == BaseSpeed {
			base = motor.BaseRPM.Value
		}
		slow, fast = "speed - regulation * base", "speed + regulation * base"
		inputs = append(inputs, Input{"regulation", percents(g.Percent.Value)}, Input{"base", speedQuantity(base)})
	}
	ends := w.bandSpeeds(speed.Value.Base(w.c))
	w.bandStep("slowest", slow, inputs, ends[0])
	if g.DroopPercent.Set {
		inputs = inputs[:1]
	}
	w.bandStep("fastest", fast, inputs, ends[1])
}

// bandSpeeds returns the slowest and the fastest speed of the band at n.
func (w *worker) bandSpeeds(n exact.Num) [2]exact.Num {
	slow, fast, _ := w.regulated(n)
	return [2]exact.Num{slow, fast}
}

// bandStep derives one speed of the band and what it gives of the demand.
func (w *worker) bandStep(name, formula string, inputs []Input, n exact.Num) {
	speed := Input{"speed", speedQuantity(n.Float())}
	w.step("band-speed/1", name+" speed that the regulation allows", formula, speed.Value, inputs...)
	end := w.end(n)
	if w.asked != motorSpeed && !end.endless {
		formula, inputs := w.valueFormula("speed", w.asked, w.measure.Length)
		w.step("band/1", "what the "+name+" speed gives", formula, w.inUnit(end.amount), append(inputs, speed)...)
	}
}

// readoutSteps derives the value and the text of the readout.
func (w *worker) readoutSteps(speed Input) {
	r := &w.subject.Drive.Readout
	if w.out.ReadoutText == (Text{}) {
		return
	}
	v, _ := w.readoutValue(w.at(speed.Value.Base(w.c)))
	value := Input{"value", units.Quantity{Value: v.Float(), Unit: r.Unit}}
	w.readoutValueStep(speed, value.Value)
	id, name, formula := "readout/1", "the same to the readout's last digit, ties away from zero", "round(value / digit) * digit"
	if r.Truncates {
		id, name, formula = "readout-cut/1", "the same, cut off after the readout's last digit", "floor(value / digit) * digit"
		if w.c.Sign(v) < 0 {
			formula = "0 - floor((0 - value) / digit) * digit"
		}
	}
	n, _ := r.lastDigits(w.c, v)
	shown := units.Quantity{Value: float64(n) / float64(powersOfTen[r.Decimals]), Unit: r.Unit}
	w.step(id, name, formula, shown, value, w.digitInput())
}

// readoutValueStep derives what the readout shows before its last digit.
func (w *worker) readoutValueStep(speed Input, value units.Quantity) {
	var length units.Quantity
	if w.subject.ReadoutSection != nil {
		length = w.subject.ReadoutSection.Length
	}
	shown := kindOf(w.subject.Drive.Readout.Unit)
	formula, inputs := w.valueFormula("speed", shown, length)
	if shown == timeInSection && speed.Value.Value < 0 {
		formula = "0 - " + formula
	}
	w.step("readout-value/1", "value that the readout shows", formula, value, append(inputs, speed)...)
}

// digitInput is one of the readout's last digit.
func (w *worker) digitInput() Input {
	r := &w.subject.Drive.Readout
	return Input{"digit", units.Quantity{Value: 1 / float64(powersOfTen[r.Decimals]), Unit: r.Unit}}
}

// digitSteps derives what one of the readout's last digit means, for a time at either
// end of the usable range.
func (w *worker) digitSteps() {
	if w.subject.Drive.Readout.Unit == nil {
		return
	}
	usable := w.speedLimits(1)
	if kindOf(w.subject.Drive.Readout.Unit) == timeInSection {
		w.digitStep(" at the lowest usable speed", w.at(usable.low))
		w.digitStep(" at the highest usable speed", w.at(usable.high))
		return
	}
	w.digitStep("", w.at(usable.high)) // the same everywhere
}

func (w *worker) digitStep(where string, at Motion) {
	value, ok := w.readoutValue(at)
	if !ok {
		return
	}
	digit := w.digitInput()
	result := speedQuantity(w.digitSpeed(at, value, w.c.Dec(digit.Value.Value)).Float())
	name := "motor speed that one of the readout's last digit means" + where
	switch shown := kindOf(digit.Value.Unit); shown {
	case motorSpeed:
		w.step("readout-digit/1", name, "digit", result, digit)
	case timeInSection:
		w.step("readout-digit/1", name, "speed * digit / (time + digit)", result, digit,
			Input{"speed", speedQuantity(at.Speed.Float())}, Input{"time", units.Quantity{Value: value.Float(), Unit: digit.Value.Unit}})
	default:
		formula, inputs := "digit", []Input{digit, w.perTurnInput()}
		if shown != w.rel.kind {
			formula = "digit / density"
			if w.rel.kind == massRate {
				formula = "digit * density"
			}
			inputs = append(inputs, Input{"density", DensityFor(w.subject.Drive, w.subject.Material)})
		}
		w.step("readout-digit/1", name, formula+" / perMotorTurn", result, inputs...)
	}
}

func (w *worker) pulseStep(speed Input) {
	s := w.sensor
	if s == nil || !w.out.PulseHz.Set {
		return
	}
	hz := units.Quantity{Value: w.out.PulseHz.Value, Unit: hertz}
	sign := "" // a frequency has none, whichever way the motor turns
	if speed.Value.Value < 0 {
		sign = "0 - "
	}
	if s.Kind == ShaftSensor {
		w.step("pulse-frequency/1", "frequency of the sensor in the loop", sign+"speed * pulsesPerMotorTurn", hz, speed, w.pulsesInput())
	} else {
		flow := convert(w.c, w.subject.Drive, w.subject.Material, w.rel.rate(speed.Value.Base(w.c)), w.rel.kind, volumeRate)
		w.step("pulse-frequency/1", "frequency of the flow meter in the loop", sign+"flow * kFactor", hz,
			Input{"flow", quantity(w.c, flow, litrePerMinute)}, Input{"kFactor", s.KFactor})
	}
	w.resolutionStep(hz)
}

// resolutionStep derives by how much the frequency of the sensor in the loop goes up
// with one pulse, or one clock tick, more.
func (w *worker) resolutionStep(hz units.Quantity) {
	p, known := w.pickup(w.sensor)
	step, ok := p.resolution(hz.Base(w.c).Abs())
	if !known || !ok {
		return
	}
	k := &w.sensor.Counting
	result := units.Quantity{Value: perSecond(w.c, step).Float(), Unit: hertz}
	pulse := Input{"pulse", units.Quantity{Value: 1, Unit: onePulse}}
	if k.Kind == ByGate {
		w.step("sensor-resolution/1", "frequency of one pulse more in the gate", "pulse / gate", result, pulse, Input{"gate", k.Gate})
		return
	}
	w.step("sensor-resolution/1", "frequency of one clock tick less over the periods", "frequency * frequency / (periods * pulse * clock)", result,
		Input{"frequency", hz}, Input{"periods", plain(float64(k.periods()))}, pulse, Input{"clock", units.Quantity{Value: k.ClockHz, Unit: perSecondUnit}})
}

var (
	onePulse      = units.MustParse("pulse")
	perSecondUnit = units.MustParse("1/s")
)

// pulsesInput is the counted pulses of the shaft sensor per motor turn.
func (w *worker) pulsesInput() Input {
	return Input{"pulsesPerMotorTurn", units.Quantity{Value: w.pulses.Float(), Unit: pulsePerTurn}}
}

var pulsePerTurn = units.MustParse("pulse/r")

// limitSteps derives the lowest and the highest usable speed.
func (w *worker) limitSteps() {
	d := w.subject.Drive
	low := []Input{{"motor", speedQuantity(d.Motor.MinRPM)}}
	high := []Input{{"motor", speedQuantity(d.Motor.MaxRPM)}}
	sign := 1
	if w.out != nil && w.out.DemandedRPM.Value < 0 {
		sign = -1
	}
	usable := w.speedLimits(sign)
	if s := w.sensor; s != nil && s.Kind == ShaftSensor {
		if s.MinHz > 0 {
			low = append(low, w.sensorLimitStep("lowest", s.MinHz))
		}
		if s.MaxHz.Set {
			high = append(high, w.sensorLimitStep("highest", s.MaxHz.Value))
		}
	}
	if d.Register.Kind != NoRegister {
		least, most := registerLimits(w.c, &d.Register, &w.line, sign)
		low = append(low, w.registerLimitStep("lowest", least, sign))
		high = append(high, w.registerLimitStep("highest", most, sign))
	}
	w.step("lowest-speed/1", "lowest usable speed", greatest("max", low), speedQuantity(usable.low.Float()), low...)
	w.step("highest-speed/1", "highest usable speed", greatest("min", high), speedQuantity(usable.high.Float()), high...)
}

// greatest writes f(a, b, ...) of the inputs' names.
func greatest(f string, of []Input) string {
	if len(of) == 1 {
		return of[0].Name
	}
	text := f + "(" + of[0].Name
	for _, in := range of[1:] {
		text += ", " + in.Name
	}
	return text + ")"
}

func (w *worker) sensorLimitStep(which string, hz float64) Input {
	n := perMinute(w.c, hz).Quo(w.pulses)
	out := Input{"sensor", speedQuantity(n.Float())}
	w.step("sensor-limit/1", which+" speed at which the sensor's frequency is usable", "frequency / pulsesPerMotorTurn", out.Value,
		Input{"frequency", units.Quantity{Value: hz, Unit: hertz}}, w.pulsesInput())
	return out
}

// registerLimitStep derives the speed, magnitude n, at one end of what the register can say.
func (w *worker) registerLimitStep(which string, n exact.Num, sign int) Input {
	signed := magnitude(n, sign)
	if w.line.reciprocal && (w.c.Sign(n) <= 0 || n.Float() == endlessSpeed) {
		return Input{"register", speedQuantity(n.Float())} // the register says no such time
	}
	number := w.line.number(signed).Float()
	if k, ok := w.c.Round(w.line.number(signed)); ok && w.subject.Drive.Register.Kind == IntegerRegister {
		number = float64(k)
	}
	w.numberSpeedStep("register-limit/1", which+" speed that the register can say", Input{"count", plain(number)}, speedQuantity(signed.Float()))
	return Input{"register", speedQuantity(n.Float())}
}
