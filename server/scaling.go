package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// scalingService answers for one drive.
type scalingService struct {
	linepacev1.UnimplementedScalingServiceServer
}

// about is what the requests of this service have in common.
type about struct {
	decoder
	drive    scaling.Drive
	material *scaling.Material
	section  *scaling.Section
}

func (a *about) read(drive *linepacev1.Drive, material *linepacev1.Material, section *linepacev1.Section) {
	at := fault.Root("drive")
	a.decoder.drive(drive, &a.drive, &at)
	scaling.Validate(&a.drive, &at, &a.faults)
	a.readMaterial(material)
	if section != nil {
		at = fault.Root("section")
		s := a.decoder.section(section, &at)
		a.section = &s
		a.checkSection(a.section, &at)
	}
}

func (a *about) checkSection(s *scaling.Section, p *fault.Path) {
	scaling.ValidateSection(s, p, &a.faults)
	if s.DriveID != a.drive.ID && s.DriveID != "" {
		at := p.Field("driveId")
		a.faults.Add(&at, fault.Conflict, "is %q, and the drive of this request is %q", s.DriveID, a.drive.ID)
	}
}

func (a *about) readMaterial(material *linepacev1.Material) {
	if material == nil {
		return
	}
	at := fault.Root("material")
	m := a.decoder.material(material, &at)
	a.material = &m
	scaling.ValidateMaterial(a.material, &at, &a.faults)
}

func (a *about) subject() scaling.Subject {
	return scaling.Subject{Drive: &a.drive, Material: a.material, ReadoutSection: a.section}
}

// Scale finds what one turn of the motor delivers.
func (scalingService) Scale(ctx context.Context, in *linepacev1.ScaleRequest) (*linepacev1.ScaleResponse, error) {
	var a about
	a.read(in.GetDrive(), in.GetMaterial(), in.GetSection())
	if in.GetDrive().GetDelivery() == nil && len(in.GetDrive().GetReferences()) == 0 {
		at := fault.Root("drive")
		delivery := at.Field("delivery")
		a.faults.Add(&delivery, fault.Required, "is needed for a scale: a delivery, or a measured reference")
	}
	asked := a.fractionRequest(in.GetScaleFraction())
	if len(a.faults) > 0 {
		return nil, a.faults
	}
	s := a.subject()
	var found []scaling.Check
	out := scaling.Certain(func(c *exact.Calc) scaling.Scale {
		found = found[:0]
		return scaling.ScaleOf(c, &s, &found)
	})
	response := scale(&out)
	if len(a.drive.References) > 0 {
		m := scaling.MeasuredOf(&s, &found)
		response.Measured = measuredResponse(&m)
	}
	response.Chordal = chordal(scaling.ChordalOf(&a.drive))
	response.Readout, response.Sensors = readoutReport(&s), sensorReports(&s, &found)
	ofDrive(found, "drive")
	var steps []scaling.Step
	if in.GetIncludeWorking() {
		steps = scaling.ScaleWorking(&s)
	}
	if asked != nil {
		f, ok := asked.find(ctx, &s, &found)
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if ok {
			response.ScaleFraction = asked.answer(&f)
		}
		if ok && in.GetIncludeWorking() {
			steps = append(steps, scaling.FractionWorking(&s, &f)...)
		}
	}
	response.Checks, response.Working = checks(found), working(steps)
	return response, nil
}

// ofDrive gives checks their fields: within the drive where they name one, else the
// given one.
func ofDrive(found []scaling.Check, field string) {
	for i := range found {
		if found[i].Field != "" {
			found[i].Within("drive")
		} else {
			found[i].Field = field
		}
	}
}

