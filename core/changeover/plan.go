package changeover

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Make plans the product of req on its line. It returns every fault of the
// request at once, after those that reading it has found already, or a plan, which
// may be one that cannot run. stop, asked between drives, ends a plan that nobody
// waits for; then ok is false. A nil stop never does.
func Make(req *Request, found fault.List, stop func() bool) (plan Plan, faults fault.List, ok bool) {
	faults = found
	of := newLineIndex(req.Line)
	checkLine(req.Line, &of, &faults)
	product, running := fault.Root("product"), fault.Root("running")
	next := newPlanner(req.Line, &of, req.Product, fieldsOf(&product))
	order := next.prepare(&faults)
	var now *planner
	var nowOrder []int32
	if req.Running != nil {
		now = newPlanner(req.Line, &of, req.Running, fieldsOf(&running))
		nowOrder = now.prepare(&faults)
	}
	next.checkTransitions(req, &faults)
	if len(faults) > 0 {
		return Plan{}, faults, true
	}
	plan, ok = next.solve(order, req.Working, stop)
	if ok && req.Running != nil {
		var before Plan
		before, ok = now.solve(nowOrder, false, stop)
		plan.compare(&before, nowOrder)
		if ok && len(req.Transitions) > 0 {
			plan.Transitions, faults = next.transitions(req, &plan, &before)
		}
	}
	if len(faults) > 0 {
		return Plan{}, faults, true
	}
	plan.Verdict = VerdictOf(plan.Checks)
	return plan, nil, ok
}

func (p *planner) prepare(faults *fault.List) []int32 {
	p.assign(faults)
	order := p.order(faults)
	p.checkLeaders(faults)
	return order
}

func checkLine(line *Line, of *lineIndex, faults *fault.List) {
	root := fault.Root("line")
	list := root.Field("drives")
	checkDrives(line.Drives, of, &list, faults)
	list = root.Field("sections")
	for i := range line.Sections {
		at := list.Index(i)
		s := &line.Sections[i]
		checkUnique(&of.sections, i, "sections", &at, faults)
		scaling.ValidateSection(s, &at, faults)
		if s.DriveID != "" && of.drives.find(s.DriveID) < 0 {
			field := at.Field("driveId")
			faults.Add(&field, fault.NotFound, "no drive of the line has the id %q", s.DriveID)
		}
	}
	checkReadoutSections(line, &of.sections, faults)
}

func checkDrives(drives []scaling.Drive, of *lineIndex, list *fault.Path, faults *fault.List) {
	for i := range drives {
		at := list.Index(i)
		checkUnique(&of.drives, i, "drives", &at, faults)
		scaling.Validate(&drives[i], &at, faults)
	}
}

func checkReadoutSections(line *Line, sections *index[scaling.Section], faults *fault.List) {
	root := fault.Root("line")
	list := root.Field("drives")
	for i := range line.Drives {
		id := line.Drives[i].Readout.SectionID
		if id == "" {
			continue
		}
		at := list.Index(i)
		readout := at.Field("readout")
		field := readout.Field("sectionId")
		switch s := sections.find(id); {
		case s < 0:
			faults.Add(&field, fault.NotFound, "no section of the line has the id %q", id)
		case line.Sections[s].DriveID != line.Drives[i].ID:
			faults.Add(&field, fault.Conflict, "section %q is moved by drive %q, not by this one", id, line.Sections[s].DriveID)
		}
	}
}

// checkLeaders demands that every leader runs at a speed that the plan knows.
func (p *planner) checkLeaders(faults *fault.List) {
	for i := range p.jobs {
		leader := p.jobs[i].leader
		if leader < 0 || p.jobs[leader].demand < 0 || !p.speaks(&p.jobs[i]) {
			continue
		}
		switch p.product.Demands[p.jobs[leader].demand].Kind {
		case Stopped:
			p.addFollowed(int32(i), fault.Conflict, faults, "names drive %q, which is stopped; stop the follower too, or give it a demand of its own", p.line.Drives[leader].ID)
		case LeaveAsIs:
			p.addFollowed(int32(i), fault.Conflict, faults, "names drive %q, which is left as it is, so its speed is not known here; give the follower a demand of its own", p.line.Drives[leader].ID)
		}
	}
}

