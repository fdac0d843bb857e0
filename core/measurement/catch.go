package measurement

import (
	"strings"

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

// Validate adds to faults everything that is wrong with m, whose drive and material
// have been validated by themselves.
func (m *Catch) Validate(faults *fault.List) {
	before := len(*faults)
	list := fault.Root("runs")
	for i := range m.Runs {
		at := list.Index(i)
		m.validateRun(i, &at, faults)
	}
	m.validateUncertainties(faults)
	if len(*faults) > before || len(m.Runs) == 0 {
		return
	}
	if m.validateKind(faults); len(*faults) > before {
		return
	}
	refs := m.references(m.rates())
	for i := range refs {
		at := list.Index(i)
		scaling.ValidatePositive(refs[i].Value, &at, faults, "rate", refs[i].Value.Unit.Dimension())
		whole(refs[i].UncertaintyPercent.Value, &at, faults)
	}
	if d := rated(m.Drive, refs); len(*faults) == before && !d.ReferencesRise() {
		faults.Add(&list, fault.Conflict, "give a line that does not rise with the speed, as if the pump delivered no more when it turns faster; look for exchanged or mistyped values")
	}
}

func (m *Catch) validateRun(i int, p *fault.Path, faults *fault.List) {
	run, first := &m.Runs[i], m.Runs[0].Amount.Unit
	sound := scaling.ValidatePositive(run.Amount, p, faults, "amount", units.MassDim, units.VolumeDim)
	if sound && i > 0 && first != nil && first != scaling.Unreadable && first.Dimension() != run.Amount.Unit.Dimension() {
		at := p.Field("amount")
		unit := at.Field("unit")
		faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s, and the first run is in %q; give all of them as masses or all as volumes",
			run.Amount.Unit.Symbol(), run.Amount.Unit.Dimension(), first.Symbol())
	}
	scaling.ValidatePositive(run.Time, p, faults, "time", units.TimeDim)
	scaling.ValidateMotorRPM(run.MotorRPM, p, "motorRpm", faults)
}

func (m *Catch) validateUncertainties(faults *fault.List) {
	kinds := []units.Dimension{units.MassDim, units.VolumeDim}
	if len(m.Runs) > 0 {
		if u := m.Runs[0].Amount.Unit; u != nil && (u.Dimension() == units.MassDim || u.Dimension() == units.VolumeDim) {
			kinds = []units.Dimension{u.Dimension()}
		}
	}
	if m.AmountUncertainty.Unit != nil {
		scaling.ValidatePositive(m.AmountUncertainty, nil, faults, "amountUncertainty", kinds...)
	}
	if m.Capacity.Unit != nil {
		scaling.ValidatePositive(m.Capacity, nil, faults, "capacity", kinds...)
	}
	if m.TimeUncertainty.Unit != nil {
		scaling.ValidatePositive(m.TimeUncertainty, nil, faults, "timeUncertainty", units.TimeDim)
	}
	validateShare(m.AmountPercent, "amountUncertaintyPercent", faults)
	validateShare(m.DensityPercent, "densityUncertaintyPercent", faults)
	validateShare(m.WantedPercent, "wantedUncertaintyPercent", faults)
	amount, time := m.knowsAmount(), m.TimeUncertainty.Unit != nil
	pair(time, amount || m.WantedPercent.Set, "timeUncertainty", "without it the uncertainty of a rate would come out too small", faults)
	pair(amount, time || m.WantedPercent.Set, "amountUncertainty", "without it, or amountUncertaintyPercent, the uncertainty of a rate would come out too small", faults)
}

func validateShare(p scaling.Optional[float64], field string, faults *fault.List) {
	if p.Set {
		scaling.ValidateShare(p.Value, 100, nil, field, faults)
	}
}

func (m *Catch) knowsAmount() bool { return m.AmountUncertainty.Unit != nil || m.AmountPercent.Set }

// validateKind demands that what was caught can be told as what the drive delivers.
func (m *Catch) validateKind(faults *fault.List) {
	_, own := ownUnit(m.Drive)
	switch own {
	case units.Dimension{}:
	case units.VolumeFlow, units.MassFlow:
		if field := scaling.NeedsDensity(rated(m.Drive, nil), m.Material, m.caught()); field != "" {
			material := fault.Root("material")
			at := material.Field(field)
			faults.Add(&at, fault.Required, "is needed: the drive delivers a volume or a mass, and the other was caught")
		}
	default:
		drive := fault.Root("drive")
		at := drive.Field("delivery")
		faults.Add(&at, fault.Conflict, "delivers %s; a catch test is for what delivers a volume or a mass", own)
	}
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
