package statistics_test

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"linepace.example/core/statistics"
)

func TestTooFew(t *testing.T) {
	one, two := []float64{1}, []float64{1, 2}
	for _, c := range []struct {
		do   func() error
		need int
	}{
		{func() error { _, err := statistics.Summarise(one); return err }, 2},
		{func() error { _, err := statistics.Median(nil); return err }, 1},
		{func() error { _, err := statistics.FitLine(two, two); return err }, 3},
		{func() error { _, err := statistics.FitLineWeighted(two, two, two); return err }, 3},
		{func() error { _, err := statistics.FitLineStated(one, one, one); return err }, 2},
		{func() error { _, err := statistics.FitOrigin(one, one); return err }, 2},
		{func() error { _, err := statistics.FitOriginWeighted(one, one, one); return err }, 2},
		{func() error { _, err := statistics.FitOriginStated(nil, nil, nil); return err }, 1},
		{func() error { _, _, err := statistics.Combine(nil); return err }, 1},
	} {
		var few *statistics.TooFewError
		require.ErrorAs(t, c.do(), &few)
		require.Equal(t, c.need, few.Need)
		require.Equal(t, c.need-1, few.Have)
		require.Contains(t, few.Error(), fmt.Sprintf("at least %d %s, not %d", c.need, few.Of, few.Have))
	}
}

func TestBadValues(t *testing.T) {
	good := []float64{1, 2, 3}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e141} {
		x := []float64{1, bad, 3}
		for i, do := range []func() error{
			func() error { _, err := statistics.Summarise(x); return err },
			func() error { _, err := statistics.Median(x); return err },
			func() error { _, err := statistics.FitLine(x, good); return err },
			func() error { _, err := statistics.FitLine(good, x); return err },
			func() error { _, err := statistics.FitLineWeighted(good, good, x); return err },
			func() error { _, err := statistics.FitLineStated(good, good, x); return err },
			func() error { _, err := statistics.FitOrigin(x, good); return err },
			func() error { _, err := statistics.FitOriginWeighted(good, good, x); return err },
			func() error { _, err := statistics.FitOriginStated(good, good, x); return err },
		} {
			var domain *statistics.DomainError
			require.ErrorAs(t, do(), &domain, i)
			require.Equal(t, 1, domain.Index)
		}
	}
	for _, do := range []func() error{
		func() error { _, err := statistics.FitLine(good, good[:2]); return err },
		func() error { _, err := statistics.FitLineWeighted(good, good, good[:2]); return err },
		func() error { _, err := statistics.FitLineStated(good, good, good[:2]); return err },
		func() error { _, err := statistics.FitOrigin(good, good[:2]); return err },
		func() error { _, err := statistics.FitOriginWeighted(good, good, good[:2]); return err },
		func() error { _, err := statistics.FitOriginStated(good, good, good[:2]); return err },
	} {
		var length *statistics.LengthError
		require.ErrorAs(t, do(), &length)
		require.Equal(t, [2]int{3, 2}, [2]int{length.Want, length.Have})
	}
	var spread *statistics.NoSpreadError
	_, err := statistics.FitLine([]float64{0.1, 0.1, 0.1}, good)
	require.ErrorAs(t, err, &spread)
	_, err = statistics.FitOrigin([]float64{0, 0, 0}, good)
	require.ErrorAs(t, err, &spread)
	var domain *statistics.DomainError
	for _, c := range []struct{ confidence, dof float64 }{{0, 5}, {1, 5}, {-0.1, 5}, {math.NaN(), 5}, {0.95, 0}, {0.95, math.NaN()}, {0.95, 0.001}} {
		_, err := statistics.CoverageFactor(c.confidence, c.dof)
		require.ErrorAs(t, err, &domain)
	}
	for _, c := range []statistics.Component{{U: -1, Dof: 1}, {U: math.NaN(), Dof: 1}, {U: 1, Dof: 0}, {U: 1, Dof: math.NaN()}} {
		_, _, err := statistics.Combine([]statistics.Component{{U: 1, Dof: 2}, c})
		require.ErrorAs(t, err, &domain)
		require.Equal(t, 1, domain.Index)
	}
	flat, err := statistics.FitLine(good, []float64{5, 5, 5})
	require.NoError(t, err)
	_, err = flat.Inverse(5, 1)
	require.ErrorAs(t, err, &domain)
	_, err = flat.InverseSet(5, 0, 2)
	require.ErrorAs(t, err, &domain)
}

