package drift

import (
	"math"

	"linepace.example/core/elementary"
	"linepace.example/core/statistics"
)

// RunLength is the mean number of readings until a chart alarms.
type RunLength struct {
	Readings float64
	// Beyond says that it is more than what can be told, 1e10, which Readings then is.
	Beyond bool
}

// Condition is how readings are, compared with what a chart takes them for.
// Readings are taken as independent and normal.
type Condition struct {
	Shift      float64 // of their mean from the target, in the chart's standard deviations
	SigmaRatio float64 // their standard deviation over the chart's, above 0
}

const mostReadings = 1e10

// Check returns what is wrong with the condition, or nil. A ratio below 0.1 or
// above 10, or a shift of more than 100, is no chart's concern.
func (c Condition) Check() error {
	switch {
	case !(math.Abs(c.Shift) <= 100):
		return &statistics.DomainError{Name: "shift", Index: -1, Value: c.Shift, Want: "it must be -100 to 100 standard deviations"}
	case !(c.SigmaRatio >= 0.1 && c.SigmaRatio <= 10):
		return &statistics.DomainError{Name: "sigmaRatio", Index: -1, Value: c.SigmaRatio, Want: "it must be 0.1 to 10"}
	}
	return nil
}

// RunLength returns the mean run length of a chart whose sums begin at the head
// start. With L(s) the mean run length of the upper sum from s, in standard
// deviations of the readings,
//
//	L(s) = 1 + L(0) Phi(k - s - m) + integral from 0 to h of L(x) phi(x + k - s - m) dx,
//
// likewise with -m for the lower sum, and with a head start u
//
//	ARL = (L(u) M(0) + L(0) M(u) - L(0) M(0)) / (L(0) + M(0)).
//
// Source: E. S. Page, Biometrika 41, 1954 (integral equation); J. M. Lucas and R. B.
// Crosier, Technometrics 24, 1982 (two sides). The integral is a Gauss-Legendre sum.
// Errors: *statistics.DomainError for bad parameters, and where H is above 96
// standard deviations of the readings.
// Formula: cusum-run-length/1
func (c CUSUM) RunLength(at Condition) (RunLength, error) {
	if err := firstError(c.Check(), at.Check()); err != nil {
		return RunLength{}, err
	}
	r := at.SigmaRatio
	if err := checkPanels("h", c.H, c.H/r); err != nil {
		return RunLength{}, err
	}
	k, h, u, m := c.K/r, c.H/r, c.HeadStart/r, at.Shift/r
	up, upAhead := oneSided(k, h, u, m)
	down, downAhead := up, upAhead
	if m != 0 {
		down, downAhead = oneSided(k, h, u, -m)
	}
	// The formula divided by L(0) M(0): one of them may be beyond float64.
	return runLength((upAhead/up + downAhead/down - 1) / (1/up + 1/down)), nil
}

// oneSided returns the mean run length of an upper sum from zero and from u. One
// that cannot be told is the greatest float64.
func oneSided(k, h, u, m float64) (fromZero, fromHead float64) {
	nodes, weights := quadrature(0, h, 1)
	n := len(nodes)
	// Unknown 0 is L(0), unknown i+1 is L(nodes[i]).
	row := func(s float64, to []float64) {
		d := k - s - m
		to[0] = elementary.NormalTail(-d)
		for j, x := range nodes {
			to[j+1] = float64(weights[j] * density(x+d))
		}
	}
	system := make([][]float64, n+1)
	for i := range system {
		s := 0.0
		if i > 0 {
			s = nodes[i-1]
		}
		system[i] = make([]float64, n+2)
		row(s, system[i])
		for j := range n + 1 {
			system[i][j] = -system[i][j]
		}
		system[i][i]++
		system[i][n+1] = 1
	}
	l := solve(system)
	if l == nil {
		return math.MaxFloat64, math.MaxFloat64
	}
	last := make([]float64, n+1)
	row(u, last)
	return l[0], onceMore(last, l)
}

