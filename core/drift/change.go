package drift

import (
	"cmp"
	"math"
	"slices"

	"linepace.example/core/elementary"
	"linepace.example/core/statistics"
)

// ChangeKind is how a level changed.
type ChangeKind uint8

// Kinds of change.
const (
	NoChange ChangeKind = iota
	Step                // from one level to another between two readings
	Ramp                // a level, and from some reading on a straight line away from it
)

// String names the kind for messages.
func (k ChangeKind) String() string {
	return [...]string{"none", "step", "ramp"}[k]
}

// Change is the likeliest way in which readings changed once. x is what they
// are told against (time, turns), y the reading.
type Change struct {
	Kind  ChangeKind
	Count int
	// At is the index of the first reading after a step, or of the last before a ramp
	// (0 when it goes on from the start), and Low to High the readings that it may be with
	// 95 % confidence. All are 0 for no change.
	At, Low, High int
	// Before is the level before the change, or that of all readings. After is the
	// level after a step. Slope is that of a ramp, y per x. What does not exist is 0.
	Before, After, Slope statistics.Value
	// ResidualSD is the standard deviation of the readings about the model.
	ResidualSD float64
	// Step and Ramp weigh each against no change, and StepOverRamp against one another:
	// twice the logarithm of the likelihood ratio, less 3 ln n for a model with a change. Above 0
	// they favour the first; more than 6 is strong.
	Step, Ramp, StepOverRamp float64
}

// changeNeed is the fewest readings: two on each side of a step, and two more to
// tell their scatter by.
const changeNeed = 6

// The confidence set of the place holds where the sum of squares is not greater than
// the least by more than this many residual variances. For a step it is the 95 % point of
// the likelihood ratio's limiting distribution, (1 - exp(-q/2))² = 0.95.
const stepPlace = 7.352

// FindChange finds the likeliest single change among at least six readings, with x
// ascending, in O(n). w weighs the readings (their variances are in the inverse ratio); nil weighs all alike.
//
// Each model is fitted by least squares with every place of the change, a step with at least
// two readings on each side, a ramp from a reading with at least two after it. A change is
// told if its likelihood for independent normal readings exceeds that of none by
// more than the three parameters are worth:
//
//	(n - 3) ln(SSE0/SSE) > 3 ln n
//
// with n - 3 for n because n is not large; of 20 or more readings without a change fewer
// than one series in twenty is told to have one.
//
// Source: penalty after N. R. Zhang and D. O. Siegmund, Biometrics 63, 2007; place of a
// step: B. E. Hansen, Econometrica 68, 2000; place of a ramp: P. I. Feder, Annals
// of Statistics 3, 1975.
// Errors: *statistics.TooFewError, *statistics.LengthError, *statistics.DomainError
// (also where x does not ascend).
// Formula: change/1
func FindChange(x, y, w []float64) (Change, error) {
	if err := checkSeries("a change point", x, y, w, changeNeed); err != nil {
		return Change{}, err
	}
	f := newChangeFit(x, y, w)
	out := Change{Count: len(x), Before: statistics.Value{Value: f.mean}}
	if !(f.total > 0) {
		return out, nil
	}
	n := float64(len(x))
	steps, ramps := f.steps(), f.ramps()
	step, ramp := greatest(steps), greatest(ramps)
	penalty := float64(3 * elementary.Log(n))
	stepSSE, rampSSE := f.rest(steps[step]), f.rest(ramps[ramp])
	out.Step = float64((n-3)*elementary.Log(f.total/stepSSE)) - penalty
	out.Ramp = float64((n-3)*elementary.Log(f.total/rampSSE)) - penalty
	out.StepOverRamp = out.Step - out.Ramp
	switch {
	case out.Step <= 0 && out.Ramp <= 0:
		out.ResidualSD = math.Sqrt(f.total / (n - 1))
		out.Before.U = out.ResidualSD / math.Sqrt(f.weights)
		return out, nil
	case out.Step >= out.Ramp:
		out.Kind, out.At = Step, step
		out.ResidualSD = math.Sqrt(stepSSE / (n - 3))
		out.Low, out.High = f.place(steps, stepSSE, stepPlace)
		out.Before, out.After = f.levels(step, out.ResidualSD)
	default:
		out.Kind, out.At = Ramp, ramp
		out.ResidualSD = math.Sqrt(rampSSE / (n - 3))
		k := statistics.StudentQuantile(0.975, n-3)
		out.Low, out.High = f.place(ramps, rampSSE, float64(k*k))
		out.Before, out.Slope = f.ramp(ramp, out.ResidualSD)
	}
	return out, nil
}

// changeFit holds readings about their mean.
type changeFit struct {
	x, y, w []float64
	mean    float64
	weights float64 // sum of w
	total   float64 // weighted sum of squares about the mean
	noise   float64 // below which a sum of squares is rounding
}

