package ratio

import (
	"strconv"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Validate adds to faults everything that is wrong with q.
func (q *Ramps) Validate(faults *fault.List) {
	at := fault.Root("drives")
	validateDrives(q.Drives, &at, faults)
	at = fault.Root("materials")
	validateMaterials(q.Materials, &at, faults)
	list := fault.Root("ramps")
	changes := len(q.Ramps) == 0 // reported as absent
	for i := range q.Ramps {
		at := list.Index(i)
		q.validateRamp(i, &at, faults)
		changes = changes || !sameEnd(q.Ramps[i].From, q.Ramps[i].To)
	}
	if !changes {
		faults.Add(&list, fault.OutOfRange, "change no speed: in each from and to are the same; leave out from for a start, or to for a stop")
	}
	if at := fault.Root("leaderId"); q.LeaderID != "" && q.find(q.LeaderID) < 0 {
		faults.Add(&at, fault.NotFound, "no ramp has the driveId %q", q.LeaderID)
	}
	at = fault.Root("tolerancePercent")
	if q.TolerancePercent == 0 {
		faults.Add(&at, fault.Required, "is needed: how far a ratio to the leader may be off and the material still be good, percent of the ratio, above 0 to 100")
	} else {
		within(q.TolerancePercent, &at, 1e-6, 100, "percent of the ratio", faults)
	}
	if q.Time.Unit != nil {
		scaling.ValidatePositive(q.Time, nil, faults, "time", units.TimeDim)
	}
	q.validateStagger(faults)
}

func (q *Ramps) validateRamp(i int, at *fault.Path, faults *fault.List) {
	ramp := &q.Ramps[i]
	field := at.Field("driveId")
	drive := findDrive(q.Drives, ramp.DriveID)
	switch {
	case ramp.DriveID == "": // reported where it is required
	case drive < 0:
		faults.Add(&field, fault.NotFound, "no drive of the request has the id %q", ramp.DriveID)
	case q.find(ramp.DriveID) < i:
		faults.Add(&field, fault.Duplicate, "drive %q already has its ramp at %s", ramp.DriveID, rampPath(q.find(ramp.DriveID)))
	default:
		q.validateEnds(i, &q.Drives[drive], at, faults)
	}
	field = at.Field("materialId")
	if ramp.MaterialID != "" && q.material(i) == nil {
		faults.Add(&field, fault.NotFound, "no material of the request has the id %q", ramp.MaterialID)
	}
	field = at.Field("meaning")
	if ramp.Meaning == NoMeaning {
		faults.Add(&field, fault.Required, "is needed: THIS_CHANGE or ZERO_TO_MAX, as the drive's manual has it")
	}
	field = at.Field("rampMaxRpm")
	if max := ramp.RampMaxRPM; max.Set && ramp.Meaning == ThisChange {
		faults.Add(&field, fault.Conflict, "is given, but the ramp time means THIS_CHANGE, which goes to no maximum")
	} else if max.Set {
		within(max.Value, &field, smallest, 1e6, "r/min", faults)
	}
	if ramp.TimeStep.Unit != nil {
		scaling.ValidatePositive(ramp.TimeStep, at, faults, "timeStep", units.TimeDim)
	}
}

// sameEnd reports whether two ends of a ramp are written the same.
func sameEnd(a, b units.Quantity) bool {
	if a.Unit == nil || b.Unit == nil {
		return a.Unit == b.Unit
	}
	return a.Value == b.Value && a.Unit.Symbol() == b.Unit.Symbol()
}

// validateEnds demands that the drive can be asked for both speeds, and knows how
// fast it may get from one to the other.
func (q *Ramps) validateEnds(i int, d *scaling.Drive, at *fault.Path, faults *fault.List) {
	ramp := &q.Ramps[i]
	for _, end := range [...]struct {
		field string
		q     units.Quantity
	}{{"from", ramp.From}, {"to", ramp.To}} {
		if end.q.Unit == nil {
			continue
		}
		field := at.Field(end.field)
		if end.q.Unit != scaling.Unreadable && end.q.Value == 0 {
			faults.Add(&field, fault.OutOfRange, "is 0; leave it out for a drive that stands")
			continue
		}
		if !scaling.ValidatePositive(end.q, at, faults, end.field, speedsOf(d)...) {
			continue
		}
		if density := scaling.NeedsDensity(d, q.material(i), end.q.Unit.Dimension()); density != "" {
			faults.Add(&field, fault.Required, "asks for a mass where the drive delivers a volume, or the other way round: name a materialId whose %s is given", density)
		}
	}
	native, known := d.KnownRateDimension()
	switch {
	case ramp.Acceleration.Unit != nil && known:
		dims := []units.Dimension{units.RotationPerTime}
		if native != (units.Dimension{}) {
			dims = append(dims, native.Per(units.TimeDim))
		}
		scaling.ValidatePositive(ramp.Acceleration, at, faults, "acceleration", dims...)
	case ramp.FastestTime.Unit != nil:
		scaling.ValidatePositive(ramp.FastestTime, at, faults, "fastestTime", units.TimeDim)
	case ramp.Acceleration.Unit == nil:
		faults.Add(at, fault.Required, "needs one of fastestTime, acceleration: how fast the drive may change its speed")
	}
}

// speedsOf lists what a ramp's end may be given in.
func speedsOf(d *scaling.Drive) []units.Dimension {
	native, known := d.KnownRateDimension()
	switch {
	case !known || native == units.Dimension{}:
		return []units.Dimension{units.Rotation}
	case native == units.VolumeFlow:
		return []units.Dimension{units.VolumeFlow, units.MassFlow, units.Rotation}
	case native == units.MassFlow:
		return []units.Dimension{units.MassFlow, units.VolumeFlow, units.Rotation}
	}
	return []units.Dimension{native, units.Rotation}
}

func (q *Ramps) validateStagger(faults *fault.List) {
	g := q.Stagger
	if g == nil {
		return
	}
	root := fault.Root("stagger")
	at := root.Field("beltId")
	belt := q.find(g.BeltID)
	switch {
	case g.BeltID == "": // reported where it is required
	case belt < 0:
		faults.Add(&at, fault.NotFound, "no ramp has the driveId %q; a belt that keeps its speed has the same from and to", g.BeltID)
	case findDrive(q.Drives, g.BeltID) >= 0:
		d := q.drive(belt)
		if dim, known := d.KnownRateDimension(); known && dim != units.SpeedDim {
			faults.Add(&at, fault.Conflict, "drive %q delivers no length, so it is no belt", g.BeltID)
		} else if q.Ramps[belt].From.Unit == nil && q.Ramps[belt].To.Unit == nil {
			faults.Add(&at, fault.Conflict, "the belt %q stands before and after, and carries nothing on; give its ramp from, to or both", g.BeltID)
		}
	}
	list := root.Field("feeders")
	if len(g.Feeders) == 1 {
		faults.Add(&list, fault.OutOfRange, "has one feeder; delays are between at least two")
	}
	for i := range g.Feeders {
		at := list.Index(i)
		q.validateFeeder(i, &at, faults)
	}
}

func (q *Ramps) validateFeeder(i int, at *fault.Path, faults *fault.List) {
	f := &q.Stagger.Feeders[i]
	field := at.Field("driveId")
	switch {
	case f.DriveID == "": // reported where it is required
	case q.find(f.DriveID) < 0:
		faults.Add(&field, fault.NotFound, "no ramp has the driveId %q", f.DriveID)
	case f.DriveID == q.Stagger.BeltID:
		faults.Add(&field, fault.Conflict, "is the belt itself; name the drives that feed onto it")
	}
	for k := range q.Stagger.Feeders[:i] {
		if q.Stagger.Feeders[k].DriveID == f.DriveID && f.DriveID != "" {
			faults.Add(&field, fault.Duplicate, "drive %q is already stagger.feeders[%d]", f.DriveID, k)
			break
		}
	}
	if u := f.Distance.Unit; u != nil && u != scaling.Unreadable && f.Distance.Value == 0 && u.Dimension() == units.LengthDim {
		return // it feeds at the common point itself
	}
	scaling.ValidatePositive(f.Distance, at, faults, "distance", units.LengthDim)
}

// validateMaterials adds everything that is wrong with the materials of a request.
func validateMaterials(materials []scaling.Material, p *fault.Path, faults *fault.List) {
	for i := range materials {
		at := p.Index(i)
		scaling.ValidateMaterial(&materials[i], &at, faults)
		if first := findMaterial(materials, materials[i].ID); first != i && materials[i].ID != "" {
			id := at.Field("id")
			faults.Add(&id, fault.Duplicate, "%q is also the id of %s[%d]; give each its own", materials[i].ID, p, first)
		}
	}
}

// findMaterial returns the first material with the id, or -1.
func findMaterial(materials []scaling.Material, id string) int {
	for i := range materials {
		if materials[i].ID == id {
			return i
		}
	}
	return -1
}

// find returns the first ramp of a drive, or -1.
func (q *Ramps) find(id string) int {
	for i := range q.Ramps {
		if q.Ramps[i].DriveID == id {
			return i
		}
	}
	return -1
}

// leader returns the leader among the ramps: the first where none is named, but not
// the belt that feeders feed onto, which carries and takes no part in the ratios.
func (q *Ramps) leader() int {
	switch {
	case q.LeaderID != "":
		return q.find(q.LeaderID)
	case q.carries(0) && len(q.Ramps) > 1:
		return 1
	}
	return 0
}

// carries reports whether ramp i is that of the belt that feeders feed onto.
func (q *Ramps) carries(i int) bool {
	return q.Stagger != nil && q.Ramps[i].DriveID == q.Stagger.BeltID
}

// drive returns the drive of ramp i.
func (q *Ramps) drive(i int) *scaling.Drive {
	return &q.Drives[findDrive(q.Drives, q.Ramps[i].DriveID)]
}

// material returns the material of ramp i, or nil.
func (q *Ramps) material(i int) *scaling.Material {
	if at := findMaterial(q.Materials, q.Ramps[i].MaterialID); at >= 0 && q.Ramps[i].MaterialID != "" {
		return &q.Materials[at]
	}
	return nil
}

func (q *Ramps) subject(i int) scaling.Subject {
	return scaling.Subject{Drive: q.drive(i), Material: q.material(i)}
}

// rampMax returns the speed in r/min that a ramp time from zero to maximum goes to.
func (q *Ramps) rampMax(i int) float64 {
	if own := q.Ramps[i].RampMaxRPM; own.Set {
		return own.Value
	}
	return q.drive(i).Motor.MaxRPM
}

func rampPath(i int) string { return "ramps[" + strconv.Itoa(i) + "]" }
