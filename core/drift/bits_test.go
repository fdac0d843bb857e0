package drift_test

import (
	"fmt"
	"hash/fnv"
	"math"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/drift"
	"linepace.example/core/statistics"
)

// The bits of many results, together, as computed once: they are the same at
// GOAMD64=v1 and v3, with the processor's fused multiply-add switched off, and on
// arm64. The values themselves are checked elsewhere in this package.
func TestBits(t *testing.T) {
	h := fnv.New64a()
	must := func(v any, err error) {
		t.Helper()
		require.NoError(t, err)
		hashBits(h, reflect.ValueOf(v))
	}
	// A generator of its own, and products that are rounded: the inputs have the same
	// bits everywhere, too.
	state := uint64(1)
	uniform := func() float64 {
		state = state*6364136223846793005 + 1442695040888963407
		return float64(state>>11) * 0x1p-53
	}
	model := drift.Model{PerTurn: 0.08, SlipFlow: 2}
	for range 40 {
		var x, percent, y, w []float64
		cusum, ewma := drift.CUSUM{K: 0.5, H: 4, HeadStart: 2}, drift.EWMA{Lambda: 0.2, Width: 2.7}
		c, e := cusum.Start(), ewma.Start()
		for i := range 60 {
			turns := float64(10000 * (1 + uniform()))
			o := drift.Observation{Minutes: 10, Turns: turns, TurnPulses: 60 * turns, AmountPulses: 9000}
			o.Amount = float64((float64(0.08*turns) - 20) * (1 + float64(0.01*(uniform()-0.5)) - float64(float64(i)*1e-4)))
			r, err := model.Read(o)
			must(r, err)
			l, err := model.LossBy(drift.Wear(i%2), o)
			must(l, err)
			sigma := 0.3 + r.CountingU
			c, e = cusum.Step(c, r.Percent, sigma), ewma.Step(e, r.Percent, sigma)
			hashBits(h, reflect.ValueOf(c))
			hashBits(h, reflect.ValueOf(e))
			x, percent, y, w = append(x, float64(i)+uniform()), append(percent, r.Percent), append(y, l.Value), append(w, l.Weight())
		}
		baseline, err := drift.BaselineOf(percent[:20])
		must(baseline, err)
		at := drift.Condition{Shift: uniform(), SigmaRatio: baseline.SigmaBounds.High / baseline.Sigma}
		length, err := cusum.RunLength(at)
		must(length, err)
		length, err = ewma.RunLength(at)
		must(length, err)
		sen, err := drift.TheilSenLine(x, percent, 0.95, nil)
		must(sen, err)
		kendall, err := drift.MannKendallTest(x, percent, nil)
		must(kendall, err)
		change, err := drift.FindChange(x, y, w)
		must(change, err)
		trend, err := statistics.FitLineWeighted(x, percent, w)
		require.NoError(t, err)
		crossing, err := drift.ForecastOf(trend, drift.Limit{Level: -1}, 60, 0.95)
		must(crossing, err)
		names, err := drift.NameStep(statistics.Value{Value: 1.06 + float64(0.02*uniform()), U: 0.01}, []int32{15, 16}, 2)
		must(names, err)
	}
	require.Equal(t, "afc968b8138fe843", fmt.Sprintf("%016x", h.Sum64()))
}

// hashBits adds everything that v holds.
func hashBits(h interface{ Write([]byte) (int, error) }, v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			hashBits(h, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			hashBits(h, v.Index(i))
		}
	case reflect.Float64:
		fmt.Fprintf(h, "%016x ", math.Float64bits(v.Float()))
	default:
		fmt.Fprint(h, v, " ")
	}
}
