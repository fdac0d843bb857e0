package server

import (
	"context"

	"linepace.example/core/dwell"
	"linepace.example/core/fault"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// Dose finds the equivalent time of a profile.
func (dwellService) Dose(_ context.Context, in *linepacev1.DoseRequest) (*linepacev1.DoseResponse, error) {
	var d decoder
	p := dwell.Profile{Lethality: d.lethality(in.GetReference(), in.GetZ(), in.GetZFrom(), nil)}
	root := fault.Root("steps")
	p.Steps = d.exposures(in.GetSteps(), &root)
	root = fault.Root("points")
	for i, point := range in.GetPoints() {
		at := root.Index(i)
		p.Points = append(p.Points, dwell.Exposure{Temperature: d.temperature(point.GetTemperature(), &at, "temperature"), Time: d.quantity(point.GetTime(), &at, "time")})
	}
	p.Validate(&d.faults)
	if len(d.faults) > 0 {
		return nil, d.faults
	}
	found := p.Dose()
	z := p.ZOn()
	out := &linepacev1.DoseResponse{
		EquivalentTime: quantity(found.Equivalent),
		Z:              &linepacev1.Temperature{Value: z.Value, Unit: dwell.Symbols[z.Scale]},
		Parts:          exposureDoses(found.Parts, found.Rates),
		Checks:         checks(dwell.DoseChecks(map[bool]string{true: "steps", false: "points"}[len(p.Steps) > 0], false)),
	}
	if in.GetIncludeWorking() {
		out.Working = working(p.Working(&found))
	}
	return out, nil
}

// scales are the units that a temperature is read in.
var scales = map[string]dwell.Scale{
	"degC": dwell.Celsius, "Cel": dwell.Celsius, "degF": dwell.Fahrenheit, "[degF]": dwell.Fahrenheit, "K": dwell.Kelvin,
}

func (d *decoder) temperature(in *linepacev1.Temperature, p *fault.Path, field string) dwell.Temperature {
	if in == nil {
		return dwell.Temperature{}
	}
	scale, known := scales[in.Unit]
	if !known {
		of := p.Field(field)
		at := of.Field("unit")
		reason := fault.UnitUnknown
		if in.Unit == "" {
			reason = fault.UnitRequired
		}
		d.faults.Add(&at, reason, "is %q; a temperature is in degC, degF or K", in.Unit)
		scale = dwell.UnreadableScale
	}
	return dwell.Temperature{Value: in.Value, Scale: scale}
}

func (d *decoder) exposures(in []*linepacev1.Exposure, list *fault.Path) (out []dwell.Exposure) {
	for i, e := range in {
		at := list.Index(i)
		out = append(out, dwell.Exposure{Temperature: d.temperature(e.GetTemperature(), &at, "temperature"), Time: d.quantity(e.GetTime(), &at, "time")})
	}
	return out
}

func (d *decoder) lethality(reference, z *linepacev1.Temperature, zFrom []*linepacev1.Exposure, p *fault.Path) dwell.Lethality {
	list := p.Field("zFrom")
	return dwell.Lethality{Reference: d.temperature(reference, p, "reference"), Z: d.temperature(z, p, "z"), ZFrom: d.exposures(zFrom, &list)}
}

func (d *decoder) zoneDose(in *linepacev1.DwellRequest_ZoneDose, p *fault.Path) *dwell.ZoneDose {
	out := &dwell.ZoneDose{Lethality: d.lethality(in.GetReference(), in.GetZ(), in.GetZFrom(), p)}
	list := p.Field("zones")
	for i, z := range in.GetZones() {
		at := list.Index(i)
		out.Zones = append(out.Zones, dwell.ZoneTemperature{SectionID: z.GetSectionId(), ID: z.GetId(), Temperature: d.temperature(z.GetTemperature(), &at, "temperature")})
	}
	return out
}

func (d *decoder) alongDose(in *linepacev1.TransitionRequest_AlongDose, p *fault.Path) *dwell.AlongDose {
	out := &dwell.AlongDose{Lethality: d.lethality(in.GetReference(), in.GetZ(), in.GetZFrom(), p)}
	list := p.Field("zones")
	for i, z := range in.GetZones() {
		at := list.Index(i)
		out.Zones = append(out.Zones, dwell.Along{Length: d.quantity(z.GetLength(), &at, "length"), Temperature: d.temperature(z.GetTemperature(), &at, "temperature")})
	}
	return out
}

func exposureDoses(parts []units.Quantity, rates []float64) []*linepacev1.ExposureDose {
	out := make([]*linepacev1.ExposureDose, len(parts))
	for i := range parts {
		out[i] = &linepacev1.ExposureDose{LethalRate: rates[i], EquivalentTime: quantity(parts[i])}
	}
	return out
}
