package ratio

import (
	"fmt"
	"strings"

	"linepace.example/core/exact"
	"linepace.example/core/fraction"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Working derives the numbers of found, which [Gear.Find] found for g.
func (g *Gear) Working(found *GearFraction) (steps []scaling.Step) {
	c := exact.NewExact()
	ratio := scaling.Input{Name: "ratio", Value: plain(found.Ratio)}
	if !g.Ratio.Set {
		formula, inputs := g.ratioFormula(c)
		steps = append(steps, scaling.Step{ID: "gear-ratio/1", Name: "ratio that is wanted", Formula: formula, Result: ratio.Value, Inputs: inputs})
	}
	if f := found.Fraction; f.Set {
		steps = append(steps, g.fractionSteps(c, &f.Value)...)
		numerator, denominator := scaling.Input{Name: "numerator", Value: plain(float64(f.Value.Numerator))}, scaling.Input{Name: "denominator", Value: plain(float64(f.Value.Denominator))}
		steps = append(steps, scaling.Step{ID: "fraction-error/1", Name: "error of the fraction, 1 % being 10000 ppm", Formula: "(numerator / denominator - ratio) / ratio",
			Result: percents(f.Value.ErrorPPM / 1e4), Inputs: []scaling.Input{numerator, denominator, ratio}})
	}
	if found.Loss.Set {
		steps = append(steps, g.lossSteps(c, found)...)
	}
	if len(found.Train) > 0 {
		formula, inputs := teethFormula(found.Train)
		steps = append(steps, scaling.Step{ID: "change-gears/1", Name: "error of the change gears, 1 % being 10000 ppm", Formula: "(" + formula + " - ratio) / ratio",
			Result: percents(found.TrainPPM / 1e4), Inputs: append(inputs, ratio)})
	}
	return steps
}

// fractionSteps derive the fraction by the continued fraction of the ratio: each
// convergent is quotient * last + before, above and below the line, and the fraction
// itself is the last of them or lies between it and the next: quotient is then smaller.
func (g *Gear) fractionSteps(c *exact.Calc, best *Fraction) (steps []scaling.Step) {
	ratio := g.target(c)
	list, _ := convergents(c, ratio)
	if c.Cmp(ratio, c.Int(1)) < 0 { // then 0/1 comes first, which is no ratio
		list = append([]fraction.Pair{{Numerator: 0, Denominator: 1}}, list...)
	}
	before, last := fraction.Pair{Denominator: 1}, fraction.Pair{Numerator: 1}
	wanted := fraction.Pair{Numerator: int64(best.Numerator), Denominator: int64(best.Denominator)}
	for _, next := range list {
		if next.Numerator > wanted.Numerator || next.Denominator > wanted.Denominator {
			next = wanted
		}
		quotient := quotientOf(before, last, next)
		step := func(which string, before, last, result int64) scaling.Step {
			return scaling.Step{ID: "fraction/1", Name: fmt.Sprintf("%s of %d/%d", which, next.Numerator, next.Denominator), Formula: "quotient * last + before",
				Result: plain(float64(result)), Inputs: []scaling.Input{{Name: "quotient", Value: plain(float64(quotient))}, {Name: "last", Value: plain(float64(last))}, {Name: "before", Value: plain(float64(before))}}}
		}
		steps = append(steps, step("numerator", before.Numerator, last.Numerator, next.Numerator), step("denominator", before.Denominator, last.Denominator, next.Denominator))
		if next == wanted {
			return steps
		}
		before, last = last, next
	}
	return steps
}

// quotientOf returns how often last goes into what next is beyond before.
func quotientOf(before, last, next fraction.Pair) int64 {
	if last.Numerator > 0 {
		return (next.Numerator - before.Numerator) / last.Numerator
	}
	return (next.Denominator - before.Denominator) / last.Denominator
}

func (g *Gear) ratioFormula(c *exact.Calc) (string, []scaling.Input) {
	if g.Sensors == nil {
		return teethFormula(g.Teeth)
	}
	s := g.Sensors
	inputs := []scaling.Input{g.pulsesInput(c, "followerPulses", s.FollowerID), g.pulsesInput(c, "leaderPulses", s.LeaderID)}
	switch {
	case s.LengthPerPiece.Unit == nil:
		return "percent * followerPulses / leaderPulses", append(inputs, scaling.Input{Name: "percent", Value: percents(s.Percent.Value)})
	case g.drive(s.FollowerID).RateDimension() == units.PieceRate:
		return "followerPulses / (lengthPerPiece * leaderPulses)", append(inputs, scaling.Input{Name: "lengthPerPiece", Value: s.LengthPerPiece})
	}
	return "lengthPerPiece * followerPulses / leaderPulses", append(inputs, scaling.Input{Name: "lengthPerPiece", Value: s.LengthPerPiece})
}

// pulsesInput is a drive's pulses for each unit that it delivers.
func (g *Gear) pulsesInput(c *exact.Calc, name, id string) scaling.Input {
	unit := perPulse[g.drive(id).RateDimension()]
	return scaling.Input{Name: name, Value: trueQuantity(c, g.pulsesPerUnit(c, id), unit)}
}

// perPulse holds the units of pulses for each unit that is delivered.
var perPulse = map[units.Dimension]*units.Unit{
	units.SpeedDim: units.MustParse("pulse/m"), units.VolumeFlow: units.MustParse("pulse/L"),
	units.MassFlow: units.MustParse("pulse/kg"), units.PieceRate: units.MustParse("pulse/pc"),
}

func teethFormula(pairs []TeethPair) (string, []scaling.Input) {
	var terms []string
	var inputs []scaling.Input
	for i, pair := range pairs {
		driver, driven := fmt.Sprintf("driverTeeth%d", i+1), fmt.Sprintf("drivenTeeth%d", i+1)
		terms = append(terms, driver+" / "+driven)
		inputs = append(inputs, scaling.Input{Name: driver, Value: plain(float64(pair.DriverTeeth))}, scaling.Input{Name: driven, Value: plain(float64(pair.DrivenTeeth))})
	}
	return strings.Join(terms, " * "), inputs
}

// lossSteps derives what an inexact fraction loses from its error, which is told
// as a part of the ratio without its sign.
func (g *Gear) lossSteps(c *exact.Calc, found *GearFraction) []scaling.Step {
	loss, ppm := &found.Loss.Value, found.Fraction.Value.ErrorPPM
	off := scaling.Input{Name: "error", Value: percents(max(ppm, -ppm) / 1e4)}
	ratio := scaling.Input{Name: "ratio", Value: plain(found.Ratio)}
	step := func(name, formula string, result units.Quantity, inputs ...scaling.Input) scaling.Step {
		return scaling.Step{ID: "gear-loss/1", Name: name, Formula: formula, Result: result, Inputs: inputs}
	}
	steps := []scaling.Step{
		step("repeats until one whole repeat is lost", "1 / error", plain(loss.RepeatsToRepeat), off),
		step("leader pulses until the follower is one pulse off", "1 / (error * ratio)", plain(loss.LeaderPulsesToPulse), off, ratio),
	}
	if loss.PulsesPerHour.Unit == nil {
		return steps
	}
	rate := scaling.Input{Name: "leaderRate", Value: trueQuantity(c, g.leaderPulses(c), pulsePerSecond)}
	size := loss.PulsesPerHour
	size.Value = max(size.Value, -size.Value)
	one := units.Quantity{Value: 1, Unit: pulse}
	steps = append(steps,
		step("pulses lost, or gained", "leaderRate * ratio * error", size, rate, ratio, off),
		step("time until one pulse is lost", "one / lost", loss.TimeToPulse, scaling.Input{Name: "one", Value: one}, scaling.Input{Name: "lost", Value: size}))
	if loss.TimeToRepeat.Unit != nil {
		steps = append(steps, step("time until one repeat is lost", "repeat / lost", loss.TimeToRepeat,
			scaling.Input{Name: "repeat", Value: trueQuantity(c, g.repeatPulses(c), pulse)}, scaling.Input{Name: "lost", Value: size}))
	}
	return steps
}

var (
	pulse          = units.MustParse("pulse")
	pulsePerSecond = units.MustParse("pulse/s")
)
