package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/fault"
	"linepace.example/core/ratio"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// Ramps finds the common ramp of drives that start, stop or change speed together.
func (ratioService) Ramps(_ context.Context, in *linepacev1.RampsRequest) (*linepacev1.RampsResponse, error) {
	var s several
	s.read(in.GetDrives(), in.GetMaterials())
	q := ratio.Ramps{
		Drives: s.drives, Materials: s.materials, LeaderID: in.GetLeaderId(), TolerancePercent: in.GetTolerancePercent(),
		Time: s.quantity(in.GetTime(), nil, "time"), Ramps: make([]ratio.Ramp, len(in.GetRamps())),
	}
	list := fault.Root("ramps")
	for i, ramp := range in.GetRamps() {
		at := list.Index(i)
		q.Ramps[i] = s.ramp(ramp, &at)
	}
	if g := in.GetStagger(); g != nil {
		q.Stagger = s.stagger(g)
	}
	q.Validate(&s.faults)
	if len(s.faults) > 0 {
		return nil, s.faults
	}
	found := q.Find()
	out := ramps(&found)
	for i := range q.Ramps {
		if q.Ramps[i].To.Unit == nil {
			continue
		}
		out.Ramps[i].Setpoint = &linepacev1.Setpoint{}
		setpoint(&found.ToSetpoint[i], found.Ramps[i].Drive, out.Ramps[i].Setpoint)
		if in.GetIncludeWorking() {
			out.Ramps[i].Setpoint.Working = working(q.SetpointWorking(&found, i))
		}
	}
	if in.GetIncludeWorking() {
		out.Working = working(q.Working(&found))
	}
	return out, nil
}

func (d *decoder) ramp(in *linepacev1.RampsRequest_Ramp, p *fault.Path) ratio.Ramp {
	out := ratio.Ramp{
		DriveID: in.GetDriveId(), MaterialID: in.GetMaterialId(), Meaning: ratio.Meaning(in.GetMeaning()),
		From: d.quantity(in.GetFrom(), p, "from"), To: d.quantity(in.GetTo(), p, "to"), TimeStep: d.quantity(in.GetTimeStep(), p, "timeStep"),
		RampMaxRPM: optionalDouble(in != nil && in.RampMaxRpm != nil, in.GetRampMaxRpm()),
	}
	switch limit := in.GetLimit().(type) {
	case *linepacev1.RampsRequest_Ramp_FastestTime:
		out.FastestTime = d.quantity(limit.FastestTime, p, "fastestTime")
	case *linepacev1.RampsRequest_Ramp_Acceleration:
		out.Acceleration = d.quantity(limit.Acceleration, p, "acceleration")
	}
	return out
}

func (d *decoder) stagger(in *linepacev1.RampsRequest_Stagger) *ratio.Stagger {
	out := &ratio.Stagger{BeltID: in.GetBeltId()}
	root := fault.Root("stagger")
	list := root.Field("feeders")
	for i, feeder := range in.GetFeeders() {
		at := list.Index(i)
		out.Feeders = append(out.Feeders, ratio.StaggeredFeeder{DriveID: feeder.GetDriveId(), Distance: d.quantity(feeder.GetDistance(), &at, "distance")})
	}
	return out
}

func ramps(in *ratio.RampSet) *linepacev1.RampsResponse {
	out := &linepacev1.RampsResponse{
		CommonTime: quantity(in.CommonTime), LeastTime: quantity(in.LeastTime), SlowestDriveId: in.SlowestID,
		Ramps: make([]*linepacev1.RampsResponse_Ramp, len(in.Ramps)),
		Alone: offRatio(&in.Alone), Common: offRatio(&in.Common), PartialBeltWithoutDelays: quantity(in.PartialBelt),
		Checks: checks(in.Checks), Verdict: linepacev1.Check_Verdict(changeover.VerdictOf(in.Checks)),
	}
	for i := range in.Ramps {
		r := &in.Ramps[i]
		out.Ramps[i] = &linepacev1.RampsResponse_Ramp{
			DriveId: r.Drive.ID, FromRpm: pointer(&r.FromRPM), ToRpm: pointer(&r.ToRPM),
			RampTimeSetting: quantity(r.Setting), ChangeTime: quantity(r.Time), FastestChangeTime: quantity(r.FastestTime),
			Acceleration: quantity(r.Acceleration), Amount: quantity(r.Amount), Alone: offRatio(&r.Alone), Common: offRatio(&r.Common),
		}
	}
	for i := range in.Starts {
		s := &in.Starts[i]
		out.Starts = append(out.Starts, &linepacev1.RampsResponse_Start{DriveId: s.DriveID, Delay: quantity(s.Delay), Travel: quantity(s.Travel)})
	}
	return out
}

func offRatio(o *ratio.OffRatio) *linepacev1.RampsResponse_OffRatio {
	if o.Time.Unit == nil {
		return nil
	}
	return &linepacev1.RampsResponse_OffRatio{Time: quantity(o.Time), Amount: quantity(o.Amount), Excess: quantity(o.Excess)}
}