func newChangeFit(x, y, w []float64) *changeFit {
	f := &changeFit{x: x, y: make([]float64, len(y)), w: w}
	var sw, sy, rest, squares statistics.Sum
	for i := range y {
		sw.Add(f.weight(i))
		sy.Add(float64(f.weight(i) * y[i]))
	}
	f.weights = sw.Value()
	mean := sy.Value() / f.weights
	for i, v := range y {
		rest.Add(float64(f.weight(i) * (v - mean)))
	}
	f.mean = mean + rest.Value()/f.weights
	greatest := 0.0
	for i, v := range y {
		f.y[i] = v - f.mean
		squares.Add(float64(f.weight(i) * float64(f.y[i]*f.y[i])))
		greatest = max(greatest, math.Abs(v))
	}
	f.total = squares.Value()
	f.noise = float64(greatest*0x1p-51) * float64(greatest*0x1p-51) * f.weights
	if f.total <= f.noise {
		f.total = 0
	}
	return f
}

func (f *changeFit) weight(i int) float64 {
	if f.w == nil {
		return 1
	}
	return f.w[i]
}

// rest returns what is left of the sum of squares, at least what rounding leaves.
func (f *changeFit) rest(explained float64) float64 {
	return max(f.total-explained, f.noise, f.total*0x1p-45)
}

// steps returns, for a step before each reading, the part of the sum of squares that
// it explains: with L the sum of w y before it, L² (1/W1 + 1/W2).
func (f *changeFit) steps() []float64 {
	explained := make([]float64, len(f.y))
	var sum, weights statistics.Sum
	for i := range f.y {
		if i >= 2 && i <= len(f.y)-2 {
			s, before := sum.Value(), weights.Value()
			explained[i] = float64(s*s) / before / (f.weights - before) * f.weights
		}
		sum.Add(float64(f.weight(i) * f.y[i]))
		weights.Add(f.weight(i))
	}
	return explained
}

// hinge holds sums over the readings after a place, with d = x less that of the place.
type hinge struct{ w, wy, wd, wdd, wdy float64 }

// ramps returns, for a ramp from each reading, the part of the sum of squares that it
// explains: (sum w d y)² / (sum w d² - (sum w d)²/W) over the readings after it.
func (f *changeFit) ramps() []float64 {
	explained := make([]float64, len(f.y))
	f.hinges(func(i int, h hinge) {
		if i <= len(f.y)-3 {
			explained[i] = float64(h.wdy*h.wdy) / (h.wdd - float64(h.wd*h.wd)/f.weights)
		}
	})
	return explained
}

// hinges calls each with the sums at every reading, from the last to the first.
func (f *changeFit) hinges(each func(i int, h hinge)) {
	var w, wy, wd, wdd, wdy statistics.Sum
	for i := len(f.y) - 2; i >= 0; i-- {
		w.Add(f.weight(i + 1))
		wy.Add(float64(f.weight(i+1) * f.y[i+1]))
		d := f.x[i+1] - f.x[i]
		// All d grow by the distance to the next place; wd is still about the last one.
		wdd.Add(float64(d * float64(2*wd.Value()+float64(d*w.Value()))))
		wd.Add(float64(d * w.Value()))
		wdy.Add(float64(d * wy.Value()))
		each(i, hinge{w: w.Value(), wy: wy.Value(), wd: wd.Value(), wdd: wdd.Value(), wdy: wdy.Value()})
	}
}

// place returns the first and the last place at which the sum of squares is within so
// many residual variances of the least.
func (f *changeFit) place(explained []float64, sse, variances float64) (low, high int) {
	limit := sse + float64(variances*sse)/float64(len(f.y)-3)
	low = -1
	for i, e := range explained {
		if e > 0 && f.total-e <= limit {
			if low < 0 {
				low = i
			}
			high = i
		}
	}
	return low, high
}

// levels returns the means before a reading and from it on.
func (f *changeFit) levels(at int, sd float64) (before, after statistics.Value) {
	var sum, weights [2]statistics.Sum
	for i, y := range f.y {
		side := 0
		if i >= at {
			side = 1
		}
		sum[side].Add(float64(f.weight(i) * y))
		weights[side].Add(f.weight(i))
	}
	level := func(side int) statistics.Value {
		w := weights[side].Value()
		return statistics.Value{Value: f.mean + sum[side].Value()/w, U: sd / math.Sqrt(w)}
	}
	return level(0), level(1)
}

