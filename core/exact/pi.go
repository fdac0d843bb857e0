package exact

import (
	"math/big"
	"sync"
)

// firstBits is the precision of pi with which decisions begin. Quantities of 17
// digits rarely need the next one.
const firstBits = 128

// interval is a closed interval of integers scaled by a power of two.
type interval struct{ low, high *big.Int }

var firstPi = sync.OnceValue(func() interval { return computePi(firstBits) })

// piBounds encloses pi * 2^bits. The first precision is kept; wider ones are
// rare enough to recompute.
func piBounds(bits uint) interval {
	if bits == firstBits {
		return firstPi()
	}
	return computePi(bits)
}

// computePi uses Machin's formula (1706), pi = 16 atan(1/5) - 4 atan(1/239), in
// integers scaled by 2^(bits+guard).
func computePi(bits uint) interval {
	const guard = 32
	scale := bits + guard
	a := atanInverse(5, scale)
	b := atanInverse(239, scale)
	pi := new(big.Int).Sub(new(big.Int).Mul(a, big.NewInt(16)), new(big.Int).Mul(b, big.NewInt(4)))
	// Each series has fewer than bits terms, each cut off by less than two
	// units, and a remainder below one unit; 20 times that stays far below
	// 2^(guard-1) for any precision that fits in memory.
	slack := new(big.Int).Lsh(one, guard-1)
	low, high := new(big.Int).Sub(pi, slack), new(big.Int).Add(pi, slack)
	low.Rsh(low, guard)
	high.Rsh(high, guard)
	return interval{low: low, high: high.Add(high, one)} // Rsh rounds down
}

// atanInverse returns atan(1/n) * 2^scale by its power series, cut off.
func atanInverse(n int64, scale uint) *big.Int {
	term := new(big.Int).Quo(new(big.Int).Lsh(one, scale), big.NewInt(n))
	sum := new(big.Int).Set(term)
	square := big.NewInt(n * n)
	for k := int64(3); term.Sign() != 0; k += 2 {
		term.Quo(term, square)
		term.Neg(term)
		sum.Add(sum, new(big.Int).Quo(term, big.NewInt(k)))
	}
	return sum
}
