package scaling

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Scale is what one turn of the motor delivers, and over which speeds it holds.
// At motor speed n the process rate is PerMotorTurn * n - Leak.
type Scale struct {
	PerMotorTurn               units.Quantity
	PerRPM                     units.Quantity // the process rate that each r/min adds
	Leak                       units.Quantity // only for a pump with slip flow, or measured at two or more speeds
	LastShaftTurnsPerMotorTurn Optional[float64]
	EffectiveMinRPM            float64
	EffectiveMinBinds          Bound
	EffectiveMaxRPM            float64
	EffectiveMaxBinds          Bound
	RateAtMin, RateAtMax       units.Quantity
	RPMPerCount                Optional[float64]
	RatePerCount               units.Quantity
	CountAtMin, CountAtMax     Optional[int32] // the counts next to either end within the usable range
	PulseHzAtMin, PulseHzAtMax Optional[float64]
	ReadoutDecimals            Optional[int32]
	ReferenceDiffersPercent    Optional[float64]
}

// ScaleOf finds the scale of s's drive, which has a delivery or a reference.
// Checks are appended to checks.
//
//	effective lowest speed  = max(motor, sensor, register)
//	effective highest speed = min(motor, sensor, register)
//
// Formula: scale/1.
func ScaleOf(c *exact.Calc, s *Subject, checks *[]Check) Scale {
	d := s.Drive
	unit := RateUnit(d)
	var r run
	r.begin(c, s, Measure{Unit: unit}, checks, nil)
	usable := r.speedLimits(1)
	out := Scale{
		PerMotorTurn:      quantity(c, r.rel.perTurn, perTurnUnit(r.rel.kind)),
		PerRPM:            quantity(c, r.rel.perTurn, unit),
		EffectiveMinRPM:   usable.low.Float(),
		EffectiveMinBinds: usable.lowBy,
		EffectiveMaxRPM:   usable.high.Float(),
		EffectiveMaxBinds: usable.highBy,
		RateAtMin:         quantity(c, r.rateNotBelowZero(usable.low), unit),
		RateAtMax:         quantity(c, r.rateNotBelowZero(usable.high), unit),
	}
	if r.rel.leaks {
		out.Leak = quantity(c, r.rel.leak, unit)
	}
	if d.Delivery.Kind != NoDelivery || len(d.Transmission) > 0 {
		out.LastShaftTurnsPerMotorTurn = Some(r.turns.last.Float())
	}
	r.scaleOfRegister(&out, usable)
	out.PulseHzAtMin = r.pulsesAt(d.Motor.MinRPM)
	out.PulseHzAtMax = r.pulsesAt(d.Motor.MaxRPM)
	if d.Readout.Unit != nil {
		r.scaleOfReadout(&out, usable)
	}
	if off, ok := r.referenceDiffers(); ok {
		out.ReferenceDiffersPercent = Some(off)
		if off != 0 {
			r.addDiffers(off)
		}
	}
	if hasNominalGearbox(d) {
		r.add(Check{Code: GearboxRatioNominal})
	}
	return out
}

func quantity(c *exact.Calc, si exact.Num, u *units.Unit) units.Quantity {
	return units.Quantity{Value: units.FromBase(c, si, u).Float(), Unit: u}
}

// rateNotBelowZero returns the process rate at n. A pump that turns more slowly
// than its leak delivers nothing.
func (r *run) rateNotBelowZero(n exact.Num) exact.Num {
	rate := r.rel.rate(n)
	if r.c.Sign(rate) < 0 {
		return r.c.Int(0)
	}
	return rate
}

func (r *run) scaleOfRegister(out *Scale, usable limits) {
	if r.subject.Drive.Register.Kind != IntegerRegister {
		return
	}
	if !r.line.reciprocal { // whose counts are not equal steps of speed
		step := r.line.step()
		out.RPMPerCount = Some(step.Float())
		out.RatePerCount = quantity(r.c, r.rel.perTurn.Mul(step), r.measure.Unit)
	} else if r.c.Sign(usable.low) == 0 {
		return
	}
	if first, last := r.countsWithin(usable); first <= last {
		out.CountAtMin, out.CountAtMax = Some(int32(first)), Some(int32(last))
		if !r.line.rising {
			out.CountAtMin, out.CountAtMax = out.CountAtMax, out.CountAtMin
		}
	}
}

// countsWithin returns the least and the greatest count that sets a speed within
// the usable range.
func (r *run) countsWithin(usable limits) (first, last int64) {
	from, to := r.line.number(usable.low), r.line.number(usable.high)
	if !r.line.rising {
		from, to = to, from
	}
	first, _ = r.c.Ceil(from)
	last, _ = r.c.Floor(to)
	return first, last
}

func (r *run) pulsesAt(motorRPM float64) Optional[float64] {
	at := r.at(r.c.Dec(motorRPM))
	if s := r.sensor; s != nil && s.Kind == FlowSensor && r.c.Sign(at.Rate) < 0 {
		return Some(0.0)
	}
	hz, ok := r.pulseRate(at)
	if !ok {
		return Optional[float64]{}
	}
	return Some(hz.Float())
}

// scaleOfReadout finds the most decimals with which the readout's digits hold the
// values at both ends of the usable range; every value between lies between. A check
// tells where its own decimals are more.
func (r *run) scaleOfReadout(out *Scale, usable limits) {
	if r.c.Cmp(usable.low, usable.high) > 0 {
		return
	}
	atLow, okLow := r.readoutValue(r.at(usable.low))
	atHigh, okHigh := r.readoutValue(r.at(usable.high))
	if !okLow || !okHigh {
		r.addNoReadout()
		return
	}
	readout := &r.subject.Drive.Readout
	out.ReadoutDecimals = readout.decimalsThatFit(r.c, atLow, atHigh)
	if fits := out.ReadoutDecimals; !fits.Set || fits.Value < readout.Decimals {
		r.add(Check{Code: ReadoutCannotShowRange, Decimals: fits})
	}
}

// Units in which rates are shown where the drive's description names none.
var (
	metrePerMinute   = units.MustParse("m/min")
	litrePerMinute   = units.MustParse("L/min")
	kilogramPerHour  = units.MustParse("kg/h")
	piecePerMinute   = units.MustParse("pc/min")
	revolutionPerMin = units.MustParse("r/min")
	metrePerTurn     = units.MustParse("m/r")
	litrePerTurn     = units.MustParse("L/r")
	kilogramPerTurn  = units.MustParse("kg/r")
	piecePerTurn     = units.MustParse("pc/r")
)

// RateUnit returns the unit in which d's process rate is shown: its readout's or
// its register's where that is a process rate, else the usual one of its kind.
func RateUnit(d *Drive) *units.Unit {
	own := d.rateKind()
	if u := d.Readout.Unit; u != nil && kindOf(u) == own {
		return u
	}
	if u := d.Register.Span[0].Value.Unit; u != nil && kindOf(u) == own {
		return u
	}
	return UsualRateUnit(dimensions[own])
}

// UsualRateUnit returns the unit in which rates of a kind are usually shown.
func UsualRateUnit(dim units.Dimension) *units.Unit {
	switch dim {
	case units.SpeedDim:
		return metrePerMinute
	case units.VolumeFlow:
		return litrePerMinute
	case units.MassFlow:
		return kilogramPerHour
	case units.PieceRate:
		return piecePerMinute
	}
	return revolutionPerMin
}

func perTurnUnit(rate kind) *units.Unit {
	switch rate {
	case lengthRate:
		return metrePerTurn
	case volumeRate:
		return litrePerTurn
	case massRate:
		return kilogramPerTurn
	}
	return piecePerTurn
}