// ramp returns the level before a ramp from reading at, and its slope.
func (f *changeFit) ramp(at int, sd float64) (before, slope statistics.Value) {
	f.hinges(func(i int, h hinge) {
		if i != at {
			return
		}
		spread := h.wdd - float64(h.wd*h.wd)/f.weights
		slope = statistics.Value{Value: h.wdy / spread, U: sd / math.Sqrt(spread)}
		middle := h.wd / f.weights
		before.Value = f.mean - float64(slope.Value*middle)
		off := float64(middle * slope.U)
		before.U = math.Sqrt(float64(sd*sd)/f.weights + float64(off*off))
	})
	return before, slope
}

func greatest(list []float64) int {
	at := 0
	for i, v := range list {
		if v > list[at] {
			at = i
		}
	}
	return at
}

// checkSeries checks readings y over ascending x, and weights if there are any.
func checkSeries(method string, x, y, w []float64, need int) error {
	switch {
	case len(x) != len(y):
		return &statistics.LengthError{First: "x", Second: "y", Want: len(x), Have: len(y)}
	case w != nil && len(x) != len(w):
		return &statistics.LengthError{First: "x", Second: "w", Want: len(x), Have: len(w)}
	case len(x) < need:
		return &statistics.TooFewError{Method: method, Have: len(x), Need: need, Of: "readings"}
	}
	if err := firstError(checkSize("x", x), checkSize("y", y)); err != nil {
		return err
	}
	for i := range x {
		if i > 0 && !(x[i] > x[i-1]) {
			return &statistics.DomainError{Name: "x", Index: i, Value: x[i], Want: "it must be above the one before it"}
		}
		if w != nil && !(w[i] >= smallestValue && w[i] <= greatestValue) {
			return &statistics.DomainError{Name: "w", Index: i, Value: w[i], Want: "a weight must be 1e-60 to 1e60"}
		}
	}
	return nil
}

// StepCause is a mechanical or electrical cause that makes a step of a known factor.
type StepCause uint8

// Causes. Factors are those of what the readings count as delivered: after over before.
const (
	Doubled   StepCause = iota // 2: both edges of each pulse counted, a doubled scale
	Halved                     // 1/2: one of two pulses lost, a halved scale
	ToothMore                  // a wheel with one tooth more: (z+1)/z as driver, z/(z+1) as driven
	ToothLess                  // a wheel with one tooth less: (z-1)/z as driver, z/(z-1) as driven
)

// StepName is a cause that agrees with a step.
type StepName struct {
	Cause  StepCause
	Teeth  int32 // of the wheel before the change; 0 for other causes
	Driven bool  // the wheel is the driven one
	Factor float64
	// Off is how far the step is from Factor, in standard uncertainties.
	Off float64
}

// NameStep returns the causes whose factor agrees with the factor of a step within k
// standard uncertainties, the nearest first, given the numbers of teeth (2 or more)
// of the wheels before the sensor. A step that agrees with 1 has no name. An uncertain step may agree
// with several: more readings tell them apart.
//
// Source: common practice; kinematics of gears and chains.
// Errors: *statistics.DomainError.
// Formula: step-name/1
func NameStep(factor statistics.Value, teeth []int32, k float64) ([]StepName, error) {
	switch {
	case !(factor.Value > 0 && factor.Value <= greatestValue):
		return nil, &statistics.DomainError{Name: "factor", Index: -1, Value: factor.Value, Want: "it must be above 0"}
	case !(factor.U > 0 && factor.U <= greatestValue):
		return nil, &statistics.DomainError{Name: "factorU", Index: -1, Value: factor.U, Want: "it must be above 0"}
	case !(k > 0 && k <= 10):
		return nil, &statistics.DomainError{Name: "k", Index: -1, Value: k, Want: "it must be above 0 and at most 10"}
	}
	for i, z := range teeth {
		if z < 2 {
			return nil, &statistics.DomainError{Name: "teeth", Index: i, Value: float64(z), Want: "a wheel has 2 teeth or more"}
		}
	}
	if math.Abs(factor.Value-1) <= float64(k*factor.U) {
		return nil, nil
	}
	names := []StepName{{Cause: Doubled, Factor: 2}, {Cause: Halved, Factor: 0.5}}
	for _, t := range teeth {
		z := float64(t)
		names = append(names,
			StepName{Cause: ToothMore, Teeth: t, Factor: (z + 1) / z},
			StepName{Cause: ToothMore, Teeth: t, Driven: true, Factor: z / (z + 1)},
			StepName{Cause: ToothLess, Teeth: t, Factor: (z - 1) / z},
			StepName{Cause: ToothLess, Teeth: t, Driven: true, Factor: z / (z - 1)})
	}
	kept := names[:0]
	for _, n := range names {
		if n.Off = math.Abs(factor.Value-n.Factor) / factor.U; n.Off <= k {
			kept = append(kept, n)
		}
	}
	slices.SortStableFunc(kept, func(a, b StepName) int { return cmp.Compare(a.Off, b.Off) })
	return kept, nil
}
