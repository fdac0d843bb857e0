package report

import (
	"math"
	"strconv"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// appendix writes how each number was found, with unrounded numbers, so that
// whoever recomputes a step gets its result.
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

func (s *sheet) step(step *linepacev1.Step) {
	s.wrapped("", markColumns, step.GetName()+" ("+step.GetId()+")")
	s.labelled("  formula", step.GetFormula())
	for _, input := range step.GetInputs() {
		s.labelled("  with", input.GetName()+" = "+unrounded(input.GetValue()))
	}
	s.labelled("  result", unrounded(step.GetResult()))
}

// unrounded writes the shortest decimal that reads back to the value.
func unrounded(q *linepacev1.Quantity) string {
	format := byte('f')
	if x := math.Abs(q.GetValue()); x != 0 && x < 1e-6 || x >= 1e15 {
		format = 'e'
	}
	text := strconv.FormatFloat(q.GetValue(), format, -1, 64)
	if q.GetUnit() != "1" {
		text += " " + q.GetUnit()
	}
	return text
}