// What does not exist is absent, not a NaN.
func TestAbsent(t *testing.T) {
	s, err := statistics.Summarise([]float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1})
	require.NoError(t, err)
	require.Equal(t, statistics.Summary{Count: 6, Mean: 0.1, Min: 0.1, Max: 0.1}, s)
	_, ok := s.T(0)
	require.False(t, ok)
	flat, err := statistics.FitLine([]float64{1, 2, 3}, []float64{5, 5, 5})
	require.NoError(t, err)
	_, ok = flat.R2()
	require.False(t, ok)
	_, _, ok = flat.F()
	require.False(t, ok)
	_, ok = flat.SlopeP()
	require.False(t, ok)
	_, ok = flat.ChiSquare()
	require.False(t, ok)
}

func TestSums(t *testing.T) {
	require.Equal(t, 2.0, statistics.Total([]float64{1, 1e100, 1, -1e100})) // Neumaier's example
	require.Equal(t, 0.0, statistics.Total(nil))
	r := rand.New(rand.NewPCG(1, 2))
	exact, x := new(big.Float).SetPrec(2000), []float64{}
	for range 10000 {
		v := (r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(20)))
		x = append(x, v)
		exact.Add(exact, big.NewFloat(v))
	}
	want, _ := exact.Float64()
	close(t, want, statistics.Total(x), 1e-15)
}

func TestMedian(t *testing.T) {
	x := []float64{3, 1, 2}
	m, err := statistics.Median(x)
	require.NoError(t, err)
	require.Equal(t, 2.0, m)
	require.Equal(t, []float64{3, 1, 2}, x)
	m, err = statistics.Median([]float64{4, -1e140, 1e140, 8})
	require.NoError(t, err)
	require.Equal(t, 6.0, m)
}

func randomPoints(r *rand.Rand, n int, slope, noise float64) (x, y, w []float64) {
	for range n {
		v := float64(10 * r.Float64()) // rounded: these have the same bits everywhere, too
		e := (r.Float64() + r.Float64() + r.Float64() + r.Float64() - 2) * math.Sqrt(3)
		x, y, w = append(x, v), append(y, 3+float64(slope*v)+float64(noise*e)), append(w, 0.5+r.Float64())
	}
	return
}

// gonum's regression and moments as an independent reference.
func TestAgainstGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 100 {
		x, y, w := randomPoints(r, 3+r.IntN(40), 2*r.NormFloat64(), 1)
		l, err := statistics.FitLineWeighted(x, y, w)
		require.NoError(t, err)
		intercept, slope := stat.LinearRegression(x, y, w, false)
		close(t, slope, l.Slope, 1e-11)
		close(t, intercept, l.Intercept, 1e-11)
		close(t, stat.RSquared(x, y, w, intercept, slope), exists(l.R2()), 1e-9)
		_, slope = stat.LinearRegression(x, y, w, true)
		l, err = statistics.FitOriginWeighted(x, y, w)
		require.NoError(t, err)
		close(t, slope, l.Slope, 1e-12)
		s, err := statistics.Summarise(y)
		require.NoError(t, err)
		mean, sd := stat.MeanStdDev(y, nil)
		close(t, mean, s.Mean, 1e-13)
		close(t, sd, s.SD, 1e-12)
	}
}

