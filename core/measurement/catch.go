package measurement

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Catch is a catch test: what a pump or feeder gives in a measured time, at one or
// at several motor speeds.
type Catch struct {
	Drive             *scaling.Drive // nil: none
	Runs              []CatchRun
	Material          *scaling.Material         // nil: none
	DensityPercent    scaling.Optional[float64] // uncertainty of its density
	AmountUncertainty units.Quantity            // of one amount, whatever its size
	AmountPercent     scaling.Optional[float64] // of one amount, in proportion to it
	TimeUncertainty   units.Quantity
	Capacity          units.Quantity // of the pan or vessel; Unit nil: no limit
	WantedPercent     scaling.Optional[float64]
}

// CatchRun is one catch.
type CatchRun struct {
	Amount, Time units.Quantity
	MotorRPM     float64
}

// CatchRate is what a run gives. The percentages are parts of an expanded
// uncertainty; they are absent where none was given.
type CatchRate struct {
	MotorRPM                                   float64
	Rate                                       units.Quantity
	UncertaintyPercent                         scaling.Optional[float64]
	AmountPercent, TimePercent, DensityPercent scaling.Optional[float64]
	LeastTime, LeastAmount                     units.Quantity // for the wanted uncertainty
}

// caught is the dimension of an amount caught per time.
func (m *Catch) caught() units.Dimension {
	return m.Runs[0].Amount.Unit.Dimension().Per(units.TimeDim)
}

// Find returns each run's rate, all of them as references of the drive, and what the
// user must know.
//
//	rate        = amount / time, and by the density as the kind that the drive delivers
//	uncertainty = sqrt((ua/a)^2 + pa^2 + (ut/t)^2 + pd^2)
//
// ua, pa: of the amount a, absolute and relative; ut: of the time t; pd: of the
// density, where it plays a part. Source: GUM 5.1.6. m has passed Validate.
// Formulas: catch-rate/1, catch-uncertainty/1, catch-time/1.
func (m *Catch) Find() (rates []CatchRate, refs []scaling.Reference, checks []scaling.Check) {
	rates = m.rates()
	if m.WantedPercent.Set {
		list := fault.Root("runs")
		for i := range rates {
			at := list.Index(i)
			m.judge(&m.Runs[i], &rates[i], at.String(), &checks)
		}
	}
	return rates, m.references(rates), checks
}

func (m *Catch) rates() []CatchRate {
	unit, own := ownUnit(m.Drive)
	if unit == nil {
		own = m.caught()
		unit = scaling.UsualRateUnit(own)
	}
	out := make([]CatchRate, len(m.Runs))
	for i := range m.Runs {
		run := &m.Runs[i]
		c := new(exact.Calc)
		rate := run.Amount.Base(c).Quo(run.Time.Base(c))
		if own != m.caught() {
			rate = byDensity(scaling.DensityFor(m.Drive, m.Material).Base(c), rate, own)
		}
		out[i] = CatchRate{MotorRPM: run.MotorRPM, Rate: units.Quantity{Value: units.FromBase(c, rate, unit).Float(), Unit: unit}}
		if m.TimeUncertainty.Unit != nil {
			m.weigh(run, &out[i])
		}
	}
	return out
}

// byDensity turns a rate of volume or mass into the other, which is wanted.
func byDensity(density, rate exact.Num, wanted units.Dimension) exact.Num {
	if wanted == units.MassFlow {
		return rate.Mul(density)
	}
	return rate.Quo(density)
}

// needsDensity reports whether the density enters the rates.
func (m *Catch) needsDensity() bool {
	unit, own := ownUnit(m.Drive)
	return unit != nil && own != m.caught()
}

// weigh finds the uncertainty of a run's rate.
func (m *Catch) weigh(run *CatchRun, out *CatchRate) {
	out.AmountPercent = scaling.Some(root(m.fixedAmount(run), optionalPercent(m.AmountPercent)))
	out.TimePercent = scaling.Some(percentOf(m.TimeUncertainty, run.Time))
	if m.needsDensity() {
		out.DensityPercent = scaling.Some(optionalPercent(m.DensityPercent))
	}
	out.UncertaintyPercent = scaling.Some(root(out.AmountPercent.Value, out.TimePercent.Value, out.DensityPercent.Value))
}

// fixedAmount is the share of the amount's uncertainty that a longer run lessens, percent.
func (m *Catch) fixedAmount(run *CatchRun) float64 {
	if m.AmountUncertainty.Unit == nil {
		return 0
	}
	return percentOf(m.AmountUncertainty, run.Amount)
}

// judge finds the least time for the wanted uncertainty at a run's speed, or says why
// there is none.
//
//	least time = t * sqrt((ua/a)^2 + (ut/t)^2) / sqrt(wanted^2 - pa^2 - pd^2)
func (m *Catch) judge(run *CatchRun, out *CatchRate, field string, checks *[]scaling.Check) {
	wanted := m.WantedPercent.Value
	lasting := root(optionalPercent(m.AmountPercent), out.DensityPercent.Value)
	add := func(k scaling.Check) {
		k.DriveID, k.Field, k.Allowed = m.driveID(), field, wanted
		*checks = append(*checks, k)
	}
	if lasting >= wanted {
		add(scaling.Check{Code: scaling.UncertaintyOutOfReach, Name: m.lastingName(), Number: lasting})
		return
	}
	fixed := root(m.fixedAmount(run), out.TimePercent.Value)
	times := fixed / rootOfDifference(wanted, lasting)
	time, amount := scaled(run.Time, times), scaled(run.Amount, times)
	if m.Capacity.Unit != nil && percentOf(amount, m.Capacity) > 100 {
		full := percentOf(run.Amount, m.Capacity) / 100
		add(scaling.Check{Code: scaling.UncertaintyOutOfReach, Name: "a full pan or vessel", Number: root(fixed*full, lasting)})
		return
	}
	out.LeastTime, out.LeastAmount = time, amount
	if out.UncertaintyPercent.Value > wanted {
		add(scaling.Check{Code: scaling.MissesUncertainty, Number: out.UncertaintyPercent.Value})
	}
}

// lastingName names what no longer run lessens.
func (m *Catch) lastingName() string {
	switch {
	case !m.AmountPercent.Set:
		return "the density"
	case !m.DensityPercent.Set || !m.needsDensity():
		return "the balance or vessel"
	}
	return "balance and density"
}

func (m *Catch) driveID() string {
	if m.Drive == nil {
		return ""
	}
	return m.Drive.ID
}

func scaled(q units.Quantity, times float64) units.Quantity {
	return units.Quantity{Value: q.Value * times, Unit: q.Unit}
}

func (m *Catch) references(rates []CatchRate) []scaling.Reference {
	out := make([]scaling.Reference, len(rates))
	for i := range rates {
		out[i] = scaling.Reference{Value: rates[i].Rate, MotorRPM: rates[i].MotorRPM, UncertaintyPercent: rates[i].UncertaintyPercent}
	}
	return out
}

// Rated returns m's drive with refs, which Find found, as its references; without a
// drive one that is nothing but a motor.
func (m *Catch) Rated(refs []scaling.Reference) *scaling.Drive { return rated(m.Drive, refs) }
