package measurement

import (
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Place is where a surface wheel runs on a belt.
type Place uint8

// Places.
const (
	NoPlace     Place = iota
	StraightRun       // where every part of the belt has one speed
	OverRoll          // where the belt bends over a roll
)

// overRoll returns by how much the outer surface of a belt is faster over a roll than
// on the straight run.
//
//	(d + 2t) / (d + t)
//
// d: diameter of the roll, t: thickness of the belt. The neutral axis lies at
// mid-thickness, on the diameter d + t, and the outer surface on d + 2t; both turn
// with the roll. Source: kinematics of a bent belt.
func overRoll(c *exact.Calc, diameter, thickness units.Quantity) exact.Num {
	neutral := diameter.Base(c).Add(thickness.Base(c))
	return neutral.Add(thickness.Base(c)).Quo(neutral)
}

// wheelFormula is the belt's speed from what a wheel reads.
func (m *Lap) wheelFormula(run *LapRun) (formula string, inputs []scaling.Input) {
	inputs = []scaling.Input{{Name: "reading", Value: run.Speed}}
	if run.Place == StraightRun {
		return "reading", inputs
	}
	diameter, thickness := m.roll()
	return "reading * (rollDiameter + beltThickness) / (rollDiameter + 2 * beltThickness)",
		append(inputs, scaling.Input{Name: "rollDiameter", Value: diameter}, scaling.Input{Name: "beltThickness", Value: thickness})
}
