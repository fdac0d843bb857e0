package scaling

import (
	"math"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/fraction"
	"linepace.example/core/units"
)

// A device that follows another drive by itself is given a ratio to it. On the
// leader's present value that is a register like any other: an integer of which
// 100 % stands for that value, or a fraction of which 1 does.

// RatioOf is what such a ratio is between.
type RatioOf uint8

// What a ratio is between.
const (
	NoRatioOf RatioOf = iota
	MotorSpeeds
	ProcessRates
	PulseFrequencies
)

// Following is what a register of a ratio or a fraction takes.
type Following struct {
	LeaderID                     string
	Of                           RatioOf
	Decimals                     int32   // RatioRegister: of the percentage
	MaxPercent                   float64 // RatioRegister
	MaxNumerator, MaxDenominator int32   // FractionRegister
}

// Follows reports whether the register takes a ratio to another drive.
func (r *Register) Follows() bool { return r.Kind == RatioRegister || r.Kind == FractionRegister }

// SpanPoints returns how many points the register's line has.
func (r *Register) SpanPoints() int {
	if r.Follows() {
		return 0
	}
	return 2
}

// Counts reports whether the register takes whole numbers.
func (r *Register) Counts() bool { return r.Kind == IntegerRegister || r.Kind == RatioRegister }

// Leading is what a leader does at present: more than zero of what is followed.
type Leading struct {
	Motion
	Hz     exact.Num // of the sensor in its loop, where Pulses
	Pulses bool
}

// LeadingAt returns what s's drive does at a motion.
func LeadingAt(c *exact.Calc, s *Subject, at Motion) Leading {
	hz, ok := PulsesAt(c, s, at)
	return Leading{Motion: at, Hz: hz, Pulses: ok}
}

// value returns what is followed of the leader, in r/min, in base units of its
// process rate, or in pulses per minute.
func (l *Leading) value(c *exact.Calc, of RatioOf) exact.Num {
	switch of {
	case ProcessRates:
		return l.Rate
	case PulseFrequencies:
		return l.Hz.Mul(c.Int(secondsPerMinute))
	}
	return l.Speed
}

// percentCounts returns the count of 100 percent.
func (f *Following) percentCounts() int64 { return 100 * powersOfTen[f.Decimals] }

// mostCount returns the highest count of a ratio.
func (f *Following) mostCount() float64 {
	return math.Round(f.MaxPercent * float64(powersOfTen[f.Decimals]))
}

// RatioText writes a count of a ratio as the percentage that it means.
func (f *Following) RatioText(count int32) string {
	return strconv.FormatFloat(float64(count)/float64(powersOfTen[f.Decimals]), 'f', int(f.Decimals), 64)
}

// follow makes of the drive, for this evaluation, one whose register is an ordinary
// one on the leader's present value; where no leader is known, one without register.
func (r *run) follow() {
	d := *r.subject.Drive
	register := d.Register
	r.subject.Drive = &d
	if r.subject.Leader == nil {
		d.Register = Register{Tag: register.Tag}
		return
	}
	leader := r.subject.Leader(r.c)
	f := &register.Following
	x := leader.value(r.c, f.Of)
	d.Register.Span[0] = SpanPoint{Count: Some[int32](0), Value: r.followed(r.c.Int(0), f.Of)}
	d.Register.Span[1] = SpanPoint{Count: Some[int32](1), Value: r.followed(x, f.Of)}
	r.line.k0, r.line.x0, r.line.dk, r.line.dx, r.line.rising = r.c.Int(0), r.c.Int(0), r.c.Int(1), x, true
	if register.Kind == RatioRegister {
		d.Register.Kind, d.Register.Type = IntegerRegister, ratioCount
		d.Register.Span[1].Count.Value = int32(f.percentCounts())
		r.line.dk = r.c.Int(f.percentCounts())
	}
	switch f.Of {
	case ProcessRates:
		r.line.x = r.rel
	case PulseFrequencies:
		r.line.x.perTurn, r.line.x.kind = r.pulses, pulsesInTime
	default:
		r.line.x.perTurn, r.line.x.itself, r.line.x.kind = r.c.Int(1), true, motorSpeed
	}
}

// followed returns a value of the leader as a quantity.
func (r *run) followed(x exact.Num, of RatioOf) units.Quantity {
	switch of {
	case ProcessRates:
		return quantity(r.c, x, RateUnit(r.subject.Drive))
	case PulseFrequencies:
		return quantity(r.c, x, hertz)
	}
	return speedQuantity(x.Float())
}

// Fraction is a pair of integers that a device takes for a ratio.
type Fraction struct {
	Numerator, Denominator int32
	ErrorPPM               float64 // (pair - ratio) / ratio, parts per million
}

// divide turns speed n into the best fraction of the leader's value, and returns
// the speed that this gives. It needs exact values: in float64 the evaluation is
// left undecided. Formula: best-fraction/1
func (r *run) divide(n exact.Num) (speed exact.Num) {
	ratio := r.line.number(n)
	if !r.c.Exact() {
		r.c.Doubt()
		return n
	}
	f := &r.subject.Drive.Register.Following
	pair, err := fraction.Best(fraction.Proportional, func(c *exact.Calc) exact.Num { return c.From(ratio) },
		fraction.Bounds{MaxNumerator: int64(f.MaxNumerator), MaxDenominator: int64(f.MaxDenominator)})
	if err != nil {
		panic("core/scaling: internal error: a ratio within the register's limits: " + err.Error())
	}
	value := r.c.Int(pair.Numerator).Quo(r.c.Int(pair.Denominator))
	r.out.Fraction = Some(Fraction{int32(pair.Numerator), int32(pair.Denominator),
		value.Sub(ratio).Quo(ratio).Mul(r.c.Int(1e6)).True()})
	return r.line.speed(value)
}

