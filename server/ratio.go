package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// ratioService holds flows and speeds to each other.
type ratioService struct {
	linepacev1.UnimplementedRatioServiceServer
}

// several is what the requests about several drives have in common.
type several struct {
	decoder
	drives    []scaling.Drive
	materials []scaling.Material
}

func (s *several) read(drives []*linepacev1.Drive, materials []*linepacev1.Material) {
	s.drives, s.materials = make([]scaling.Drive, len(drives)), make([]scaling.Material, len(materials))
	list := fault.Root("drives")
	for i, drive := range drives {
		at := list.Index(i)
		s.drive(drive, &s.drives[i], &at)
	}
	list = fault.Root("materials")
	for i, material := range materials {
		at := list.Index(i)
		s.materials[i] = s.material(material, &at)
	}
}

// Blend finds the setpoints of a blend and its composition.
func (ratioService) Blend(ctx context.Context, in *linepacev1.BlendRequest) (*linepacev1.BlendResponse, error) {
	var s several
	s.read(in.GetDrives(), in.GetMaterials())
	at := fault.Root("blend")
	blend := s.blend(in.GetBlend(), &at)
	req := changeover.BlendRequest{Drives: s.drives, Materials: s.materials, Blend: &blend, Working: in.GetIncludeWorking()}
	out, faults, finished := changeover.Mix(&req, s.faults, func() bool { return ctx.Err() != nil })
	if len(faults) > 0 {
		return nil, faults
	}
	if !finished {
		return nil, ctx.Err()
	}
	return composition(&out), nil
}

func composition(in *changeover.Composition) *linepacev1.BlendResponse {
	out := &linepacev1.BlendResponse{
		Components:          make([]*linepacev1.BlendResponse_Component, len(in.Portions)),
		AchievedTotal:       quantity(in.Total),
		LargestErrorPercent: pointer(&in.Largest),
		Proven:              pointer(&in.Proven),
		LeaderId:            in.LeaderID,
		Checks:              checks(in.Checks),
		Verdict:             linepacev1.Check_Verdict(in.Verdict),
		Working:             working(in.Working),
	}
	for k := range in.Portions {
		out.Components[k] = portion(&in.Portions[k])
	}
	return out
}

func portion(p *changeover.Portion) *linepacev1.BlendResponse_Component {
	out := &linepacev1.BlendResponse_Component{
		DriveId:              p.Drive.ID,
		DemandedRpm:          pointer(&p.DemandedRPM),
		AchievedRpm:          pointer(&p.AchievedRPM),
		Count:                pointer(&p.Count),
		RatioToLeaderPercent: pointer(&p.RatioToLeaderPercent),
		RateToLeaderPercent:  pointer(&p.RateToLeaderPercent),
		PulseRatio:           pointer(&p.PulseRatio),
		SharePercent:         p.SharePercent,
		AchievedSharePercent: pointer(&p.AchievedSharePercent),
		ErrorPercent:         pointer(&p.ErrorPercent),
		Setpoint:             &linepacev1.Setpoint{},
	}
	if p.AchievedRPM.Set {
		nearest := !p.NearestCount.Set
		out.Nearest = &nearest
	}
	planned(&p.Setpoint, out.Setpoint)
	return out
}

// Window finds the windows of blends, and the trim that they can take.
func (ratioService) Window(ctx context.Context, in *linepacev1.WindowRequest) (*linepacev1.WindowResponse, error) {
	var s several
	s.read(in.GetDrives(), in.GetMaterials())
	req := changeover.WindowRequest{Drives: s.drives, Materials: s.materials, Working: in.GetIncludeWorking()}
	list := fault.Root("blends")
	for i, blend := range in.GetBlends() {
		at := list.Index(i)
		req.Blends = append(req.Blends, s.blend(blend, &at))
	}
	out, faults, finished := changeover.FindWindows(&req, s.faults, func() bool { return ctx.Err() != nil })
	if len(faults) > 0 {
		return nil, faults
	}
	if !finished {
		return nil, ctx.Err()
	}
	return windows(in, &out), nil
}

func windows(in *linepacev1.WindowRequest, found *changeover.Windows) *linepacev1.WindowResponse {
	out := &linepacev1.WindowResponse{Working: working(found.Working)}
	for i := range found.Of {
		of := &found.Of[i]
		out.Windows = append(out.Windows, &linepacev1.WindowResponse_BlendWindow{
			BlendId: in.GetBlends()[i].GetId(), Window: window(&of.Window), AnyFits: of.AnyFits, AskedFits: pointer(&of.AskedFits),
		})
	}
	if t := &found.Trim.Value; found.Trim.Set {
		out.Trim = &linepacev1.WindowResponse_Trim{
			LowPercent: t.LowPercent, HighPercent: t.HighPercent, LowBlend: int32(t.LowBlend), HighBlend: int32(t.HighBlend),
		}
	}
	return out
}
