package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// Assessment is what a [Study] comes to. Indices are those of the observations.
type Assessment struct {
	Readings []Reading
	Losses   []Loss
	// Target and Sigma are those of the charts at the end, Base what they were learned from.
	Target, Sigma float64
	Base          Baseline
	Current       int // the first reading since the last event

	CUSUMs []CUSUMState // of each reading; without alarm and zero where not charted
	EWMAs  []EWMAState
	Lag1   float64 // of the losses since the change, about their trend; HasLag1 with ten or more
	HasLag1,
	Correlated bool

	// Change is the likeliest change since the last event; HasChange with six readings.
	Change    Change
	HasChange bool
	Causes    []StepName
	// Line, Median and Test are the trend of the loss against running hours, of the
	// readings from TrendFrom on: those since the change. They exist (HasTrend) with three readings.
	TrendFrom int
	Line      statistics.Line
	Median    TheilSen
	Test      MannKendall
	HasTrend  bool

	Now       Now
	Tolerance Forecast // running hours; exists with a trend
	Level     float64  // the loss at which the tolerance is left, on the side of the trend
	Saturated Forecast // likewise; exists (HasLimit) where the highest speed is known
	Highest   float64
	HasLimit  bool
	// Corrected is the model that holds now; HasCorrection where it has changed and such
	// a model exists.
	Corrected     Model
	HasCorrection bool
}

// Now is the delivery at the end of the observations.
type Now struct {
	UsualRPM float64
	Flow     float64 // that the model gives at the usual speed, amount per minute
	Metered  float64 // mean amount per minute that was metered since the last event
	Loss     statistics.Value
	Percent  float64 // change of the delivery at the usual speed
	// Uncertainty is the half-width of Percent's interval by the scatter of the readings,
	// in points; HasUncertainty with three readings.
	Uncertainty    float64
	HasUncertainty bool
	Drifted        bool // a change or a trend was found
	Within         bool // the tolerance
}

// significance is that of the trend's test.
const significance = 0.05

