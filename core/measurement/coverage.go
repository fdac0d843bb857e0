package measurement

import (
	"math"
	"sync/atomic"

	"linepace.example/core/statistics"
)

// A quantile of Student's t takes some ten microseconds to find, a hundred times the rest of a
// check, and checks ask for the same few. So each is kept once it is found, in the
// place that its arguments choose; another one that chooses the same place takes it
// over. What is kept is what would be found again, bit for bit.
var kept [256]atomic.Pointer[factor]

type factor struct{ confidence, dof, k float64 }

// coverageFactor returns [statistics.CoverageFactor] for a confidence in (0, 1) and at
// least one degree of freedom.
func coverageFactor(confidence, dof float64) float64 {
	place := &kept[placeOf(confidence, dof)]
	if f := place.Load(); f != nil && f.confidence == confidence && f.dof == dof {
		return f.k
	}
	k, err := statistics.CoverageFactor(confidence, dof)
	if err != nil {
		panic("core/measurement: internal error: " + err.Error())
	}
	place.Store(&factor{confidence, dof, k})
	return k
}

// placeOf mixes the bits of both arguments (multiplicative hashing; Knuth, The Art of
// Computer Programming vol. 3, 6.4).
func placeOf(confidence, dof float64) uint8 {
	const golden = 0x9e3779b97f4a7c15
	mixed := (math.Float64bits(confidence)*golden ^ math.Float64bits(dof)) * golden
	return uint8(mixed >> 56)
}
