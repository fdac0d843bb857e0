package diagnosis

import (
	"fmt"
	"math"
	"strings"

	"linepace.example/core/elementary"
	"linepace.example/core/scaling"
)

// The most that is taken for slip: of a belt or a roll, 10 percent, beyond which a
// belt burns; of a pump at one speed, 30 percent of its displacement. Common
// practice, no published source.
const (
	mostSlip     = 0.10
	mostPumpSlip = 0.30
)

// spread is how far apart the calculated rates of two observations must lie to tell
// an offset from a factor. Common practice, as for a pump's calibration.
const spread = 1.2

// addSlips adds slip wherever something can slip. What slips behind the held shaft
// takes from the rate; what slips before it the loop makes up for, and the shafts
// before it run faster. Places that the observations cannot tell apart are one.
func (f *finder) addSlips() {
	d := f.subject.Drive
	held := d.HeldShaft()
	for i := range d.Transmission {
		if d.Transmission[i].Kind != scaling.Belt {
			continue
		}
		f.addSlip("drive.transmission[%d].belt", i, mostSlip, func(o *observed) float64 {
			switch behind := o.process || o.stages > i; {
			case i >= held && behind && !(o.process && f.measured()):
				return -1
			case i < held && !behind:
				return 1
			}
			return 0
		})
		f.addDescribedSlip(i, d.Transmission[i].SlipPercent)
	}
	rateFalls := func(o *observed) float64 {
		if o.process && !f.measured() {
			return -1
		}
		return 0
	}
	switch d.Delivery.Kind {
	case scaling.Roll:
		f.addSlip("drive.delivery.roll", 0, mostSlip, rateFalls)
	case scaling.Pump:
		if !f.spreads() {
			f.addSlip("drive.delivery.pump", 0, mostPumpSlip, rateFalls)
		}
	}
}

// addDescribedSlip adds a slip that is described and is not there.
func (f *finder) addDescribedSlip(i int, slipPercent float64) {
	if slipPercent == 0 {
		return
	}
	f.addStage(single{
		Mistake: Mistake{Cause: Slip, Field: fmt.Sprintf("drive.transmission[%d].belt.slipPercent", i),
			Text:    fmt.Sprintf("The belt does not slip by the %s percent that are described", short(slipPercent)),
			Confirm: compareShafts},
		formula: "1 / (1 - slip)",
		inputs:  []scaling.Input{{Name: "slip", Value: percents(slipPercent)}},
	}, i, 1/(1-slipPercent/100))
}

const compareShafts = "Hold a tachometer to the shafts on both sides, with and without load: a slip grows with the load."

func (f *finder) addSlip(field string, i int, largest float64, direction func(*observed) float64) {
	if strings.Contains(field, "%d") {
		field = fmt.Sprintf(field, i)
	}
	s := single{
		Mistake: Mistake{Cause: Slip, Field: field, Text: "Slip, at " + field, Confirm: compareShafts},
		topic:   topic{ofStage, -1},
		slips:   make([]float64, len(f.groups)),
		largest: -elementary.Log(1 - largest),
		formula: "1 - slip",
	}
	if largest == mostPumpSlip {
		s.Text = "Flow that slips back in the pump"
		s.Confirm = "Observe it at a second, clearly different speed: slip is mostly a flow, and takes a larger share at low speed."
	}
	acts := false
	for g := range f.groups {
		s.slips[g] = direction(&f.groups[g].at)
		acts = acts || s.slips[g] != 0
	}
	if !acts {
		return
	}
	for k := range f.singles {
		if other := &f.singles[k]; sameDirections(other.slips, s.slips) && other.largest == s.largest {
			other.Text += " or " + field
			return
		}
	}
	f.singles = append(f.singles, s)
}

func sameDirections(a, b []float64) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// spreads reports whether all observations are of the process rate and at rates that
// lie apart, so that an offset shows.
func (f *finder) spreads() bool {
	low, high := math.Inf(1), 0.0
	for i := range f.observed {
		if !f.observed[i].process {
			return false
		}
		low, high = min(low, f.base(i)), max(high, f.base(i))
	}
	return len(f.observed) > 1 && high >= spread*low
}

