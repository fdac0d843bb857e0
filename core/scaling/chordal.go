package scaling

import (
	"math"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Chordal is the chordal action of a sprocket: its chain lies on it as a polygon, so that
// the chain's speed goes up and down once a tooth about its mean. The mean, teeth * pitch
// a turn, is not touched, so that the ripple averages out of a time in a section.
type Chordal struct {
	PitchDiameter units.Quantity // in the unit of the pitch
	LowPercent    float64        // the least speed against the mean, percent, below 0
	HighPercent   float64        // the greatest
}

// ChordalOf returns the chordal action of d's sprocket; nothing for another delivery, and
// for fewer than three teeth, which are no polygon.
//
//	pitch diameter   pitch / sin(x)             x = pi / teeth
//	least speed      x cos(x) / sin(x) - 1      of the mean
//	greatest speed   x / sin(x) - 1
//
// Source: geometry of the polygon; the greatest less the least is 1 - cos(x) of the
// greatest, as tables of chain drives give it. Sine and cosine are the sums of their
// series, to a few units in the last place.
// Formula: chordal/1.
func ChordalOf(d *Drive) Optional[Chordal] {
	if d.Delivery.Kind != Sprocket || d.Delivery.Teeth < 3 {
		return Optional[Chordal]{}
	}
	sine, cosine, x := lacks(d.Delivery.Teeth)
	ratio := 1 - sine // sin(x) / x
	pitch := d.Delivery.Pitch
	c := new(exact.Calc)
	return Some(Chordal{
		PitchDiameter: units.Quantity{Value: c.Dec(pitch.Value).Float() / (x * ratio), Unit: pitch.Unit},
		LowPercent:    (sine - cosine) / ratio * 100,
		HighPercent:   sine / ratio * 100,
	})
}

// lacks returns what sin(x)/x and cos(x) lack to 1, for x = pi / teeth: small numbers
// for many teeth, whose digits a subtraction from 1 would lose.
//
//	1 - sin(x)/x = x²/3! - x⁴/5! + ...        1 - cos(x) = x²/2! - x⁴/4! + ...
func lacks(teeth int32) (sine, cosine, x float64) {
	const terms = 14 // x is at most pi/3, so that the next is below 1e-30
	x = math.Pi / float64(teeth)
	square := float64(x * x)
	var s, c float64
	for k := terms; k >= 1; k-- { // from the smallest on
		even, odd := float64(2*k), float64(2*k+1)
		s = float64(square / (even * odd) * (1 - s))
		c = float64(square / ((even - 1) * even) * (1 - c))
	}
	return s, c, x
}

// chordalSteps derives the chordal action from the pitch diameter.
func (w *worker) chordalSteps() {
	d := w.subject.Drive
	o := ChordalOf(d)
	if !o.Set {
		return
	}
	inputs := []Input{{"pitchDiameter", o.Value.PitchDiameter}, {"pitch", d.Delivery.Pitch}, {"teeth", plain(float64(d.Delivery.Teeth))}}
	w.step("chordal/1", "least speed of the chain against its mean, by the chain's polygon",
		"sqrt(pitchDiameter * pitchDiameter - pitch * pitch) * pi / (teeth * pitch) - 1", percents(o.Value.LowPercent), inputs...)
	w.step("chordal/1", "greatest speed of the chain against its mean", "pitchDiameter * pi / (teeth * pitch) - 1", percents(o.Value.HighPercent), inputs...)
}
