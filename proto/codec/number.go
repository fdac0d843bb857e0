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
	if abs < exact && v == math.Trunc(v) {
		return strconv.AppendInt(dst, int64(v), 10)
	}
	if dst, ok := appendThousandths(dst, v); ok {
		return dst
	}
	if abs >= 1e-6 && abs < 1e21 {
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

// appendThousandths appends a number that is the nearest to so many thousandths, of
// at most maxShort digits, and reports whether it is one: these are then its shortest
// digits, as parseShort tells. Most numbers that people write are of that kind.
func appendThousandths(dst []byte, v float64) ([]byte, bool) {
	nearest := math.RoundToEven(math.Abs(v) * 1000)
	if nearest >= 1e15 || nearest/1000 != math.Abs(v) {
		return dst, false
	}
	if v < 0 {
		dst = append(dst, '-')
	}
	n := int64(nearest)
	dst = strconv.AppendInt(dst, n/1000, 10)
	dst = append(dst, '.', byte('0'+n/100%10), byte('0'+n/10%10), byte('0'+n%10))
	for dst[len(dst)-1] == '0' { // not of an integer, which ends before
		dst = dst[:len(dst)-1]
	}
	return dst, true
}

// powersOfTen are exact, as 10^22 is the last one to be.
var powersOfTen = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// maxShort is how many decimal digits a double always holds: two numbers of so many
// digits are two doubles (DBL_DIG of ISO C), unless they are subnormal.
const maxShort = 15

// parseShort reads a JSON number of at most maxShort digits and no exponent, and
// reports whether it is written as appendNumber writes it. Digits and power of ten
// are exact, so that one division rounds correctly; and no other number of so few
// digits reads as the same double, so that one without needless zeros is the shortest.
func parseShort(number []byte) (v float64, shortest, ok bool) {
	const most = maxShort + len("-.")
	if len(number) > most {
		return 0, false, false
	}
	var mantissa, digits, point int
	for _, c := range number {
		switch {
		case '0' <= c && c <= '9':
			mantissa = mantissa*10 + int(c-'0')
			digits++
		case c == '.':
			point = digits
		case c != '-':
			return 0, false, false
		}
	}
	if digits > maxShort {
		return 0, false, false
	}
	decimals := 0
	if point > 0 {
		decimals = digits - point
	}
	v = float64(mantissa) / powersOfTen[decimals]
	shortest = decimals == 0 || number[len(number)-1] != '0' && v >= 1e-6
	if number[0] == '-' {
		return -v, shortest && mantissa != 0, true
	}
	return v, shortest, true
}
