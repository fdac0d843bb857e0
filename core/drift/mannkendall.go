package drift

import (
	"math"
	"math/big"
	"slices"

	"linepace.example/core/elementary"
	"linepace.example/core/statistics"
)

// MannKendall is the test whether y goes up or down with x (usually time), without
// an assumption of how.
type MannKendall struct {
	Count int
	// S is the number of pairs in which y rises with x less the number in which it
	// falls; equal values count for neither.
	S int64
	// Variance is that of S if there is no trend, ties considered.
	Variance float64
	// Z is S less its sign, over the standard deviation of S; 0 where all values agree.
	Z float64
	P float64 // two-sided, by the normal distribution: of an S at least as far from zero
	// ExactP is the same from the distribution of S itself. It exists for at most
	// 50 points without ties.
	ExactP    float64
	HasExactP bool
	// Tau is Kendall's tau-a, S over the number of pairs of points, -1 to 1.
	Tau float64
}

// exactPoints bounds the number of points for which the exact distribution is used.
const exactPoints = 50

// MannKendallTest tests at least three points; x and y may repeat. O(n log n).
//
//	var S = (n(n-1)(2n+5) - sum t(t-1)(2t+5) - sum u(u-1)(2u+5))/18
//	        + sum t(t-1) sum u(u-1) / (2n(n-1))
//	        + sum t(t-1)(t-2) sum u(u-1)(u-2) / (9n(n-1)(n-2))
//
// with t and u the sizes of the groups of equal x and equal y.
//
// Source: M. G. Kendall, Rank Correlation Methods, 4th ed. 1970, section 4.3 (variance with ties) and 5.1
// (the exact distribution).
// Domain: as TheilSenLine. Errors: *statistics.TooFewError, *statistics.LengthError,
// *statistics.DomainError, *statistics.NoSpreadError where all x are equal, ErrStopped.
// Formula: mann-kendall/1
func MannKendallTest(x, y []float64, stop Stop) (MannKendall, error) {
	if len(x) == len(y) && len(x) < 3 {
		return MannKendall{}, &statistics.TooFewError{Method: "a Mann-Kendall test", Have: len(x), Need: 3, Of: "points"}
	}
	sortedX, sortedY, err := sortedPoints("a Mann-Kendall test", x, y)
	if err != nil {
		return MannKendall{}, err
	}
	n := int64(len(x))
	ties := pairsWithin(sortedX, nil) - pairsWithin(sortedX, sortedY) // of x alone
	falls, ok := inversions(sortedY, make([]float64, n), stop, nil)
	if !ok {
		return MannKendall{}, ErrStopped
	}
	ties += pairsWithin(sortedY, nil) // sorted by now
	pairs := n * (n - 1) / 2
	test := MannKendall{Count: len(x), S: pairs - ties - 2*falls}
	test.Variance, _ = kendallVariance(sortedX, sortedY).Float64()
	test.Tau = float64(test.S) / float64(pairs)
	test.P = 1
	if test.S != 0 {
		sign := int64(1)
		if test.S < 0 {
			sign = -1
		}
		test.Z = float64(test.S-sign) / math.Sqrt(test.Variance)
		test.P = 2 * elementary.NormalTail(math.Abs(test.Z))
	}
	if ties == 0 && n <= exactPoints {
		test.ExactP, test.HasExactP = exactKendallP(int(n), int(falls)), true
	}
	return test, nil
}

// pairsWithin returns the number of pairs of neighbours, near and far, that agree
// in x, and in y if there is one.
func pairsWithin(x, y []float64) int64 {
	pairs := int64(0)
	groups(x, y, func(size int64) { pairs += size * (size - 1) / 2 })
	return pairs
}

// groups calls each with the size of every run of values that agree in x, and in y
// if there is one.
func groups(x, y []float64, each func(size int64)) {
	from := 0
	for to := 1; to <= len(x); to++ {
		if to == len(x) || x[to] != x[from] || y != nil && y[to] != y[from] {
			each(int64(to - from))
			from = to
		}
	}
}

// kendallVariance returns the variance of S for ascending x and any order of y. Its sums
// exceed 2^53 from 200,000 points on, and a machine integer from 2,000,000.
func kendallVariance(x, y []float64) *big.Rat {
	sortedY := slices.Clone(y)
	slices.Sort(sortedY)
	t2, t3, t5 := groupSums(x)
	u2, u3, u5 := groupSums(sortedY)
	n := int64(len(x))
	_, n3, n5 := sizeTerms(n)
	v := new(big.Rat).SetFrac(n5.Sub(n5.Sub(n5, t5), u5), big.NewInt(18))
	n2 := big.NewInt(n * (n - 1))
	v.Add(v, new(big.Rat).SetFrac(t2.Mul(t2, u2), n2.Mul(n2, big.NewInt(2))))
	if n > 2 {
		v.Add(v, new(big.Rat).SetFrac(t3.Mul(t3, u3), n3.Mul(n3, big.NewInt(9))))
	}
	return v
}

// groupSums returns the sums of sizeTerms over the groups of equal values.
func groupSums(sorted []float64) (s2, s3, s5 *big.Int) {
	s2, s3, s5 = new(big.Int), new(big.Int), new(big.Int)
	groups(sorted, nil, func(size int64) {
		if size > 1 {
			t2, t3, t5 := sizeTerms(size)
			s2.Add(s2, t2)
			s3.Add(s3, t3)
			s5.Add(s5, t5)
		}
	})
	return s2, s3, s5
}

// sizeTerms returns t(t-1), t(t-1)(t-2) and t(t-1)(2t+5).
func sizeTerms(t int64) (t2, t3, t5 *big.Int) {
	t2 = big.NewInt(t * (t - 1))
	return t2, new(big.Int).Mul(t2, big.NewInt(t-2)), new(big.Int).Mul(t2, big.NewInt(2*t+5))
}

// exactKendallP returns the two-sided probability of so many falling pairs among n
// points without ties: all n! orders are equally likely, and the last point's place
// among the others adds 0 to n - 1 falls.
func exactKendallP(n, falls int) float64 {
	falls = min(falls, n*(n-1)/2-falls)
	p := make([]float64, falls+1) // p[k]: of k falls
	p[0] = 1
	for size := 2; size <= n; size++ {
		for k := falls; k >= 0; k-- {
			total := 0.0
			for j := max(0, k-size+1); j <= k; j++ {
				total += p[j]
			}
			p[k] = total / float64(size)
		}
	}
	return min(1, 2*statistics.Total(p))
}
