package scaling_test

import (
	"encoding/csv"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	. "linepace.example/core/scaling"
)

func sprocket(teeth int32, pitch float64, unit string) *Drive {
	return &Drive{Motor: Motor{MaxRPM: 1000}, Delivery: Delivery{Kind: Sprocket, Teeth: teeth, Pitch: q(pitch, unit)}}
}

// The file names its source; its values have two decimals.
func TestPublishedPitchDiameters(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "..", "testdata", "scaling", "sprocket_pd_1in_pitch.csv"))
	require.NoError(t, err)
	defer file.Close()
	in := csv.NewReader(file)
	in.Comment = '#'
	rows, err := in.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 142, "a heading and 141 wheels")
	for _, row := range rows[1:] {
		teeth, err := strconv.ParseInt(row[0], 10, 32)
		require.NoError(t, err)
		want, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		c := ChordalOf(sprocket(int32(teeth), 25.4, "mm"))
		require.InDelta(t, want, c.Value.PitchDiameter.Value, 0.005+1e-9, "%d teeth", teeth)
	}
	// 1/2 in pitch, 17 teeth: printed 2.721 in; the further digits are p/sin(180/z) by mpmath 1.2.1.
	require.InEpsilon(t, 2.7210955758759033, ChordalOf(sprocket(17, 0.5, "in")).Value.PitchDiameter.Value, 1e-15)
}

// 1 - cos(180/z), the least against the greatest, as engineering tables of chain drives
// print it in percent: 6.0, 4.1, 1.7 and 0.8; the further digits are computed.
func TestPublishedChordalAction(t *testing.T) {
	for teeth, want := range map[int32]float64{9: 6.030737921, 11: 4.050702639, 17: 1.702690032, 25: 0.7885298686} {
		c := ChordalOf(sprocket(teeth, 0.5, "in")).Value
		require.InEpsilon(t, want, (c.HighPercent-c.LowPercent)/(100+c.HighPercent)*100, 1e-9, "%d teeth", teeth)
	}
	// By hand: a square turns with its chain's mean at pi/4 of its pitch radius' speed over sin 45.
	c := ChordalOf(sprocket(4, 1, "m")).Value
	require.InEpsilon(t, (math.Pi/4*math.Sqrt2-1)*100, c.HighPercent, 1e-14)
	require.InEpsilon(t, (math.Pi/4-1)*100, c.LowPercent, 1e-14)
}

// Against series at 300 bits, from three teeth to the most.
func TestChordalDigits(t *testing.T) {
	for _, teeth := range []int32{3, 5, 8, 13, 40, 152, 1000, 99999, 100000} {
		x := new(big.Float).SetPrec(300).Quo(bigPi(), new(big.Float).SetInt64(int64(teeth)))
		sine, cosine := bigSeries(x, 1), bigSeries(x, 0)
		one := big.NewFloat(1)
		high := new(big.Float).SetPrec(300).Quo(x, sine)
		low := new(big.Float).SetPrec(300).Mul(high, cosine)
		wantHigh, _ := high.Sub(high, one).Float64()
		wantLow, _ := low.Sub(low, one).Float64()
		got := ChordalOf(sprocket(teeth, 25.4, "mm")).Value
		require.InEpsilon(t, wantHigh*100, got.HighPercent, 1e-14, "%d teeth", teeth)
		require.InEpsilon(t, wantLow*100, got.LowPercent, 1e-14, "%d teeth", teeth)
	}
	require.False(t, ChordalOf(sprocket(2, 1, "m")).Set)
	require.False(t, ChordalOf(&Drive{Delivery: Delivery{Kind: Roll, Diameter: q(1, "m")}}).Set)
}

// bigPi is pi with 80 digits (MacTutor's table of pi).
func bigPi() *big.Float {
	pi, _, err := big.ParseFloat("3.14159265358979323846264338327950288419716939937510582097494459230781640628620899", 10, 300, big.ToNearestEven)
	if err != nil {
		panic(err)
	}
	return pi
}

// bigSeries sums sin(x) from its first power, 1, or cos(x) from 0.
func bigSeries(x *big.Float, power int64) *big.Float {
	term := new(big.Float).SetPrec(300).SetInt64(1)
	if power == 1 {
		term.Set(x)
	}
	sum := new(big.Float).SetPrec(300).Set(term)
	square := new(big.Float).SetPrec(300).Mul(x, x)
	for k := power + 1; k < 80; k += 2 {
		term.Mul(term, square)
		term.Quo(term, new(big.Float).SetInt64(-k*(k+1)))
		sum.Add(sum, term)
	}
	return sum
}
