package ratio

import (
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Bounds of what is taken of a gear.
const (
	leastGear  = 1e-9
	mostGear   = 1e9
	mostTeeth  = 100000 // of a gear that is there
	mostChange = 300    // of a change gear: all pairs are tried
	mostStages = 2
)

func inReach(ratio float64) bool { return ratio >= leastGear && ratio <= mostGear }

// Validate adds to faults everything that is wrong with g.
func (g *Gear) Validate(faults *fault.List) {
	g.validateSource(faults)
	at := fault.Root("drives")
	validateDrives(g.Drives, &at, faults)
	g.validateBounds(faults)
	if g.LeaderRate.Unit != nil && g.LeaderRate.Unit != scaling.Unreadable {
		g.validateLeaderRate(faults)
	}
	if g.Repeat.Unit != nil && g.Repeat.Unit != scaling.Unreadable {
		g.validateRepeat(faults)
	}
}

func (g *Gear) validateSource(faults *fault.List) {
	switch {
	case g.Ratio.Set:
		at := fault.Root("ratio")
		within(g.Ratio.Value, &at, leastGear, mostGear, "pulses of the follower for each pulse of the leader", faults)
	case g.Sensors != nil:
		g.validateSensors(faults)
	default:
		root := fault.Root("teeth")
		list := root.Field("pairs")
		for i, pair := range g.Teeth {
			at := list.Index(i)
			validateTeeth(pair.DriverTeeth, &at, "driverTeeth", faults)
			validateTeeth(pair.DrivenTeeth, &at, "drivenTeeth", faults)
		}
	}
}

func validateTeeth(n int32, p *fault.Path, field string, faults *fault.List) {
	at := p.Field(field)
	within(float64(n), &at, 1, mostTeeth, "teeth", faults)
}

func (g *Gear) validateSensors(faults *fault.List) {
	root := fault.Root("sensors")
	s := g.Sensors
	leader, leads := g.validateSensor(s.LeaderID, &root, "leaderId", faults)
	follower, follows := g.validateSensor(s.FollowerID, &root, "followerId", faults)
	at := root.Field("followerId")
	if s.FollowerID != "" && s.FollowerID == s.LeaderID {
		faults.Add(&at, fault.Conflict, "is the leader itself; name the drive that follows it")
	}
	percent, length := root.Field("percent"), root.Field("lengthPerPiece")
	switch {
	case s.LengthPerPiece.Unit != nil:
		scaling.ValidatePositive(s.LengthPerPiece, &root, faults, "lengthPerPiece", units.LengthDim)
		if leads && follows && !(leader == units.SpeedDim && follower == units.PieceRate || leader == units.PieceRate && follower == units.SpeedDim) {
			faults.Add(&length, fault.Conflict, "is between a drive that delivers a length and one that delivers pieces; these two do not, so give a percent")
		}
	case s.Percent.Set:
		within(s.Percent.Value, &percent, 1e-6, 1e6, "percent of what the leader delivers", faults)
		if leads && follows && leader != follower {
			faults.Add(&percent, fault.Conflict, "is between drives that deliver the same kind of thing; these are in units of %s and of %s", leader, follower)
		}
	default:
		faults.Add(&root, fault.Required, "needs one of percent, lengthPerPiece: what the follower delivers for what the leader does")
	}
}

// validateSensor demands that a drive's pulses stand for what it delivers, and
// returns what it delivers.
func (g *Gear) validateSensor(id string, p *fault.Path, field string, faults *fault.List) (dim units.Dimension, ok bool) {
	at := p.Field(field)
	i := findDrive(g.Drives, id)
	if i < 0 {
		if id != "" { // reported where it is required
			faults.Add(&at, fault.NotFound, "no drive of the request has the id %q", id)
		}
		return dim, false
	}
	d := &g.Drives[i]
	dim, known := d.KnownRateDimension()
	sensor := closing(d)
	switch {
	case !known:
		return dim, false
	case dim == units.Dimension{}:
		faults.Add(&at, fault.Conflict, "drive %q describes neither a delivery nor a reference, so its pulses stand for nothing", id)
	case sensor == nil:
		faults.Add(&at, fault.Conflict, "drive %q has no sensor that closes its loop; set closesLoop on the one that the gear counts", id)
	case sensor.Kind == scaling.FlowSensor && dim != units.VolumeFlow:
		faults.Add(&at, fault.Conflict, "drive %q counts pulses of a volume and delivers none", id)
	case sensor.Kind == scaling.ShaftSensor && len(d.References) == 0 && d.Delivery.Kind == scaling.Pump && d.Delivery.SlipFlow.Unit != nil && d.Delivery.SlipFlow.Value != 0:
		faults.Add(&at, fault.Conflict, "drive %q is a pump with slip flow: what it delivers is in no fixed ratio to pulses of its shaft; count those of a flow meter", id)
	default:
		return dim, true
	}
	return dim, false
}

// closing returns the sensor that closes a drive's loop, or nil.
func closing(d *scaling.Drive) *scaling.Sensor {
	for i := range d.Sensors {
		if d.Sensors[i].ClosesLoop {
			return &d.Sensors[i]
		}
	}
	return nil
}

func (g *Gear) validateBounds(faults *fault.List) {
	if g.MaxNumerator == 0 && g.MaxDenominator == 0 && g.ChangeGears != nil {
		g.validateChangeGears(faults)
		return
	}
	for _, bound := range [...]struct {
		field string
		n     int32
	}{{"maxNumerator", g.MaxNumerator}, {"maxDenominator", g.MaxDenominator}} {
		at := fault.Root(bound.field)
		if bound.n < 1 {
			faults.Add(&at, fault.OutOfRange, "is %d; it must be 1 to 2147483647, the greatest integer that the device takes", bound.n)
		}
	}
	if g.ChangeGears != nil {
		g.validateChangeGears(faults)
	}
}

func (g *Gear) validateChangeGears(faults *fault.List) {
	root, b := fault.Root("changeGears"), g.ChangeGears
	at := root.Field("minTeeth")
	low := within(float64(b.MinTeeth), &at, 1, mostChange, "teeth", faults)
	at = root.Field("maxTeeth")
	if within(float64(b.MaxTeeth), &at, 1, mostChange, "teeth", faults) && low && b.MaxTeeth < b.MinTeeth {
		faults.Add(&at, fault.OutOfRange, "is %d, below minTeeth %d: the bounds are upside down", b.MaxTeeth, b.MinTeeth)
	}
	at = root.Field("stages")
	within(float64(b.Stages), &at, 1, mostStages, "pairs of gears", faults)
}

func isPulseRate(u *units.Unit) bool {
	return u.Dimension() == units.PulseRate || u.Dimension() == units.Frequency
}

func (g *Gear) validateLeaderRate(faults *fault.List) {
	dims := []units.Dimension{units.PulseRate, units.Frequency}
	if d := g.sensorDrive(true); d != nil {
		dims = append(dims, speedsOf(d)...)
	}
	if !scaling.ValidatePositive(g.LeaderRate, nil, faults, "leaderRate", dims...) {
		return
	}
	if d := g.sensorDrive(true); d != nil && !isPulseRate(g.LeaderRate.Unit) {
		if scaling.NeedsDensity(d, nil, g.LeaderRate.Unit.Dimension()) != "" {
			at := fault.Root("leaderRate")
			faults.Add(&at, fault.Conflict, "asks for a mass where the leader delivers a volume, or the other way round; give it in the leader's own kind")
		}
	}
}

func (g *Gear) validateRepeat(faults *fault.List) {
	dims := []units.Dimension{units.PulseDim}
	if d := g.sensorDrive(false); d != nil {
		if dim, known := d.KnownRateDimension(); known && dim != (units.Dimension{}) {
			dims = append(dims, dim.Times(units.TimeDim))
		}
	}
	scaling.ValidatePositive(g.Repeat, nil, faults, "repeat", dims...)
}

// sensorDrive returns the leader or the follower of Sensors, or nil.
func (g *Gear) sensorDrive(leader bool) *scaling.Drive {
	if g.Sensors == nil {
		return nil
	}
	id := g.Sensors.FollowerID
	if leader {
		id = g.Sensors.LeaderID
	}
	if i := findDrive(g.Drives, id); i >= 0 {
		return &g.Drives[i]
	}
	return nil
}
