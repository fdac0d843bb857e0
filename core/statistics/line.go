package statistics

import (
	"cmp"
	"math"
	"slices"
)

// Line is a straight line y = Intercept + Slope x fitted by least squares, with
// its uncertainties. Units: Slope is in y per x, the intercept and the residuals in
// y; a line of weighted points counts residuals in y times the root of the weight.
type Line struct {
	Count     int
	Dof       int // degrees of freedom of the residuals: Count less the parameters
	Slope     float64
	Intercept float64 // 0 for a line through the origin
	// Standard uncertainties of both, and their covariance (y²/x).
	SlopeU     float64
	InterceptU float64
	Covariance float64
	// SSE is the sum of the squared residuals, and for stated uncertainties the
	// observed chi-square. ResidualSD is sqrt(SSE/Dof); it is 0 without degrees of freedom.
	SSE        float64
	ResidualSD float64
	// Stated says that the uncertainties rest on those stated for the points and not on
	// the residuals. Coverage factors are then those of the normal distribution.
	Stated bool
	// XMean and YMean are the weighted means, about which an unrestricted line turns;
	// both are 0 for a line through the origin.
	XMean, YMean float64

	origin  bool
	total   float64 // sum of squares of y that the line is to explain
	centreU float64 // standard uncertainty of the line at XMean
	unitU   float64 // standard uncertainty of a reading of weight 1
}

// FitLine fits a straight line to at least three points of equal, unknown
// uncertainty in y, which is estimated from the residuals.
//
//	slope = sum (x - xm)(y - ym) / sum (x - xm)²        intercept = ym - slope xm
//	u(slope) = s / sqrt(sum (x - xm)²)    u(intercept)² = s² (1/n + xm² / sum (x - xm)²)
//	cov = -xm u(slope)²                   s² = SSE / (n - 2)
//
// Source: GUM (JCGM 100:2008) H.3; ISO/TS 28037:2010 clause 6 and annex E.
// Errors: *TooFewError, *LengthError, *DomainError, *NoSpreadError.
// Formula: line/1
func FitLine(x, y []float64) (Line, error) { return fitLine(x, y, nil, false) }

// FitLineWeighted fits a straight line to at least three points whose variances in y
// are in the inverse ratio of the weights w > 0. ResidualSD is then that of a point
// of weight 1. Errors and formulas as FitLine.
// Formula: line/1
func FitLineWeighted(x, y, w []float64) (Line, error) {
	if err := firstError(checkLength("x", x, "w", w), checkPositive("w", w)); err != nil {
		return Line{}, err
	}
	return fitLine(x, y, w, false)
}

// FitLineStated fits a straight line to at least two points with stated standard
// uncertainties u > 0 of y (in the unit of y), on which those of the line rest.
// ChiSquare then tells whether the residuals agree with them. Errors and formulas
// as FitLine with weights 1/u² and s = 1.
//
// Source: ISO/TS 28037:2010 clause 6.
// Formula: line/1
func FitLineStated(x, y, u []float64) (Line, error) {
	w, err := weightsOf(x, u)
	if err != nil {
		return Line{}, err
	}
	return fitLine(x, y, w, true)
}

// weightsOf returns 1/u².
func weightsOf(x, u []float64) ([]float64, error) {
	if err := firstError(checkLength("x", x, "u", u), checkPositive("u", u)); err != nil {
		return nil, err
	}
	w := make([]float64, len(u))
	for i, v := range u {
		w[i] = 1 / v / v
	}
	return w, nil
}

// weight returns the i-th of weights that are all 1 where there is no list.
func weight(w []float64, i int) float64 {
	if w == nil {
		return 1
	}
	return w[i]
}