// MotionOfFraction returns the motion that a fraction sets.
func MotionOfFraction(c *exact.Calc, s *Subject, f Fraction) Motion {
	var r run
	r.begin(c, s, Measure{}, nil, nil)
	return r.at(r.line.speed(c.Int(int64(f.Numerator)).Quo(c.Int(int64(f.Denominator)))))
}

// stopFollowing is [Stop] for a drive that is given a ratio: a ratio of nothing stops
// it, unless it holds a pump's flow. A fraction has no nothing.
func (r *run) stopFollowing(of *Register) {
	if of.Kind == RatioRegister && (of.Following.Of != ProcessRates || !r.rel.leaks) {
		r.out.Count, r.out.AchievedRPM = Some[int32](0), Some(0.0)
		return
	}
	r.add(Check{Code: NoCountForStop})
}

// following adds what is wrong with a register of a ratio by itself.
func (v validator) following(d *Drive, p *fault.Path) {
	f := &d.Register.Following
	at := p.Field("ratio")
	if d.Register.Kind == FractionRegister {
		at = p.Field("fraction")
		v.term(f.MaxNumerator, &at, "maxNumerator")
		v.term(f.MaxDenominator, &at, "maxDenominator")
	} else {
		v.ratio(f, &at)
	}
	if f.LeaderID == d.ID && d.ID != "" {
		field := at.Field("leaderId")
		v.faults.Add(&field, fault.Cycle, "is the drive itself; name the drive that it follows")
	}
	of := at.Field("of")
	native, known := d.KnownRateDimension()
	switch s := d.LoopSensor(); {
	case f.Of == PulseFrequencies && (s == nil || s.Kind != ShaftSensor):
		v.faults.Add(&of, fault.Conflict, "is PULSE_FREQUENCY, but no shaft sensor of this drive closes the loop")
	case f.Of == ProcessRates && known && native == units.Dimension{}:
		v.faults.Add(&of, fault.Conflict, "is PROCESS_RATE, but this drive gives no process rate")
	}
	if d.Register.Shaft != MotorShaft {
		shaft := p.Field("shaft")
		v.faults.Add(&shaft, fault.Conflict, "is for a span in r/min; a ratio has none")
	}
}

// mostDecimals is the most decimals that a ratio may have.
const mostDecimals = 6

func (v validator) ratio(f *Following, p *fault.Path) {
	if f.Decimals < 0 || f.Decimals > mostDecimals {
		v.out(p, "decimals", "is %d; it must be 0 to %d", f.Decimals, mostDecimals)
		return
	}
	if !v.within(f.MaxPercent, p, "maxPercent", minMagnitude, 1e6, "percent") {
		return
	}
	whole := Certain(func(c *exact.Calc) bool {
		n := c.Dec(f.MaxPercent).Mul(c.Int(powersOfTen[f.Decimals]))
		k, _ := c.Round(n)
		return c.Cmp(n, c.Int(k)) == 0
	})
	switch {
	case !whole:
		v.out(p, "maxPercent", "is %v, which has more than %d decimals", f.MaxPercent, f.Decimals)
	case f.mostCount() > math.MaxInt32:
		v.out(p, "maxPercent", "is %v, with %d decimals a count of %.0f; it must stay below 2^31", f.MaxPercent, f.Decimals, f.mostCount())
	}
}

func (v validator) term(n int32, p *fault.Path, field string) {
	if n < 1 {
		v.out(p, field, "is %d; it must be 1 to %d", n, math.MaxInt32)
	}
}

// ValidateFollowed adds a fault at p where what d is given a ratio of is not known of
// its leader, whose material is m.
func ValidateFollowed(d, leader *Drive, m *Material, p *fault.Path, faults *fault.List) {
	mine, known := d.KnownRateDimension()
	theirs, alsoKnown := leader.KnownRateDimension()
	switch of := d.Register.Following.Of; {
	case of == ProcessRates && known && alsoKnown && mine != theirs && mine != units.Dimension{}:
		faults.Add(p, fault.Conflict, "is PROCESS_RATE, but the leader %q gives another kind of rate", leader.ID)
	case of == PulseFrequencies && d.LoopSensor() != nil && alsoKnown && !leader.givesPulses(m): // else the fault is its own
		faults.Add(p, fault.Conflict, "is PULSE_FREQUENCY, but no sensor whose frequency is known closes the loop of the leader %q", leader.ID)
	}
}

// givesPulses reports whether the frequency of d's sensor in the loop is known.
func (d *Drive) givesPulses(m *Material) bool {
	s := d.LoopSensor()
	return s != nil && (s.Kind == ShaftSensor || converts(d, m, d.rateKind(), volumeRate))
}

// ValidateSpeed adds a fault unless rpm is a motor speed above zero.
func ValidateSpeed(rpm float64, p *fault.Path, field string, faults *fault.List) {
	validator{faults}.within(rpm, p, field, minMagnitude, maxRPM, "r/min")
}