// Setpoint finds the setpoint for a target, or what a count does.
func (scalingService) Setpoint(_ context.Context, in *linepacev1.SetpointRequest) (*linepacev1.SetpointResponse, error) {
	var a about
	a.read(in.GetDrive(), in.GetMaterial(), in.GetSection())
	tolerance := a.tolerance(in.GetTolerance())
	if at := fault.Root("tolerance"); tolerance.Set {
		scaling.ValidateTolerance(&tolerance.Value, &at, &a.faults)
	}
	s := a.subject()
	s.Leader = a.leader(in.GetLeader())
	if tolerance.Set {
		s.Tolerance = &tolerance.Value
	}
	find, measure, field := a.finder(in, &s)
	measures := a.measures(in.GetUnits())
	if len(a.faults) > 0 || find == nil { // what to find is a matter of shape
		return nil, a.faults
	}
	var found []scaling.Check
	out := scaling.Certain(func(c *exact.Calc) (out answer) {
		found = found[:0]
		at := find(c, &found, &out.setpoint)
		if out.setpoint.AchievedRPM.Set {
			out.limits = scaling.LimitsAt(c, &s, at)
			out.inUnits = scaling.Amounts(c, &s, at, measures)
		}
		return out
	})
	scaling.CheckReferences(&a.drive, &found)
	ofDrive(found, field)
	for i := range found {
		if found[i].Fit.Unit != nil {
			found[i].FitField = field
		}
	}
	response := &linepacev1.SetpointResponse{
		Setpoint: &linepacev1.Setpoint{},
		Checks:   checks(found),
		Verdict:  linepacev1.Check_Verdict(changeover.VerdictOf(found)),
	}
	setpoint(&out.setpoint, &a.drive, response.Setpoint)
	out.write(response)
	if in.GetIncludeWorking() {
		response.Setpoint.Working = working(scaling.Working(&s, measure, &out.setpoint))
	}
	return response, nil
}

// find finds a setpoint, and returns the motion that it sets.
type find func(*exact.Calc, *[]scaling.Check, *scaling.Setpoint) scaling.Motion

// finder returns the calculation that the request asks for, its measure, and the
// field that asks; where the request does not allow it, faults are added.
func (a *about) finder(in *linepacev1.SetpointRequest, s *scaling.Subject) (f find, m scaling.Measure, field string) {
	switch from := in.GetFrom().(type) {
	case *linepacev1.SetpointRequest_Target:
		target := a.targetOf(from.Target)
		m = scaling.Measure{Unit: target.Unit}
		if a.section != nil {
			m.Length = a.section.Length
		}
		return func(c *exact.Calc, k *[]scaling.Check, out *scaling.Setpoint) scaling.Motion {
			at := scaling.For(c, s, m, target.Base(c), k, out)
			out.Demanded = target // digit for digit as it was sent
			return at
		}, m, "target"
	case *linepacev1.SetpointRequest_Count:
		a.checkCount(from.Count)
		m = scaling.Measure{Unit: scaling.RateUnit(&a.drive)}
		return func(c *exact.Calc, k *[]scaling.Check, out *scaling.Setpoint) scaling.Motion {
			return scaling.FromCount(c, s, m, from.Count, k, out)
		}, m, "count"
	case *linepacev1.SetpointRequest_Milliamps:
		return a.outputFinder(s, scaling.CurrentOutput, from.Milliamps, mostMilliamps, "milliamps", "current")
	case *linepacev1.SetpointRequest_Volts:
		return a.outputFinder(s, scaling.VoltageOutput, from.Volts, mostVolts, "volts", "voltage")
	}
	return nil, m, ""
}

// What may be asked of an output: beyond its signal range, as far as converters go.
const (
	mostMilliamps = 24
	mostVolts     = 10
)

// outputFinder is finder for what stands at an output.
func (a *about) outputFinder(s *scaling.Subject, kind scaling.RegisterKind, value, most float64, field, what string) (find, scaling.Measure, string) {
	at := fault.Root(field)
	switch {
	case a.drive.Register.Kind != kind:
		a.faults.Add(&at, fault.Conflict, "is given, but the drive describes no %s output; describe drive.register.%s, or give what it takes", what, what)
	case !(value >= 0 && value <= most):
		a.faults.Add(&at, fault.OutOfRange, "is %v; it must be 0 to %v", value, most)
	}
	m := scaling.Measure{Unit: scaling.RateUnit(&a.drive)}
	return func(c *exact.Calc, k *[]scaling.Check, out *scaling.Setpoint) scaling.Motion {
		return scaling.FromOutput(c, s, m, value, k, out)
	}, m, field
}

