package server

import (
	"context"

	"linepace.example/core/changeover"
	"linepace.example/core/dwell"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// dwellService relates the speed of belts to the time that pieces spend on them.
type dwellService struct {
	linepacev1.UnimplementedDwellServiceServer
}

// Dwell finds the speeds that give pieces a time in sections.
func (dwellService) Dwell(_ context.Context, in *linepacev1.DwellRequest) (*linepacev1.DwellResponse, error) {
	var d decoder
	req := d.dwellRequest(in)
	found, faults := dwell.Find(req, d.faults)
	if len(faults) > 0 {
		return nil, faults
	}
	out := &linepacev1.DwellResponse{
		AchievedDwell: quantity(found.Achieved),
		Margin:        quantity(found.Margin),
		TimePerCount:  quantity(found.TimePerCount),
		Throughput:    throughput(found.Throughput),
		Checks:        checks(found.Checks),
		Verdict:       linepacev1.Check_Verdict(changeover.VerdictOf(found.Checks)),
		Working:       working(found.Working),
	}
	if found.Dose != nil {
		out.ThermalDose = &linepacev1.DwellResponse_ZoneDose{EquivalentTime: quantity(found.Dose.Equivalent), Zones: exposureDoses(found.Dose.Parts, found.Dose.Rates)}
	}
	for i := range found.Setpoints {
		sp := &found.Setpoints[i]
		to := &linepacev1.Setpoint{}
		setpoint(&sp.Setpoint, sp.Drive, to)
		to.Working = working(sp.Working)
		out.Setpoints = append(out.Setpoints, to)
		out.Belts = append(out.Belts, &linepacev1.DwellResponse_Belt{
			DriveId: sp.Drive.ID, Speed: quantity(sp.Speed), Time: quantity(sp.Achieved), TimePerCount: quantity(sp.TimePerCount),
			CoarseBelowSpeed: quantity(sp.CoarseBelow), CoarseAboveSpeed: quantity(sp.CoarseAbove), ReadoutDigitSpeed: quantity(sp.ReadoutDigit),
		})
	}
	for _, z := range found.Zones {
		out.Zones = append(out.Zones, &linepacev1.DwellResponse_ZoneTime{Id: z.ID, SectionId: z.SectionID, Time: quantity(z.Time)})
	}
	return out, nil
}

func (d *decoder) dwellRequest(in *linepacev1.DwellRequest) *dwell.Request {
	out := &dwell.Request{
		Drives: make([]scaling.Drive, len(in.GetDrives())), Sections: make([]scaling.Section, len(in.GetSections())),
		Tolerance: d.tolerance(in.GetTolerance()), Working: in.GetIncludeWorking(),
	}
	root := fault.Root("drives")
	for i, drive := range in.GetDrives() {
		at := root.Index(i)
		d.drive(drive, &out.Drives[i], &at)
	}
	root = fault.Root("sections")
	for i, section := range in.GetSections() {
		at := root.Index(i)
		out.Sections[i] = d.section(section, &at)
	}
	root = fault.Root("dwell")
	out.Demand = *d.dwell(in.GetDwell(), &root)
	if dose := in.GetThermalDose(); dose != nil {
		root = fault.Root("thermalDose")
		out.Dose = d.zoneDose(dose, &root)
	}
	if in.GetPieces() != nil {
		out.Pieces = d.pieces(in.GetPieces())
	}
	return out
}

// plainDwell reports whether a dwell is that of a point in one section, as far as it
// says anything; what it leaves out is a matter of shape.
func plainDwell(in *linepacev1.Dwell) bool {
	_, whole := in.GetMeaning().(*linepacev1.Dwell_WholePiece_)
	_, anyPart := in.GetMeaning().(*linepacev1.Dwell_AnyPart_)
	return len(in.GetSectionIds()) <= 1 && in.GetAtLeast() == nil && in.GetAtMost() == nil && !whole && !anyPart && len(in.GetBelts()) == 0
}

func (d *decoder) dwell(in *linepacev1.Dwell, p *fault.Path) *dwell.Demand {
	out := &dwell.Demand{
		SectionIDs: in.GetSectionIds(), Piece: dwell.Piece{Meaning: dwell.Point},
		Time: d.quantity(in.GetTime(), p, "time"), AtLeast: d.quantity(in.GetAtLeast(), p, "atLeast"), AtMost: d.quantity(in.GetAtMost(), p, "atMost"),
	}
	switch meaning := in.GetMeaning().(type) {
	case *linepacev1.Dwell_WholePiece_:
		at := p.Field("wholePiece")
		out.Piece = dwell.Piece{Length: d.quantity(meaning.WholePiece.GetLength(), &at, "length"), Meaning: dwell.WholePiece}
	case *linepacev1.Dwell_AnyPart_:
		at := p.Field("anyPart")
		out.Piece = dwell.Piece{Length: d.quantity(meaning.AnyPart.GetLength(), &at, "length"), Meaning: dwell.AnyPart}
	}
	for _, belt := range in.GetBelts() {
		to := dwell.Belt{DriveID: belt.GetDriveId()}
		switch part := belt.GetPart().(type) {
		case *linepacev1.Dwell_Belt_TimeSharePercent:
			to.TimeSharePercent = scaling.Some(part.TimeSharePercent)
		case *linepacev1.Dwell_Belt_SpeedPercent:
			to.SpeedPercent = scaling.Some(part.SpeedPercent)
		}
		out.Belts = append(out.Belts, to)
	}
	return out
}

func (d *decoder) pieces(in *linepacev1.DwellRequest_Pieces) *dwell.Pieces {
	at := fault.Root("pieces")
	return &dwell.Pieces{
		Length: d.quantity(in.GetLength(), &at, "length"), Pitch: d.quantity(in.GetPitch(), &at, "pitch"), Rate: d.quantity(in.GetRate(), &at, "rate"),
		Rows: in.GetRows(), Mass: d.quantity(in.GetMass(), &at, "mass"), LeastGap: d.quantity(in.GetLeastGap(), &at, "leastGap"),
	}
}

func throughput(in *dwell.Throughput) *linepacev1.DwellResponse_Throughput {
	if in == nil {
		return nil
	}
	out := &linepacev1.DwellResponse_Throughput{
		PieceRate: quantity(in.PieceRate), MassRate: quantity(in.MassRate),
		WorkInProcess: quantity(in.WorkInProcess), MassInProcess: quantity(in.MassInProcess),
		FirstOut: quantity(in.FirstOut), LineClear: quantity(in.LineClear),
	}
	for i := range in.Belts {
		l := &in.Belts[i]
		out.Loads = append(out.Loads, &linepacev1.DwellResponse_Load{
			DriveId: l.DriveID, Pitch: quantity(l.Pitch), Gap: quantity(l.Gap), Loading: quantity(l.Loading), MassLoading: quantity(l.MassLoading),
		})
	}
	return out
}

// Transition finds what a change of speed does to the pieces in a section.
func (dwellService) Transition(_ context.Context, in *linepacev1.TransitionRequest) (*linepacev1.TransitionResponse, error) {
	var d decoder
	t := d.transition(in)
	t.Validate(nil, &d.faults)
	if len(d.faults) > 0 {
		return nil, d.faults
	}
	found := t.Outcome()
	if n := found.Outgoing + found.InRamp; in.GetIncludePieces() && n > dwell.MostPieces {
		at := fault.Root("includePieces")
		d.faults.Add(&at, fault.TooMany, "asks for a list of %d pieces; at most %d are listed: ask without, or give a longer pitch", n, dwell.MostPieces)
		return nil, d.faults
	}
	out := &linepacev1.TransitionResponse{
		Policies:            make([]*linepacev1.TransitionResponse_Policy, len(found.Policies)),
		OutgoingTarget:      quantity(found.OutgoingTarget),
		IncomingTarget:      quantity(found.IncomingTarget),
		OutgoingCount:       int32(found.Outgoing),
		IncomingInRampCount: int32(found.InRamp),
		RampTravel:          quantity(found.RampTravel),
	}
	if t.Dose != nil {
		out.Checks = checks(dwell.DoseChecks("thermalDose", true))
	}
	if t.Cost != nil {
		out.Cheapest = policyName(found.Cheapest)
	}
	for i := range found.Policies {
		p := &found.Policies[i]
		out.Policies[i] = policy(p, t.Cost != nil)
		if in.GetIncludePieces() {
			out.Policies[i].Pieces = pieceTimes(t.Pieces(p, &found))
		}
	}
	if in.GetIncludeWorking() && len(t.Following) == 0 {
		out.Working = working(t.Working(&found))
	}
	return out, nil
}

// transition reads a request. A piece that is not given is a point.
func (d *decoder) transition(in *linepacev1.TransitionRequest) *dwell.Transition {
	field := func(q *linepacev1.Quantity, name string) units.Quantity { return d.quantity(q, nil, name) }
	out := &dwell.Transition{
		Length:           field(in.GetLength(), "length"),
		From:             field(in.GetFrom(), "from"),
		To:               field(in.GetTo(), "to"),
		Ramp:             field(in.GetRamp(), "ramp"),
		Pitch:            field(in.GetPitch(), "pitch"),
		FirstPiece:       field(in.GetFirstPiece(), "firstPiece"),
		Feed:             dwell.Feed(in.GetFeed()),
		TolerancePercent: in.GetTolerancePercent(),
		Cost:             cost(in.GetCost()),
	}
	if dose := in.GetThermalDose(); dose != nil {
		at := fault.Root("thermalDose")
		out.Dose = d.alongDose(dose, &at)
	}
	root := fault.Root("following")
	for i, section := range in.GetFollowing() {
		at := root.Index(i)
		out.Following = append(out.Following, dwell.Stretch{
			Length: d.quantity(section.GetLength(), &at, "length"), From: d.quantity(section.GetFrom(), &at, "from"), To: d.quantity(section.GetTo(), &at, "to"),
		})
	}
	piece := fault.Root("piece")
	out.Piece = dwell.Piece{Length: d.quantity(in.GetPiece().GetLength(), &piece, "length"), Meaning: dwell.Meaning(in.GetPiece().GetMeaning())}
	if out.Piece.Meaning == dwell.NoMeaning {
		out.Piece.Meaning = dwell.Point
	}
	return out
}

func cost(in *linepacev1.TransitionRequest_Cost) *dwell.Cost {
	if in == nil {
		return nil
	}
	return &dwell.Cost{PerMinuteStopped: in.GetPerMinuteStopped(), PerPieceOut: in.GetPerPieceOut()}
}

// transitions reads the transitions of a plan.
func (d *decoder) transitions(in []*linepacev1.PlanRequest_Transition) (out []changeover.Transition) {
	root := fault.Root("transitions")
	for i, t := range in {
		at := root.Index(i)
		out = append(out, changeover.Transition{DriveID: t.GetDriveId(), Change: dwell.Transition{
			Ramp: d.quantity(t.GetRamp(), &at, "ramp"), Pitch: d.quantity(t.GetPitch(), &at, "pitch"), FirstPiece: d.quantity(t.GetFirstPiece(), &at, "firstPiece"),
			Piece: dwell.Piece{Length: d.quantity(t.GetPieceLength(), &at, "pieceLength")},
			Feed:  dwell.Feed(t.GetFeed()), TolerancePercent: t.GetTolerancePercent(), Cost: cost(t.GetCost()),
		}})
	}
	return out
}

// transitions writes those of a plan.
func transitions(in []changeover.TransitionOutcome) (out []*linepacev1.PlanResponse_Transition) {
	for i := range in {
		t := &in[i]
		to := &linepacev1.PlanResponse_Transition{DriveId: t.Drive.ID, Feasible: t.Feasible}
		out = append(out, to)
		if !t.Feasible {
			continue
		}
		for _, s := range t.Sections {
			to.Sections = append(to.Sections, &linepacev1.PlanResponse_Transition_Section{SectionId: s.Section.ID, From: quantity(s.From), To: quantity(s.To)})
		}
		o := &t.Outcome
		for k := range o.Policies {
			to.Policies = append(to.Policies, policy(&o.Policies[k], o.Cheapest != dwell.NoPolicy))
		}
		if o.Cheapest != dwell.NoPolicy {
			to.Cheapest = policyName(o.Cheapest)
		}
		to.OutgoingTarget, to.IncomingTarget, to.OutgoingCount = quantity(o.OutgoingTarget), quantity(o.IncomingTarget), int32(o.Outgoing)
	}
	return out
}

func policyName(name dwell.PolicyName) *linepacev1.TransitionResponse_Policy_Name {
	return linepacev1.TransitionResponse_Policy_Name(name).Enum()
}

func policy(p *dwell.Policy, weighed bool) *linepacev1.TransitionResponse_Policy {
	out := &linepacev1.TransitionResponse_Policy{
		Policy:                 linepacev1.TransitionResponse_Policy_Name(p.Name),
		Possible:               p.Possible,
		FeedStopped:            quantity(p.FeedStopped),
		OutgoingOutOfTolerance: int32(p.OutgoingOut),
		DwellShortest:          quantity(p.Shortest),
		DwellLongest:           quantity(p.Longest),
		FeedStoppedForIncoming: quantity(p.ForIncoming),
		DoseLeast:              quantity(p.DoseLeast),
		DoseMost:               quantity(p.DoseMost),
	}
	if p.Possible {
		incoming := int32(p.IncomingOut)
		out.IncomingOutOfTolerance = &incoming
		if weighed {
			out.Cost = &p.Cost
		}
	}
	return out
}

func pieceTimes(in []dwell.PieceTime) []*linepacev1.TransitionResponse_PieceTime {
	out := make([]*linepacev1.TransitionResponse_PieceTime, len(in))
	for i := range in {
		piece := &in[i]
		out[i] = &linepacev1.TransitionResponse_PieceTime{
			Enters: quantity(piece.Enters), Time: quantity(piece.Time), Incoming: piece.Incoming, OutOfTolerance: piece.Out, Dose: quantity(piece.Dose),
		}
	}
	return out
}
