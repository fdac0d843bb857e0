package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/ratio"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// Draw finds the speeds of a chain of rolls, each following the leader or its neighbour.
func (ratioService) Draw(_ context.Context, in *linepacev1.DrawRequest) (*linepacev1.DrawResponse, error) {
	var s several
	s.read(in.GetDrives(), nil)
	chain := ratio.DrawChain{Drives: s.drives, LeaderID: in.GetLeaderId(), LeaderRate: s.quantity(in.GetLeaderRate(), nil, "leaderRate")}
	for _, roll := range in.GetRolls() {
		out := ratio.DrawRoll{DriveID: roll.GetDriveId()}
		switch draw := roll.GetDraw().(type) {
		case *linepacev1.DrawRequest_Roll_DrawPercent:
			out.DrawPercent = optional(&draw.DrawPercent)
		case *linepacev1.DrawRequest_Roll_DrawRatio:
			out.DrawRatio = optional(&draw.DrawRatio)
		}
		chain.Rolls = append(chain.Rolls, out)
	}
	if tolerance := s.tolerance(in.GetTolerance()); tolerance.Set {
		chain.Tolerance = &tolerance.Value
	}
	if d := in.GetDisturbance(); d != nil {
		chain.Disturbance = &ratio.Disturbance{DriveID: d.GetDriveId(), SpeedChangePercent: d.GetSpeedChangePercent()}
	}
	chain.Validate(&s.faults)
	if len(s.faults) > 0 {
		return nil, s.faults
	}
	found := chain.Find()
	return draws(&chain, &found, in.GetIncludeWorking()), nil
}

func draws(chain *ratio.DrawChain, in *ratio.Draws, includeWorking bool) *linepacev1.DrawResponse {
	out := &linepacev1.DrawResponse{
		Rolls:    make([]*linepacev1.DrawResponse_Roll, len(in.Rolls)),
		Direct:   drawTotal(&in.Totals[ratio.Direct]),
		Cascaded: drawTotal(&in.Totals[ratio.Cascaded]),
		Checks:   checks(in.Checks),
		Verdict:  linepacev1.Check_Verdict(changeover.VerdictOf(in.Checks)),
	}
	for i := range in.Rolls {
		roll := &in.Rolls[i]
		out.Rolls[i] = &linepacev1.DrawResponse_Roll{
			DriveId:       roll.Drive.ID,
			DrawPercent:   pointer(&roll.WantedPercent),
			DrawRatio:     pointer(&roll.WantedRatio),
			RatioToLeader: roll.LeaderRatio,
			Direct:        following(roll, ratio.Direct),
			Cascaded:      following(roll, ratio.Cascaded),
		}
		if r := &roll.Ripple; r.Set {
			out.Rolls[i].DrawRipple = &linepacev1.DrawResponse_Ripple{LowPercent: r.Value.LowPercent, HighPercent: r.Value.HighPercent}
		}
		if includeWorking {
			out.Rolls[i].Direct.Setpoint.Working = working(chain.SetpointWorking(in, ratio.Direct, i))
			out.Rolls[i].Cascaded.Setpoint.Working = working(chain.SetpointWorking(in, ratio.Cascaded, i))
		}
	}
	if includeWorking {
		out.Working = working(chain.Working(in))
	}
	return out
}

func following(roll *ratio.DrawnRoll, s ratio.Scheme) *linepacev1.DrawResponse_Following {
	f := &roll.Follows[s]
	out := &linepacev1.DrawResponse_Following{
		Setpoint:                  &linepacev1.Setpoint{},
		DrawPercent:               pointer(&f.Percent),
		DrawRatio:                 pointer(&f.Ratio),
		DrawErrorPercent:          pointer(&f.ErrorPercent),
		DrawRounding:              spread(&f.Rounding),
		DrawRegulation:            spread(&f.Regulation),
		WithinTolerance:           pointer(&f.WithinTolerance),
		BandWithinTolerance:       pointer(&f.BandWithinTolerance),
		RatioToLeader:             pointer(&f.LeaderRatio),
		RatioToLeaderErrorPercent: pointer(&f.LeaderErrorPercent),
		RatioToLeaderRounding:     spread(&f.LeaderRounding),
		RatioToLeaderRegulation:   spread(&f.LeaderRegulation),
	}
	setpoint(&f.Setpoint, roll.Drive, out.Setpoint)
	if d := &f.Disturbed.Value; f.Disturbed.Set {
		out.Disturbed = &linepacev1.DrawResponse_Disturbed{
			SpeedChangePercent: d.SpeedChangePercent, DrawChangePercent: pointer(&d.DrawChangePercent),
			DrawPercent: pointer(&d.Percent), RatioToFirstChangePercent: d.FirstChangePercent,
		}
	}
	return out
}

func spread(s *ratio.Optional[ratio.Spread]) *linepacev1.DrawResponse_Spread {
	if !s.Set {
		return nil
	}
	return &linepacev1.DrawResponse_Spread{WorstLowPercent: s.Value.LowPercent, WorstHighPercent: s.Value.HighPercent, RootSumSquarePercent: s.Value.RootSumSquarePercent}
}

func drawTotal(t *ratio.DrawTotal) *linepacev1.DrawResponse_Total {
	return &linepacev1.DrawResponse_Total{
		DrawPercent: pointer(&t.Percent), DrawRatio: pointer(&t.Ratio),
		DrawErrorPercent: pointer(&t.ErrorPercent), LargestDrawErrorPercent: pointer(&t.LargestErrorPercent),
	}
}
