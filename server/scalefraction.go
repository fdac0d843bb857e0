package server

import (
	"context"
	"slices"

	"linepace.example/core/fault"
	"linepace.example/core/fraction"
	"linepace.example/core/scaling"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// fractionRequest is a request for a scale fraction, with the ids of its catalogue.
type fractionRequest struct {
	scaling.FractionRequest
	ids []string
}

// fractionRequest reads what fraction is asked for, or returns nil. Faults are added.
func (a *about) fractionRequest(asked *linepacev1.ScaleFractionBounds) *fractionRequest {
	if asked == nil {
		return nil
	}
	at := fault.Root("scaleFraction")
	out := &fractionRequest{}
	out.Basis, out.SensorID = scaling.Basis(asked.Basis), asked.SensorId
	a.checkSensorID(asked, &at)
	out.Bounds = a.bounds(asked, &at)
	list := at.Field("catalogue")
	place := map[string]int{}
	for i, alternative := range asked.Catalogue {
		item := list.Index(i)
		if first, twice := place[alternative.GetId()]; twice && alternative.GetId() != "" {
			id := item.Field("id")
			a.faults.Add(&id, fault.Duplicate, "%q is also the id of catalogue[%d]; give each its own", alternative.GetId(), first)
		}
		place[alternative.GetId()] = i
		out.ids = append(out.ids, alternative.GetId())
		out.Catalogue = append(out.Catalogue, a.alternative(alternative, &item))
	}
	if a.drive.Readout.Unit == nil {
		drive := fault.Root("drive")
		readout := drive.Field("readout")
		a.faults.Add(&readout, fault.Required, "is needed for a scale fraction: what the device shows")
	}
	if len(a.faults) == 0 {
		a.checkForm(asked, &at)
		own := a.subject()
		a.checkBasis(&own, out, &at)
		for i := range out.Catalogue {
			item := list.Index(i)
			a.checkBasis(&out.Catalogue[i], out, &item)
		}
	}
	return out
}

func (a *about) bounds(in *linepacev1.ScaleFractionBounds, p *fault.Path) fraction.Bounds {
	out := fraction.Bounds{MaxNumerator: int64(in.MaxNumerator), MaxDenominator: int64(in.MaxDenominator), Minimum: 1}
	for _, term := range []struct {
		field string
		most  int64
	}{{"maxNumerator", out.MaxNumerator}, {"maxDenominator", out.MaxDenominator}} {
		if term.most < 1 {
			at := p.Field(term.field)
			a.faults.Add(&at, fault.OutOfRange, "is %d; it must be 1 to %d", term.most, fraction.MaxTerm)
		}
	}
	if in.Minimum == nil {
		return out
	}
	out.Minimum = int64(*in.Minimum)
	if most := min(out.MaxNumerator, out.MaxDenominator, fraction.MaxMinimum); out.Minimum < 1 || most >= 1 && out.Minimum > most {
		at := p.Field("minimum")
		a.faults.Add(&at, fault.OutOfRange, "is %d; it must be 1 to %d and not above maxNumerator or maxDenominator", out.Minimum, fraction.MaxMinimum)
	}
	return out
}

// alternative reads one of the catalogue: the request's own drive, material and
// section with what differs.
func (a *about) alternative(in *linepacev1.ScaleFractionBounds_Alternative, p *fault.Path) scaling.Subject {
	s := a.subject()
	if in.GetMaterial() != nil {
		at := p.Field("material")
		material := a.decoder.material(in.Material, &at)
		scaling.ValidateMaterial(&material, &at, &a.faults)
		s.Material = &material
	}
	if in.GetSection() != nil {
		at := p.Field("section")
		section := a.decoder.section(in.Section, &at)
		a.checkSection(&section, &at)
		s.ReadoutSection = &section
	}
	if in.GetDelivery() != nil {
		s.Drive = a.withDelivery(in.Delivery, p)
	}
	return s
}

// withDelivery returns the request's drive with another delivery of the same kind of
// rate. Only what is wrong with that delivery is reported.
func (a *about) withDelivery(in *linepacev1.Delivery, p *fault.Path) *scaling.Drive {
	at := p.Field("delivery")
	drive := a.drive
	drive.Delivery = a.decoder.delivery(in, &at)
	scaling.ValidateDelivery(&drive.Delivery, &at, &a.faults)
	switch {
	case len(drive.References) > 0:
		a.faults.Add(&at, fault.Conflict, "is given, but the drive has a measured reference, which decides over its delivery")
	case drive.RateDimension() != a.drive.RateDimension():
		a.faults.Add(&at, fault.Conflict, "delivers %s, and the drive's own delivery %s", drive.RateDimension(), a.drive.RateDimension())
	}
	return &drive
}

func (a *about) checkForm(in *linepacev1.ScaleFractionBounds, p *fault.Path) {
	follows := linepacev1.ScaleFraction_Form(a.drive.Readout.Form())
	if in.Form != linepacev1.ScaleFraction_FORM_UNSPECIFIED && in.Form != follows {
		at := p.Field("form")
		a.faults.Add(&at, fault.Conflict, "is %s, but a readout in %s is %s: a time goes with the reciprocal of the speed, everything else with the speed",
			in.Form, a.drive.Readout.Unit.Symbol(), follows)
	}
}

// checkSensorID demands that a sensor that is named is there, and is asked for.
func (a *about) checkSensorID(in *linepacev1.ScaleFractionBounds, p *fault.Path) {
	at := p.Field("sensorId")
	switch {
	case in.SensorId == "":
	case in.Basis != linepacev1.ScaleFraction_BASIS_UNSPECIFIED && in.Basis != linepacev1.ScaleFraction_PULSE_FREQUENCY:
		a.faults.Add(&at, fault.Conflict, "is given, and basis is %s, which no sensor counts", in.Basis)
	case !slices.ContainsFunc(a.drive.Sensors, func(s scaling.Sensor) bool { return s.ID == in.SensorId }):
		a.faults.Add(&at, fault.NotFound, "is %q, and no sensor of this drive has that id", in.SensorId)
	}
}

func (a *about) checkBasis(s *scaling.Subject, q *fractionRequest, p *fault.Path) {
	if reason := scaling.ReasonNoFraction(s, &q.FractionRequest); reason != "" {
		a.faults.Add(p, fault.Conflict, "cannot be found: %s", reason)
	}
}

// find finds the fraction that is asked for. Checks are appended.
func (q *fractionRequest) find(ctx context.Context, s *scaling.Subject, checks *[]scaling.Check) (scaling.ScaleFraction, bool) {
	first := len(*checks)
	f, ok := scaling.FractionOf(s, &q.FractionRequest, checks, func() bool { return ctx.Err() != nil })
	for i := first; i < len(*checks); i++ {
		(*checks)[i].Field = "scaleFraction"
	}
	return f, ok
}

func (q *fractionRequest) answer(f *scaling.ScaleFraction) *linepacev1.ScaleFraction {
	out := &linepacev1.ScaleFraction{
		Numerator:   int32(f.Numerator),
		Denominator: int32(f.Denominator),
		Form:        linepacev1.ScaleFraction_Form(f.Form),
		ErrorPpm:    f.ErrorPPM,
		Basis:       linepacev1.ScaleFraction_Basis(f.Basis),
		Target:      f.Target,
		SensorId:    f.SensorID,
	}
	if v := &f.Verify; v.Set {
		out.VerifyAt = &linepacev1.ScaleFraction_Point{Basis: v.Value.Basis, MotorRpm: v.Value.MotorRPM, ReadoutText: v.Value.Text}
	}
	if r := &f.Readings; r.Set {
		out.Readings = &linepacev1.ScaleFraction_Comparison{
			ComparedCount: int32(r.Value.Compared), DifferingCount: int32(r.Value.Differing),
			First: reading(&r.Value.First), Last: reading(&r.Value.Last), Worst: reading(&r.Value.Worst),
			Differing: make([]*linepacev1.ScaleFraction_Reading, len(r.Value.Listed)),
		}
		for i := range r.Value.Listed {
			out.Readings.Differing[i] = readingOf(&r.Value.Listed[i])
		}
	}
	for i, ppm := range f.Catalogue {
		out.Catalogue = append(out.Catalogue, &linepacev1.ScaleFraction_AlternativeError{Id: q.ids[i], ErrorPpm: ppm})
	}
	return out
}

func reading(r *scaling.Optional[scaling.Reading]) *linepacev1.ScaleFraction_Reading {
	if !r.Set {
		return nil
	}
	return readingOf(&r.Value)
}

func readingOf(r *scaling.Reading) *linepacev1.ScaleFraction_Reading {
	return &linepacev1.ScaleFraction_Reading{Count: r.Count, ExactText: r.Exact, DeviceText: r.Device}
}