func (p *planner) materialOf(drive int) *scaling.Material {
	if i := p.jobs[drive].material; i >= 0 {
		return &p.product.Materials[i]
	}
	return nil
}

func (p *planner) toleranceOf(j *job) *scaling.Tolerance {
	var t *scaling.Optional[scaling.Tolerance]
	if j.demand >= 0 {
		t = &p.product.Demands[j.demand].Tolerance
	} else {
		t = &p.product.Blends[j.blend].Components[j.component].Tolerance
	}
	if !t.Set {
		return nil
	}
	return &t.Value
}

// solve finds the setpoints in the given order.
func (p *planner) solve(order []int32, working bool, stop func() bool) (plan Plan, ok bool) {
	s := newSolver(p, working, stop)
	ok = s.run(order)
	return s.plan, ok
}

type solver struct {
	*planner
	plan    Plan
	of      []placed    // by drive of the line
	blends  []jointPlan // by blend of the product; nil where none is rounded together
	working bool
	stop    func() bool                // nil: nothing ends it
	trial   *trial                     // nil: no value is tried
	trials  int                        // drives planned on trial so far
	windows map[rootOf]*scaling.Window // those that are known
	byRoot  map[rootOf][]int32         // the drives that hang on each root, once they are asked for
	calc    exact.Calc
}

func newSolver(p *planner, working bool, stop func() bool) *solver {
	s := &solver{planner: p, of: make([]placed, len(p.jobs)), working: working, stop: stop}
	for i := range p.product.Blends {
		if p.product.Blends[i].Rounding == Joint {
			s.blends = make([]jointPlan, len(p.product.Blends))
			break
		}
	}
	return s
}

// run finds the setpoints in the given order, unless it is stopped.
func (s *solver) run(order []int32) (ok bool) {
	s.plan.Setpoints = make([]Setpoint, len(order))
	for place, i := range order {
		if s.stopped() {
			return false
		}
		s.of[i].place = int32(place)
		s.fill(int(i), &s.plan.Setpoints[place])
	}
	return !s.stopped()
}

func (s *solver) stopped() bool { return s.stop != nil && s.stop() }

// placed is what its followers need of a drive that has been planned.
type placed struct {
	place  int32                   // in plan.Setpoints
	known  bool                    // motion is known, in float64
	motion scaling.Motion          // that its setpoint gives
	chosen scaling.Optional[int32] // the count that was chosen together with others
}

// fill finds the setpoint of one drive whose leader, if any, has been planned.
func (s *solver) fill(i int, out *Setpoint) {
	j := &s.jobs[i]
	out.Drive, out.Action = &s.line.Drives[i], Run
	if j.leader >= 0 {
		out.Leader = &s.line.Drives[j.leader]
	}
	if s.blends != nil && j.blend >= 0 {
		s.chooseCounts(j)
	}
	before := len(s.plan.Checks)
	switch {
	case s.kind(j) == LeaveAsIs:
		out.Action = Leave
	case j.leader >= 0 && !s.runs(j.leader):
		leader := s.line.Drives[j.leader].ID
		s.plan.Checks = append(s.plan.Checks, scaling.Check{Code: scaling.LeaderHasNoSetpoint, DriveID: out.Drive.ID, Name: leader})
	default:
		s.evaluate(i, out)
		s.of[i].known = !s.calc.Undecided()
		if s.calc.Undecided() {
			s.calc = *exact.NewExact()
			s.plan.Checks = s.plan.Checks[:before]
			s.evaluate(i, out)
		}
		s.calc = exact.Calc{}
		if s.trial == nil && out.DemandedRPM.Set {
			scaling.CheckReferences(out.Drive, &s.plan.Checks)
		}
	}
	s.finish(i, out, s.plan.Checks[before:])
}

// evaluate finds the setpoint of one drive that runs or stops, once, with s.calc.
func (s *solver) evaluate(i int, out *Setpoint) {
	c, j := &s.calc, &s.jobs[i]
	subject := s.subject(i)
	if s.kind(j) == Stopped {
		out.Action = Stop
		scaling.Stop(c, &subject, &s.plan.Checks, &out.Setpoint)
		return
	}
	amount := s.amount(c, i)
	if j.leader >= 0 {
		if sign := c.Sign(amount); sign == 0 || sign < 0 && !out.Drive.MayTurnBackwards() {
			out.Setpoint = scaling.Setpoint{}
			s.plan.Checks = append(s.plan.Checks, scaling.Check{Code: scaling.LeaderGivesNoRate, DriveID: out.Drive.ID, Name: s.line.Drives[j.leader].ID})
			return
		}
	}
	s.of[i].motion = scaling.For(c, &subject, s.measure(i), amount, &s.plan.Checks, &out.Setpoint)
}