// A weight of two is the same as the point twice, for the line itself.
func TestWeightsRepeatPoints(t *testing.T) {
	x, y := []float64{1, 2, 3, 5}, []float64{2, 3, 5, 6}
	weighted, err := statistics.FitLineWeighted(x, y, []float64{1, 2, 1, 3})
	require.NoError(t, err)
	repeated, err := statistics.FitLine([]float64{1, 2, 2, 3, 5, 5, 5}, []float64{2, 3, 3, 5, 6, 6, 6})
	require.NoError(t, err)
	close(t, repeated.Slope, weighted.Slope, 1e-14)
	close(t, repeated.Intercept, weighted.Intercept, 1e-14)
	close(t, repeated.SSE, weighted.SSE, 1e-14)
	stated, err := statistics.FitLineStated(x, y, []float64{1, math.Sqrt(0.5), 1, math.Sqrt(1.0 / 3)})
	require.NoError(t, err)
	close(t, weighted.Slope, stated.Slope, 1e-14)
	close(t, weighted.SlopeU/weighted.ResidualSD, stated.SlopeU, 1e-14)
	require.True(t, stated.Stated)
}

// Two stated points determine the line; its uncertainty is theirs.
func TestTwoStatedPoints(t *testing.T) {
	l, err := statistics.FitLineStated([]float64{0, 10}, []float64{1, 3}, []float64{0.1, 0.2})
	require.NoError(t, err)
	close(t, 0.2, l.Slope, 1e-15)
	close(t, math.Sqrt(0.01+0.04)/10, l.SlopeU, 1e-14)
	close(t, 0.1, l.AtU(0), 1e-14)
	close(t, 0.2, l.AtU(10), 1e-14)
	_, ok := l.ChiSquare()
	require.False(t, ok)
	one, err := statistics.FitOriginStated([]float64{4}, []float64{8}, []float64{0.4})
	require.NoError(t, err)
	require.Equal(t, [2]float64{2, 0.1}, [2]float64{one.Slope, one.SlopeU})
}

// Worked by hand: group means 1.5, 4.5, 4.5 against the line 2, 3.5, 5.
func TestLackOfFit(t *testing.T) {
	x, y := []float64{3, 1, 2, 1, 2, 3}, []float64{4, 1, 4, 2, 5, 5}
	l, err := statistics.FitLine(x, y)
	require.NoError(t, err)
	got, err := l.LackOfFit(x, y)
	require.NoError(t, err)
	close(t, 3, got.LackSS, 1e-14)
	close(t, 1.5, got.PureSS, 1e-14)
	close(t, 6, got.F, 1e-13)
	require.Equal(t, [2]int{1, 3}, [2]int{got.LackDof, got.PureDof})
	close(t, 2*statistics.StudentTail(math.Sqrt(6), 3), got.P, 1e-12)
	close(t, l.SSE, got.LackSS+got.PureSS, 1e-13)

	var few *statistics.TooFewError
	_, err = l.LackOfFit([]float64{1, 2, 3}, []float64{1, 2, 4})
	require.ErrorAs(t, err, &few)
	_, err = l.LackOfFit([]float64{1, 1, 2, 2}, []float64{1, 2, 4, 3})
	require.ErrorAs(t, err, &few)
	var spread *statistics.NoSpreadError
	_, err = l.LackOfFit([]float64{1, 1, 2, 3}, []float64{1, 1, 4, 3})
	require.ErrorAs(t, err, &spread)
}

