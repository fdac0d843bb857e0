package server

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"

	"linepace.example/core/drift"
	"linepace.example/core/fault"
	"linepace.example/core/statistics"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// Track watches a drive on from the state of the answer before.
func (s driftService) Track(ctx context.Context, in *linepacev1.TrackRequest) (*linepacev1.TrackResponse, error) {
	t, err := s.trackFrom(in)
	if err != nil {
		return nil, err
	}
	return t.take(ctx, in)
}

// tracking is a watch: how a drive is watched, and what was seen so far. A state token
// holds all of it.
type tracking struct {
	key *StateKey
	watchSetup
	watchState
}

// watchSetup is a set-up in core's terms.
type watchSetup struct {
	watch    drift.Watch
	rateUnit *units.Unit    // of flows; it tells the kind of the amounts
	density  float64        // kg per m3; 0: none known
	kFactor  units.Quantity // without a unit: none
}

// watchState is what was seen so far.
type watchState struct {
	placed
	readings, gaps int64
	watched        drift.Watched
}

// trackFrom begins a watch, or takes up the one of a state.
func (s driftService) trackFrom(in *linepacev1.TrackRequest) (*tracking, error) {
	if s.key == nil {
		return nil, refusal.New(codes.FailedPrecondition, refusal.NoStateKey,
			"this server has no key for the states of a watch: start it with --state-key FILE, which holds 32 random bytes or more in hexadecimal digits; "+
				"servers that answer for each other have the same key").Err()
	}
	var faults fault.List
	var given *watchSetup
	if in.GetSetup() != nil {
		setup, err := readSetup(in.GetSetup())
		if err != nil {
			return nil, err
		}
		given = &setup
	}
	at := fault.Root("state")
	if in.GetState() == "" {
		if given == nil {
			missing := fault.Root("setup")
			faults.Add(&missing, fault.Required, "is needed where there is no state: how the drive is watched")
			return nil, faults
		}
		return &tracking{key: s.key, watchSetup: *given, watchState: watchState{watched: given.watch.Start()}}, nil
	}
	t, err := s.key.open(in.GetState())
	if err != nil {
		var refused *stateError
		if !errors.As(err, &refused) {
			return nil, err
		}
		faults.Add(&at, refused.reason, "%s", refused.text)
		return nil, faults
	}
	if given != nil && !given.same(&t.watchSetup) {
		faults.Add(&at, fault.Conflict, "is foreign: it is of a watch with another setup; leave the setup out, or begin anew without a state")
		return nil, faults
	}
	return t, nil
}

// same compares what a state holds of two set-ups.
func (s *watchSetup) same(other *watchSetup) bool {
	var one, two coder
	one.setup(s)
	two.setup(other)
	return bytes.Equal(one.data, two.data)
}

// readSetup reads how a drive is watched.
func readSetup(in *linepacev1.TrackSetup) (watchSetup, error) {
	var a assessing
	a.obs.decoder = &a.decoder
	a.readWatched(in)
	out := watchSetup{rateUnit: a.rateUnit, density: a.obs.density, kFactor: a.obs.kFactor}
	out.watch = drift.Watch{Model: a.study.Model, Wear: a.study.Wear, Charts: a.study.Charts, Sigma: a.study.Sigma, Baseline: int64(a.study.Baseline)}
	if err := out.watch.Check(); err != nil && len(a.faults) == 0 {
		a.faults = fault.List{{Reason: fault.OutOfRange, Text: "cannot be watched by: " + err.Error()}}
	}
	return out, under("setup", a.faults).Err()
}

// under places faults in a field.
func under(field string, faults fault.List) fault.List {
	out := make(fault.List, len(faults))
	for i, f := range faults {
		f.Path = strings.TrimSuffix(field+"."+f.Path, ".")
		out[i] = f
	}
	return out
}

