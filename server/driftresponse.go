package server

import (
	"linepace.example/core/drift"
	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

const (
	defaultSeriesPoints = 500
	mostAlarms          = 100
)

// response writes what was found in the terms of the request.
func (a *assessing) response(in *linepacev1.AssessRequest, found *drift.Assessment) (*linepacev1.AssessResponse, error) {
	points := defaultSeriesPoints
	if in.SeriesPoints != nil {
		points = int(in.GetSeriesPoints())
	}
	shown := thinned(found.Readings, points)
	cusum, err := a.cusumChart(found, shown)
	if err != nil {
		return nil, a.explain(err)
	}
	ewma, err := a.ewmaChart(found, shown)
	if err != nil {
		return nil, a.explain(err)
	}
	out := &linepacev1.AssessResponse{
		Now: a.now(found), Summary: a.summary(found), Cusum: cusum, Ewma: ewma,
		Change: a.change(found), Trend: a.trend(found), Forecasts: a.forecasts(found),
	}
	for _, i := range shown {
		out.Series = append(out.Series, &linepacev1.AssessResponse_Point{
			Index: a.obs.index[i], Time: a.at(a.obs.hours[i]), Percent: found.Readings[i].Percent, SigmaPercent: found.SigmaOf(i),
		})
	}
	if out.Correction, err = a.correction(in, found); err != nil {
		return nil, err
	}
	for _, each := range drift.Advise(&a.study, found, a.obs.pulses) {
		out.Advice = append(out.Advice, &linepacev1.AssessResponse_Advice{
			Code: linepacev1.AssessResponse_Advice_Code(each.Code), Severity: linepacev1.Check_Severity(each.Severity), Message: each.Message,
		})
	}
	if in.GetIncludeWorking() {
		out.Working = working(a.working(found))
	}
	return out, nil
}

// thinned returns the readings that are shown: all of them, or of each run of as many
// as it takes the lowest and the highest.
func thinned(readings []drift.Reading, points int) []int {
	var out []int
	n := len(readings)
	if n <= points {
		for i := range n {
			out = append(out, i)
		}
		return out
	}
	runs := points / 2
	for k := range runs {
		from, to := k*n/runs, (k+1)*n/runs
		low, high := from, from
		for i := from; i < to; i++ {
			if readings[i].Percent < readings[low].Percent {
				low = i
			}
			if readings[i].Percent > readings[high].Percent {
				high = i
			}
		}
		out = append(out, min(low, high))
		if low != high {
			out = append(out, max(low, high))
		}
	}
	return out
}

// inUnit turns a value in base units into one in unit.
func inUnit(base float64, unit *units.Unit) units.Quantity {
	c := new(exact.Calc)
	return units.Quantity{Value: units.FromBase(c, c.Dec(base), unit).Float(), Unit: unit}
}

var percentUnit = units.MustParse("%")

// loss writes a loss: a flow of a pump, a percentage of each turn of any other drive.
func (a *assessing) loss(value float64) units.Quantity {
	if a.study.Wear == drift.Leak {
		return inUnit(value, a.rateUnit)
	}
	return units.Quantity{Value: value, Unit: percentUnit}
}

func (a *assessing) now(found *drift.Assessment) *linepacev1.AssessResponse_Now {
	n := &found.Now
	perTurn := n.Flow * (1 + n.Percent/100) / n.UsualRPM
	out := &linepacev1.AssessResponse_Now{
		Time: a.at(a.obs.hours[len(a.obs.hours)-1]), PerTurn: quantity(inUnit(perTurn, a.turnUnit)), ChangePercent: n.Percent,
		UsualRpm: n.UsualRPM, Loss: quantity(a.loss(n.Loss.Value)), WithinTolerance: n.Within,
	}
	if n.HasUncertainty {
		out.UncertaintyPercent = &n.Uncertainty
	}
	if a.study.MeterPercent > 0 {
		meter := drift.MeterUncertainty(a.study.MeterPercent)
		out.MeterUncertaintyPercent = &meter
	}
	return out
}

func (a *assessing) summary(found *drift.Assessment) *linepacev1.AssessResponse_Summary {
	out := &linepacev1.AssessResponse_Summary{
		ReadingCount: int32(len(found.Readings)), GapCount: a.obs.gaps, CurrentCount: int32(len(found.Readings) - found.Current),
		TargetPercent: found.Target, SigmaPercent: found.Sigma, Correlated: found.Correlated,
	}
	if a.study.Sigma == 0 {
		out.SigmaLowPercent, out.SigmaHighPercent = &found.Base.SigmaBounds.Low, &found.Base.SigmaBounds.High
	}
	if found.HasLag1 {
		out.Lag1Autocorrelation = &found.Lag1
	}
	return out
}

// runLengths fills in how long a chart runs; length finds that.
func (a *assessing) runLengths(out *linepacev1.AssessResponse_Chart, found *drift.Assessment, length func(drift.Condition) (drift.RunLength, error)) error {
	find := func(shift, ratio float64) (*float64, error) {
		r, err := length(drift.Condition{Shift: shift, SigmaRatio: ratio})
		return &r.Readings, err
	}
	control, err := find(0, 1)
	if err != nil {
		return err
	}
	shifted, err := find(1, 1)
	if err != nil {
		return err
	}
	out.RunLengthInControl, out.RunLengthAtShift = *control, *shifted
	if a.study.Sigma > 0 || found.Sigma == 0 {
		return nil
	}
	low, high := found.Base.SigmaBounds.Low/found.Sigma, found.Base.SigmaBounds.High/found.Sigma
	if out.RunLengthLow, err = find(0, low); err != nil {
		return err
	}
	if out.RunLengthHigh, err = find(0, high); err != nil {
		return err
	}
	// The same shift is another number of standard deviations of the readings then, which
	// the condition counts in those of the chart.
	if out.RunLengthAtShiftLow, err = find(1, low); err != nil {
		return err
	}
	out.RunLengthAtShiftHigh, err = find(1, high)
	return err
}

func (a *assessing) alarm(out *linepacev1.AssessResponse_Chart, i int, side drift.Alarm, run int) {
	if out.AlarmCount++; out.AlarmCount > mostAlarms {
		return
	}
	alarm := &linepacev1.AssessResponse_Alarm{Index: a.obs.index[i], Time: a.at(a.obs.hours[i]), High: side == drift.High}
	if run > 0 {
		began := a.obs.index[max(0, i+1-run)]
		alarm.BeganIndex = &began
	}
	out.Alarms = append(out.Alarms, alarm)
}

func (a *assessing) cusumChart(found *drift.Assessment, shown []int) (*linepacev1.AssessResponse_Chart, error) {
	out := &linepacev1.AssessResponse_Chart{}
	for i, s := range found.CUSUMs {
		switch s.Alarm {
		case drift.High:
			a.alarm(out, i, s.Alarm, s.HighRun)
		case drift.Low:
			a.alarm(out, i, s.Alarm, s.LowRun)
		}
	}
	for _, i := range shown {
		s := found.CUSUMs[i]
		out.Points = append(out.Points, &linepacev1.AssessResponse_ChartPoint{Index: a.obs.index[i], Value: s.High, Low: s.Low, High: a.study.Charts.CUSUM.H})
	}
	return out, a.runLengths(out, found, a.study.Charts.CUSUM.RunLength)
}

func (a *assessing) ewmaChart(found *drift.Assessment, shown []int) (*linepacev1.AssessResponse_Chart, error) {
	out := &linepacev1.AssessResponse_Chart{}
	for i, s := range found.EWMAs {
		if s.Alarm != drift.NoAlarm {
			a.alarm(out, i, s.Alarm, 0)
		}
	}
	for _, i := range shown {
		if s := found.EWMAs[i]; s.Variance > 0 { // charted
			out.Points = append(out.Points, &linepacev1.AssessResponse_ChartPoint{Index: a.obs.index[i], Value: s.Average, Low: s.LowerSide, High: s.UpperSide})
		}
	}
	return out, a.runLengths(out, found, a.study.Charts.EWMA.RunLength)
}

func (a *assessing) change(found *drift.Assessment) *linepacev1.AssessResponse_Change {
	if !found.HasChange {
		return nil
	}
	c := &found.Change
	out := &linepacev1.AssessResponse_Change{Kind: linepacev1.AssessResponse_Change_Kind(c.Kind + 1), StepOverRamp: c.StepOverRamp}
	if c.Kind == drift.NoChange {
		return out
	}
	place := func(i int) *int32 { index := a.obs.index[found.Current+i]; return &index }
	out.Index, out.FirstIndex, out.LastIndex = place(c.At), place(c.Low), place(c.High)
	out.Time = a.at(a.obs.hours[found.Current+c.At])
	before, after := found.PercentOf(&a.study, c.Before.Value), found.PercentOf(&a.study, c.After.Value)
	out.BeforePercent = &before
	if c.Kind == drift.Step {
		out.AfterPercent = &after
	}
	for i := range found.Causes {
		out.Causes = append(out.Causes, cause(&found.Causes[i]))
	}
	return out
}

func cause(n *drift.StepName) *linepacev1.AssessResponse_Change_Cause {
	out := &linepacev1.AssessResponse_Change_Cause{
		Name: linepacev1.AssessResponse_Change_Name(n.Cause + 1), Factor: n.Factor, Off: n.Off, Text: n.Message(),
	}
	if n.Teeth > 0 {
		out.Teeth = &n.Teeth
	}
	return out
}

func (a *assessing) trend(found *drift.Assessment) *linepacev1.AssessResponse_Trend {
	if !found.HasTrend {
		return nil
	}
	per := func(slope float64) *linepacev1.Quantity { return quantity(a.loss(slope * 1000)) }
	out := &linepacev1.AssessResponse_Trend{
		Per_1000Hours: per(found.Line.Slope), MedianPer_1000Hours: per(found.Median.Slope),
		MannKendallS: float64(found.Test.S), MannKendallZ: found.Test.Z, MannKendallP: found.Test.P, Significant: found.Trending(),
	}
	if bounds, err := found.Line.SlopeInterval(drift.Confidence); err == nil {
		out.Per_1000HoursLow, out.Per_1000HoursHigh = per(bounds.Low), per(bounds.High)
	}
	if found.Median.Bounded {
		out.MedianPer_1000HoursLow, out.MedianPer_1000HoursHigh = per(found.Median.Low), per(found.Median.High)
	}
	return out
}

func (a *assessing) forecasts(found *drift.Assessment) []*linepacev1.AssessResponse_Forecast {
	if !found.HasTrend {
		return nil
	}
	out := []*linepacev1.AssessResponse_Forecast{a.forecast(linepacev1.AssessResponse_Forecast_TOLERANCE_LEFT, &found.Tolerance, found.Level)}
	if found.HasLimit {
		out = append(out, a.forecast(linepacev1.AssessResponse_Forecast_SPEED_AT_LIMIT, &found.Saturated, found.Highest))
	}
	return out
}

func (a *assessing) forecast(what linepacev1.AssessResponse_Forecast_What, f *drift.Forecast, level float64) *linepacev1.AssessResponse_Forecast {
	out := &linepacev1.AssessResponse_Forecast{What: what, Loss: quantity(a.loss(level)), Reached: f.Reached, Never: f.Never}
	if f.HasAt {
		out.Time = a.at(a.study.Calendar(f.At))
	}
	if !f.Never && !f.OpenBefore {
		out.Earliest = a.at(a.study.Calendar(f.Earliest))
	}
	if !f.Never && !f.Open {
		out.Latest = a.at(a.study.Calendar(f.Latest))
	}
	return out
}

// correction writes the overlay for the line, and what it does to the drive's setpoint.
func (a *assessing) correction(in *linepacev1.AssessRequest, found *drift.Assessment) (*linepacev1.AssessResponse_Correction, error) {
	if !found.HasCorrection {
		return nil, nil
	}
	digest := a.evidence
	if digest == "" {
		var err error
		if digest, err = evidence(in); err != nil {
			return nil, err
		}
	}
	perTurn := inUnit(found.Corrected.PerTurn, a.turnUnit)
	model := &linepacev1.DeliveryModel{Model: &linepacev1.DeliveryModel_PerTurn{PerTurn: quantity(perTurn)}}
	corrected := scaling.DeliveryModel{PerTurn: perTurn}
	if a.study.Wear == drift.Leak {
		corrected.SlipFlow, corrected.Pump = inUnit(found.Corrected.SlipFlow, a.rateUnit), true
		model.Model = &linepacev1.DeliveryModel_Pump_{Pump: &linepacev1.DeliveryModel_Pump{Displacement: quantity(perTurn), SlipFlow: quantity(corrected.SlipFlow)}}
	}
	out := &linepacev1.AssessResponse_Correction{Overlay: &linepacev1.DriveCorrection{
		DriveId: in.GetDrive().GetId(), Model: model,
		Evidence: &linepacev1.DriveCorrection_Evidence{
			Digest: digest, First: a.at(a.obs.hours[0]), Last: a.at(a.obs.hours[len(a.obs.hours)-1]), ReadingCount: int32(len(found.Readings)),
		},
	}}
	if in.GetDrive() != nil {
		a.setpoints(out, found, corrected)
	}
	return out, nil
}

// setpoints tells what the drive is given for its usual process rate, by what it was
// commissioned with and as corrected.
func (a *assessing) setpoints(out *linepacev1.AssessResponse_Correction, found *drift.Assessment, corrected scaling.DeliveryModel) {
	own, known := a.drive.KnownRateDimension()
	if !known || own != a.obs.kind.Per(units.TimeDim) {
		return
	}
	unit := scaling.RateUnit(&a.drive)
	usual := inUnit(found.Now.Flow, unit)
	of := func(drive scaling.Drive) *linepacev1.Setpoint {
		s := scaling.Subject{Drive: &drive, Material: a.material}
		sp := scaling.Certain(func(c *exact.Calc) (sp scaling.Setpoint) {
			var checks []scaling.Check
			scaling.For(c, &s, scaling.Measure{Unit: unit}, usual.Base(c), &checks, &sp)
			sp.Demanded = usual
			return sp
		})
		message := &linepacev1.Setpoint{}
		setpoint(&sp, &drive, message)
		return message
	}
	out.CommissionedSetpoint = of(a.drive)
	worn := a.drive
	worn.Correction = corrected
	out.Setpoint = of(worn)
	if a.fraction != nil {
		var checks []scaling.Check
		subject := scaling.Subject{Drive: &worn, Material: a.material}
		if f, ok := scaling.FractionOf(&subject, &a.fraction.FractionRequest, &checks, a.study.Stop); ok {
			out.ScaleFraction = a.fraction.answer(&f)
		}
	}
}
