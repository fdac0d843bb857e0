package server

import (
	"context"
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/measurement"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// usualCoveragePercent and usualCoverageFactor are what an absent one means.
const (
	usualCoveragePercent = 95
	usualCoverageFactor  = 2
)

// CheckReading finds what a tachometer should read, and judges what it read.
func (scalingService) CheckReading(_ context.Context, in *linepacev1.CheckReadingRequest) (*linepacev1.CheckReadingResponse, error) {
	var a about
	a.read(in.GetDrive(), in.GetMaterial(), in.GetSection())
	check := a.tachometerCheck(in)
	check.Validate(&a.faults)
	if len(a.faults) > 0 || len(check.Readings) == 0 { // that there are some is a matter of shape
		return nil, a.faults
	}
	var out measurement.Reading
	var found []scaling.Check
	check.Check(new(exact.Calc), &found, &out)
	res := checkReadingResponse(&out, &check)
	res.Checks = checks(found)
	if in.GetIncludeWorking() {
		res.Working = working(check.Working(&out))
	}
	return res, nil
}

func (a *about) tachometerCheck(in *linepacev1.CheckReadingRequest) measurement.TachometerCheck {
	out := measurement.TachometerCheck{Subject: a.subject(), CoveragePercent: usualCoveragePercent}
	if in.CoveragePercent != nil {
		out.CoveragePercent = *in.CoveragePercent
	}
	switch loaded := in.GetLoaded().(type) {
	case *linepacev1.CheckReadingRequest_Count:
		out.Count = scaling.Some(loaded.Count)
	case *linepacev1.CheckReadingRequest_Milliamps:
		out.Milliamps = scaling.Some(loaded.Milliamps)
	case *linepacev1.CheckReadingRequest_Volts:
		out.Volts = scaling.Some(loaded.Volts)
	case *linepacev1.CheckReadingRequest_Setpoint:
		root := fault.Root("setpoint")
		out.Setpoint = units.Quantity{Value: loaded.Setpoint.GetValue(), Unit: a.unit(loaded.Setpoint.GetUnit(), &root)}
	}
	switch point := in.GetPoint().(type) {
	case *linepacev1.CheckReadingRequest_Shaft:
		out.Shaft = shaft(point.Shaft)
	case *linepacev1.CheckReadingRequest_Wheel:
		out.Place = measurement.Place(point.Wheel)
	}
	a.readings(in.GetReadings(), &out)
	root := fault.Root("tachometer")
	out.Tachometer = a.tachometer(in.GetTachometer(), &root)
	return out
}

// readings reads the readings, which have one unit.
func (a *about) readings(in []*linepacev1.Quantity, out *measurement.TachometerCheck) {
	list := fault.Root("readings")
	out.Readings = make([]float64, len(in))
	for i, q := range in {
		at := list.Index(i)
		switch unit := q.GetUnit(); {
		case i == 0:
			out.Unit = a.unit(unit, &at)
		case unit != in[0].GetUnit():
			field := at.Field("unit")
			a.faults.Add(&field, fault.Conflict, "is %q, and the first reading's is %q; give all readings in one unit", unit, in[0].GetUnit())
		}
		out.Readings[i] = q.GetValue()
	}
}

func (d *decoder) tachometer(in *linepacev1.CheckReadingRequest_Tachometer, p *fault.Path) measurement.Tachometer {
	out := measurement.Tachometer{
		CoverageFactor:       usualCoverageFactor,
		Resolution:           d.quantity(in.GetResolution(), p, "resolution"),
		Circumference:        d.quantity(in.GetWheelCircumference(), p, "wheelCircumference"),
		CircumferencePercent: in.GetWheelUncertaintyPercent(),
	}
	switch certificate := in.GetCertificate().(type) {
	case *linepacev1.CheckReadingRequest_Tachometer_ExpandedUncertaintyPercent:
		out.ExpandedPercent = scaling.Some(certificate.ExpandedUncertaintyPercent)
	case *linepacev1.CheckReadingRequest_Tachometer_ExpandedUncertainty:
		out.Expanded = d.quantity(certificate.ExpandedUncertainty, p, "expandedUncertainty")
	}
	if in != nil && in.CoverageFactor != nil {
		out.CoverageFactor = *in.CoverageFactor
	}
	if gate := in.GetGate(); gate != nil {
		at := p.Field("gate")
		out.Gate, out.GatePercent, out.Marks = d.quantity(gate.Time, &at, "time"), gate.UncertaintyPercent, gate.MarkCount
	}
	return out
}

func checkReadingResponse(r *measurement.Reading, check *measurement.TachometerCheck) *linepacev1.CheckReadingResponse {
	own := func(v float64) *linepacev1.Quantity { return &linepacev1.Quantity{Value: v, Unit: r.Unit.Symbol()} }
	b := &r.Budget
	out := &linepacev1.CheckReadingResponse{
		Expected: own(r.Expected), Measured: own(r.Mean), Deviation: own(r.Deviation),
		DeviationPercent: r.DeviationPercent, SetRpm: r.SetRPM,
		StandardUncertainty: own(b.Standard), DegreesOfFreedom: unlessInfinite(b.Dof),
		CoveragePercent: b.CoveragePercent, CoverageFactor: b.CoverageFactor, ExpandedUncertainty: own(b.Expanded),
	}
	for i := range b.Lines[:b.Count] {
		l := &b.Lines[i]
		out.Budget = append(out.Budget, &linepacev1.CheckReadingResponse_BudgetLine{
			Source:       linepacev1.CheckReadingResponse_BudgetLine_Source(l.Source),
			Evaluation:   linepacev1.CheckReadingResponse_BudgetLine_Evaluation(l.Type),
			Distribution: linepacev1.CheckReadingResponse_BudgetLine_Distribution(l.Distribution),
			Value:        quantity(l.Value), Divisor: l.Divisor, Sensitivity: l.Sensitivity,
			StandardUncertainty: own(l.Standard), DegreesOfFreedom: unlessInfinite(l.Dof), SharePercent: l.SharePercent,
		})
	}
	if r.Limits.Set {
		l := &r.Limits.Value
		out.Limits = &linepacev1.CheckReadingResponse_Limits{
			Low: own(l.Low), High: own(l.High), GuardFactor: l.GuardFactor, GuardBand: own(l.GuardBand),
			Verdict: linepacev1.CheckReadingResponse_Limits_Verdict(l.Verdict), Rule: measurement.GuardRule,
		}
	}
	for i := range r.Remedies[:r.RemedyCount] {
		remedy := &r.Remedies[i]
		out.Remedies = append(out.Remedies, &linepacev1.CheckReadingResponse_Remedy{
			Kind: linepacev1.CheckReadingResponse_Remedy_Kind(remedy.Kind), Value: quantity(remedy.Quantity(check)), Text: remedy.Text(check),
		})
	}
	return out
}

func unlessInfinite(dof float64) *float64 {
	if math.IsInf(dof, 1) {
		return nil
	}
	return &dof
}
