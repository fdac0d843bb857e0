package statistics_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"linepace.example/core/statistics"
)

// Closed forms in package math: Student's t with 1, 2 and 4 degrees of freedom.
func TestStudentClosedForms(t *testing.T) {
	for _, x := range []float64{1e-6, 0.1, 0.5, 1, 2, 5, 30, 1e3, 1e8} {
		close(t, math.Atan(1/x)/math.Pi, statistics.StudentTail(x, 1), 1e-14)
		root := math.Sqrt(2 + x*x)
		close(t, 1/(root*(root+x)), statistics.StudentTail(x, 2), 1e-14)
		if x < 10 {
			s := x / math.Sqrt(4+x*x)
			close(t, 0.5-0.75*(s-s*s*s/3), statistics.StudentTail(x, 4), 1e-11)
		}
		close(t, 1-statistics.StudentTail(x, 3), statistics.StudentTail(-x, 3), 1e-15)
	}
}

// Closed forms: chi-square with an even number of degrees of freedom is a Poisson
// sum, F with 2 in the numerator a power.
func TestTailClosedForms(t *testing.T) {
	for _, half := range []int{1, 2, 5, 20, 100} {
		for _, x := range []float64{0.01, 1, 10, 50, 200, 600} {
			term := math.Exp(-x / 2)
			sum := 0.0
			for k := range half {
				sum += term
				term *= x / 2 / float64(k+1)
			}
			close(t, sum, statistics.ChiSquareTail(x, float64(2*half)), 1e-12)
		}
	}
	for _, d := range []float64{0.5, 1, 3, 10, 1000, 1e6} {
		for _, f := range []float64{0.01, 0.5, 1, 3, 20} {
			close(t, math.Exp(-d/2*math.Log1p(2*f/d)), statistics.FTail(f, 2, d), 1e-12)
		}
	}
	close(t, statistics.ChiSquareTail(7, 3), statistics.FTail(7.0/3, 3, math.Inf(1)), 1e-15)
	close(t, 0.05, 1-statistics.NormalCDF(1.6448536269514722), 1e-14)
}

// t² has the F distribution, and 1/F the one with swapped degrees of freedom.
func TestStudentAgreesWithF(t *testing.T) {
	for _, dof := range []float64{0.3, 1, 2.5, 7, 33.3, 1e3, 1e5, 9.9e6} {
		for _, x := range []float64{0.01, 0.7, 1, 2.2, 6, 40} {
			close(t, statistics.FTail(x*x, 1, dof), 2*statistics.StudentTail(x, dof), 1e-12)
			if tail := statistics.StudentTail(x, dof); tail > 1e-4 {
				close(t, 1-statistics.FTail(1/(x*x), dof, 1), 2*tail, 1e-15/tail+1e-12)
			}
		}
	}
}

// The approximation for many degrees of freedom joins the continued fraction.
func TestStudentOfManyDegreesOfFreedom(t *testing.T) {
	for _, x := range []float64{0.01, 0.5, 1, 2, 4, 8, 15} {
		below, above := statistics.StudentTail(x, 1e7*(1-1e-12)), statistics.StudentTail(x, 1e7)
		close(t, below, above, 1e-13*(10+x*x))
		close(t, statistics.NormalTail(x), statistics.StudentTail(x, 1e300), 1e-15)
		close(t, statistics.NormalTail(x), statistics.StudentTail(x, math.Inf(1)), 1e-15)
	}
}

// gonum's distributions, which have other methods.
func TestDistributionsAgainstGonum(t *testing.T) {
	for _, dof := range []float64{0.7, 1, 2, 4.4, 9, 30, 200, 1e4, 1e6} {
		other := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}
		for _, x := range []float64{-5, -1, 0, 0.3, 1.9, 4} {
			close(t, other.Survival(x), statistics.StudentTail(x, dof), 1e-9)
		}
		chi := distuv.ChiSquared{K: dof}
		f := distuv.F{D1: dof, D2: 7}
		for _, x := range []float64{0.05, 0.5, 0.9, 1, 1.2, 2} {
			close(t, chi.Survival(x*dof), statistics.ChiSquareTail(x*dof, dof), 1e-9)
			close(t, 1-f.CDF(x), statistics.FTail(x, dof, 7), 1e-8)
		}
		for _, p := range []float64{0.001, 0.025, 0.3, 0.5, 0.8, 0.995} {
			close(t, other.Quantile(p), statistics.StudentQuantile(p, dof), 1e-7)
			close(t, chi.Quantile(p), statistics.ChiSquareQuantile(p, dof), 1e-7)
			close(t, distuv.UnitNormal.Quantile(p), statistics.NormalQuantile(p), 1e-9)
		}
	}
}