// Assess judges a series of observations.
//
// Readings are percent of the model (see [Model.Read]) and are charted; losses are what
// wear takes (see [Model.LossBy]), which is the same at all speeds, and give change,
// trend and forecast. The delivery now is that of the trend's line at the last
// observation where something changed gradually, else the mean of the losses since the
// change.
//
// The study's observations passed [Model.Read]. Errors: *statistics.TooFewError for
// fewer readings than the baseline asks for, *statistics.NoSpreadError, ErrStopped, and
// *statistics.DomainError for parameters of charts and of the study.
// Formula: assessment/1
func Assess(s *Study) (*Assessment, error) {
	a := &Assessment{Readings: make([]Reading, len(s.Observations)), Losses: make([]Loss, len(s.Observations))}
	for i, o := range s.Observations {
		var err error
		if a.Readings[i], err = s.Model.Read(o); err == nil {
			a.Losses[i], err = s.Model.LossBy(s.Wear, o)
		}
		if err != nil {
			return nil, err
		}
	}
	if len(a.Readings) == 0 {
		return nil, &statistics.TooFewError{Method: "an assessment", Have: 0, Need: 1, Of: "readings"}
	}
	for _, step := range []func(*Study) error{a.chart, a.findChange, a.findTrend, a.correlate, a.judgeNow, a.forecast} {
		if s.Stop.now() {
			return nil, ErrStopped
		}
		if err := step(s); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// chart runs both charts over all readings.
func (a *Assessment) chart(s *Study) error {
	if err := firstError(s.Charts.CUSUM.Check(), s.Charts.EWMA.Check()); err != nil {
		return err
	}
	base, err := s.base(a.Readings)
	if err != nil {
		return err
	}
	a.Base, a.Sigma = base, base.Sigma
	a.CUSUMs, a.EWMAs = make([]CUSUMState, len(a.Readings)), make([]EWMAState, len(a.Readings))
	for _, g := range s.segments(percents(a.Readings), base) {
		model, target := a.level(s, g)
		charts := s.Charts.Rebase(target)
		sums, average := charts.CUSUM.Start(), charts.EWMA.Start()
		for i := g.charted; i < g.to; i++ {
			r, err := model.Read(s.Observations[i])
			if err != nil {
				return err
			}
			x, sigma := r.Percent, sigmaOf(base.Sigma, r)
			sums, average = charts.CUSUM.Step(sums, x, sigma), charts.EWMA.Step(average, x, sigma)
			a.CUSUMs[i], a.EWMAs[i] = sums, average
		}
		a.Target, a.Current = g.target, g.from
	}
	return nil
}

// level returns the model against which a segment is charted, and the target. After an
// event it is the model with the loss of the first readings: a loss is the same at all
// speeds, the percentage that it makes is not.
func (a *Assessment) level(s *Study, g segment) (Model, float64) {
	if g.anew {
		loss, _ := weightedMean(a.Losses[g.from:g.charted])
		if model, err := s.Model.Worn(s.Wear, loss); err == nil {
			return model, 0
		}
	}
	return s.Model, g.target
}

// weightedMean returns the mean of losses, and the sum of their weights.
func weightedMean(losses []Loss) (mean, weight float64) {
	var sum, all statistics.Sum
	for _, l := range losses {
		all.Add(l.Weight())
		sum.Add(float64(l.Weight() * l.Value))
	}
	return sum.Value() / all.Value(), all.Value()
}

// correlate finds the lag-1 autocorrelation of the losses since the change, about their
// trend: a drift alone would make neighbours alike. Each counts in units of its own
// scatter, so that products of other speeds do not.
func (a *Assessment) correlate(s *Study) error {
	x, y, _ := a.columns(s, a.TrendFrom)
	n := len(x)
	if n < baselineNeed {
		return nil
	}
	for i := range y {
		y[i] = (y[i] - a.Line.At(x[i])) / a.Losses[a.TrendFrom+i].PerPercent
	}
	sum, err := statistics.Summarise(y)
	if err != nil {
		return err
	}
	a.Lag1, a.HasLag1 = sum.Lag1, sum.SD > 0
	a.Correlated = a.HasLag1 && float64(a.Lag1*a.Lag1)*float64(n) > 4
	return nil
}

// columns returns running hours, losses and weights of the readings from one on.
func (a *Assessment) columns(s *Study, from int) (x, y, w []float64) {
	n := len(a.Readings) - from
	x, y, w = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range x {
		l := a.Losses[from+i]
		x[i], y[i], w[i] = s.Running(s.Hours[from+i]), l.Value, l.Weight()
	}
	return x, y, w
}

func (a *Assessment) findChange(s *Study) error {
	x, y, w := a.columns(s, a.Current)
	if len(x) < 6 {
		return nil
	}
	c, err := FindChange(x, y, w)
	if err != nil {
		return err
	}
	a.Change, a.HasChange = c, true
	if c.Kind == Step {
		a.nameStep(s)
	}
	return nil
}

// nameStep finds the causes whose factor a step has: what is delivered after it over
// what was before, of all that a turn delivers.
func (a *Assessment) nameStep(s *Study) {
	at := a.Current + a.Change.At
	before, after := a.meanRatio(s, a.Current, at), a.meanRatio(s, at, len(a.Readings))
	if before.Value <= 0 || after.Value <= 0 {
		return
	}
	f := after.Value / before.Value
	u1, u2 := after.U/after.Value, before.U/before.Value
	factor := statistics.Value{Value: f, U: math.Sqrt(float64(u1*u1)+float64(u2*u2)) * f}
	if names, err := NameStep(factor, s.Teeth, 3); err == nil {
		a.Causes = names
	}
}

// meanRatio is the mean of metered over expected of some readings.
func (a *Assessment) meanRatio(s *Study, from, to int) statistics.Value {
	ratios := make([]float64, 0, to-from)
	for i := from; i < to; i++ {
		ratios = append(ratios, 1+a.Readings[i].Percent/100)
	}
	sum, err := statistics.Summarise(ratios)
	if err != nil {
		return statistics.Value{}
	}
	u := sum.SD
	if len(ratios) < 2 || u == 0 {
		u = a.Sigma / 100
	}
	return statistics.Value{Value: sum.Mean, U: u / math.Sqrt(float64(len(ratios)))}
}

// findTrend fits the losses since the change, or since the last event where three
// readings since the change are not there.
func (a *Assessment) findTrend(s *Study) error {
	a.TrendFrom = a.Current
	if since := a.since(); since+3 <= len(a.Readings) {
		a.TrendFrom = since
	}
	x, y, w := a.columns(s, a.TrendFrom)
	if len(x) < 3 {
		return nil
	}
	var err error
	if a.Line, err = statistics.FitLineWeighted(x, y, w); err != nil {
		return err
	}
	if a.Median, err = TheilSenLine(x, y, Confidence, s.Stop); err != nil {
		return err
	}
	if a.Test, err = MannKendallTest(x, y, s.Stop); err != nil {
		return err
	}
	a.HasTrend = true
	return nil
}

// since is the first reading since the change, or since the last event without one.
func (a *Assessment) since() int {
	if a.HasChange && a.Change.Kind != NoChange {
		return a.Current + a.Change.At
	}
	return a.Current
}

// Trending reports whether the loss goes up or down.
func (a *Assessment) Trending() bool { return a.HasTrend && a.Test.P < significance }

func (a *Assessment) judgeNow(s *Study) error {
	n := &a.Now
	var turns, minutes, amount statistics.Sum
	for _, o := range s.Observations[a.Current:] {
		turns.Add(o.Turns)
		minutes.Add(o.Minutes)
		amount.Add(o.Amount)
	}
	n.UsualRPM, n.Metered = s.UsualRPM, amount.Value()/minutes.Value()
	if n.UsualRPM == 0 {
		n.UsualRPM = turns.Value() / minutes.Value()
	}
	usual, err := s.Model.Read(Observation{Minutes: 1, Turns: n.UsualRPM})
	if err != nil {
		return err
	}
	n.Flow = usual.Expected
	loss, err := s.Model.LossBy(s.Wear, Observation{Minutes: 1, Turns: n.UsualRPM, Amount: n.Flow})
	if err != nil {
		return err
	}
	n.Drifted = a.Trending() || a.HasChange && a.Change.Kind != NoChange
	half, has := a.lossNow(s)
	n.Percent = -n.Loss.Value / loss.PerPoint
	n.Uncertainty, n.HasUncertainty = half/loss.PerPoint, has
	n.Within = math.Abs(n.Percent) <= s.TolerancePercent
	if n.Drifted {
		a.Corrected, err = s.Model.Worn(s.Wear, n.Loss.Value)
		a.HasCorrection = err == nil // a leak less than none is no correction
	}
	return nil
}

// lossNow finds the loss and the half-width of its interval.
func (a *Assessment) lossNow(s *Study) (half float64, has bool) {
	if a.Trending() {
		last := s.Running(s.Hours[len(s.Hours)-1])
		a.Now.Loss = statistics.Value{Value: a.Line.At(last), U: a.Line.AtU(last)}
		interval, err := a.Line.MeanInterval(last, Confidence)
		return (interval.High - interval.Low) / 2, err == nil
	}
	losses := a.Losses[a.since():]
	mean, weight := weightedMean(losses)
	a.Now.Loss = statistics.Value{Value: mean}
	if len(losses) < 3 {
		return 0, false
	}
	var squares statistics.Sum
	for _, l := range losses {
		squares.Add(float64(l.Weight() * (l.Value - mean) * (l.Value - mean)))
	}
	dof := float64(len(losses) - 1)
	a.Now.Loss.U = math.Sqrt(squares.Value() / dof / weight)
	k, err := statistics.CoverageFactor(Confidence, dof)
	return k * a.Now.Loss.U, err == nil
}

// forecast finds when the tolerance is left and when the motor's highest speed is
// reached, by the trend's line.
func (a *Assessment) forecast(s *Study) error {
	if !a.HasTrend {
		return nil
	}
	level, err := s.Model.LossAtTolerance(s.Wear, s.TolerancePercent, a.Now.UsualRPM)
	if err != nil {
		return err
	}
	now := s.Running(s.Hours[len(s.Hours)-1])
	limit := Limit{Level: level, Upper: true}
	if a.Line.Slope < 0 {
		limit = Limit{Level: -level}
	}
	a.Level = limit.Level
	if a.Tolerance, err = ForecastOf(a.Line, limit, now, Confidence); err != nil {
		return err
	}
	if s.HighestRPM == 0 {
		return nil
	}
	if a.Highest, err = s.Model.LossAtSpeed(s.Wear, a.Now.Metered, s.HighestRPM); err != nil {
		return err
	}
	a.HasLimit = true
	a.Saturated, err = ForecastOf(a.Line, Limit{Level: a.Highest, Upper: true}, now, Confidence)
	return err
}