// RunLength returns the mean run length of a chart with steady limits whose
// average begins at the target. With c = Width sqrt(Lambda/(2 - Lambda)), all in standard deviations
// of the readings,
//
//	L(z) = 1 + 1/Lambda integral from -c to c of L(x) phi((x - (1 - Lambda) z)/Lambda - m) dx.
//
// Limits that begin narrow, as the recursion of the variance gives them, alarm
// somewhat sooner than that.
//
// Source: S. V. Crowder, Technometrics 29, 1987. The integral is a Gauss-Legendre sum.
// Errors: *statistics.DomainError for bad parameters, and where Lambda is so small
// (below 0.01 or thereabouts) that the sum would be too long.
// Formula: ewma-run-length/1
func (e EWMA) RunLength(at Condition) (RunLength, error) {
	if err := firstError(e.Check(), at.Check()); err != nil {
		return RunLength{}, err
	}
	limit := e.Width * math.Sqrt(e.Lambda/(2-e.Lambda)) / at.SigmaRatio
	if err := checkPanels("lambda", e.Lambda, 2*limit/e.Lambda); err != nil {
		return RunLength{}, err
	}
	m := at.Shift / at.SigmaRatio
	nodes, weights := quadrature(-limit, limit, e.Lambda)
	row := func(z float64, to []float64) {
		d := float64((1 - e.Lambda) * z)
		for j, x := range nodes {
			to[j] = float64(weights[j] / e.Lambda * density((x-d)/e.Lambda-m))
		}
	}
	n := len(nodes)
	system := make([][]float64, n)
	for i := range system {
		system[i] = make([]float64, n+1)
		row(nodes[i], system[i])
		for j := range n {
			system[i][j] = -system[i][j]
		}
		system[i][i]++
		system[i][n] = 1
	}
	l := solve(system)
	if l == nil {
		return runLength(math.MaxFloat64), nil
	}
	last := make([]float64, n)
	row(0, last)
	return runLength(onceMore(last, l)), nil
}

// onceMore returns 1 + row l.
func onceMore(row, l []float64) float64 {
	total := 1.0
	for j, v := range row {
		total += float64(v * l[j])
	}
	return total
}

func runLength(readings float64) RunLength {
	if !(readings >= 1 && readings <= mostReadings) {
		return RunLength{Readings: mostReadings, Beyond: true}
	}
	return RunLength{Readings: readings}
}

// density is that of the standard normal distribution.
func density(z float64) float64 {
	const invRootTwoPi = 0.39894228040143267793994605993438187
	return float64(invRootTwoPi * elementary.Exp(-float64(z*z)/2))
}

// legendre holds the positive nodes of Gauss-Legendre quadrature with 8 nodes on
// [-1, 1], and their weights.
var legendre = [4][2]float64{
	{0.183434642495649804939476, 0.362683783378361982965150},
	{0.525532409916328985817739, 0.313706645877887287337962},
	{0.796666477413626739591553, 0.222381034453374470544355},
	{0.960289856497536231683560, 0.101228536290376259152531},
}

// Panels of eight nodes are at most panelWidth standard deviations wide. The system of
// maxPanels takes about 50 ms to solve.
const (
	panelWidth = 1.5
	maxPanels  = 64
)

// checkPanels refuses an argument that makes the range so many standard deviations wide
// that it would take too many panels.
func checkPanels(name string, value, width float64) error {
	if width <= panelWidth*maxPanels {
		return nil
	}
	return &statistics.DomainError{Name: name, Index: -1, Value: value, Want: "with limits so far apart, counted in standard deviations of the readings, no run length can be told"}
}

// quadrature returns nodes and weights on [low, high] for integrands as smooth as
// a normal density of standard deviation sd, with which a sum is within 1e-12 of
// its integral.
func quadrature(low, high, sd float64) (nodes, weights []float64) {
	panels := math.Ceil((high - low) / sd / panelWidth)
	half := (high - low) / panels / 2
	for p := 0.0; p < panels; p++ {
		middle := low + float64((2*p+1)*half)
		for _, sign := range [2]float64{-1, 1} {
			for _, l := range legendre {
				nodes = append(nodes, middle+float64(sign*half*l[0]))
				weights = append(weights, float64(half*l[1]))
			}
		}
	}
	return nodes, weights
}

// solve returns the solution of a linear system, each row with its right side
// last, by elimination without pivoting, which is stable here: each row is diagonally
// dominant, since an alarm may come at the next reading from everywhere. It is
// nil where that chance is so small that it is lost to rounding. The system is used up.
func solve(system [][]float64) []float64 {
	n := len(system)
	for p := range n {
		pivot := system[p]
		if !(pivot[p] > 0) {
			return nil
		}
		for i := p + 1; i < n; i++ {
			row := system[i]
			f := row[p] / pivot[p]
			for j := p + 1; j <= n; j++ {
				row[j] -= float64(f * pivot[j])
			}
		}
	}
	x := make([]float64, n)
	for p := n - 1; p >= 0; p-- {
		total := system[p][n]
		for j := p + 1; j < n; j++ {
			total -= float64(system[p][j] * x[j])
		}
		x[p] = total / system[p][p]
	}
	return x
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