// targetOf reads a target: a rate that the drive can give with the material, a
// motor speed, or a time in the section.
func (a *about) targetOf(in *linepacev1.Quantity) units.Quantity {
	root := fault.Root("target")
	if in == nil {
		return units.Quantity{}
	}
	q := units.Quantity{Value: in.Value, Unit: a.unit(in.Unit, &root)}
	if q.Unit == scaling.Unreadable || len(a.faults) > 0 {
		return q
	}
	if !scaling.ValidateRate(&a.drive, q, nil, "target", &a.faults, units.TimeDim) {
		return q
	}
	dim := q.Unit.Dimension()
	if field := scaling.NeedsDensity(&a.drive, a.material, dim); field != "" {
		material := fault.Root("material")
		at := material.Field(field)
		a.faults.Add(&at, fault.Required, "is needed: the drive delivers a volume or a mass, and the target is in the other")
	}
	if dim != units.TimeDim {
		return q
	}
	if native, _ := a.drive.KnownRateDimension(); native != units.SpeedDim {
		a.faults.Add(&root, fault.Conflict, "is a time, and the drive does not deliver a length")
	} else if a.section == nil {
		at := fault.Root("section")
		a.faults.Add(&at, fault.Required, "is needed for a target that is a time")
	}
	return q
}

func (a *about) checkCount(count int32) {
	at := fault.Root("count")
	r := &a.drive.Register
	if !r.Counts() {
		a.faults.Add(&at, fault.Conflict, "is given, but the drive describes no integer register; describe drive.register, or give a target")
		return
	}
	if low, high := r.Bounds(); float64(count) < low || float64(count) > high {
		a.faults.Add(&at, fault.OutOfRange, "is %d; the register takes %v to %v", count, low, high)
	}
}

// leader reads what the leader of a drive does that is given a ratio to it.
func (a *about) leader(in *linepacev1.SetpointRequest_Leader) func(*exact.Calc) scaling.Leading {
	root := fault.Root("leader")
	switch {
	case in == nil && a.drive.Register.Follows():
		a.faults.Add(&root, fault.Required, "is needed: the drive is given a ratio to %q", a.drive.Register.Following.LeaderID)
		return nil
	case in == nil:
		return nil
	case !a.drive.Register.Follows():
		a.faults.Add(&root, fault.Conflict, "is given, but the drive's register takes no ratio to a leader")
		return nil
	}
	var l about
	l.faults = a.faults
	at := root.Field("drive")
	l.decoder.drive(in.GetDrive(), &l.drive, &at)
	scaling.Validate(&l.drive, &at, &l.faults)
	if in.Material != nil {
		of := root.Field("material")
		m := l.decoder.material(in.Material, &of)
		l.material = &m
		scaling.ValidateMaterial(l.material, &of, &l.faults)
	}
	scaling.ValidateSpeed(in.MotorRpm, &root, "motorRpm", &l.faults)
	a.faults = l.faults
	if id := at.Field("id"); l.drive.ID != a.drive.Register.Following.LeaderID && l.drive.ID != "" {
		a.faults.Add(&id, fault.Conflict, "is %q, and the drive is given a ratio to %q", l.drive.ID, a.drive.Register.Following.LeaderID)
	}
	scaling.ValidateFollowed(&a.drive, &l.drive, l.material, &at, &a.faults)
	if len(a.faults) > 0 {
		return nil
	}
	subject := l.subject()
	find := func(c *exact.Calc) scaling.Leading {
		return scaling.LeadingAt(c, &subject, scaling.MotionOfSpeed(c, &subject, c.Dec(in.MotorRpm)))
	}
	if of := a.drive.Register.Following.Of; of != scaling.MotorSpeeds && l.drive.RateDimension() != (units.Dimension{}) &&
		scaling.Certain(func(c *exact.Calc) int { return c.Sign(find(c).Rate) }) <= 0 {
		at := root.Field("motorRpm")
		a.faults.Add(&at, fault.OutOfRange, "is %v, at which the leader gives nothing", in.MotorRpm)
	}
	return find
}