func fitLine(x, y, w []float64, stated bool) (Line, error) {
	need := 3
	if stated {
		need = 2
	}
	if err := checkPoints("a straight line", x, y, need); err != nil {
		return Line{}, err
	}
	var sw, sx, sy Sum
	for i := range x {
		k := weight(w, i)
		sw.Add(k)
		sx.Add(float64(k * x[i]))
		sy.Add(float64(k * y[i]))
	}
	weights := sw.Value()
	l := Line{Count: len(x), Dof: len(x) - 2, Stated: stated}
	l.XMean, l.YMean = sx.Value()/weights, sy.Value()/weights

	// What the rounded means leave is taken off, so that their error is of no account.
	var sxx, sxy, syy, restX, restY Sum
	for i := range x {
		k, dx, dy := weight(w, i), x[i]-l.XMean, y[i]-l.YMean
		sxx.Add(float64(k * float64(dx*dx)))
		sxy.Add(float64(k * float64(dx*dy)))
		syy.Add(float64(k * float64(dy*dy)))
		restX.Add(float64(k * dx))
		restY.Add(float64(k * dy))
	}
	rx, ry := restX.Value(), restY.Value()
	spread := sxx.Value() - float64(rx*rx)/weights
	if !(spread > 0) || allEqual(x) {
		return Line{}, &NoSpreadError{Name: "x"}
	}
	l.total = max(syy.Value()-float64(ry*ry)/weights, 0)
	l.Slope = (sxy.Value() - float64(rx*ry)/weights) / spread
	l.YMean += (ry - float64(l.Slope*rx)) / weights
	l.Intercept = l.YMean - float64(l.Slope*l.XMean)

	var sse Sum
	for i := range x {
		r := y[i] - l.YMean - float64(l.Slope*(x[i]-l.XMean))
		sse.Add(float64(weight(w, i) * float64(r*r)))
	}
	l.setResiduals(sse.Value())
	l.setUncertainties(weights, spread)
	return l, nil
}

// setUncertainties fills in those of a line with an intercept, from the sums of the
// weights and of w (x - XMean)².
func (l *Line) setUncertainties(weights, spread float64) {
	l.SlopeU = l.unitU / math.Sqrt(spread)
	l.centreU = l.unitU / math.Sqrt(weights)
	l.Covariance = -float64(l.XMean * float64(l.SlopeU*l.SlopeU))
	l.InterceptU = math.Sqrt(float64(l.centreU*l.centreU) - float64(l.XMean*l.Covariance))
}

// setResiduals fills in what follows from the sum of squared residuals.
func (l *Line) setResiduals(sse float64) {
	l.SSE = sse
	if l.Dof > 0 {
		l.ResidualSD = math.Sqrt(sse / float64(l.Dof))
	}
	l.unitU = l.ResidualSD
	if l.Stated {
		l.unitU = 1
	}
}

// FitOrigin fits a straight line through the origin to at least two points of
// equal, unknown uncertainty in y, which is estimated from the residuals.
//
//	slope = sum x y / sum x²        u(slope) = s / sqrt(sum x²)        s² = SSE / (n - 1)
//
// Errors: *TooFewError, *LengthError, *DomainError, *NoSpreadError where every x is 0.
// Formula: line-through-origin/1
func FitOrigin(x, y []float64) (Line, error) { return fitOrigin(x, y, nil, false) }

// FitOriginWeighted is FitOrigin for points whose variances in y are in the inverse
// ratio of the weights w > 0.
// Formula: line-through-origin/1
func FitOriginWeighted(x, y, w []float64) (Line, error) {
	if err := firstError(checkLength("x", x, "w", w), checkPositive("w", w)); err != nil {
		return Line{}, err
	}
	return fitOrigin(x, y, w, false)
}

// FitOriginStated is FitOrigin for at least one point, with stated standard
// uncertainties u > 0 of y, on which that of the slope rests.
// Formula: line-through-origin/1
func FitOriginStated(x, y, u []float64) (Line, error) {
	w, err := weightsOf(x, u)
	if err != nil {
		return Line{}, err
	}
	return fitOrigin(x, y, w, true)
}

