package scaling

import (
	"math"
	"slices"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

// Bounds of what is taken. They are far beyond any drive, and narrow enough that
// no product of a whole drivetrain leaves the domain of [exact.Num].
const (
	maxRPM        = 1e6
	maxTeeth      = 100000
	minGearbox    = 1e-4
	maxGearbox    = 1e6
	minMagnitude  = 1e-12 // of a quantity's number, and of a whole transmission's ratio
	maxMagnitude  = 1e12
	leastSlip     = -5 // percent; a tension can drive a belt faster than its sheave
	mostPulses    = 1e6
	mostPeriods   = 1e6
	mostDigits    = 9
	maxEfficiency = 110 // percent; a falling head can push a pump past its displacement
)

// Unreadable stands for a unit that could not be read and whose fault has been
// reported: nothing more is said of a quantity that has it.
var Unreadable = new(units.Unit)

// Validate adds to faults everything that is wrong with d by itself. Its path is p.
func Validate(d *Drive, p *fault.Path, faults *fault.List) {
	v := validator{faults}
	at := p.Field("motor")
	v.motor(&d.Motor, &at)
	at = p.Field("transmission")
	v.transmission(d.Transmission, &at)
	at = p.Field("delivery")
	v.delivery(&d.Delivery, &at)
	at = p.Field("references")
	v.references(d, &at)
	at = p.Field("sensors")
	v.sensors(d, &at)
	native, known := d.KnownRateDimension()
	at = p.Field("readout")
	v.readout(&d.Readout, native, known, &at)
	at = p.Field("register")
	v.register(d, native, known, &at)
}

// ValidateDelivery adds to faults everything that is wrong with d by itself.
func ValidateDelivery(d *Delivery, p *fault.Path, faults *fault.List) {
	validator{faults}.delivery(d, p)
}

// ValidateMaterial adds to faults everything that is wrong with m.
func ValidateMaterial(m *Material, p *fault.Path, faults *fault.List) {
	v := validator{faults}
	v.optionalQuantity(m.Density, p, "density", units.Density)
	v.optionalQuantity(m.BulkDensity, p, "bulkDensity", units.Density)
	if f := m.FillPercent; f.Set {
		v.within(f.Value, p, "fillPercent", minMagnitude, 100, "percent")
	}
	at := p.Field("moisture")
	switch m.Moisture.Basis {
	case WetBasis:
		if v.within(m.Moisture.Percent, &at, "percent", 0, 100, "percent of the moist mass") && m.Moisture.Percent == 100 {
			v.out(&at, "percent", "is 100 percent of the moist mass, which leaves no material; it must be below 100")
		}
	case DryBasis:
		v.within(m.Moisture.Percent, &at, "percent", 0, 1000, "percent of the dry mass")
	}
}

// ValidateSection adds to faults everything that is wrong with s by itself.
func ValidateSection(s *Section, p *fault.Path, faults *fault.List) {
	v := validator{faults}
	sound := v.quantity(s.Length, p, "length", units.LengthDim)
	v.zeroOrMore(s.DeadPlate, p, "deadPlate", units.LengthDim)
	if len(s.Zones) > 0 {
		v.zones(s, sound, p)
	}
}

// zones demands zones with ids of their own that together are no longer than their
// section.
func (v validator) zones(s *Section, sound bool, p *fault.Path) {
	list := p.Field("zones")
	first := map[string]int{}
	for i := range s.Zones {
		at := list.Index(i)
		sound = v.quantity(s.Zones[i].Length, &at, "length", units.LengthDim) && sound
		id := s.Zones[i].ID
		if before, twice := first[id]; twice && id != "" {
			field := at.Field("id")
			v.faults.Add(&field, fault.Duplicate, "%q is also the id of zones[%d]; give each its own", id, before)
			continue
		}
		first[id] = i
	}
	if sound && Certain(s.zonesTooLong) {
		v.faults.Add(&list, fault.OutOfRange, "are together longer than their section of %v %s", s.Length.Value, s.Length.Unit.Symbol())
	}
}

func (s *Section) zonesTooLong(c *exact.Calc) bool {
	sum := c.Int(0)
	for i := range s.Zones {
		sum = sum.Add(s.Zones[i].Length.Base(c))
	}
	return c.Cmp(sum, s.Length.Base(c)) > 0
}

// ValidateTolerance adds to faults everything that is wrong with t.
func ValidateTolerance(t *Tolerance, p *fault.Path, faults *fault.List) {
	v := validator{faults}
	v.within(t.MinusPercent, p, "minusPercent", 0, 100, "percent")
	v.within(t.PlusPercent, p, "plusPercent", 0, 100, "percent")
}

// ValidatePositive adds a fault unless q is a quantity above zero of one of the
// given dimensions; where a fault is found it returns false.
func ValidatePositive(q units.Quantity, p *fault.Path, faults *fault.List, field string, dims ...units.Dimension) bool {
	v := validator{faults}
	return v.quantity(q, p, field, dims...)
}

// ValidateZeroOrMore adds a fault where q is given and is not a quantity of zero or
// more of the given dimension; where a fault is found it returns false.
func ValidateZeroOrMore(q units.Quantity, p *fault.Path, faults *fault.List, field string, dim units.Dimension) bool {
	v := validator{faults}
	return v.zeroOrMore(q, p, field, dim)
}

// ValidateRate adds a fault unless q is a rate that d can be asked for: a process
// rate of its kind, the mass or volume rate that a material's density turns into
// it, or a motor speed in r/min; above zero, or below it too where the register
// spans below zero. Further kinds of quantity that are taken are named by also.
func ValidateRate(d *Drive, q units.Quantity, p *fault.Path, field string, faults *fault.List, also ...units.Dimension) bool {
	v := validator{faults}
	native, known := d.KnownRateDimension()
	if !known {
		return false // the fault of the reference has been reported
	}
	dims := askedOf(native)
	if len(also) > 0 {
		dims = slices.Concat(dims, also)
	}
	// A drive may turn backwards; a time does not.
	if q.Unit != nil && q.Unit.Dimension() != units.TimeDim && d.MayTurnBackwards() {
		q.Value = math.Abs(q.Value)
	}
	return v.quantity(q, p, field, dims...)
}

// askedOf lists what a drive can be asked for whose own kind of rate is native: that
// kind, what a density turns into it, and a motor speed. The list is shared.
func askedOf(native units.Dimension) []units.Dimension {
	switch native {
	case units.Dimension{}:
		return askedOfMotor
	case units.SpeedDim:
		return askedOfBelt
	case units.VolumeFlow:
		return askedOfVolume
	case units.MassFlow:
		return askedOfMass
	case units.PieceRate:
		return askedOfPieces
	}
	return []units.Dimension{native, units.Rotation}
}

var (
	askedOfMotor  = []units.Dimension{units.Rotation}
	askedOfBelt   = []units.Dimension{units.SpeedDim, units.Rotation}
	askedOfVolume = []units.Dimension{units.VolumeFlow, units.MassFlow, units.Rotation}
	askedOfMass   = []units.Dimension{units.MassFlow, units.VolumeFlow, units.Rotation}
	askedOfPieces = []units.Dimension{units.PieceRate, units.Rotation}
	shownOfBelt   = []units.Dimension{units.SpeedDim, units.Rotation, units.TimeDim}
)

// NeedsDensity returns the name of the material's field that is needed to ask d
// with material m for a rate of dim, and is absent; or the empty string.
func NeedsDensity(d *Drive, m *Material, dim units.Dimension) string {
	asked := kindOfDimension(dim)
	if asked == motorSpeed || asked == timeInSection || converts(d, m, d.rateKind(), asked) {
		return ""
	}
	if d.Delivery.Kind == Pump {
		return "density"
	}
	return "bulkDensity"
}

// KnownRateDimension is [Drive.RateDimension] for a drive that may be faulty;
// known is false where its reference has no readable unit.
func (d *Drive) KnownRateDimension() (dim units.Dimension, known bool) {
	if len(d.References) > 0 {
		if u := d.References[0].Value.Unit; u == nil || u == Unreadable {
			return units.Dimension{}, false
		}
	}
	return d.RateDimension(), true
}

// ValidateMotorRPM adds a fault unless rpm is a motor speed above zero.
func ValidateMotorRPM(rpm float64, p *fault.Path, field string, faults *fault.List) bool {
	return validator{faults}.within(rpm, p, field, minMagnitude, maxRPM, "r/min")
}

type validator struct{ faults *fault.List }

func (v validator) out(p *fault.Path, field, format string, args ...any) {
	at := p.Field(field)
	v.faults.Add(&at, fault.OutOfRange, format, args...)
}

// within demands a number from low to high, zero only where low allows it. Nothing
// that is not zero may be smaller than minMagnitude: a product of such numbers
// would leave the domain of exact.Num. A low of minMagnitude therefore means
// above zero.
func (v validator) within(x float64, p *fault.Path, field string, low, high float64, unit string) bool {
	switch {
	case x >= low && x <= high && (x == 0 || math.Abs(x) >= minMagnitude):
		return true
	case x != 0 && math.Abs(x) < minMagnitude:
		v.out(p, field, "is %v, too small to mean anything; the least magnitude beside 0 is %v", x, minMagnitude)
	case low == minMagnitude:
		v.out(p, field, "is %v; it must be above 0 and at most %v %s", x, high, unit)
	default:
		v.out(p, field, "is %v; it must be %v to %v %s", x, low, high, unit)
	}
	return false
}

// ValidateShare adds a fault unless percent is above zero and at most most.
func ValidateShare(percent, most float64, p *fault.Path, field string, faults *fault.List) bool {
	return validator{faults}.within(percent, p, field, minMagnitude, most, "percent")
}

// quantity demands a number above zero in a unit of one of dims.
func (v validator) quantity(q units.Quantity, p *fault.Path, field string, dims ...units.Dimension) bool {
	at := p.Field(field)
	if q.Unit == nil {
		v.faults.Add(&at, fault.Required, "is needed: a quantity in a unit of %s, such as %s", kinds(dims), dims[0].Examples())
		return false
	}
	return v.dimension(q, &at, dims...) && v.positive(q, &at)
}

func (v validator) optionalQuantity(q units.Quantity, p *fault.Path, field string, dims ...units.Dimension) bool {
	return q.Unit == nil || v.quantity(q, p, field, dims...)
}

func (v validator) positive(q units.Quantity, at *fault.Path) bool {
	if q.Value >= minMagnitude && q.Value <= maxMagnitude {
		return true
	}
	if q.Value > 0 {
		v.out(at, "value", "is %v; it must be between %v and %v: choose a unit that fits", q.Value, minMagnitude, maxMagnitude)
	} else {
		v.out(at, "value", "is %v; it must be above 0", q.Value)
	}
	return false
}

func (v validator) dimension(q units.Quantity, at *fault.Path, dims ...units.Dimension) bool {
	if q.Unit == Unreadable {
		return false
	}
	for _, dim := range dims {
		if q.Unit.Dimension() == dim {
			return true
		}
	}
	unit := at.Field("unit")
	v.faults.Add(&unit, fault.UnitWrongKind, "%q is a unit of %s; this is %s, such as %s",
		q.Unit.Symbol(), q.Unit.Dimension(), kinds(dims), dims[0].Examples())
	return false
}

func kinds(dims []units.Dimension) string {
	words := make([]string, len(dims))
	for i, d := range dims {
		words[i] = d.String()
	}
	return strings.Join(words, " or ")
}

func (v validator) motor(m *Motor, p *fault.Path) {
	low := v.within(m.MinRPM, p, "minRpm", 0, maxRPM, "r/min")
	high := v.within(m.MaxRPM, p, "maxRpm", minMagnitude, maxRPM, "r/min")
	if low && high && m.MinRPM >= m.MaxRPM {
		v.out(p, "minRpm", "is %v, not below maxRpm %v: the limits are upside down", m.MinRPM, m.MaxRPM)
	}
	if m.BaseRPM.Set {
		v.within(m.BaseRPM.Value, p, "baseRpm", minMagnitude, maxRPM, "r/min")
	}
	at := p.Field("regulation")
	v.regulation(m, &at)
}

func (v validator) regulation(m *Motor, p *fault.Path) {
	r := &m.Regulation
	if r.Percent.Set && r.DroopPercent.Set {
		v.faults.Add(p, fault.Conflict, "has both percent and droopPercent; give one")
		return
	}
	if r.DroopPercent.Set {
		v.within(r.DroopPercent.Value, p, "droopPercent", 0, 100, "percent")
	}
	if !r.Percent.Set {
		if r.Of != NoBase {
			at := p.Field("percent")
			v.faults.Add(&at, fault.Required, "is needed with of")
		}
		return
	}
	v.within(r.Percent.Value, p, "percent", 0, 100, "percent")
	switch {
	case r.Of == NoBase:
		at := p.Field("of")
		v.faults.Add(&at, fault.Required, "is needed with percent: SET_SPEED, MAX_SPEED or BASE_SPEED")
	case r.Of == BaseSpeed && !m.BaseRPM.Set:
		at := p.Field("of")
		v.faults.Add(&at, fault.Conflict, "is BASE_SPEED, but motor.baseRpm is absent; give it")
	}
}

func (v validator) transmission(stages []Stage, p *fault.Path) {
	product, sound := 1.0, true
	for i := range stages {
		at := p.Index(i)
		s := &stages[i]
		if !v.stage(s, &at) {
			sound = false
			continue
		}
		product *= approximateRatio(s)
		if sound && !(product >= minMagnitude && product <= maxMagnitude) {
			v.faults.Add(&at, fault.OutOfRange, "takes the whole transmission to %v turns per motor turn; it must stay between %v and %v",
				product, minMagnitude, maxMagnitude)
			sound = false
		}
	}
}

// approximateRatio is only for the bound on the whole transmission.
func approximateRatio(s *Stage) float64 {
	switch s.Kind {
	case GearPair, Chain:
		return float64(s.DriverTeeth) / float64(s.DrivenTeeth)
	case Gearbox:
		return 1 / s.Ratio
	}
	var c exact.Calc
	driver, driven := c.Const(s.DriverDiameter.Unit.Factor()).Float(), c.Const(s.DrivenDiameter.Unit.Factor()).Float()
	return s.DriverDiameter.Value * driver / (s.DrivenDiameter.Value * driven) * (1 - s.SlipPercent/100)
}

func (v validator) stage(s *Stage, p *fault.Path) bool {
	switch s.Kind {
	case GearPair:
		at := p.Field("gearPair")
		return v.teethPair(s, &at)
	case Chain:
		at := p.Field("chain")
		return v.teethPair(s, &at)
	case Gearbox:
		at := p.Field("gearbox")
		return v.within(s.Ratio, &at, "ratio", minGearbox, maxGearbox, "input turns per output turn")
	case Belt:
		at := p.Field("belt")
		driver := v.quantity(s.DriverDiameter, &at, "driverDiameter", units.LengthDim)
		driven := v.quantity(s.DrivenDiameter, &at, "drivenDiameter", units.LengthDim)
		return v.slip(s.SlipPercent, &at) && driver && driven
	}
	v.faults.Add(p, fault.Required, "needs one of gearPair, gearbox, belt and chain")
	return false
}

func (v validator) teethPair(s *Stage, p *fault.Path) bool {
	driver := v.teeth(s.DriverTeeth, p, "driverTeeth")
	return v.teeth(s.DrivenTeeth, p, "drivenTeeth") && driver
}

func (v validator) teeth(n int32, p *fault.Path, field string) bool {
	if n >= 1 && n <= maxTeeth {
		return true
	}
	v.out(p, field, "is %d; it must be a whole number of teeth, 1 to %d", n, maxTeeth)
	return false
}

func (v validator) slip(percent float64, p *fault.Path) bool {
	if !v.within(percent, p, "slipPercent", leastSlip, 100, "percent") {
		return false
	}
	if percent == 100 {
		v.out(p, "slipPercent", "is 100, so nothing would move; it must be below 100 percent")
	}
	return percent < 100
}

func (v validator) delivery(d *Delivery, p *fault.Path) {
	switch d.Kind {
	case Roll:
		at := p.Field("roll")
		v.roll(d, &at)
	case Sprocket:
		at := p.Field("sprocket")
		v.teeth(d.Teeth, &at, "teeth")
		v.quantity(d.Pitch, &at, "pitch", units.LengthDim)
	case Pump:
		at := p.Field("pump")
		v.pump(d, &at)
	case Screw:
		at := p.Field("screw")
		v.quantity(d.VolumePerTurn, &at, "volumePerTurn", units.VolumePerTurn, units.VolumeDim)
	case Feeder:
		at := p.Field("feeder")
		v.feeder(d, &at)
	case Indexer:
		at := p.Field("indexer")
		v.within(d.PiecesPerTurn, &at, "piecesPerTurn", minMagnitude, 1e6, "pieces per turn")
	}
}

func (v validator) roll(d *Delivery, p *fault.Path) {
	v.slip(d.SlipPercent, p)
	switch {
	case d.Diameter.Unit == nil && d.PitchDiameter.Unit == nil:
		at := p.Field("diameter")
		v.faults.Add(&at, fault.Required, "is needed: diameter (and beltThickness), or pitchDiameter, in a unit of %s such as %s",
			units.LengthDim, units.LengthDim.Examples())
		return
	case d.Diameter.Unit != nil && d.PitchDiameter.Unit != nil:
		v.faults.Add(p, fault.Conflict, "has both diameter and pitchDiameter; give one")
	case d.BeltThickness.Unit != nil && d.PitchDiameter.Unit != nil:
		v.faults.Add(p, fault.Conflict, "has both beltThickness and pitchDiameter; a pitch diameter has the belt in it")
	}
	v.optionalQuantity(d.Diameter, p, "diameter", units.LengthDim)
	v.optionalQuantity(d.PitchDiameter, p, "pitchDiameter", units.LengthDim)
	v.zeroOrMore(d.BeltThickness, p, "beltThickness", units.LengthDim)
}

// zeroOrMore demands, where q is given, a number of zero or more in a unit of dim.
func (v validator) zeroOrMore(q units.Quantity, p *fault.Path, field string, dim units.Dimension) bool {
	at := p.Field(field)
	if q.Unit == nil {
		return true
	}
	if !v.dimension(q, &at, dim) {
		return false
	}
	if q.Value < 0 {
		v.out(&at, "value", "is %v; it must be 0 or more", q.Value)
		return false
	}
	return q.Value == 0 || v.positive(q, &at)
}

func (v validator) pump(d *Delivery, p *fault.Path) {
	v.quantity(d.Displacement, p, "displacement", units.VolumePerTurn, units.VolumeDim)
	v.zeroOrMore(d.SlipFlow, p, "slipFlow", units.VolumeFlow)
	if e := d.VolumetricEfficiencyPercent; e.Set {
		v.within(e.Value, p, "volumetricEfficiencyPercent", minMagnitude, maxEfficiency, "percent")
		if d.SlipFlow.Unit != nil {
			v.faults.Add(p, fault.Conflict, "has both slipFlow and volumetricEfficiencyPercent; give one")
		}
		if !d.AtRPM.Set {
			at := p.Field("atRpm")
			v.faults.Add(&at, fault.Required, "is needed: the motor speed in r/min at which the efficiency was found")
		}
	}
	if d.AtRPM.Set {
		v.within(d.AtRPM.Value, p, "atRpm", minMagnitude, maxRPM, "r/min")
	}
}

func (v validator) feeder(d *Delivery, p *fault.Path) {
	mass, volume := d.MassPerTurn.Unit != nil, d.VolumePerTurn.Unit != nil
	switch {
	case mass && volume:
		v.faults.Add(p, fault.Conflict, "has both massPerTurn and volumePerTurn; give one")
	case !mass && !volume:
		v.faults.Add(p, fault.Required, "needs massPerTurn, such as 12 g/r, or volumePerTurn, such as 30 mL/r")
	}
	v.optionalQuantity(d.MassPerTurn, p, "massPerTurn", units.MassPerTurn, units.MassDim)
	v.optionalQuantity(d.VolumePerTurn, p, "volumePerTurn", units.VolumePerTurn, units.VolumeDim)
}

func (v validator) sensors(d *Drive, p *fault.Path) {
	loop := -1
	for i := range d.Sensors {
		at := p.Index(i)
		s := &d.Sensors[i]
		v.sensor(d, s, &at)
		for j := range i {
			if d.Sensors[j].ID == s.ID {
				id := at.Field("id")
				v.faults.Add(&id, fault.Duplicate, "%q is also the id of sensors[%d]; give each its own", s.ID, j)
				break
			}
		}
		if s.ClosesLoop && loop >= 0 {
			closes := at.Field("closesLoop")
			v.faults.Add(&closes, fault.Conflict, "is true here and in sensors[%d]; one sensor closes the loop", loop)
		}
		if s.ClosesLoop {
			loop = i
		}
	}
}

func (v validator) sensor(d *Drive, s *Sensor, p *fault.Path) {
	switch s.Kind {
	case ShaftSensor:
		at := p.Field("shaft")
		v.shaftSensor(d, s, &at)
	case FlowSensor:
		at := p.Field("flow")
		v.quantity(s.KFactor, &at, "kFactor", units.PulsesPerVolume)
		if s.AccuracyPercent.Set {
			v.within(s.AccuracyPercent.Value, &at, "accuracyPercent", 0, 100, "percent")
		}
	default:
		v.faults.Add(p, fault.Required, "needs one of shaft and flow")
	}
	at := p.Field("counting")
	v.counting(&s.Counting, &at)
}

func (v validator) counting(k *Counting, p *fault.Path) {
	switch k.Kind {
	case NoCounting:
		return
	case ByGate:
		at := p.Field("gate")
		v.quantity(k.Gate, &at, "time", units.TimeDim)
	case ByPeriod:
		at := p.Field("period")
		v.within(k.ClockHz, &at, "clockHz", minMagnitude, maxMagnitude, "Hz")
		if n := k.periods(); n < 1 || n > mostPeriods {
			v.out(&at, "periods", "is %d; it must be 1 to %d", n, int32(mostPeriods))
		}
	}
	if k.WantedPercent.Set {
		v.within(k.WantedPercent.Value, p, "wantedPercent", minMagnitude, 100, "percent")
	}
}

func (v validator) shaftSensor(d *Drive, s *Sensor, p *fault.Path) {
	v.within(s.PulsesPerTurn, p, "pulsesPerTurn", minMagnitude, mostPulses, "pulses per turn")
	if e := s.EdgesCounted; e.Set && e.Value != 1 && e.Value != 2 && e.Value != 4 {
		v.out(p, "edgesCounted", "is %d; it must be 1, 2 or 4", e.Value)
	}
	if n := s.StagesFromMotor; n < 0 || int(n) > len(d.Transmission) {
		v.out(p, "stagesFromMotor", "is %d; it must be 0 (motor shaft) to %d (last shaft): the transmission has %d stages",
			n, len(d.Transmission), len(d.Transmission))
	}
	low := v.within(s.MinHz, p, "minHz", 0, maxMagnitude, "Hz")
	if s.MaxHz.Set && v.within(s.MaxHz.Value, p, "maxHz", minMagnitude, maxMagnitude, "Hz") && low && s.MaxHz.Value <= s.MinHz {
		v.out(p, "maxHz", "is %v, not above minHz %v", s.MaxHz.Value, s.MinHz)
	}
}

func (v validator) readout(r *Readout, native units.Dimension, known bool, p *fault.Path) {
	if r.Unit == nil {
		return
	}
	if r.Digits < 1 || r.Digits > mostDigits {
		v.out(p, "digits", "is %d; it must be 1 to %d", r.Digits, mostDigits)
	} else if r.Decimals < 0 || r.Decimals >= r.Digits {
		v.out(p, "decimals", "is %d; it must be 0 to %d, since the display has %d digits", r.Decimals, r.Digits-1, r.Digits)
	}
	if r.Unit == Unreadable {
		return
	}
	if !known {
		return
	}
	dims := askedOf(native)
	if native == units.SpeedDim {
		dims = shownOfBelt
	}
	v.dimension(units.Quantity{Unit: r.Unit}, p, dims...)
	if r.SectionID != "" && r.Unit.Dimension() != units.TimeDim {
		at := p.Field("sectionId")
		v.faults.Add(&at, fault.Conflict, "is only for a readout in a unit of time, and this one's unit is %q", r.Unit.Symbol())
	}
}

func (v validator) register(d *Drive, native units.Dimension, known bool, p *fault.Path) {
	r := &d.Register
	switch {
	case r.Kind == NoRegister:
		return
	case r.Follows():
		v.following(d, p)
		v.noDwellLength(r, p)
		return
	}
	span := p.Field("span")
	sound := true
	for i := range r.Span {
		at := span.Index(i)
		sound = v.spanNumber(r, &r.Span[i], &at) && sound
		sound = v.spanValue(&r.Span[i], native, known, &at) && sound
	}
	if !sound {
		return
	}
	if r.at(&r.Span[0]) == r.at(&r.Span[1]) {
		v.faults.Add(&span, fault.Conflict, "has the same number, %v, at both ends; a line needs two different points", r.at(&r.Span[0]))
	}
	v.spanValues(r, &span)
	if r.Span[0].Value.Unit.Dimension() == units.TimeDim {
		v.quantity(r.DwellLength, p, "dwellLength", units.LengthDim)
	} else {
		v.noDwellLength(r, p)
	}
	v.registerShaft(d, p)
}

// noDwellLength demands no length where the register's values are not times.
func (v validator) noDwellLength(r *Register, p *fault.Path) {
	if r.DwellLength.Unit != nil {
		at := p.Field("dwellLength")
		v.faults.Add(&at, fault.Conflict, "is for a span in times, which this register has not; leave it out")
	}
}

func (v validator) spanNumber(r *Register, s *SpanPoint, p *fault.Path) bool {
	low, high := r.Bounds()
	field, unit, which := "count", r.Type.String(), 0
	switch r.Kind {
	case CurrentOutput:
		field, unit, which = "milliamps", "mA", 1
	case VoltageOutput:
		field, unit, which = "volts", "V", 2
	}
	given := [...]bool{s.Count.Set, s.Milliamps.Set, s.Volts.Set}
	for i, set := range given {
		if set && i != which {
			at := p.Field([...]string{"count", "milliamps", "volts"}[i])
			v.faults.Add(&at, fault.Conflict, "does not belong to this kind of register; give %s", field)
			return false
		}
	}
	if !given[which] {
		at := p.Field(field)
		v.faults.Add(&at, fault.Required, "is needed: %v to %v %s", low, high, unit)
		return false
	}
	return v.within(r.at(s), p, field, low, high, unit)
}

// String names the type as the wire does.
func (t IntegerType) String() string {
	switch t {
	case Int16:
		return "INT16"
	case Uint16:
		return "UINT16"
	}
	return "INT32"
}

func (v validator) spanValue(s *SpanPoint, native units.Dimension, known bool, p *fault.Path) bool {
	at := p.Field("value")
	if s.Value.Unit == nil {
		v.faults.Add(&at, fault.Required, "is needed: the speed in r/min or the process rate at this point")
		return false
	}
	if !known {
		return false
	}
	dims := []units.Dimension{units.Rotation, native}
	if native == units.SpeedDim {
		dims = append(dims, units.TimeDim)
	}
	if native == (units.Dimension{}) {
		dims = dims[:1]
	}
	if !v.dimension(s.Value, &at, dims...) {
		return false
	}
	if m := math.Abs(s.Value.Value); m != 0 && !(m >= minMagnitude && m <= maxMagnitude) {
		v.out(&at, "value", "is %v; in magnitude it must be 0 or between %v and %v", s.Value.Value, minMagnitude, maxMagnitude)
		return false
	}
	if s.Value.Unit.Dimension() == units.TimeDim && s.Value.Value < 0 {
		v.out(&at, "value", "is %v; a time must be 0 or more", s.Value.Value)
		return false
	}
	return true
}

func (v validator) spanValues(r *Register, p *fault.Path) {
	a, b := r.Span[0].Value, r.Span[1].Value
	if a.Unit.Dimension() != b.Unit.Dimension() {
		v.faults.Add(p, fault.Conflict, "gives one end in %q and the other in %q; give both in r/min or both as a process rate",
			a.Unit.Symbol(), b.Unit.Symbol())
		return
	}
	if sameQuantity(a, b) {
		v.faults.Add(p, fault.Conflict, "has the same value, %v %s, at both ends; a line needs two different points", a.Value, a.Unit.Symbol())
	}
}

func (v validator) registerShaft(d *Drive, p *fault.Path) {
	if d.Register.Shaft == MotorShaft {
		return
	}
	at := p.Field("shaft")
	if d.Register.Span[0].Value.Unit.Dimension() != units.Rotation {
		v.faults.Add(&at, fault.Conflict, "is for a span in r/min; this one is a process rate")
		return
	}
	if s := d.LoopSensor(); d.Register.Shaft == SensorShaft && (s == nil || s.Kind != ShaftSensor) {
		v.faults.Add(&at, fault.Conflict, "is SENSOR, but no shaft sensor of this drive closes the loop")
	}
}
