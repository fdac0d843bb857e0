package changeover

import (
	"strconv"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// WindowRequest asks for the windows of a set of blends, which run one at a time.
type WindowRequest struct {
	Drives    []scaling.Drive
	Materials []scaling.Material
	Blends    []Blend
	Working   bool
}

// Windows are the windows of a set of blends.
type Windows struct {
	Of      []BlendWindow
	Trim    scaling.Optional[Trim] // absent: a blend asks for nothing
	Working []scaling.Step
}

// BlendWindow is the window of one blend.
type BlendWindow struct {
	scaling.Window
	AnyFits   bool
	AskedFits scaling.Optional[bool] // absent: it asks for nothing
	asked     units.Quantity
}

// Trim is the range of a change to what every blend asks for, in percent of it.
type Trim struct {
	LowPercent, HighPercent float64
	LowBlend, HighBlend     int // which binds
}

// FindWindows finds the window of each blend, and the range of trim that keeps all
// of them feasible. Faults and stop are those of [Mix].
//
//	trim = end of the window / what is asked - 1; the narrowest of all blends
//
// Formulas: window/1, turndown/1, trim/1
func FindWindows(req *WindowRequest, found fault.List, stop func() bool) (out Windows, faults fault.List, ok bool) {
	faults = found
	line := &Line{Drives: req.Drives}
	of := newLineIndex(line)
	list := fault.Root("drives")
	checkDrives(line.Drives, &of, &list, &faults)
	blends := fault.Root("blends")
	solvers := make([]*solver, len(req.Blends))
	orders := make([][]int32, len(req.Blends))
	asks := make([]bool, len(req.Blends))
	for i := range req.Blends {
		b := req.Blends[i]
		b.Rounding = Each // together or not, a count stays next to what is asked
		asks[i] = b.askAny()
		at := fields{materials: fault.Root("materials"), blends: blends.Index(i), alone: true, again: i > 0}
		p := newPlanner(line, &of, &Product{Materials: req.Materials, Blends: []Blend{b}}, at)
		orders[i] = p.prepare(&faults)
		solvers[i] = newSolver(p, false, stop)
	}
	if len(faults) > 0 {
		return Windows{}, faults, true
	}
	out.Of = make([]BlendWindow, len(req.Blends))
	for i, s := range solvers {
		if s.stopped() {
			return Windows{}, nil, false
		}
		out.Of[i] = s.blendWindow(orders[i], asks[i])
		if req.Working {
			out.Working = append(out.Working, s.windowSteps(&out.Of[i])...)
		}
	}
	out.trim(req.Working)
	return out, nil, true
}

// askAny makes a blend that asks for no total and no leader's rate ask for some,
// since its window does not depend on it. It returns whether the blend asked.
func (b *Blend) askAny() bool {
	some := units.Quantity{Value: 1, Unit: scaling.UsualRateUnit(b.dimension())}
	switch {
	case b.Total.Unit != nil || b.LeaderRate.Unit != nil:
		return true
	case b.LeaderID != "":
		b.LeaderRate = some
	default:
		b.Total = some
	}
	return false
}

// blendWindow finds the window of the only blend, and whether what it asks fits.
func (s *solver) blendWindow(order []int32, asks bool) BlendWindow {
	c := new(exact.Calc)
	w, low, high := s.narrowest(s.rootOf(int(order[0])))
	out := BlendWindow{Window: w, AnyFits: c.Cmp(low, high) <= 0}
	if c.Undecided() {
		out.AnyFits = scaling.Certain(func(c *exact.Calc) bool {
			low, high := s.ends(c, &w)
			return c.Cmp(low, high) <= 0
		})
	}
	if !asks {
		return out
	}
	out.asked, _ = s.rootQuantity(&s.jobs[order[0]])
	s.trial = &trial{root: rootOf{-1, -1}} // without what would fit
	s.run(order)
	fits := true
	for i := range s.plan.Checks {
		fits = fits && s.plan.Checks[i].Code.Severity() != scaling.Error
	}
	out.AskedFits = scaling.Some(fits)
	return out
}

// trim finds the trim that all blends can take.
func (w *Windows) trim(working bool) {
	var t Trim
	for i := range w.Of {
		of := &w.Of[i]
		if of.asked.Unit == nil {
			return
		}
		low, high := (of.Low.Value/of.asked.Value-1)*100, (of.High.Value/of.asked.Value-1)*100
		if i == 0 || low > t.LowPercent {
			t.LowPercent, t.LowBlend = low, i
		}
		if i == 0 || high < t.HighPercent {
			t.HighPercent, t.HighBlend = high, i
		}
	}
	w.Trim = scaling.Some(t)
	if !working {
		return
	}
	low, high := &w.Of[t.LowBlend], &w.Of[t.HighBlend]
	step := func(name string, percent float64, end, asked units.Quantity) scaling.Step {
		return scaling.Step{ID: "trim/1", Name: name, Formula: "(end - asked) / asked", Result: percents(percent),
			Inputs: []scaling.Input{{Name: "end", Value: end}, {Name: "asked", Value: asked}}}
	}
	w.Working = append(w.Working, step("lowest trim, which blends["+strconv.Itoa(t.LowBlend)+"] sets", t.LowPercent, low.Low, low.asked),
		step("highest trim, which blends["+strconv.Itoa(t.HighBlend)+"] sets", t.HighPercent, high.High, high.asked))
}

// windowSteps derives the window of the only blend.
func (s *solver) windowSteps(w *BlendWindow) []scaling.Step {
	c := new(exact.Calc)
	b := &s.product.Blends[0]
	at := s.fields.blends.String()
	var steps []scaling.Step
	lows := scaling.Step{ID: "window/1", Name: at + ": lowest that every drive can run", Result: w.Low}
	highs := scaling.Step{ID: "window/1", Name: at + ": highest that every drive can run", Result: w.High}
	var names []string
	for k := range b.Components {
		i := s.drives.find(b.Components[k].DriveID)
		subject := s.alone(i)
		begin := len(steps)
		steps = append(steps, scaling.ScaleWorking(&subject)...)
		of := scaling.RangeOf(c, &subject)
		name := "limit" + strconv.Itoa(k+1)
		names = append(names, name)
		low, step := s.limitSteps(c, b, k, &subject, "lowest", of.Low)
		steps = append(steps, step...)
		high, step := s.limitSteps(c, b, k, &subject, "highest", of.High)
		steps = append(steps, step...)
		lows.Inputs = append(lows.Inputs, scaling.Input{Name: name, Value: low})
		highs.Inputs = append(highs.Inputs, scaling.Input{Name: name, Value: high})
		for n := begin; n < len(steps); n++ {
			steps[n].Name = at + ", " + subject.Drive.ID + ": " + steps[n].Name
		}
	}
	lows.Formula, highs.Formula = names[0], names[0]
	if len(names) > 1 {
		lows.Formula, highs.Formula = "max("+strings.Join(names, ", ")+")", "min("+strings.Join(names, ", ")+")"
	}
	steps = append(steps, lows, highs)
	if turndown := w.Turndown(); turndown.Set {
		steps = append(steps, scaling.Step{ID: "turndown/1", Name: at + ": turndown", Formula: "high / low",
			Result: units.Quantity{Value: turndown.Value, Unit: units.MustParse("1")},
			Inputs: []scaling.Input{{Name: "high", Value: w.High}, {Name: "low", Value: w.Low}}})
	}
	return steps
}

// limitSteps derives what the root would be if component k's drive ran at a limit.
func (s *solver) limitSteps(c *exact.Calc, b *Blend, k int, subject *scaling.Subject, which string, speed exact.Num) (root units.Quantity, steps []scaling.Step) {
	i, m := s.drives.find(b.Components[k].DriveID), subject.Material
	root = inUnit(c, s.rootAt(c, i, speed), b.unit())
	fed := scaling.InDimension(c, subject.Drive, m, scaling.MotionOfSpeed(c, subject, speed).Rate, b.dimension())
	rate := scaling.Input{Name: "rate", Value: inUnit(c, fed, b.unit())}
	steps = append(steps, scaling.RateWorking(subject, rate.Value, which, speed)...)
	if b.moist(m) && !b.leads(k) {
		dry := inUnit(c, counted(c, b, m, fed), b.unit())
		steps = append(steps, dryStep(m, rate.Value, dry))
		rate.Value = dry
	}
	zero := scaling.Input{Name: "none", Value: units.Quantity{Unit: b.unit()}}
	step := scaling.Step{ID: "window-limit/1", Name: "what that means for the whole", Result: root, Formula: "max(rate, none)", Inputs: []scaling.Input{rate, zero}}
	share := scaling.Input{Name: "share", Value: percents(shareOf(c, b, k).Mul(c.Int(100)).Float())}
	switch lead := b.leader(); {
	case b.leads(k):
	case lead < 0:
		step.Formula, step.Inputs = "max(rate, none) / share", append(step.Inputs, share)
	default:
		of := s.materialOf(s.drives.find(b.LeaderID))
		theirs := scaling.Input{Name: "leader", Value: percents(shareOf(c, b, lead).Mul(c.Int(100)).Float())}
		step.Formula, step.Inputs = "max(rate, none) / share * leader", append(step.Inputs, share, theirs)
		if b.moist(of) {
			water := scaling.Input{Name: "moisture", Value: percents(of.Moisture.Percent)}
			step.Formula, step.Inputs = step.Formula+" / (1 - moisture)", append(step.Inputs, water)
			if of.Moisture.Basis == scaling.DryBasis {
				step.Formula = "max(rate, none) / share * leader * (1 + moisture)"
			}
		}
	}
	return root, append(steps, step)
}
