package scaling

import (
	"fmt"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/statistics"
	"linepace.example/core/units"
)

// mostPointsShown is the most references whose sums are written out in the working;
// of more the sums themselves are its inputs.
const mostPointsShown = 12

// fitSteps derives the line through two or more references. A sum's terms are
// weighted where every reference states its uncertainty.
func (w *worker) fitSteps(unit *units.Unit) {
	d := w.subject.Drive
	form := d.ReferenceForm()
	f := fit(w.c, d.References, form)
	perTurn := Input{"perMotorTurn", quantity(w.c, f.perTurn, unit)}
	p := pointSums{worker: w, points: f.points, weighted: allStated(d.References)}
	if form == ThroughOrigin {
		p.step("reference-fit/1", "delivered per motor turn, by least squares through zero", perTurn.Value,
			p.sum("v * n", f.above, rateTimesSpeed[w.rel.kind]), p.sum("n * n", f.below, speedSquared))
		return
	}
	const id = "reference-line/1"
	speed := Input{"meanSpeed", speedQuantity(f.speed.Float())}
	rate := Input{"meanRate", quantity(w.c, f.rate, RateUnit(d))}
	all := p.sum("1", f.weight, one)
	p.step(id, "mean speed of the references", speed.Value, p.sum("n", f.speeds, revolutionPerMin), all)
	p.step(id, "mean rate of the references", rate.Value, p.sum("v", f.rates, RateUnit(d)), all)
	p.step(id, "delivered per motor turn, by least squares", perTurn.Value,
		p.sum("(n - meanSpeed) * (v - meanRate)", f.above, rateTimesSpeed[w.rel.kind]), p.sum("(n - meanSpeed) * (n - meanSpeed)", f.below, speedSquared),
		speed, rate)
	w.step(id, "slip flow: what the line lacks at standstill", "perMotorTurn * meanSpeed - meanRate", quantity(w.c, f.leak, RateUnit(d)),
		perTurn, speed, rate)
}

// Units of the sums.
var (
	speedSquared   = units.MustParse("r2/min2")
	rateTimesSpeed = [...]*units.Unit{
		lengthRate: units.MustParse("m.r/min2"), volumeRate: units.MustParse("L.r/min2"),
		massRate: units.MustParse("kg.r/min2"), pieceRate: units.MustParse("pc.r/min2"),
	}
)

// pointSums writes sums over the references of a drive.
type pointSums struct {
	*worker
	points   []point
	weighted bool
}

// pointSum is a sum over the references: its term, in which n and v stand for a
// reference's speed and rate, and its value.
type pointSum struct {
	term  string
	value units.Quantity
}

func (p pointSums) sum(term string, value exact.Num, unit *units.Unit) pointSum {
	return pointSum{term, quantity(p.c, value, unit)}
}

// step adds the step whose result is one sum over another; means are further inputs
// of the sums' terms.
func (p pointSums) step(id, name string, result units.Quantity, above, below pointSum, means ...Input) {
	refs := p.subject.Drive.References
	if len(refs) > mostPointsShown {
		p.worker.step(id, name, "sumAbove / sumBelow", result, Input{"sumAbove", above.value}, Input{"sumBelow", below.value})
		return
	}
	inputs := means
	for i := range refs {
		number := fmt.Sprint(i + 1)
		if p.weighted {
			inputs = append(inputs, Input{"w" + number, plain(p.points[i].weight.Float())})
		}
		if strings.Contains(above.term+below.term, "n") {
			inputs = append(inputs, Input{"n" + number, speedQuantity(refs[i].MotorRPM)})
		}
		if strings.Contains(above.term, "v") {
			inputs = append(inputs, Input{"v" + number, refs[i].Value})
		}
	}
	p.worker.step(id, name, p.written(above.term)+" / "+p.written(below.term), result, inputs...)
}

// written writes a sum out, point by point.
func (p pointSums) written(term string) string {
	var terms []string
	for i := range p.subject.Drive.References {
		number := fmt.Sprint(i + 1)
		text := numbered(term, number)
		switch {
		case p.weighted && term == "1":
			text = "w" + number
		case p.weighted:
			text = "w" + number + " * " + text
		}
		terms = append(terms, text)
	}
	return "(" + strings.Join(terms, " + ") + ")"
}

// numbered gives the names n and v in a term the number of their point.
func numbered(term, number string) string {
	words := strings.FieldsFunc(term, func(r rune) bool { return r == ' ' })
	for i, word := range words {
		if bare := strings.Trim(word, "()"); bare == "n" || bare == "v" {
			words[i] = strings.Replace(word, bare, bare+number, 1)
		}
	}
	return strings.Join(words, " ")
}

// uncertaintySteps derives how certain the line through the references is, where
// anything tells that.
func (w *worker) uncertaintySteps() {
	const id = "reference-uncertainty/1"
	d := w.subject.Drive
	form, p := d.ReferenceForm(), samplesOf(d)
	l := p.statistics(form)
	if l == nil {
		return
	}
	line := p.line(d, form, l)
	if line.PerMotorTurnU.Unit == nil {
		return
	}
	if len(d.References) == 1 {
		w.step(id, "standard uncertainty of that", "perMotorTurn * expanded / 2", line.PerMotorTurnU,
			Input{"perMotorTurn", line.PerMotorTurn}, Input{"expanded", percents(d.References[0].UncertaintyPercent.Value)})
		return
	}
	f := fit(w.c, d.References, form)
	s := Input{"s", w.unitUncertainty(id, l, &line)}
	below := Input{"sumBelow", quantity(w.c, f.below, speedSquared)}
	w.step(id, "standard uncertainty of what is delivered per motor turn", "s / sqrt(sumBelow)", line.PerMotorTurnU, s, below)
	if form != WithOffset {
		return
	}
	w.step(id, "standard uncertainty of the slip flow", "s * sqrt(1 / sumWeights + meanSpeed * meanSpeed / sumBelow)", line.OffsetU,
		s, below, Input{"sumWeights", plain(f.weight.Float())}, Input{"meanSpeed", speedQuantity(f.speed.Float())})
}

// unitUncertainty derives the standard uncertainty of a reference of weight 1: the
// first's, where every one states its own, and else the scatter about the line.
func (w *worker) unitUncertainty(id string, l *statistics.Line, line *Line) units.Quantity {
	first := &w.subject.Drive.References[0]
	if l.Stated {
		u := fromBase(first.uncertainty()/expanded, first.Value.Unit)
		w.step(id, "standard uncertainty of the first reference, to which the weights are relative", "value * expanded / 2", u,
			Input{"value", first.Value}, Input{"expanded", percents(first.UncertaintyPercent.Value)})
		return u
	}
	w.step(id, "standard deviation of the references about the line", "sqrt(squares / degreesOfFreedom)", line.ResidualSD,
		Input{"squares", fromBase(l.SSE, rateSquared[w.rel.kind])}, Input{"degreesOfFreedom", plain(float64(l.Dof))})
	return line.ResidualSD
}

var rateSquared = [...]*units.Unit{
	lengthRate: units.MustParse("m2/min2"), volumeRate: units.MustParse("L2/min2"),
	massRate: units.MustParse("kg2/min2"), pieceRate: units.MustParse("pc2/min2"),
}