func fitOrigin(x, y, w []float64, stated bool) (Line, error) {
	need := 2
	if stated {
		need = 1
	}
	if err := checkPoints("a line through the origin", x, y, need); err != nil {
		return Line{}, err
	}
	l := Line{Count: len(x), Dof: len(x) - 1, Stated: stated, origin: true}
	var sxx, sxy, syy Sum
	for i := range x {
		k := weight(w, i)
		sxx.Add(float64(k * float64(x[i]*x[i])))
		sxy.Add(float64(k * float64(x[i]*y[i])))
		syy.Add(float64(k * float64(y[i]*y[i])))
	}
	if !(sxx.Value() > 0) {
		return Line{}, &NoSpreadError{Name: "x"}
	}
	l.total = syy.Value()
	l.Slope = sxy.Value() / sxx.Value()
	var sse Sum
	for i := range x {
		r := y[i] - float64(l.Slope*x[i])
		sse.Add(float64(weight(w, i) * float64(r*r)))
	}
	l.setResiduals(sse.Value())
	l.SlopeU = l.unitU / math.Sqrt(sxx.Value())
	return l, nil
}

func checkPoints(method string, x, y []float64, need int) error {
	if err := checkLength("x", x, "y", y); err != nil {
		return err
	}
	if len(x) < need {
		return &TooFewError{Method: method, Have: len(x), Need: need, Of: "points"}
	}
	return firstError(checkValues("x", x), checkValues("y", y))
}

func allEqual(x []float64) bool {
	for _, v := range x {
		if v != x[0] {
			return false
		}
	}
	return true
}

// parameters returns how many parameters were fitted.
func (l Line) parameters() int {
	if l.origin {
		return 1
	}
	return 2
}

// dof returns the degrees of freedom of the line's uncertainties.
func (l Line) dof() float64 {
	if l.Stated {
		return math.Inf(1)
	}
	return float64(l.Dof)
}

// At returns the line's y at x.
func (l Line) At(x float64) float64 { return l.YMean + float64(l.Slope*(x-l.XMean)) }

// AtU returns the standard uncertainty of the line's y at x (that of a mean of
// many readings there):
//
//	u² = s²/n + (x - xm)² u(slope)²
//
// Source: GUM H.3.4 with the covariance written out about the mean.
func (l Line) AtU(x float64) float64 {
	return rootSum(l.centreU, (x-l.XMean)*l.SlopeU)
}

// ReadingU returns the standard uncertainty of one further reading of weight 1 at
// x about the line: AtU and the scatter of a reading together. For stated
// uncertainties the reading's own is needed: readingU in the unit of y; otherwise
// it is the residual standard deviation and readingU is not used.
func (l Line) ReadingU(x, readingU float64) float64 {
	own := l.unitU
	if l.Stated {
		own = readingU
	}
	return rootSum(own, l.AtU(x))
}

// MeanInterval returns the interval that holds the true line at x with a
// confidence in (0, 1). Errors: *DomainError, *TooFewError without degrees of freedom.
func (l Line) MeanInterval(x, confidence float64) (Interval, error) {
	return around(l.At(x), l.AtU(x), confidence, l.dof())
}

// PredictionInterval returns the interval that holds one further reading at x
// with a confidence in (0, 1); readingU as in ReadingU. Errors: *DomainError.
func (l Line) PredictionInterval(x, readingU, confidence float64) (Interval, error) {
	return around(l.At(x), l.ReadingU(x, readingU), confidence, l.dof())
}

// SlopeInterval returns the interval that holds the true slope with a confidence
// in (0, 1). Errors: *DomainError.
func (l Line) SlopeInterval(confidence float64) (Interval, error) {
	return around(l.Slope, l.SlopeU, confidence, l.dof())
}

// InterceptInterval returns the interval that holds the true intercept with a
// confidence in (0, 1). Errors: *DomainError.
func (l Line) InterceptInterval(confidence float64) (Interval, error) {
	return around(l.Intercept, l.InterceptU, confidence, l.dof())
}

// SlopeP returns the two-sided probability of a slope at least as far from zero
// if the true slope were zero. It exists where the slope has an uncertainty above 0.
func (l Line) SlopeP() (float64, bool) { return l.twoSided(l.Slope, l.SlopeU) }

