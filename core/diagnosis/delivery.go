package diagnosis

import (
	"math"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// addRate adds a mistake about what is delivered: the true rate is factor times the
// reckoned one.
func (f *finder) addRate(s single, factor float64) {
	e := everywhere
	e.rate = factor
	f.add(s, e)
}

// addDelivery adds mistakes about what a turn of the last shaft delivers. Where that
// was measured, none of them is in the calculation.
func (f *finder) addDelivery() {
	if f.measured() {
		return
	}
	d, m := &f.subject.Drive.Delivery, f.subject.Material
	switch {
	case d.Kind == scaling.Roll:
		f.addRoll(d)
	case d.Kind == scaling.Screw && m != nil && m.FillPercent.Set:
		f.addShare(m.FillPercent.Value, "fill", "material.fillPercent", "fill of the screw", "Catch what the screw delivers in a known number of turns, and weigh it.")
	case d.Kind == scaling.Pump && d.VolumetricEfficiencyPercent.Set:
		f.addShare(d.VolumetricEfficiencyPercent.Value, "efficiency", "drive.delivery.pump.volumetricEfficiencyPercent", "volumetric efficiency of the pump",
			"Catch what the pump delivers in a known time, and weigh it.")
	}
}

// addShare adds a share of the full delivery that was left out, or counted where it
// is not so.
func (f *finder) addShare(percentage float64, name, field, what, confirm string) {
	share := percentage / 100
	m := single{
		Mistake: Mistake{Cause: FillOrEfficiency, Field: field, Confirm: confirm},
		topic:   topic{of: ofDelivery},
		inputs:  []scaling.Input{{Name: name, Value: units.Quantity{Value: percentage, Unit: percent}}},
	}
	m.Text = "The " + what + " was left out of the calculation"
	m.formula = name
	f.addRate(m, share)
	m.Text = "The " + what + " was counted twice, or is full in truth"
	m.formula = "1 / " + name
	f.addRate(m, 1/share)
}

// addRoll adds mistakes about a roll's diameter and its belt. The rate goes with the
// diameter at which it is reckoned, d + t for a roll of diameter d under a belt of
// thickness t, or the pitch diameter.
func (f *finder) addRoll(d *scaling.Delivery) {
	roll := rollMistakes{finder: f, field: "drive.delivery.roll.diameter", name: "diameter", given: d.Diameter}
	if d.PitchDiameter.Unit != nil {
		roll.field, roll.name, roll.given = "drive.delivery.roll.pitchDiameter", "pitchDiameter", d.PitchDiameter
	}
	roll.d = roll.given.Base(&f.c).Float()
	if d.BeltThickness.Unit != nil {
		roll.belt, roll.t = d.BeltThickness, d.BeltThickness.Base(&f.c).Float()
	}
	for i := range wrongDiameters {
		roll.diameter(&wrongDiameters[i])
	}
	if roll.t > 0 {
		roll.thickness()
	}
}

type rollMistakes struct {
	*finder
	field, name string
	given, belt units.Quantity
	d, t        float64 // m
}

// inputs are those of the formulas, the belt's thickness only where there is one.
func (r *rollMistakes) inputs() []scaling.Input {
	in := []scaling.Input{{Name: r.name, Value: r.given}}
	if r.t > 0 {
		in = append(in, scaling.Input{Name: "beltThickness", Value: r.belt})
	}
	return in
}

// wrongDiameter is a mistake by which the true diameter is part of the one that was
// entered in the description, or the described one that part of the one in the drive.
type wrongDiameter struct {
	cause          Cause
	part           float64
	formula        string // of part
	entered, setUp string
}

var wrongDiameters = [...]wrongDiameter{
	{RadiusForDiameter, 2, "2",
		"The radius of the roll was entered as its diameter", "The drive is set up with twice the diameter of the roll"},
	{RadiusForDiameter, 0.5, "0.5",
		"Twice the diameter of the roll was entered", "The drive is set up with the radius of the roll as its diameter"},
	{CircumferenceForDiameter, 1 / math.Pi, "1 / pi",
		"The circumference of the roll was entered as its diameter", "The drive is set up without pi: with the diameter as if it were the circumference"},
	{CircumferenceForDiameter, math.Pi, "pi",
		"The diameter of the roll was divided by pi before it was entered", "The drive is set up with the circumference of the roll as its diameter"},
}

func (r *rollMistakes) diameter(w *wrongDiameter) {
	m := single{
		Mistake: Mistake{Cause: w.cause, Field: r.field,
			Confirm: "Locked out, lay a tape around the roll and a calliper across it, and see which of them the drawing and the set-up give."},
		topic: topic{of: ofDelivery}, inputs: r.inputs(),
	}
	plus := ""
	if r.t > 0 {
		plus = " + beltThickness"
	}
	as, is := r.name+plus, r.name+" * "+w.formula+plus
	factor := (float64(w.part*r.d) + r.t) / (r.d + r.t)
	m.Text, m.formula = w.entered, "("+is+") / ("+as+")"
	r.addRate(m, factor)
	m.Text, m.formula = w.setUp, "("+as+") / ("+is+")"
	r.addRate(m, 1/factor)
}

// thickness adds mistakes about the belt on the roll.
func (r *rollMistakes) thickness() {
	d, t := r.d, r.t
	const look = "Measure the belt's thickness at its edge with a calliper, and the roll's diameter on the bare roll."
	for _, k := range [...]struct {
		factor             float64
		formula, text, how string
	}{
		{(d + t) / d, "(diameter + beltThickness) / diameter", "The thickness of the belt was left out of the calculation", look},
		{d / (d + t), "diameter / (diameter + beltThickness)", "The thickness of the belt was added to a diameter that has it already, or there is no belt", look},
		{(d + t) / (d + float64(2*t)), "(diameter + beltThickness) / (diameter + 2 * beltThickness)", "The thickness of the belt was counted on both sides of the roll", look},
		{(d + t) / (d + float64(3*t)), "(diameter + beltThickness) / (diameter + 3 * beltThickness)", "The diameter was measured over the belt and the thickness added to it, in the drive's set-up", look},
		{(d - t) / (d + t), "(diameter - beltThickness) / (diameter + beltThickness)", "The diameter was measured over the belt and the thickness added to it", look},
		{(d + float64(2*t)) / (d + t), "(diameter + 2 * beltThickness) / (diameter + beltThickness)", "The speed was measured on the belt over the roll, where its outside runs faster, and not on the straight run",
			"Hold the wheel to the straight run of the belt."},
	} {
		if k.factor <= 0 {
			continue // a belt thicker than its roll
		}
		r.addRate(single{
			Mistake: Mistake{Cause: BeltThickness, Field: "drive.delivery.roll.beltThickness", Text: k.text, Confirm: k.how},
			topic:   topic{of: ofDelivery}, formula: k.formula, inputs: r.inputs(),
		}, k.factor)
	}
}

// confusion is a pair of units that are taken for one another.
type confusion struct {
	cause Cause
	of    units.Dimension
	a, b  string
	text  string
}

var confusions = []confusion{
	{UnitOfAmount, units.SpeedDim, "m", "ft", "One value is in metres and the other in feet"},
	{UnitOfAmount, units.SpeedDim, "in", "mm", "One value is in inches and the other in millimetres"},
	{UnitOfAmount, units.SpeedDim, "in", "cm", "One value is in inches and the other in centimetres"},
	{UnitOfAmount, units.SpeedDim, "ft", "in", "One value is in feet and the other in inches"},
	{UnitOfAmount, units.SpeedDim, "yd", "m", "One value is in yards and the other in metres"},
	{UsForImperialGallon, units.VolumeFlow, "gal_imp", "gal_us", "One value is in imperial gallons and the other in US gallons"},
	{UnitOfAmount, units.VolumeFlow, "gal_us", "L", "One value is in US gallons and the other in litres"},
	{UnitOfAmount, units.VolumeFlow, "gal_imp", "L", "One value is in imperial gallons and the other in litres"},
	{UnitOfAmount, units.VolumeFlow, "ft3", "L", "One value is in cubic feet and the other in litres"},
	{UnitOfAmount, units.VolumeFlow, "m3", "ft3", "One value is in cubic metres and the other in cubic feet"},
	{UnitOfAmount, units.VolumeFlow, "fl_oz_us", "mL", "One value is in US fluid ounces and the other in millilitres"},
	{UnitOfAmount, units.MassFlow, "kg", "lb", "One value is in kilograms and the other in pounds"},
	{UnitOfAmount, units.MassFlow, "oz", "g", "One value is in ounces and the other in grams"},
	{UnitOfAmount, units.MassFlow, "t", "ston", "One value is in tonnes and the other in short tons"},
	{UnitOfAmount, units.MassFlow, "lton", "t", "One value is in long tons and the other in tonnes"},
	{UnitOfAmount, units.MassFlow, "lton", "ston", "One value is in long tons and the other in short tons"},
}

// addUnits adds confusions of units, of the kind that is observed and of time.
func (f *finder) addUnits() {
	of := map[units.Dimension]bool{}
	process := false
	for i := range f.groups {
		dim := f.groups[i].at.unit.Dimension()
		of[dim] = true
		process = process || dim != units.Rotation
	}
	for i := range confusions {
		if k := &confusions[i]; of[k.of] {
			f.addConfusion(*k, effectOnRate)
		}
	}
	if process {
		f.addConfusion(confusion{UnitOfTime, units.TimeDim, "min", "s", "One value is per minute and the other per second, or one per hour and the other per minute"}, effectOnRate)
		f.addConfusion(confusion{UnitOfTime, units.TimeDim, "h", "s", "One value is per hour and the other per second"}, effectOnRate)
	}
	if of[units.Rotation] {
		f.addConfusion(confusion{UnitOfTime, units.Rotation, "min", "s", "One speed is per minute (r/min) and the other per second (Hz, r/s)"}, effectOnShaft)
	}
}

func effectOnRate(factor float64) effect {
	e := everywhere
	e.rate = factor
	return e
}

func effectOnShaft(factor float64) effect {
	e := everywhere
	e.shaft = factor
	return e
}

func (f *finder) addConfusion(k confusion, on func(float64) effect) {
	a, b := units.MustParse(k.a), units.MustParse(k.b)
	factor := units.Quantity{Value: 1, Unit: a}.Base(&f.c).Quo(units.Quantity{Value: 1, Unit: b}.Base(&f.c)).Float()
	m := single{
		Mistake: Mistake{Cause: k.cause, Text: k.text,
			Confirm: "Read the unit beside each number: on the instrument, the readout, the nameplate, the drawing and in the register's two points."},
		topic:  topic{of: ofUnit},
		inputs: []scaling.Input{{Name: "larger", Value: units.Quantity{Value: 1, Unit: a}}, {Name: "smaller", Value: units.Quantity{Value: 1, Unit: b}}},
	}
	if k.cause == UnitOfTime {
		m.topic = topic{of: ofTime}
	}
	m.formula = "larger / smaller"
	f.add(m, on(factor))
	m.formula = "smaller / larger"
	f.add(m, on(1/factor))
}