// finish adds what only the plan knows: the demand digit for digit as it was sent,
// the working, and for each check the field that it speaks of and which value of
// which field would fit.
func (s *solver) finish(i int, out *Setpoint, checks []scaling.Check) {
	if s.trial != nil {
		return
	}
	switch j := &s.jobs[i]; s.kind(j) {
	case Rate:
		out.Demanded = s.product.Demands[j.demand].Rate
	case Dwell:
		if asked, whole := s.askedDwell(j); whole {
			out.Demanded = asked
		}
	case NoDemand:
		if b := &s.product.Blends[j.blend]; b.leads(int(j.component)) {
			out.Demanded = b.LeaderRate
		}
	}
	if s.working && out.DemandedRPM.Set {
		subject := s.subject(i)
		out.Working = append(s.demandSteps(i, out), scaling.Working(&subject, s.measure(i), &out.Setpoint)...)
	}
	for k := range checks {
		if checks[k].Code == scaling.AboveHighestSpeed || checks[k].Code == scaling.BelowLowestSpeed {
			checks[k].Window = s.window(i)
		}
		if checks[k].Field != "" {
			checks[k].Within(s.fields.drive(i))
		} else {
			checks[k].Field = s.field(&s.jobs[i])
		}
		switch {
		case s.jobs[i].route >= 0:
			s.finishDwell(i, out, &checks[k])
		case checks[k].Limit.Unit != nil && s.derived(i) && checks[k].ExcessPercent.Set:
			factor, faster := checks[k].Limit.Value/out.Demanded.Value, checks[k].Code == scaling.BelowLowestSpeed
			checks[k].Fit, checks[k].FitField = s.fitOfRoot(i, factor, faster)
		case checks[k].Fit.Unit != nil:
			checks[k].FitField = checks[k].Field
		}
	}
}

// kind returns the kind of demand of a job; a component of a blend has none.
func (s *solver) kind(j *job) DemandKind {
	if j.demand < 0 {
		return NoDemand
	}
	return s.product.Demands[j.demand].Kind
}

// runs reports whether drive i has a setpoint to follow.
func (s *solver) runs(i int32) bool { return s.plan.Setpoints[s.of[i].place].AchievedRPM.Set }

func (s *solver) subject(i int) scaling.Subject {
	return scaling.Subject{
		Drive:          &s.line.Drives[i],
		Material:       s.materialOf(i),
		ReadoutSection: s.readoutSection(i),
		Tolerance:      s.toleranceOf(&s.jobs[i]),
		Count:          s.of[i].chosen,
		Leader:         s.leading(i),
	}
}

// readoutSection returns the section whose dwell a time readout of drive i shows:
// the one it names, else the only one that the drive moves.
func (s *solver) readoutSection(i int) *scaling.Section {
	d := &s.line.Drives[i]
	if d.Readout.Unit == nil || d.Readout.Unit.Dimension() != units.TimeDim {
		return nil
	}
	if d.Readout.SectionID != "" {
		return &s.line.Sections[s.sections.find(d.Readout.SectionID)]
	}
	if only := s.moves[i]; only >= 0 {
		return &s.line.Sections[only]
	}
	return nil
}