// InterceptP returns the same of the intercept: a test whether the line passes
// through the origin. It exists for a line with an intercept of uncertainty above 0.
func (l Line) InterceptP() (float64, bool) { return l.twoSided(l.Intercept, l.InterceptU) }

func (l Line) twoSided(v, u float64) (float64, bool) {
	if !(u > 0) || !(l.dof() > 0) {
		return 0, false
	}
	return 2 * StudentTail(math.Abs(v/u), l.dof()), true
}

// R2 returns the share of the variation of y that the line explains, 0 to 1; for a
// line through the origin it is about zero instead of the mean. It exists where y varies.
func (l Line) R2() (float64, bool) {
	if !(l.total > 0) {
		return 0, false
	}
	return 1 - l.SSE/l.total, true
}

// F returns the ratio of the variance that the line explains to the residual
// variance, with 1 and Dof degrees of freedom, and its upper tail probability. It exists where
// the residuals are not all zero.
func (l Line) F() (f, p float64, ok bool) {
	if !(l.SSE > 0) || l.Dof < 1 {
		return 0, 0, false
	}
	f = max(l.total-l.SSE, 0) / (l.SSE / float64(l.Dof))
	return f, FTail(f, 1, float64(l.Dof)), true
}

// ChiSquare returns the upper tail probability of the observed chi-square (SSE)
// for stated uncertainties: a small one says that the points scatter more than
// their uncertainties allow, or do not lie on a line. It exists with stated
// uncertainties and degrees of freedom.
//
// Source: ISO/TS 28037:2010, 6.3 step 10.
func (l Line) ChiSquare() (p float64, ok bool) {
	if !l.Stated || l.Dof < 1 {
		return 0, false
	}
	return ChiSquareTail(l.SSE, float64(l.Dof)), true
}

// Value is a value with its standard uncertainty.
type Value struct{ Value, U float64 }

// Forward returns y for an x with standard uncertainty ux >= 0:
//
//	u(y)² = AtU(x)² + slope² ux²
//
// Source: ISO/TS 28037:2010, clause 11.
// Formula: line-forward/1
func (l Line) Forward(x, ux float64) Value {
	return Value{Value: l.At(x), U: rootSum(l.AtU(x), float64(l.Slope*ux))}
}

// Inverse returns x for a y with standard uncertainty uy >= 0, to first order:
//
//	x = xm + (y - ym)/slope        u(x)² = (uy² + AtU(x)²) / slope²
//
// Where the slope is not many uncertainties away from zero, InverseSet is right and
// this is not. Source: ISO/TS 28037:2010, clause 11.
// Errors: *DomainError for a slope of zero.
// Formula: line-inverse/1
func (l Line) Inverse(y, uy float64) (Value, error) {
	if l.Slope == 0 {
		return Value{}, &DomainError{Name: "slope", Index: -1, Value: 0, Want: "a line of slope zero has no x for a y"}
	}
	x := l.XMean + (y-l.At(l.XMean))/l.Slope
	return Value{Value: x, U: rootSum(uy, l.AtU(x)) / math.Abs(l.Slope)}, nil
}

// SetKind says which form a confidence set of an inverse has.
type SetKind uint8

// Kinds of sets.
const (
	Between    SetKind = iota // from Low to High
	Outside                   // up to Low and from High on
	Everywhere                // every x: the slope may be zero, and nothing speaks against any x
)

// InverseSet is a set of x.
type InverseSet struct {
	Kind      SetKind
	Low, High float64 // absent (0) for Everywhere
}