// base returns the calculated value of observation i in base units, so that values in
// different units of one kind compare.
func (f *finder) base(i int) float64 {
	o := &f.observed[i]
	return quantity(o.calculated, o.unit).Base(&f.c).Float()
}

// addOffset adds a constant difference between observed and calculated rates.
func (f *finder) addOffset() {
	if !f.spreads() || len(f.groups) > 1 {
		return
	}
	s := single{Mistake: Mistake{Cause: Offset}, offset: true, formula: "1 + offset / calculated"}
	if f.subject.Drive.Delivery.Kind == scaling.Pump {
		s.Field, s.Text = "drive.delivery.pump.slipFlow", "A flow that slips back in the pump whatever its speed"
		s.Confirm = "Catch what the pump delivers at two or more speeds, and give displacement and slip flow."
	} else {
		s.Text = "An offset: the same amount is missing or too much at every speed"
		s.Confirm = "Look at what the readout and the output show at a stand, and at the two points of the register."
	}
	f.singles = append(f.singles, s)
}

// fitSlip fits the size of a slip to the groups and finds its likelihood: that of all
// sizes up to the largest, each as likely as another.
//
//	x = -ln(1 - slip) = sum(e * log / sigma^2) / sum(e^2 / sigma^2)
func (f *finder) fitSlip(s *single) {
	var top, bottom float64
	for g := range f.groups {
		weight := 1 / (f.groups[g].sigma * f.groups[g].sigma)
		top += float64(s.slips[g] * f.groups[g].log * weight)
		bottom += float64(s.slips[g] * s.slips[g] * weight)
	}
	x, sigma := top/bottom, 1/math.Sqrt(bottom)
	mass := between(-x/sigma, (s.largest-x)/sigma)
	s.factors, s.logs = make([]float64, len(f.groups)), make([]float64, len(f.groups))
	fitted := min(max(x, 0), s.largest)
	free := 0.0 // the misfit at the best size without bounds
	for g := range f.groups {
		s.logs[g] = fitted * s.slips[g]
		s.factors[g] = elementary.Exp(s.logs[g])
		z := (f.groups[g].log - float64(x*s.slips[g])) / f.groups[g].sigma
		free += float64(z * z)
	}
	s.logLikelihood = elementary.Log(rootTwoPi*sigma/s.largest) + elementary.Log(mass) - float64((free+f.scatter)/2)
	s.idle = fitted < sigma
	s.Size = percents(100 * (1 - elementary.Exp(-fitted)))
	s.inputs = []scaling.Input{{Name: "slip", Value: s.Size}}
}

// between returns the probability of a standard normal variable from a to b, taken
// on the side of the tails that keeps digits, and never zero.
func between(a, b float64) float64 {
	if a < 0 {
		a, b = -b, -a
	}
	return max(elementary.NormalTail(a)-elementary.NormalTail(b), math.SmallestNonzeroFloat64)
}

// fitOffset fits a constant difference, observed = calculated + offset, and finds its
// likelihood: that of all offsets up to the largest calculated value either way.
func (f *finder) fitOffset(s *single) (predicted []float64) {
	var top, bottom, largest float64
	for i := range f.observed {
		o := &f.observed[i]
		b := f.base(i)
		sigma := o.sigma * o.factor * b // of the observed value
		difference := (o.factor - 1) * b
		top += difference / (sigma * sigma)
		bottom += 1 / (sigma * sigma)
		largest = max(largest, b)
	}
	offset := top / bottom
	misfit := 0.0
	predicted = make([]float64, len(f.observed))
	for i := range f.observed {
		o := &f.observed[i]
		predicted[i] = 1 + offset/f.base(i)
		z := (o.factor - predicted[i]) / (o.factor * o.sigma)
		misfit += float64(z * z)
	}
	s.logLikelihood = elementary.Log(rootTwoPi/(math.Sqrt(bottom)*2*largest)) - float64(misfit/2)
	s.Size = fromBase(&f.c, offset, f.observed[0].unit)
	return predicted
}