// A quantile's tail is the probability that was asked for.
func TestQuantilesInvert(t *testing.T) {
	for _, p := range []float64{1e-300, 1e-12, 1e-3, 0.025, 0.2, 0.499, 0.5} {
		z := statistics.NormalQuantile(p)
		close(t, p, statistics.NormalCDF(z), 1e-13*(1+z*z))
		for _, dof := range []float64{0.2, 1, 2.5, 10, 300, 1e6, 1e9, 1e15, math.Inf(1)} {
			q := statistics.StudentQuantile(p, dof)
			if math.IsInf(q, 0) {
				require.True(t, dof < 2 && p < 1e-11, "%v %v", p, dof)
				continue
			}
			close(t, p, statistics.StudentTail(-q, dof), 2e-12*(1+math.Min(dof, q*q)))
		}
		for _, dof := range []float64{1, 2.5, 10, 300, 1e6} {
			x := statistics.ChiSquareQuantile(1-p, dof)
			if 1-p < 1 {
				close(t, 1-(1-p), statistics.ChiSquareTail(x, dof), 1e-10)
			}
		}
	}
	require.Equal(t, 0.0, statistics.NormalQuantile(0.5))
	require.Equal(t, 0.0, statistics.StudentQuantile(0.5, 4))
}

func TestDistributionDomains(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for i, got := range []float64{
		statistics.NormalQuantile(-0.1), statistics.NormalQuantile(1.1), statistics.NormalQuantile(nan),
		statistics.StudentTail(nan, 3), statistics.StudentTail(1, 0), statistics.StudentTail(1, -1), statistics.StudentTail(1, nan),
		statistics.StudentQuantile(0.3, 0), statistics.StudentQuantile(2, 3), statistics.StudentQuantile(nan, 3),
		statistics.ChiSquareTail(-1, 3), statistics.ChiSquareTail(1, 0), statistics.ChiSquareTail(1, inf), statistics.ChiSquareTail(nan, 1),
		statistics.ChiSquareQuantile(-1, 3), statistics.ChiSquareQuantile(0.1, 0), statistics.ChiSquareQuantile(1.5, 2),
		statistics.FTail(-1, 2, 3), statistics.FTail(1, 0, 3), statistics.FTail(1, 2, 0), statistics.FTail(1, inf, 3), statistics.FTail(nan, 2, 3), statistics.FTail(1, 2, 1e9), statistics.ChiSquareTail(1, 1e9),
	} {
		require.True(t, math.IsNaN(got), "%d: %v", i, got)
	}
	for _, c := range []struct{ want, got float64 }{
		{-inf, statistics.NormalQuantile(0)}, {inf, statistics.NormalQuantile(1)},
		{-inf, statistics.StudentQuantile(0, 3)}, {inf, statistics.StudentQuantile(1, 3)},
		{0, statistics.StudentTail(inf, 3)}, {1, statistics.StudentTail(-inf, 3)}, {0.5, statistics.StudentTail(0, 3)},
		{0, statistics.ChiSquareQuantile(0, 3)}, {inf, statistics.ChiSquareQuantile(1, 3)},
		{1, statistics.ChiSquareTail(0, 3)}, {0, statistics.ChiSquareTail(inf, 3)},
		{1, statistics.FTail(0, 2, 3)}, {0, statistics.FTail(inf, 2, 3)},
	} {
		require.Equal(t, c.want, c.got)
	}
}

func TestTailsAreMonotone(t *testing.T) {
	for name, f := range map[string]func(float64) float64{
		"t 3.3":     func(x float64) float64 { return statistics.StudentTail(x, 3.3) },
		"t 1e7":     func(x float64) float64 { return statistics.StudentTail(x, 1e7) },
		"chi 9":     func(x float64) float64 { return statistics.ChiSquareTail(x*10, 9) },
		"F 3.3 1e5": func(x float64) float64 { return statistics.FTail(x, 3.3, 1e5) },
	} {
		last := f(0)
		for x := 0.0; x < 8; x += 0.001 {
			next := f(x)
			require.LessOrEqual(t, next, last*(1+1e-12), fmt.Sprint(name, " ", x))
			last = next
		}
	}
}

var sink float64

func BenchmarkCoverageFactor(b *testing.B) {
	for range b.N {
		k, _ := statistics.CoverageFactor(0.95, 12.5)
		sink += k
	}
}

// Extreme arguments give a probability, and soon.
func TestExtremeArguments(t *testing.T) {
	some := []float64{0, 1e-308, 1e-30, 1e-3, 0.5, 1, 3, 1e4, 1e8, 1e30, 1e308, math.Inf(1)}
	for _, a := range some {
		for _, b := range some {
			if b < 1e-3 {
				require.True(t, math.IsNaN(statistics.StudentTail(a, b)+statistics.ChiSquareTail(a, b)+statistics.FTail(a, b, 1)))
				continue
			}
			p := statistics.StudentTail(a, b)
			require.True(t, p >= 0 && p <= 0.5, "t %v %v: %v", a, b, p)
			if b > 1e8 {
				continue
			}
			p = statistics.ChiSquareTail(a, b)
			require.True(t, p >= 0 && p <= 1, "chi %v %v: %v", a, b, p)
			for _, c := range []float64{1e-3, 0.5, 2, 1e8} {
				p = statistics.FTail(a, b, c)
				require.True(t, p >= 0 && p <= 1, "F %v %v %v: %v", a, b, c, p)
			}
			for _, q := range []float64{1e-300, 0.01, 0.5, 0.999} {
				x := statistics.ChiSquareQuantile(q, b)
				require.True(t, x >= 0, "quantile %v %v: %v", q, b, x)
				require.False(t, math.IsNaN(statistics.StudentQuantile(q, b)))
			}
		}
	}
}