// The set of an inverse holds exactly the x whose line lies within k uncertainties
// of y, in all three of its forms.
func TestInverseSet(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	seen := map[statistics.SetKind]int{}
	for range 2000 {
		x, y, _ := randomPoints(r, 5+r.IntN(10), r.NormFloat64()*0.3, 1)
		l, err := statistics.FitLine(x, y)
		require.NoError(t, err)
		level, uy := 3+4*r.NormFloat64(), 0.5*float64(r.IntN(2))
		set, err := l.InverseSet(level, uy, 0.95)
		require.NoError(t, err)
		seen[set.Kind]++
		k, err := statistics.CoverageFactor(0.95, float64(l.Dof))
		require.NoError(t, err)
		for range 20 {
			at := 5 + 20*r.NormFloat64()
			off := math.Abs(l.At(at)-level) - k*math.Hypot(l.AtU(at), uy)
			if math.Abs(off) < 1e-9 {
				continue
			}
			inside := set.Kind == statistics.Everywhere ||
				set.Kind == statistics.Between && set.Low <= at && at <= set.High ||
				set.Kind == statistics.Outside && (at <= set.Low || set.High <= at)
			require.Equal(t, off < 0, inside, "%v at %v of %+v", set, at, l)
		}
	}
	for kind := range statistics.Everywhere + 1 {
		require.Greater(t, seen[kind], 20, "of kind %d", kind)
	}
}

// A 95 % interval of a standard deviation covers 95 % of the time.
func TestSDInterval(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	covered := 0
	const trials = 4000
	for range trials {
		x := make([]float64, 8)
		for i := range x {
			x[i] = 2 * r.NormFloat64()
		}
		s, err := statistics.Summarise(x)
		require.NoError(t, err)
		i, err := s.SDInterval(0.95)
		require.NoError(t, err)
		if i.Low <= 2 && 2 <= i.High {
			covered++
		}
	}
	require.InDelta(t, 0.95, float64(covered)/trials, 0.011) // 3.2 standard errors
}

func TestInputsAreNotChanged(t *testing.T) {
	x, y := []float64{3, 1, 2, 1}, []float64{1, 4, 2, 3}
	l, err := statistics.FitLine(x, y)
	require.NoError(t, err)
	_, err = l.LackOfFit(x, y)
	require.NoError(t, err)
	require.Equal(t, []float64{3, 1, 2, 1}, x)
	require.Equal(t, []float64{1, 4, 2, 3}, y)
	require.Zero(t, testing.AllocsPerRun(10, func() { _, _ = statistics.FitLine(x, y) }))
}

// The bits of many results, together, as computed once: they are the same at
// GOAMD64=v1 and v3, with the processor's fused multiply-add switched off, and on
// arm64. The values themselves are checked elsewhere in this package.
func TestBits(t *testing.T) {
	h := fnv.New64a()
	add := func(v ...float64) {
		for _, v := range v {
			fmt.Fprintf(h, "%016x", math.Float64bits(v))
		}
	}
	r := rand.New(rand.NewPCG(9, 10))
	for range 200 {
		x, y, w := randomPoints(r, 4+r.IntN(30), 1, 0.1)
		for _, fit := range []func(x, y, w []float64) (statistics.Line, error){
			statistics.FitLineWeighted, statistics.FitLineStated, statistics.FitOriginWeighted, statistics.FitOriginStated,
		} {
			l, err := fit(x, y, w)
			require.NoError(t, err)
			r2, _ := l.R2()
			f, p, _ := l.F()
			chi, _ := l.ChiSquare()
			add(l.Slope, l.Intercept, l.SlopeU, l.InterceptU, l.Covariance, l.SSE, l.ResidualSD, r2, f, p, chi, l.At(2), l.AtU(3))
			set, err := l.InverseSet(4, 0.1, 0.95)
			require.NoError(t, err)
			add(set.Low, set.High)
		}
		s, err := statistics.Summarise(y)
		require.NoError(t, err)
		i, err := s.SDInterval(0.9)
		require.NoError(t, err)
		add(s.Mean, s.SD, s.Lag1, i.Low, i.High)
		a, b, p := float64(40*r.Float64()), float64(40*r.Float64()), r.Float64()
		add(statistics.StudentTail(a, b), statistics.StudentQuantile(p, b+0.2), statistics.ChiSquareTail(a, b),
			statistics.ChiSquareQuantile(p, b), statistics.FTail(a, b, 3), statistics.NormalQuantile(p))
	}
	require.Equal(t, "28299eb9808ceb8f", fmt.Sprintf("%016x", h.Sum64()))
}
