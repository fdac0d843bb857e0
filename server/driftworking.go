package server

import (
	"linepace.example/core/drift"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

var (
	revolutionsPerMinute = units.MustParse("r/min")
	hours                = units.MustParse("h")
	squareHours          = units.MustParse("h2")
	perHour              = units.MustParse("1/h")
	plainUnit            = units.MustParse("1")
)

// driftWorker collects the steps of an assessment.
type driftWorker struct {
	*assessing
	found *drift.Assessment
	steps []scaling.Step
}

// working derives the numbers of an assessment. Sums over the readings are inputs.
func (a *assessing) working(found *drift.Assessment) []scaling.Step {
	w := &driftWorker{assessing: a, found: found}
	w.reading()
	w.charts()
	if found.HasTrend {
		w.trend()
	}
	w.delivery()
	if found.HasTrend {
		w.limits()
	}
	if found.HasCorrection {
		w.corrected()
	}
	return w.steps
}

func (w *driftWorker) step(id, name, formula string, result units.Quantity, inputs ...scaling.Input) {
	w.steps = append(w.steps, scaling.Step{ID: id, Name: name, Formula: formula, Inputs: inputs, Result: result})
}

func input(name string, value units.Quantity) scaling.Input {
	return scaling.Input{Name: name, Value: value}
}

func percents(v float64) units.Quantity { return units.Quantity{Value: v, Unit: percentUnit} }

func plain(v float64) units.Quantity { return units.Quantity{Value: v, Unit: plainUnit} }

func inHours(v float64) units.Quantity { return units.Quantity{Value: v, Unit: hours} }

func (w *driftWorker) perTurn() scaling.Input {
	return input("perTurn", inUnit(w.study.Model.PerTurn, w.turnUnit))
}

func (w *driftWorker) slipFlow() scaling.Input {
	return input("slipFlow", inUnit(w.study.Model.SlipFlow, w.rateUnit))
}

func (w *driftWorker) speed() scaling.Input {
	return input("speed", units.Quantity{Value: w.found.Now.UsualRPM, Unit: revolutionsPerMinute})
}

func (w *driftWorker) rate() scaling.Input {
	return input("rate", inUnit(w.found.Now.Flow, w.rateUnit))
}

// reading derives the last reading.
func (w *driftWorker) reading() {
	last := len(w.obs.readings) - 1
	o, r := w.obs.readings[last], w.found.Readings[last]
	amount := inUnit(o.Amount, w.amountUnit())
	w.step("delivery-deviation/1", "last reading: what was metered against what the model expects", "amount / (perTurn * turns - slipFlow * gate) - 1",
		percents(r.Percent), input("amount", amount), w.perTurn(), input("turns", units.Quantity{Value: o.Turns, Unit: turns}), w.slipFlow(),
		input("gate", units.Quantity{Value: o.Minutes, Unit: minutes}))
}

var (
	turns   = units.MustParse("r")
	minutes = units.MustParse("min")
)

// amountUnit is a unit of what is metered.
func (a *assessing) amountUnit() *units.Unit {
	return map[units.Dimension]*units.Unit{
		units.LengthDim: units.MustParse("m"), units.VolumeDim: units.MustParse("L"),
		units.MassDim: units.MustParse("kg"), units.PieceDim: units.MustParse("pc"),
	}[a.obs.kind]
}

// charts derives the state of both charts at the last reading, from that before it.
// After an event they are about another model, and have no steps here.
func (w *driftWorker) charts() {
	last := len(w.found.Readings) - 1
	if w.found.Current > 0 || last == 0 || w.found.EWMAs[last-1].Variance == 0 {
		return
	}
	charts := w.study.Charts.Rebase(w.found.Target)
	before, average, now := w.found.CUSUMs[last-1], w.found.EWMAs[last-1].Average, w.found.CUSUMs[last]
	if before.Alarm != drift.NoAlarm { // which begins the chart anew
		before = charts.CUSUM.Start()
	}
	if w.found.EWMAs[last-1].Alarm != drift.NoAlarm {
		average = charts.EWMA.Start().Average
	}
	reading, target := input("reading", percents(w.found.Readings[last].Percent)), input("target", percents(w.found.Target))
	sigma := input("sigma", percents(w.found.SigmaOf(last)))
	k := input("k", plain(charts.CUSUM.K))
	w.step("cusum/1", "upper sum at the last reading, in standard deviations", "max(0, sum + (reading - target) / sigma - k)", plain(now.High),
		input("sum", plain(before.High)), reading, target, sigma, k)
	w.step("cusum/1", "lower sum at the last reading, in standard deviations", "max(0, sum - (reading - target) / sigma - k)", plain(now.Low),
		input("sum", plain(before.Low)), reading, target, sigma, k)
	w.step("ewma/1", "moving average at the last reading", "average + lambda * (reading - average)", percents(w.found.EWMAs[last].Average),
		input("average", percents(average)), input("lambda", plain(charts.EWMA.Lambda)), reading)
}

// slopeUnits are those of a loss per hour, and of a loss times hours.
func (a *assessing) slopeUnits() (per, times *units.Unit) {
	if a.study.Wear == drift.Share {
		return perHour, hours
	}
	return units.MustParse("L/min/h"), units.MustParse("L.h/min")
}

// slope writes the loss per running hour.
func (w *driftWorker) slope() units.Quantity {
	per, _ := w.slopeUnits()
	return w.lossTimes(w.found.Line.Slope, per)
}

// lossTimes writes a loss that is multiplied or divided by hours.
func (w *driftWorker) lossTimes(v float64, unit *units.Unit) units.Quantity {
	if w.study.Wear == drift.Share {
		return units.Quantity{Value: v / 100, Unit: unit} // a loss is in percent
	}
	const litres = 1000 // in a cubic metre
	return units.Quantity{Value: v * litres, Unit: unit}
}

func (w *driftWorker) trend() {
	sums := w.found.TrendSums(&w.study)
	_, times := w.slopeUnits()
	w.step("line/1", "loss per running hour, by weighted least squares", "sumAbove / sumBelow", w.slope(),
		input("sumAbove", w.lossTimes(sums.Above, times)), input("sumBelow", units.Quantity{Value: sums.Below, Unit: squareHours}))
}

// delivery derives the delivery now.
func (w *driftWorker) delivery() {
	n := &w.found.Now
	loss := input("loss", w.loss(n.Loss.Value))
	w.step("commissioned-rate/1", "process rate of the commissioned model at the usual speed", "perTurn * speed - slipFlow", w.rate().Value, w.perTurn(), w.speed(), w.slipFlow())
	if w.found.Trending() {
		line := &w.found.Line
		w.step("line/1", "loss now, on the trend's line", "meanLoss + slope * (hours - meanHours)", loss.Value,
			input("meanLoss", w.loss(line.YMean)), input("slope", w.slope()),
			input("hours", inHours(w.study.Running(w.study.Hours[len(w.study.Hours)-1]))), input("meanHours", inHours(line.XMean)))
	} else {
		sum, weights := w.found.MeanOfLosses()
		w.step("mean-loss/1", "loss now, the weighted mean since the change", "sum / weights", loss.Value,
			input("sum", w.loss(sum)), input("weights", plain(weights)))
	}
	share, inputs := w.lossShare()
	w.step("delivery-change/1", "change of the delivery at the usual speed", "0 - loss"+share, percents(n.Percent), append([]scaling.Input{loss}, inputs...)...)
	if n.HasUncertainty && n.Loss.U > 0 {
		half := n.Uncertainty
		w.step("delivery-uncertainty/1", "its uncertainty by the scatter of the readings", "coverage * uncertainty"+share, percents(half),
			append([]scaling.Input{input("coverage", plain(half/(w.percentOf(n.Loss.U)))), input("uncertainty", w.loss(n.Loss.U))}, inputs...)...)
	}
	if w.study.MeterPercent > 0 {
		w.step("meter-uncertainty/1", "what the meter's accuracy adds, 95 % of a rectangular distribution", "0.95 * accuracy",
			percents(drift.MeterUncertainty(w.study.MeterPercent)), input("accuracy", percents(w.study.MeterPercent)))
	}
}

// percentOf is the magnitude of the change that a loss makes at the usual speed.
func (w *driftWorker) percentOf(loss float64) float64 { return -w.found.PercentOf(&w.study, loss) }

// lossShare makes a loss a share of the delivery.
func (w *driftWorker) lossShare() (formula string, inputs []scaling.Input) {
	if w.study.Wear == drift.Leak {
		return " / rate", []scaling.Input{w.rate()}
	}
	return " * perTurn * speed / rate", []scaling.Input{w.perTurn(), w.speed(), w.rate()}
}

// limits derives the losses at the limits, and when the line reaches them.
func (w *driftWorker) limits() {
	_, inputs := w.lossShare()
	formula, level := "tolerance * rate", w.found.Level
	if w.study.Wear == drift.Share {
		formula += " / (perTurn * speed)"
	}
	if level < 0 {
		formula = "0 - " + formula
	}
	w.step("loss-at-tolerance/1", "loss at which the tolerance is left", formula, w.loss(level),
		append([]scaling.Input{input("tolerance", percents(w.study.TolerancePercent))}, inputs...)...)
	w.when("running hours at which the tolerance is left", level, &w.found.Tolerance)
	if !w.found.HasLimit {
		return
	}
	highest := input("highest", units.Quantity{Value: w.study.HighestRPM, Unit: revolutionsPerMinute})
	metered := input("flow", inUnit(w.found.Now.Metered, w.rateUnit))
	formula = "perTurn * highest - slipFlow - flow"
	if w.study.Wear == drift.Share {
		formula = "1 - (flow + slipFlow) / (perTurn * highest)"
	}
	w.step("loss-at-speed/1", "loss for which the motor's highest speed just makes up", formula, w.loss(w.found.Highest),
		w.perTurn(), highest, w.slipFlow(), metered)
	w.when("running hours at which the speed reaches the motor's highest", w.found.Highest, &w.found.Saturated)
}

func (w *driftWorker) when(name string, level float64, f *drift.Forecast) {
	if !f.HasAt {
		return
	}
	w.step("forecast/1", name, "meanHours + (limit - meanLoss) / slope", inHours(f.At),
		input("meanHours", inHours(w.found.Line.XMean)), input("limit", w.loss(level)), input("meanLoss", w.loss(w.found.Line.YMean)), input("slope", w.slope()))
}

// corrected derives the model that holds now.
func (w *driftWorker) corrected() {
	loss := input("loss", w.loss(w.found.Now.Loss.Value))
	if w.study.Wear == drift.Leak {
		w.step("worn-model/1", "slip flow that holds now", "slipFlow + loss", inUnit(w.found.Corrected.SlipFlow, w.rateUnit), w.slipFlow(), loss)
		return
	}
	w.step("worn-model/1", "delivered per turn of the motor now", "perTurn * (1 - loss)", inUnit(w.found.Corrected.PerTurn, w.turnUnit), w.perTurn(), loss)
}
