package scaling

import "strconv"

// neighbours returns the decimals of six significant digits nearest to v: the
// rounded one and those one last digit to either side.
func neighbours(v float64) [3]float64 {
	const digits = 6
	text := strconv.FormatFloat(v, 'e', digits-1, 64) // d.ddddde±xx
	mark := 0
	for text[mark] != 'e' {
		mark++
	}
	mantissa, _ := strconv.ParseFloat(text[:mark], 64)
	exponent, _ := strconv.Atoi(text[mark+1:])
	last := int64(powersOfTen[digits-1])
	scaled := int64(mantissa*float64(last) + 0.5)
	if mantissa < 0 {
		scaled = int64(mantissa*float64(last) - 0.5)
	}
	var out [3]float64
	for i, step := range [...]int64{0, 1, -1} {
		out[i], _ = strconv.ParseFloat(strconv.FormatInt(scaled+step, 10)+"e"+strconv.Itoa(exponent-digits+1), 64)
	}
	return out
}
