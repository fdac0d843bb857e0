package report

import (
	"strconv"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// appendix writes how each number was found, to 15 significant digits, which is
// what a double carries, so that whoever recomputes a step gets its result.
func (s *sheet) appendix() {
	headed := false
	for i, p := range s.resp.GetSetpoints() {
		if len(p.GetWorking()) == 0 {
			continue
		}
		if !headed {
			s.line("APPENDIX: HOW EACH NUMBER WAS FOUND")
			s.blank()
			headed = true
		}
		s.hanging(strconv.Itoa(i+1), p.GetDriveId())
		for _, step := range p.GetWorking() {
			s.step(step)
		}
		s.blank()
	}
}

func (p *page) step(step *linepacev1.Step) {
	p.wrapped("", markColumns, step.GetName()+" ("+step.GetId()+")")
	p.labelled("  formula", step.GetFormula())
	var inputs []string
	for _, input := range step.GetInputs() {
		inputs = append(inputs, input.GetName()+" = "+full(input.GetValue()))
	}
	p.labelled("  with", strings.Join(inputs, ", "))
	p.labelled("  result", full(step.GetResult()))
}

// full writes a quantity to 15 significant digits, without zeros at the end.
func full(q *linepacev1.Quantity) string {
	text := significant(q.GetValue(), 15)
	if q.GetUnit() != "1" {
		text += " " + q.GetUnit()
	}
	return text
}