// take takes further observations. Where one is faulty the watch is as before.
func (t *tracking) take(ctx context.Context, in *linepacev1.TrackRequest) (*linepacev1.TrackResponse, error) {
	a := t.assessing()
	a.readSome(in)
	points := a.seriesPoints(in.SeriesPoints)
	if len(a.faults) > 0 {
		return nil, t.inSetup(a.faults)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	list := "observations"
	if in.GetColumns() != nil {
		list = "columns"
	}
	state, stepped, err := t.step(a, list)
	if err != nil {
		return nil, err
	}
	if t.watchState = state; ctx.Err() != nil {
		return nil, ctx.Err()
	}
	out := &linepacev1.TrackResponse{Summary: t.summary(), Trend: t.trend(a)}
	alarmed := false
	for _, i := range shownOf(stepped, points) {
		out.Results = append(out.Results, t.result(a, i, &stepped[i]))
	}
	for i := range stepped {
		alarmed = alarmed || stepped[i].alarmed()
	}
	out.Advice = t.advise(alarmed)
	out.State = t.key.seal(t)
	return out, nil
}

// assessing returns what reads observations for the watch.
func (t *tracking) assessing() *assessing {
	a := &assessing{rateUnit: t.rateUnit}
	a.study.Wear = t.watch.Wear
	a.obs.decoder = &a.decoder
	a.obs.model, a.obs.density, a.obs.kFactor, a.obs.placed = t.watch.Model, t.density, t.kFactor, t.placed
	a.obs.kind = t.rateUnit.Dimension().Times(units.TimeDim)
	return a
}

// inSetup places the faults of what the set-up lacks.
func (t *tracking) inSetup(faults fault.List) fault.List {
	for i, f := range faults {
		if strings.HasPrefix(f.Path, "meter") || strings.HasPrefix(f.Path, "material") {
			faults[i].Path = "setup." + f.Path
		}
	}
	return faults
}

// stepped is a reading with the charts after it.
type stepped struct {
	drift.Watching
	cusum drift.CUSUMState
	ewma  drift.EWMAState
}

func (s *stepped) alarmed() bool {
	return !s.InBaseline && (s.cusum.Alarm != drift.NoAlarm || s.ewma.Alarm != drift.NoAlarm)
}

// step passes the readings, which the request has in list, through the watch.
func (t *tracking) step(a *assessing, list string) (watchState, []stepped, error) {
	state, out := t.watchState, make([]stepped, len(a.obs.readings))
	rebased := a.obs.rebased
	for i, o := range a.obs.readings {
		if len(rebased) > 0 && rebased[0] == i {
			rebased = rebased[1:]
			state.watched = t.watch.Start()
		}
		var err error
		if state.watched, out[i].Watching, err = t.watch.Step(state.watched, a.obs.hours[i], o); err != nil {
			return state, nil, explainStep(a, list, i, err)
		}
		out[i].cusum, out[i].ewma = state.watched.CUSUM, state.watched.EWMA
	}
	state.placed = a.obs.placed
	state.readings += int64(len(out))
	state.gaps += int64(a.obs.gaps)
	return state, out, nil
}

func explainStep(a *assessing, list string, i int, err error) error {
	var flat *statistics.NoSpreadError
	if errors.As(err, &flat) {
		at := fault.Root("setup")
		sigma := at.Field("sigma")
		a.faults.Add(&sigma, fault.OutOfRange, "cannot be learned: the readings of the baseline do not scatter; begin anew with a given one")
		return a.faults
	}
	root := fault.Root(list)
	at := root.Index(int(a.obs.index[i]))
	a.faults.Add(&at, fault.OutOfRange, "cannot be watched: %s", err)
	return a.faults
}

// shownOf returns the readings of the answer in their order: thinned, and all with an alarm.
func shownOf(all []stepped, points int) []int {
	readings := make([]drift.Reading, len(all))
	for i := range all {
		readings[i] = all[i].Reading
	}
	shown := thinned(readings, points)
	if len(shown) == len(all) {
		return shown
	}
	for i := range all {
		if all[i].alarmed() {
			shown = append(shown, i)
		}
	}
	slices.Sort(shown)
	return slices.Compact(shown)
}

func (t *tracking) result(a *assessing, i int, s *stepped) *linepacev1.TrackResponse_Result {
	out := &linepacev1.TrackResponse_Result{Index: a.obs.index[i], Time: a.at(a.obs.hours[i]), Percent: s.Reading.Percent}
	if s.InBaseline {
		return out
	}
	out.SigmaPercent, out.CusumHigh, out.CusumLow = &s.Sigma, &s.cusum.High, &s.cusum.Low
	out.EwmaPercent, out.EwmaLowPercent, out.EwmaHighPercent = &s.ewma.Average, &s.ewma.LowerSide, &s.ewma.UpperSide
	out.CusumAlarm, out.EwmaAlarm = alarmOf(s.cusum.Alarm), alarmOf(s.ewma.Alarm)
	run := int32(s.cusum.LowRun)
	if s.cusum.Alarm == drift.High {
		run = int32(s.cusum.HighRun)
	}
	if s.cusum.Alarm != drift.NoAlarm {
		out.CusumRunCount = &run
	}
	return out
}

func alarmOf(side drift.Alarm) linepacev1.TrackResponse_Alarm {
	switch side {
	case drift.High:
		return linepacev1.TrackResponse_HIGH
	case drift.Low:
		return linepacev1.TrackResponse_LOW
	}
	return linepacev1.TrackResponse_ALARM_UNSPECIFIED
}

func (t *tracking) summary() *linepacev1.TrackResponse_Summary {
	s := &t.watched
	out := &linepacev1.TrackResponse_Summary{
		ReadingCount: float64(t.readings), GapCount: float64(t.gaps), CurrentCount: float64(s.Percents.Count),
	}
	if mean := s.Percents.Mean; s.Percents.Count > 0 {
		out.MeanPercent = &mean
	}
	if target, sigma := s.Target, s.Sigma; s.Charting(t.watch) {
		out.TargetPercent, out.SigmaPercent = &target, &sigma
	}
	if sum, err := s.Percents.Summary(); err == nil && sum.Count >= 10 && sum.SD > 0 {
		out.Lag1Autocorrelation = &sum.Lag1
	}
	return out
}

func (t *tracking) trend(a *assessing) *linepacev1.TrackResponse_Trend {
	line, err := t.watched.Trend.Line()
	if err != nil {
		return nil // fewer than three readings
	}
	bounds, err := line.SlopeInterval(drift.Confidence)
	if err != nil {
		return nil
	}
	per := func(slope float64) *linepacev1.Quantity { return quantity(a.loss(slope * 1000)) }
	return &linepacev1.TrackResponse_Trend{Per_1000Hours: per(line.Slope), Per_1000HoursLow: per(bounds.Low), Per_1000HoursHigh: per(bounds.High)}
}

func (t *tracking) advise(alarmed bool) (out []*linepacev1.TrackResponse_Advice) {
	add := func(code linepacev1.TrackResponse_Advice_Code, severity linepacev1.Check_Severity, message string) {
		out = append(out, &linepacev1.TrackResponse_Advice{Code: code, Severity: severity, Message: message})
	}
	s := &t.watched
	if alarmed {
		add(linepacev1.TrackResponse_Advice_ALARMED, linepacev1.Check_WARNING, "a chart alarmed: have the observations assessed, which tells what changed, since when, and what to do")
	}
	if !s.Charting(t.watch) {
		add(linepacev1.TrackResponse_Advice_BASELINE_INCOMPLETE, linepacev1.Check_INFO, "the baseline is not complete, so that nothing is charted yet")
	}
	if sum, err := s.Percents.Summary(); err == nil && sum.Count >= 10 && float64(sum.Lag1*sum.Lag1)*float64(sum.Count) > 4 {
		add(linepacev1.TrackResponse_Advice_CORRELATED_READINGS, linepacev1.Check_INFO, "readings depend on each other, by a drift or by seasons, temperature or viscosity: alarms may come more often than the charts are made for")
	}
	add(linepacev1.TrackResponse_Advice_NO_RANK_METHODS, linepacev1.Check_INFO, "the trend here is that of least squares; the slope of Theil and Sen and the test of Mann and Kendall rank all readings, and only an assessment of all observations gives them")
	return out
}
