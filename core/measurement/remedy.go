package measurement

import (
	"fmt"
	"math"
	"strconv"

	"linepace.example/core/units"
)

// The most that is proposed: beyond these nobody stands beside the machine.
const (
	mostReadings = 1000
	mostMarks    = 10000
	mostGateRate = 1000 // times the gate
)

// remedies finds what would decide the check if the mean stayed where it is, each alone.
func (t *TachometerCheck) remedies(out *Reading, l *Limits) {
	b := &out.Budget
	gate, scatter, certificate := b.variance(CountedMarks), b.variance(Scatter), b.variance(Certificate)
	if r := out.room(l, gate, b.dofAt); gate > 0 && r > 0 {
		times := math.Sqrt(gate / r)
		if times <= mostGateRate {
			out.propose(LongerGate, float64(t.Tachometer.Gate.Value*times))
		}
		if marks := math.Ceil(float64(t.Tachometer.Marks) * times); marks <= mostMarks {
			out.propose(MoreMarks, marks)
		}
	}
	moreDof := func(float64) float64 { return b.Dof } // at least
	if r := out.room(l, gate+scatter, moreDof); gate+scatter > 0 && r > 0 {
		if n := math.Ceil(float64(len(t.Readings)) * (gate + scatter) / r); n <= mostReadings {
			out.propose(MoreReadings, n)
		}
	}
	if r := out.room(l, certificate, b.dofAt); r > 0 {
		given := b.line(Certificate).Value.Value
		out.propose(BetterCertificate, given*math.Sqrt(r/certificate))
	}
}

// room returns the variance that a part of the budget may have for the check to be
// decided, when all other parts stay; 0 or less where there is none. The smaller the
// rest of the uncertainty, the more the scatter's few degrees of freedom count, so the
// guard factor is found anew until it no longer grows.
//
//	u = distance of the mean to the nearest limit / guard factor
func (r *Reading) room(l *Limits, part float64, dofAt func(u float64) float64) float64 {
	b := &r.Budget
	others := float64(b.Standard*b.Standard) - part
	distance := min(math.Abs(r.Mean-l.Low), math.Abs(r.Mean-l.High))
	guard := l.GuardFactor
	for {
		u := distance / guard
		room := float64(u*u) - others
		if room <= 0 {
			return 0
		}
		next := guardFactor((l.High-l.Low)/u, dofAt(u))
		if next <= guard {
			return room
		}
		guard = next
	}
}

// dofAt returns the effective degrees of freedom when the combined uncertainty is u and
// the scatter stays.
func (b *Budget) dofAt(u float64) float64 {
	share := u / b.Standard
	return max(1, math.Floor(b.EffectiveDof*float64(share*share)*float64(share*share)))
}

func (r *Reading) propose(kind RemedyKind, value float64) {
	r.Remedies[r.RemedyCount] = Remedy{kind, value}
	r.RemedyCount++
}

// line returns the line of a source, or nil.
func (b *Budget) line(s Source) *BudgetLine {
	for i := range b.Lines[:b.Count] {
		if b.Lines[i].Source == s {
			return &b.Lines[i]
		}
	}
	return nil
}

// variance returns the squared standard uncertainty of a source.
func (b *Budget) variance(s Source) float64 {
	l := b.line(s)
	if l == nil {
		return 0
	}
	return float64(l.Standard * l.Standard)
}

// Quantity returns what r changes a check to, with its unit.
func (r *Remedy) Quantity(t *TachometerCheck) units.Quantity {
	switch r.Kind {
	case LongerGate:
		return units.Quantity{Value: r.Value, Unit: t.Tachometer.Gate.Unit}
	case BetterCertificate:
		if t.Tachometer.ExpandedPercent.Set {
			return percents(r.Value)
		}
		return units.Quantity{Value: r.Value, Unit: t.Unit}
	}
	return units.Quantity{Value: r.Value, Unit: one}
}

// Text says r in words.
func (r *Remedy) Text(t *TachometerCheck) string {
	q := r.Quantity(t)
	// Three digits are rounded by up to half a percent: it is taken beforehand on the safe side.
	short := func(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) + " " + q.Unit.Symbol() }
	switch r.Kind {
	case LongerGate:
		return "a gate of at least " + short(q.Value*1.005)
	case MoreMarks:
		return fmt.Sprintf("at least %.0f marks in a turn", q.Value)
	case MoreReadings:
		return fmt.Sprintf("at least %.0f readings, if they scatter as these do", q.Value)
	}
	return fmt.Sprintf("an instrument whose certificate says U = %s or less, for the same k", short(q.Value*0.995))
}