// measure returns how drive i's demand is counted.
func (s *solver) measure(i int) scaling.Measure {
	j := &s.jobs[i]
	if j.blend >= 0 {
		return scaling.Measure{Unit: s.product.Blends[j.blend].unit()}
	}
	demand := &s.product.Demands[j.demand]
	switch demand.Kind {
	case Rate:
		return scaling.Measure{Unit: demand.Rate.Unit}
	case Dwell:
		if j.route >= 0 {
			return s.routes[j.route].Measure(demand.Dwell, s.line.Drives[i].ID)
		}
		return scaling.Measure{Unit: demand.Time.Unit, Length: s.line.Sections[j.section].Length}
	case Ratio:
		if demand.Basis == MotorSpeed {
			return scaling.Measure{Unit: scaling.UsualRateUnit(units.Rotation)}
		}
		if leader := s.plan.Setpoints[s.of[j.leader].place].Demanded.Unit; leader.Dimension() == s.line.Drives[i].RateDimension() {
			return scaling.Measure{Unit: leader}
		}
	case Dose:
		if dim := rateOf(demand.Amount); dim != s.line.Drives[i].RateDimension() {
			return scaling.Measure{Unit: scaling.UsualRateUnit(dim)}
		}
	}
	return scaling.Measure{Unit: scaling.RateUnit(&s.line.Drives[i])}
}

// amount returns what is asked of drive i in its measure, in base units.
//
//	ratio             percent/100 of the leader's achieved rate or motor speed
//	length per piece  pieces = leader's speed / length; length = leader's pieces * length
//	dose              leader's rate * amount / per
//
// A follower goes by what its leader achieves, not by what was asked of it.
func (s *solver) amount(c *exact.Calc, i int) exact.Num {
	j := &s.jobs[i]
	if j.blend >= 0 {
		return s.componentAmount(c, i)
	}
	demand := &s.product.Demands[j.demand]
	switch demand.Kind {
	case Rate:
		return s.root(j, demand.Rate).Base(c)
	case Dwell:
		if j.route >= 0 {
			asked, _, _ := demand.Dwell.Asked()
			return s.root(j, asked).Base(c).Mul(s.routes[j.route].Part(c, s.line.Drives[i].ID))
		}
		return s.root(j, demand.Time).Base(c)
	}
	if demand.Kind == Dose {
		return s.doseAmount(c, j)
	}
	leader := s.achieved(c, int(j.leader))
	switch {
	case demand.Kind == Ratio && demand.Basis == MotorSpeed:
		return leader.Speed.Mul(c.Percent(demand.Percent))
	case demand.Kind == Ratio:
		return leader.Rate.Mul(c.Percent(demand.Percent))
	case s.line.Drives[j.leader].RateDimension() == units.SpeedDim:
		return leader.Rate.Quo(demand.Length.Base(c))
	}
	return leader.Rate.Mul(demand.Length.Base(c))
}

// achieved returns the motion of drive i, which has a setpoint: what its count
// sets, or, where nothing is rounded, what was asked. Exact values are found anew,
// since those of one evaluation do not serve another.
func (s *solver) achieved(c *exact.Calc, i int) scaling.Motion {
	at := &s.of[i]
	if at.known && !c.Exact() {
		return at.motion
	}
	subject := s.subject(i)
	sp := &s.plan.Setpoints[at.place]
	switch {
	case sp.Count.Set:
		return scaling.MotionOfCount(c, &subject, sp.Count.Value)
	case sp.Fraction.Set:
		return scaling.MotionOfFraction(c, &subject, sp.Fraction.Value)
	}
	return scaling.MotionFor(c, &subject, s.measure(i), s.amount(c, i))
}

// compare fills in what changes against the running product's plan.
func (p *Plan) compare(before *Plan, beforeOrder []int32) {
	of := make(map[*scaling.Drive]int, len(beforeOrder))
	for k := range before.Setpoints {
		of[before.Setpoints[k].Drive] = k
	}
	for i := range p.Setpoints {
		now := &p.Setpoints[i]
		was := &before.Setpoints[of[now.Drive]]
		if now.Action == Leave {
			continue
		}
		if was.Action != Stop && !was.AchievedRPM.Set {
			p.Checks = append(p.Checks, scaling.Check{Code: scaling.RunningSetpointUnknown, DriveID: now.Drive.ID, Field: "running"})
			continue
		}
		now.Change = scaling.Some(changeFrom(was, now))
	}
}

func changeFrom(was, now *Setpoint) Change {
	change := Change{FromCount: was.Count, FromMilliamps: was.Milliamps, FromVolts: was.Volts, FromRPM: was.AchievedRPM.Value}
	if now.AchievedRPM.Set && change.FromRPM != 0 {
		change.SpeedChangePercent = scaling.Some((now.AchievedRPM.Value - change.FromRPM) / change.FromRPM * 100)
	}
	return change
}
