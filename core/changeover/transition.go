package changeover

import (
	"linepace.example/core/dwell"
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Transition asks how pieces come through the change of a dwell's speeds.
type Transition struct {
	DriveID string // with a dwell in the product
	// Change is everything but the sections and their speeds, which the products say.
	// Its piece has a length only where the dwell does not say one.
	Change dwell.Transition
}

// TransitionOutcome is what becomes of the pieces. Without a setpoint of every drive
// for both products there is none: the new speed's feasibility comes first.
type TransitionOutcome struct {
	Drive    *scaling.Drive
	Feasible bool
	Sections []SectionChange
	Outcome  dwell.Outcome
}

// SectionChange is a section with its speeds at the setpoints.
type SectionChange struct {
	Section  *scaling.Section
	From, To units.Quantity
}

// checkTransitions adds to faults what is wrong with the transitions by themselves.
func (p *planner) checkTransitions(req *Request, faults *fault.List) {
	if len(req.Transitions) == 0 {
		return
	}
	if req.Running == nil {
		at := fault.Root("running")
		faults.Add(&at, fault.Required, "is needed: a transition goes from the running product's speeds to the new ones")
	}
	root := fault.Root("transitions")
	seen := map[string]int{}
	for i := range req.Transitions {
		at, t := root.Index(i), &req.Transitions[i]
		t.Change.ValidateChange(&at, faults)
		field := at.Field("driveId")
		if first, twice := seen[t.DriveID]; twice {
			faults.Add(&field, fault.Duplicate, "%q has transitions[%d] already; ask once", t.DriveID, first)
		}
		seen[t.DriveID] = i
		drive := p.drives.find(t.DriveID)
		switch {
		case drive < 0 && t.DriveID == "":
		case drive < 0:
			faults.Add(&field, fault.NotFound, "no drive of the line has the id %q", t.DriveID)
		case p.jobs[drive].demand < 0 || p.product.Demands[p.jobs[drive].demand].Kind != Dwell:
			faults.Add(&field, fault.Conflict, "names drive %q, of which the product asks no dwell", t.DriveID)
		default:
			p.checkPieceLength(drive, t, &at, faults)
		}
	}
}

// checkPieceLength demands that a piece's length is said once.
func (p *planner) checkPieceLength(drive int, t *Transition, at *fault.Path, faults *fault.List) {
	if t.Change.Piece.Length.Unit == nil {
		return
	}
	field := at.Field("pieceLength")
	if d := p.product.Demands[p.jobs[drive].demand].Dwell; d != nil && d.Piece.Meaning != dwell.Point {
		faults.Add(&field, fault.Conflict, "is given, but the dwell says the length of its piece already; leave it out")
		return
	}
	scaling.ValidatePositive(t.Change.Piece.Length, at, faults, "pieceLength", units.LengthDim)
}

// transitions finds the transitions of req between two plans of its line. Faults are
// those that show only with the speeds.
func (p *planner) transitions(req *Request, plan, before *Plan) (out []TransitionOutcome, faults fault.List) {
	then, now := motions(before), motions(plan)
	root := fault.Root("transitions")
	for i := range req.Transitions {
		at := root.Index(i)
		drive := p.drives.find(req.Transitions[i].DriveID)
		answer := TransitionOutcome{Drive: &p.line.Drives[drive]}
		sections, piece := p.travelled(drive)
		if missing := answer.take(sections, then, now); missing != "" {
			plan.Checks = append(plan.Checks, scaling.Check{Code: scaling.NoTransition, DriveID: answer.Drive.ID, Name: missing, Field: at.String()})
			out = append(out, answer)
			continue
		}
		t := req.Transitions[i].Change
		if piece.Meaning != dwell.Point {
			t.Piece.Length = piece.Length
		}
		t.Piece.Meaning = piece.Meaning
		answer.fill(&t)
		if t.ValidateTogether(&at, &faults); len(faults) == 0 {
			answer.Feasible, answer.Outcome = true, t.Outcome()
		}
		out = append(out, answer)
	}
	return out, faults
}

// motions returns the process rates at the setpoints of a plan, by drive.
func motions(plan *Plan) map[string]units.Quantity {
	rates := make(map[string]units.Quantity, len(plan.Setpoints))
	for i := range plan.Setpoints {
		if sp := &plan.Setpoints[i]; sp.Action == Run && sp.AchievedRPM.Set && sp.ProcessRate.Value > 0 {
			rates[sp.Drive.ID] = sp.ProcessRate
		}
	}
	return rates
}

// travelled returns the sections of a drive's dwell, and what its time is counted for.
func (p *planner) travelled(drive int) ([]*scaling.Section, dwell.Piece) {
	j := &p.jobs[drive]
	if j.route >= 0 {
		return p.routes[j.route].Sections, p.routes[j.route].Piece
	}
	return []*scaling.Section{&p.line.Sections[j.section]}, dwell.Piece{Meaning: dwell.Point}
}

// take notes the speeds of the sections, or returns the drive that has none.
func (t *TransitionOutcome) take(sections []*scaling.Section, then, now map[string]units.Quantity) (missing string) {
	for _, s := range sections {
		from, to := then[s.DriveID], now[s.DriveID]
		if from.Unit == nil || to.Unit == nil || from.Unit.Dimension() != units.SpeedDim || to.Unit.Dimension() != units.SpeedDim {
			t.Sections = nil
			return s.DriveID
		}
		t.Sections = append(t.Sections, SectionChange{Section: s, From: from, To: to})
	}
	return ""
}

// fill puts the sections and their speeds into a transition. A dead plate is crossed
// at the speed of the section before it, which it lengthens.
func (t *TransitionOutcome) fill(to *dwell.Transition) {
	for i, s := range t.Sections {
		length := s.Section.Length
		if plate := s.Section.DeadPlate; plate.Unit != nil && plate.Value != 0 && i < len(t.Sections)-1 {
			c := new(exact.Calc)
			length.Value = units.FromBase(c, length.Base(c).Add(plate.Base(c)), length.Unit).Float()
		}
		if i == 0 {
			to.Length, to.From, to.To = length, s.From, s.To
			continue
		}
		to.Following = append(to.Following, dwell.Stretch{Length: length, From: s.From, To: s.To})
	}
}