// InverseSet returns all x at which the line may have the value y, at a
// confidence in (0, 1): those with |At(x) - y| <= k sqrt(AtU(x)² + uy²). It is not
// an interval where the slope may be zero.
//
// Source: E. C. Fieller, Some problems in interval estimation, JRSS B 16, 1954.
// Errors: *DomainError.
// Formula: line-inverse-set/1
func (l Line) InverseSet(y, uy, confidence float64) (InverseSet, error) {
	k, err := CoverageFactor(confidence, l.dof())
	if err != nil {
		return InverseSet{}, err
	}
	// With d = x - xm and e = At(xm) - y it is a d² + 2 b d + c <= 0.
	e := l.At(l.XMean) - y
	slopeK := float64(k * l.SlopeU)
	free := float64(float64(k*k) * (float64(l.centreU*l.centreU) + float64(uy*uy)))
	a := float64(l.Slope*l.Slope) - float64(slopeK*slopeK)
	b := float64(e * l.Slope)
	c := float64(e*e) - free
	root := float64(a*free) + float64(float64(slopeK*e)*float64(slopeK*e)) // b² - a c
	if a == 0 || root < 0 {
		return InverseSet{Kind: Everywhere}, nil
	}
	q := -b - math.Copysign(math.Sqrt(root), b)
	first, second := q/a, q/a
	if q != 0 {
		second = c / q
	}
	set := InverseSet{Kind: Between, Low: l.XMean + min(first, second), High: l.XMean + max(first, second)}
	if a < 0 {
		set.Kind = Outside
	}
	return set, nil
}

// LackOfFit compares how far the means of repeated readings lie from a line with how
// far the readings lie from their means.
type LackOfFit struct {
	LackSS, PureSS   float64 // sums of squares, y²
	LackDof, PureDof int
	F                float64 // (LackSS/LackDof) / (PureSS/PureDof)
	P                float64 // upper tail probability of F: small where the line does not fit
}

// LackOfFit tests the line l, fitted to these points with equal weights, where some
// of the x repeat exactly.
//
// Source: N. R. Draper and H. Smith, Applied Regression Analysis, section 2.1 (from memory).
// Errors: *TooFewError without repeats or with too few different x, *NoSpreadError where
// repeated readings agree exactly.
// Formula: lack-of-fit/1
func (l Line) LackOfFit(x, y []float64) (LackOfFit, error) {
	if err := checkPoints("a test of lack of fit", x, y, 3); err != nil {
		return LackOfFit{}, err
	}
	order := orderOf(x)
	groups := 0
	var pure, lack Sum
	for from := 0; from < len(order); groups++ {
		to := from
		var total Sum
		for ; to < len(order) && x[order[to]] == x[order[from]]; to++ {
			total.Add(y[order[to]])
		}
		mean := total.Value() / float64(to-from)
		for _, i := range order[from:to] {
			pure.Add(float64((y[i] - mean) * (y[i] - mean)))
		}
		off := mean - l.At(x[order[from]])
		lack.Add(float64(float64(to-from) * float64(off*off)))
		from = to
	}
	f := LackOfFit{LackSS: lack.Value(), PureSS: pure.Value(), LackDof: groups - l.parameters(), PureDof: len(x) - groups}
	switch {
	case f.PureDof < 1:
		return LackOfFit{}, &TooFewError{Method: "a test of lack of fit", Have: 0, Need: 1, Of: "repeated x"}
	case f.LackDof < 1:
		return LackOfFit{}, &TooFewError{Method: "a test of lack of fit", Have: groups, Need: l.parameters() + 1, Of: "different x"}
	case !(f.PureSS > 0):
		return LackOfFit{}, &NoSpreadError{Name: "y at repeated x"}
	}
	f.F = f.LackSS / float64(f.LackDof) / (f.PureSS / float64(f.PureDof))
	f.P = FTail(f.F, float64(f.LackDof), float64(f.PureDof))
	return f, nil
}

// rootSum returns sqrt(a² + b²). (math.Hypot differs between processors.)
func rootSum(a, b float64) float64 { return math.Sqrt(float64(a*a) + float64(b*b)) }

// orderOf returns the indices of x in ascending order of value, equal ones in their
// own order.
func orderOf(x []float64) []int {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return cmp.Or(cmp.Compare(x[i], x[j]), i-j) })
	return order
}
