package scaling

import (
	"slices"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

// Expected is what shows at one speed of a drive: on its shafts, at its delivery, on
// its readout, at its sensor in the loop.
type Expected struct {
	MotorRPM     float64
	LastShaftRPM Optional[float64]
	ProcessRate  units.Quantity
	ReadoutText  Text // zero where it cannot be said
	PulseHz      Optional[float64]
}

// Limits are what shows at the slowest and at the fastest speed, by magnitude, that
// the drive's regulation allows.
type Limits struct{ Slowest, Fastest Expected }

// LimitsAt returns the limits around a motion; they are absent where no regulation
// is described, and at a stand.
func LimitsAt(c *exact.Calc, s *Subject, at Motion) Optional[Limits] {
	var none []Check
	var out Setpoint
	var r run
	r.begin(c, s, Measure{}, &none, &out)
	slow, fast, known := r.regulated(at.Speed)
	if !known || c.Sign(at.Speed) == 0 {
		return Optional[Limits]{}
	}
	if c.Cmp(slow.Abs(), fast.Abs()) > 0 {
		slow, fast = fast, slow
	}
	return Some(Limits{Slowest: r.expected(slow), Fastest: r.expected(fast)})
}

func (r *run) expected(n exact.Num) Expected {
	*r.out = Setpoint{}
	r.describe(r.at(n))
	return Expected{
		MotorRPM: r.out.AchievedRPM.Value, LastShaftRPM: r.out.LastShaftRPM, ProcessRate: r.out.ProcessRate,
		ReadoutText: r.out.ReadoutText, PulseHz: r.out.PulseHz,
	}
}

// Amounts returns a motion in each of the measures, of which each is a rate that the
// drive gives, a motor speed, or a time in a section. A time at a stand is absent.
func Amounts(c *exact.Calc, s *Subject, at Motion, measures []Measure) []units.Quantity {
	out := make([]units.Quantity, 0, len(measures))
	for _, m := range measures {
		var r run
		r.begin(c, s, m, nil, nil)
		if r.asked == timeInSection && c.Sign(at.Rate) == 0 {
			continue
		}
		amount := r.amount(at)
		if r.asked == timeInSection {
			amount = amount.Abs()
		}
		out = append(out, r.inUnit(amount))
	}
	return out
}

// ValidateUnit adds a fault at p unless a motion of d with material m (nil: none) can
// be given in u: a process rate, a motor speed, or the time in a section.
func ValidateUnit(d *Drive, m *Material, section *Section, u *units.Unit, p *fault.Path, faults *fault.List) {
	native, known := d.KnownRateDimension()
	if !known {
		return // the fault of the reference has been reported
	}
	dims := askedOf(native)
	if native == units.SpeedDim {
		dims = shownOfBelt
	}
	switch dim := u.Dimension(); {
	case !slices.Contains(dims, dim):
		faults.Add(p, fault.UnitWrongKind, "%q is a unit of %s; this drive gives %s, such as %s", u.Symbol(), dim, kinds(dims), dims[0].Examples())
	case dim == units.TimeDim && section == nil:
		faults.Add(p, fault.Conflict, "%q is a unit of time, which needs section", u.Symbol())
	case NeedsDensity(d, m, dim) != "":
		faults.Add(p, fault.Conflict, "%q is a unit of %s, which needs material.%s: the drive delivers a volume or a mass, and this is the other", u.Symbol(), dim, NeedsDensity(d, m, dim))
	}
}

// signalBand says what a current means that does not lie within 4 to 20 mA, in
// ranges as NAMUR NE 43 has them according to descriptions of it; the
// recommendation itself was not read, and the descriptions differ on whether 3.6 and
// 21 mA are faults themselves.
func signalBand(milliamps float64) string {
	switch {
	case milliamps < 3.6:
		return "below 3.6 mA a current is commonly taken for a fault of the signal, not for a speed"
	case milliamps < 3.8:
		return "from 3.6 to 3.8 mA a current is neither a valid signal nor surely a fault"
	case milliamps < 4:
		return "from 3.8 to 4 mA the signal is valid, below its range"
	case milliamps <= 20:
		return ""
	case milliamps <= 20.5:
		return "from 20 to 20.5 mA the signal is valid, above its range"
	case milliamps <= 21:
		return "from 20.5 to 21 mA a current is neither a valid signal nor surely a fault"
	}
	return "above 21 mA a current is commonly taken for a fault of the signal, not for a speed"
}
