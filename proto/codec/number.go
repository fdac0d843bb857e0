package codec

import (
	"math"
	"strconv"
)

// appendNumber appends a finite number as ECMAScript's Number::toString writes it
// (ECMA-262, which RFC 8785 section 3.2.2.3 refers to): the shortest decimal that
// reads back to v, the nearest to v among those; with an exponent below 1e-6 and
// from 1e21 on; and 0 for -0.
func appendNumber(dst []byte, v float64) []byte {
	const exact = 1 << 53 // below it integers are exact, and their digits the shortest
	abs := math.Abs(v)
	switch {
	case abs < exact && v == math.Trunc(v):
		return strconv.AppendInt(dst, int64(v), 10)
	case abs >= 1e-6 && abs < 1e21:
		return strconv.AppendFloat(dst, v, 'f', -1, 64)
	}
	dst = strconv.AppendFloat(dst, v, 'e', -1, 64)
	// strconv writes an exponent of at least two digits, ECMAScript of at least one.
	if n := len(dst); dst[n-4] == 'e' && dst[n-2] == '0' {
		dst[n-2] = dst[n-1]
		dst = dst[:n-1]
	}
	return dst
}
