package scaling

import (
	"math"
	"strconv"
	"strings"
)

// neighbours returns the decimals of six significant digits nearest to v: the
// rounded one and those one last digit to either side.
func neighbours(v float64) [3]float64 {
	const digits = 6
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return [3]float64{}
	}
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', digits-1, 64), "e") // d.ddddd, ±xx
	scaled, _ := strconv.ParseInt(strings.Replace(mantissa, ".", "", 1), 10, 64)
	power, _ := strconv.Atoi(exponent)
	var out [3]float64
	for i, step := range [...]int64{0, 1, -1} {
		out[i], _ = strconv.ParseFloat(strconv.FormatInt(scaled+step, 10)+"e"+strconv.Itoa(power-digits+1), 64)
	}
	return out
}
