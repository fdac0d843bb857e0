package dwell

import (
	"math"

	"linepace.example/core/elementary"
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Scale is a temperature scale.
type Scale uint8

// Temperature scales. The zero value means that none is given, and Unreadable that
// its fault has been reported.
const (
	NoScale Scale = iota
	Celsius
	Fahrenheit
	Kelvin
	UnreadableScale
)

// Symbols are the symbols of the scales, as the contract writes them.
var Symbols = [...]string{Celsius: "degC", Fahrenheit: "degF", Kelvin: "K"}

// Temperature is a temperature, or a difference of two, on a scale.
type Temperature struct {
	Value float64
	Scale Scale
}

// kelvins returns the temperature above absolute zero.
//
//	degC + 273.15, (degF + 459.67) * 5/9
func (t Temperature) kelvins(c *exact.Calc) exact.Num {
	switch t.Scale {
	case Celsius:
		return c.Dec(t.Value).Add(c.Dec(273.15))
	case Fahrenheit:
		return c.Dec(t.Value).Add(c.Dec(459.67)).Mul(c.Int(5)).Quo(c.Int(9))
	}
	return c.Dec(t.Value)
}

// above returns by how many kelvins t is hotter than other: on one scale by its
// difference alone, between scales in degC, so that whole degrees stay whole.
func (t Temperature) above(c *exact.Calc, other Temperature) exact.Num {
	if t.Scale == other.Scale {
		by := c.Dec(t.Value).Sub(c.Dec(other.Value))
		if t.Scale == Fahrenheit {
			by = by.Mul(c.Int(5)).Quo(c.Int(9))
		}
		return by
	}
	return t.celsius(c).Sub(other.celsius(c))
}

// celsius returns the temperature in degC.
//
//	(degF - 32) * 5/9, K - 273.15
func (t Temperature) celsius(c *exact.Calc) exact.Num {
	switch t.Scale {
	case Fahrenheit:
		return c.Dec(t.Value).Sub(c.Int(32)).Mul(c.Int(5)).Quo(c.Int(9))
	case Kelvin:
		return c.Dec(t.Value).Sub(c.Dec(273.15))
	}
	return c.Dec(t.Value)
}

// difference returns a difference of temperatures in kelvins.
func (t Temperature) difference(c *exact.Calc) exact.Num {
	if t.Scale == Fahrenheit {
		return c.Dec(t.Value).Mul(c.Int(5)).Quo(c.Int(9))
	}
	return c.Dec(t.Value)
}

// Lethality is what makes times at different temperatures comparable: the reference
// temperature, and the difference Z that changes the effect of a time tenfold; Z
// itself, or two pairs of temperature and time of equal effect.
type Lethality struct {
	Reference Temperature
	Z         Temperature // a difference; no scale where ZFrom gives it
	ZFrom     []Exposure
}

// Exposure is a time at a temperature.
type Exposure struct {
	Temperature Temperature
	Time        units.Quantity
}

// bounds of temperatures, in kelvins, and of exponents: 10^100 times any rate is no
// rate of a process.
const (
	mostKelvins  = 4000
	leastZ       = 0.01
	mostZ        = 1000
	mostExponent = 100
)

func (t Temperature) validate(p *fault.Path, field string, faults *fault.List) bool {
	at := p.Field(field)
	switch t.Scale {
	case NoScale:
		faults.Add(&at, fault.Required, "is needed: a temperature in degC, degF or K")
		return false
	case UnreadableScale:
		return false
	}
	if k := t.kelvins(new(exact.Calc)).Float(); !(k >= 0 && k <= mostKelvins) {
		value := at.Field("value")
		faults.Add(&value, fault.OutOfRange, "is %v %s; it must be above absolute zero and at most %v K", t.Value, Symbols[t.Scale], mostKelvins)
		return false
	}
	return true
}

// Validate adds to faults what is wrong with l, whose fields are those of path p.
func (l *Lethality) Validate(p *fault.Path, faults *fault.List) {
	l.Reference.validate(p, "reference", faults)
	at := p.Field("z")
	switch {
	case l.Z.Scale == UnreadableScale:
	case l.Z.Scale == NoScale && len(l.ZFrom) == 0:
		faults.Add(&at, fault.Required, "is needed: the temperature difference that changes the effect tenfold, such as 10 K, or zFrom")
	case l.Z.Scale != NoScale && len(l.ZFrom) > 0:
		faults.Add(&at, fault.Conflict, "is given together with zFrom; give one of them")
	case l.Z.Scale != NoScale:
		if z := l.Z.difference(new(exact.Calc)).Float(); !(z >= leastZ && z <= mostZ) {
			value := at.Field("value")
			faults.Add(&value, fault.OutOfRange, "is %v %s; it must be %v to %v K", l.Z.Value, Symbols[l.Z.Scale], leastZ, mostZ)
		}
	default:
		l.validatePair(p, faults)
	}
}

// validatePair demands two exposures of which the hotter takes the shorter time.
func (l *Lethality) validatePair(p *fault.Path, faults *fault.List) {
	list := p.Field("zFrom")
	before := len(*faults)
	if len(l.ZFrom) != 2 {
		faults.Add(&list, fault.OutOfRange, "has %d pairs; it must have two of equal effect", len(l.ZFrom))
		return
	}
	for i := range l.ZFrom {
		at := list.Index(i)
		if !l.ZFrom[i].validate(&at, faults) {
			return
		}
	}
	if len(*faults) == before {
		if z := l.zOfPair(); !(z >= leastZ && z <= mostZ) {
			faults.Add(&list, fault.Conflict, "gives a z of %.6g K: the hotter of the two must take the shorter time, and z be %v to %v K", z, leastZ, mostZ)
		}
	}
}

func (e *Exposure) validate(p *fault.Path, faults *fault.List) bool {
	sound := e.Temperature.validate(p, "temperature", faults)
	return scaling.ValidatePositive(e.Time, p, faults, "time", units.TimeDim) && sound
}

// ln10 is the natural logarithm of ten.
const ln10 = math.Ln10

// zOfPair returns the z of two exposures of equal effect, in kelvins.
//
//	z = (T2 - T1) / log10(t1 / t2)
func (l *Lethality) zOfPair() float64 {
	c := new(exact.Calc)
	a, b := &l.ZFrom[0], &l.ZFrom[1]
	ratio := a.Time.Base(c).Quo(b.Time.Base(c)).Float()
	return b.Temperature.above(c, a.Temperature).Float() * ln10 / elementary.Log(ratio)
}

// z returns z in kelvins.
func (l *Lethality) z() float64 {
	if l.Z.Scale == NoScale {
		return l.zOfPair()
	}
	return l.Z.difference(new(exact.Calc)).Float()
}

// ZOn returns z as a difference on the scale of the reference.
func (l *Lethality) ZOn() Temperature {
	z := l.z()
	if l.Z.Scale == l.Reference.Scale {
		z = l.Z.Value
	} else if l.Reference.Scale == Fahrenheit {
		z = z * 9 / 5
	}
	return Temperature{Value: z, Scale: l.Reference.Scale}
}

// exponent returns (T - Tref) / z.
func (l *Lethality) exponent(t Temperature) float64 {
	c := new(exact.Calc)
	above := t.above(c, l.Reference)
	if l.Z.Scale != NoScale {
		return above.Quo(l.Z.difference(c)).Float()
	}
	return above.Float() / l.zOfPair()
}

// Rate returns the lethal rate at a temperature: minutes at the reference that one
// minute there is worth.
//
//	10^((T - Tref) / z)
//
// Source: Bigelow 1921, Ball 1923; the form is that of the trade's handbooks. Within
// 1e-14 of itself for each unit of the exponent. Formula: lethal-rate/1.
func (l *Lethality) Rate(t Temperature) float64 { return elementary.Exp10(l.exponent(t)) }

// Between returns the mean lethal rate while the temperature goes linearly from one to
// another.
//
//	(10^x2 - 10^x1) / (ln 10 * (x2 - x1)), x = (T - Tref) / z
//
// Formula: lethal-rate-mean/1.
func (l *Lethality) Between(from, to Temperature) float64 {
	x1, x2 := l.exponent(from), l.exponent(to)
	y := (x2 - x1) * ln10
	if math.Abs(y) < 0.05 { // (e^y - 1) / y by its series, where the difference would cancel
		sum := 1.0
		for n := 8.0; n >= 2; n-- {
			sum = 1 + float64(sum*y/n)
		}
		return elementary.Exp10(x1) * sum
	}
	return (elementary.Exp10(x2) - elementary.Exp10(x1)) / y
}

// Profile is the temperature of a product over time: held for a while, step after
// step, or known at points between which it goes linearly. One of the two is given.
type Profile struct {
	Lethality
	Steps  []Exposure
	Points []Exposure // Time since the first point's; the first is at any time of 0 or more
}

// MostExposures bounds the steps or points of a profile.
const MostExposures = 100_000

// Validate adds to faults what is wrong with p.
func (p *Profile) Validate(faults *fault.List) {
	p.Lethality.Validate(nil, faults)
	steps, points := fault.Root("steps"), fault.Root("points")
	switch {
	case len(p.Steps) == 0 && len(p.Points) == 0:
		faults.Add(&steps, fault.Required, "is needed: the product's temperature, as steps or as points")
	case len(p.Steps) > 0 && len(p.Points) > 0:
		faults.Add(&points, fault.Conflict, "is given together with steps; give one of them")
	case len(p.Points) == 1:
		faults.Add(&points, fault.OutOfRange, "has one point; a profile takes two or more")
	}
	for i := range p.Steps {
		at := steps.Index(i)
		if p.Steps[i].validate(&at, faults) && len(*faults) == 0 {
			p.checkExponent(p.Steps[i].Temperature, &at, faults)
		}
	}
	for i := range p.Points {
		at := points.Index(i)
		p.validatePoint(i, &at, faults)
	}
}

func (p *Profile) validatePoint(i int, at *fault.Path, faults *fault.List) {
	point := &p.Points[i]
	sound := point.Temperature.validate(at, "temperature", faults)
	if point.Time.Unit == nil {
		field := at.Field("time")
		faults.Add(&field, fault.Required, "is needed: the time of the point, such as 3 min")
		return
	}
	sound = scaling.ValidateZeroOrMore(point.Time, at, faults, "time", units.TimeDim) && sound
	if !sound || len(*faults) > 0 {
		return
	}
	p.checkExponent(point.Temperature, at, faults)
	if i > 0 && !isLess(p.Points[i-1].Time, point.Time) {
		field := at.Field("time")
		faults.Add(&field, fault.OutOfRange, "is %v %s, not after the point before it", point.Time.Value, point.Time.Unit.Symbol())
	}
}

func (l *Lethality) checkExponent(t Temperature, at *fault.Path, faults *fault.List) {
	if x := l.exponent(t); math.Abs(x) > mostExponent {
		field := at.Field("temperature")
		faults.Add(&field, fault.OutOfRange, "is %.4g times z away from the reference, which is no process; look at reference, z and their units", x)
	}
}

// Dose is the equivalent time of a profile at the reference temperature.
type Dose struct {
	Equivalent units.Quantity   // in the unit of the first time
	Parts      []units.Quantity // of each step, or from each point to the next
	Rates      []float64        // lethal rate of each step, or mean from each point to the next
}

// Dose returns F = sum of t * 10^((T - Tref) / z), or its integral between points.
//
// Formula: thermal-dose/1.
func (p *Profile) Dose() Dose {
	var out Dose
	sum := 0.0
	add := func(time units.Quantity, less units.Quantity, rate float64) {
		c := new(exact.Calc)
		n := time.Base(c)
		if less.Unit != nil {
			n = n.Sub(less.Base(c))
		}
		u := p.unit()
		part := float64(units.FromBase(c, n, u).Float() * rate)
		sum += part
		out.Parts = append(out.Parts, units.Quantity{Value: part, Unit: u})
		out.Rates = append(out.Rates, rate)
	}
	for _, s := range p.Steps {
		add(s.Time, units.Quantity{}, p.Rate(s.Temperature))
	}
	for i := 1; i < len(p.Points); i++ {
		a, b := &p.Points[i-1], &p.Points[i]
		add(b.Time, a.Time, p.Between(a.Temperature, b.Temperature))
	}
	out.Equivalent = units.Quantity{Value: sum, Unit: p.unit()}
	return out
}

func (p *Profile) unit() *units.Unit {
	if len(p.Steps) > 0 {
		return p.Steps[0].Time.Unit
	}
	return p.Points[len(p.Points)-1].Time.Unit
}
