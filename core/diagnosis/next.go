package diagnosis

import (
	"fmt"
	"math"
	"strings"

	"linepace.example/core/elementary"
	"linepace.example/core/units"
)

// next says what to observe next: where candidates tie, the place at which most of
// them predict something else than the first; where nothing explains the factor, more.
func (f *finder) next(out *Answer) string {
	first := &out.Candidates[0]
	switch {
	case first.Mistakes[0].Cause == SomethingElse:
		return "Nothing explains this by itself. Observe a second place, and a second speed: a pair of mistakes cannot be told from chance by one observation."
	case len(first.Ties) == 0:
		return ""
	case first.single.slips != nil || first.single.offset: // of fitted size: it fits anywhere
		return confirmEach
	}
	var best string
	var told []string
	for _, p := range f.places() {
		if f.seen(&p.at) {
			continue
		}
		var apart []string
		for _, i := range first.Ties {
			if other := out.Candidates[i].single; f.tells(&p.at, first.single, other) {
				apart = append(apart, fmt.Sprint(i+1))
			}
		}
		if len(apart) > len(told) {
			best, told = p.name, apart
		}
	}
	if len(told) == 0 {
		return confirmEach
	}
	return fmt.Sprintf("Observe %s as well: that tells candidate 1 from %s.", best, strings.Join(told, ", "))
}

const confirmEach = "Candidates tie, and no other place tells them apart: confirm each."

// place is somewhere to observe.
type place struct {
	at   observed
	name string
}

func (f *finder) places() []place {
	d := f.subject.Drive
	last := len(d.Transmission)
	list := []place{{observed{}, "the motor shaft, by a tachometer,"}}
	for i := 1; i < last; i++ {
		list = append(list, place{observed{stages: i}, fmt.Sprintf("the shaft behind stage %d, by a tachometer,", i)})
	}
	if last > 0 {
		list = append(list, place{observed{stages: last}, "the last shaft, by a tachometer,"})
	}
	if d.RateDimension() != (units.Dimension{}) {
		list = append(list, place{observed{process: true, stages: last}, "the process rate"})
	}
	return list
}

func (f *finder) seen(at *observed) bool {
	for g := range f.groups {
		if o := &f.groups[g].at; o.process == at.process && (o.process || o.stages == at.stages) {
			return true
		}
	}
	return false
}

// tells reports whether an observation there, as uncertain as the first, tells two
// mistakes apart.
func (f *finder) tells(at *observed, a, b *single) bool {
	if b == nil || b.offset || b.slips != nil {
		return false
	}
	apart := elementary.Log(a.effect.on(at)) - elementary.Log(b.effect.on(at))
	return math.Abs(apart) > farApart*f.observed[0].sigma
}
