package server

import (
	"context"

	"google.golang.org/protobuf/proto"

	"linepace.example/core/fault"
	"linepace.example/core/measurement"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// field reads a quantity of the request itself.
func (d *decoder) field(q *linepacev1.Quantity, name string) units.Quantity {
	return d.quantity(q, nil, name)
}

// optionalDrive reads a drive that may be absent; nil then.
func (a *about) optionalDrive(drive *linepacev1.Drive, material *linepacev1.Material) *scaling.Drive {
	if drive == nil {
		a.readMaterial(material)
		return nil
	}
	a.read(drive, material, nil)
	return &a.drive
}

// Catch finds what a pump or feeder gives from a catch test.
func (scalingService) Catch(_ context.Context, in *linepacev1.CatchRequest) (*linepacev1.CatchResponse, error) {
	var a about
	m := measurement.Catch{
		Drive:             a.optionalDrive(in.GetDrive(), in.GetMaterial()),
		Runs:              make([]measurement.CatchRun, len(in.GetRuns())),
		DensityPercent:    optional(in.DensityUncertaintyPercent),
		AmountUncertainty: a.field(in.GetAmountUncertainty(), "amountUncertainty"),
		AmountPercent:     optional(in.AmountUncertaintyPercent),
		TimeUncertainty:   a.field(in.GetTimeUncertainty(), "timeUncertainty"),
		Capacity:          a.field(in.GetCapacity(), "capacity"),
		WantedPercent:     optional(in.WantedUncertaintyPercent),
	}
	m.Material = a.material
	list := fault.Root("runs")
	for i, run := range in.GetRuns() {
		at := list.Index(i)
		m.Runs[i] = measurement.CatchRun{Amount: a.quantity(run.GetAmount(), &at, "amount"), Time: a.quantity(run.GetTime(), &at, "time"), MotorRPM: run.GetMotorRpm()}
	}
	if m.Validate(&a.faults); len(a.faults) > 0 {
		return nil, a.faults
	}
	rates, refs, found := m.Find()
	rated := scaling.Subject{Drive: m.Rated(refs), Material: m.Material}
	measured := scaling.MeasuredOf(&rated, &found)
	out := &linepacev1.CatchResponse{
		Runs: make([]*linepacev1.CatchResponse_Run, len(rates)), References: references(refs), Measured: measuredResponse(&measured), Pump: pumpResponse(&rated, &measured),
	}
	for i := range rates {
		r := &rates[i]
		out.Runs[i] = &linepacev1.CatchResponse_Run{
			MotorRpm: r.MotorRPM, Rate: quantity(r.Rate), UncertaintyPercent: pointer(&r.UncertaintyPercent),
			AmountPercent: pointer(&r.AmountPercent), TimePercent: pointer(&r.TimePercent), DensityPercent: pointer(&r.DensityPercent),
			LeastTime: quantity(r.LeastTime), LeastAmount: quantity(r.LeastAmount),
		}
	}
	out.Checks = measurementChecks(found)
	if in.GetIncludeWorking() {
		out.Working = working(append(m.Working(rates), scaling.ReferenceWorking(&rated)...))
	}
	return out, nil
}

// Lap finds a belt's speed from the time of its laps, or from a surface wheel.
func (scalingService) Lap(_ context.Context, in *linepacev1.LapRequest) (*linepacev1.LapResponse, error) {
	var a about
	m := measurement.Lap{
		Drive:             a.optionalDrive(in.GetDrive(), nil),
		Runs:              make([]measurement.LapRun, len(in.GetRuns())),
		LapLength:         a.field(in.GetLapLength(), "lapLength"),
		LengthUncertainty: a.field(in.GetLengthUncertainty(), "lengthUncertainty"),
		TimeUncertainty:   a.field(in.GetTimeUncertainty(), "timeUncertainty"),
		WheelPercent:      optional(in.WheelUncertaintyPercent),
		RollDiameter:      a.field(in.GetRollDiameter(), "rollDiameter"),
		BeltThickness:     a.field(in.GetBeltThickness(), "beltThickness"),
		WantedPercent:     optional(in.WantedUncertaintyPercent),
	}
	list := fault.Root("runs")
	for i, run := range in.GetRuns() {
		at := list.Index(i)
		m.Runs[i] = a.lapRun(run, &at)
	}
	if m.Validate(&a.faults); len(a.faults) > 0 {
		return nil, a.faults
	}
	speeds, refs, found := m.Find()
	rated := scaling.Subject{Drive: m.Rated(refs)}
	measured := scaling.MeasuredOf(&rated, &found)
	out := &linepacev1.LapResponse{Runs: make([]*linepacev1.LapResponse_Run, len(speeds)), References: references(refs), Measured: measuredResponse(&measured)}
	for i := range speeds {
		s := &speeds[i]
		out.Runs[i] = &linepacev1.LapResponse_Run{
			MotorRpm: s.MotorRPM, Speed: quantity(s.Speed), UncertaintyPercent: pointer(&s.UncertaintyPercent),
			LengthPercent: pointer(&s.LengthPercent), TimePercent: pointer(&s.TimePercent),
			OverRollSpeed: quantity(s.OverRoll), LapCountNeeded: pointer(&s.LapsNeeded),
		}
	}
	out.Checks = measurementChecks(found)
	if in.GetIncludeWorking() {
		out.Working = working(append(m.Working(speeds), scaling.ReferenceWorking(&rated)...))
	}
	return out, nil
}

func (d *decoder) lapRun(in *linepacev1.LapRequest_Run, p *fault.Path) measurement.LapRun {
	out := measurement.LapRun{MotorRPM: in.GetMotorRpm()}
	switch kind := in.GetKind().(type) {
	case *linepacev1.LapRequest_Run_Laps:
		at := p.Field("laps")
		out.Kind, out.Laps, out.Time = measurement.ByLaps, kind.Laps.GetLapCount(), d.quantity(kind.Laps.GetTime(), &at, "time")
	case *linepacev1.LapRequest_Run_Wheel:
		at := p.Field("wheel")
		out.Kind, out.Place, out.Speed = measurement.ByWheel, measurement.Place(kind.Wheel.GetPlace()), d.quantity(kind.Wheel.GetSpeed(), &at, "speed")
	}
	return out
}

// measurementChecks returns the checks of a measurement: what its references leave
// open is about its runs.
func measurementChecks(found []scaling.Check) []*linepacev1.Check {
	for i := range found {
		found[i].OfRuns()
	}
	return checks(found)
}

func references(in []scaling.Reference) []*linepacev1.Reference {
	out := make([]*linepacev1.Reference, len(in))
	for i := range in {
		out[i] = &linepacev1.Reference{Value: quantity(in[i].Value), MotorRpm: in[i].MotorRPM, UncertaintyPercent: pointer(&in[i].UncertaintyPercent)}
	}
	return out
}

// pumpResponse returns displacement and slip flow of a pump that was measured at
// several speeds, per turn of its last shaft.
func pumpResponse(s *scaling.Subject, m *scaling.Measured) *linepacev1.CatchResponse_Pump {
	if m.Form != scaling.WithOffset {
		return nil
	}
	p := scaling.PumpOf(s.Drive, &m.WithOffset.Value)
	return &linepacev1.CatchResponse_Pump{
		Displacement: quantity(p.Displacement), DisplacementStandardUncertainty: quantity(p.DisplacementU),
		SlipFlow: quantity(p.SlipFlow), SlipFlowStandardUncertainty: quantity(p.SlipFlowU),
	}
}

func measuredResponse(m *scaling.Measured) *linepacev1.Measured {
	out := &linepacev1.Measured{
		Form: linepacev1.Measured_Form(m.Form), PointCount: int32(len(m.ThroughOrigin.Residuals)), Weighted: m.Weighted,
		ThroughOrigin: measuredLine(&m.ThroughOrigin),
	}
	if m.WithOffset.Set {
		out.WithOffset = measuredLine(&m.WithOffset.Value)
	}
	if t := &m.OffsetTest.Value; m.OffsetTest.Set {
		out.OffsetTest = &linepacev1.Measured_OffsetTest{
			Statistic: pointer(&t.Statistic), LevelPercent: scaling.LevelPercent, Critical: t.Critical, Probability: t.Probability, Real: t.Real,
		}
		if t.Dof > 0 {
			out.OffsetTest.DegreesOfFreedom = proto.Int32(int32(t.Dof))
		}
	}
	if d := &m.Difference.Value; m.Difference.Set {
		out.Difference = &linepacev1.Measured_Difference{
			Percent: d.Percent, StandardUncertaintyPercent: pointer(&d.UPercent), Significant: pointer(&d.Significant),
		}
	}
	return out
}

func measuredLine(l *scaling.Line) *linepacev1.Measured_Line {
	out := &linepacev1.Measured_Line{
		PerMotorTurn: quantity(l.PerMotorTurn), PerMotorTurnStandardUncertainty: quantity(l.PerMotorTurnU),
		Offset: quantity(l.Offset), OffsetStandardUncertainty: quantity(l.OffsetU), Correlation: pointer(&l.Correlation),
		DegreesOfFreedom: int32(l.DegreesOfFreedom), ResidualStandardDeviation: quantity(l.ResidualSD),
		Residuals: make([]*linepacev1.Measured_Residual, len(l.Residuals)),
	}
	for i := range l.Residuals {
		r := &l.Residuals[i]
		out.Residuals[i] = &linepacev1.Measured_Residual{MotorRpm: r.MotorRPM, Residual: quantity(r.Residual), Percent: pointer(&r.Percent)}
	}
	if t := &l.LackOfFit.Value; l.LackOfFit.Set {
		out.LackOfFit = &linepacev1.Measured_LackOfFit{
			Against: linepacev1.Measured_LackOfFit_REPEATS, Statistic: t.Statistic, DegreesOfFreedom: int32(t.Dof), Probability: t.Probability, Found: t.Found,
		}
		if t.Stated {
			out.LackOfFit.Against = linepacev1.Measured_LackOfFit_STATED_UNCERTAINTY
		} else {
			out.LackOfFit.DenominatorDegreesOfFreedom = proto.Int32(int32(t.PureDof))
		}
	}
	return out
}
