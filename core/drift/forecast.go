package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// Limit is a level that a trend may reach.
type Limit struct {
	Level float64 // in the unit of the trend's y
	Upper bool    // it is crossed upwards; otherwise downwards
}

// Forecast is when a trend crosses a limit, in the unit of its x (turns, hours).
type Forecast struct {
	// Reached says that the trend's line is at the limit or beyond it now. At and
	// Earliest then lie in the past.
	Reached bool
	// At is where the line crosses. It exists (HasAt) where the line leads to the limit, or
	// led there.
	At    float64
	HasAt bool
	// Earliest to Latest holds the true crossing with the confidence that was asked for.
	// Open says that there is no latest: perhaps it never comes. OpenBefore says that
	// there is no earliest: perhaps it was never otherwise. Latest and Earliest are then 0.
	Earliest, Latest float64
	OpenBefore, Open bool
	// Never says that at this confidence the trend does not lead to the limit. There is
	// then no interval, and no At.
	Never bool
}

// ForecastOf tells when a trend crosses a limit, after now (in the unit of x), with a
// confidence in (0, 1). The interval holds all x at which the true line may have the
// level, by the uncertainty of the fitted one; readings scatter about it besides.
//
// The line is assumed to go on as it went: a forecast further ahead than the
// observations reach back is a guess.
//
// Source: E. C. Fieller, JRSS B 16, 1954 (see statistics.Line.InverseSet).
// Errors: *statistics.DomainError.
// Formula: forecast/1
func ForecastOf(trend statistics.Line, limit Limit, now, confidence float64) (Forecast, error) {
	if err := checkSize("now", []float64{now}); err != nil {
		return Forecast{}, err
	}
	if err := checkSize("level", []float64{limit.Level}); err != nil {
		return Forecast{}, err
	}
	set, err := trend.InverseSet(limit.Level, 0, confidence)
	if err != nil {
		return Forecast{}, err
	}
	// Turned so that the limit is an upper one.
	slope, at, centre := trend.Slope, trend.At(now)-limit.Level, trend.At(trend.XMean)-limit.Level
	if !limit.Upper {
		slope, at, centre = -slope, -at, -centre
	}
	f := Forecast{Reached: at >= 0}
	if slope > 0 {
		f.At, f.HasAt = trend.XMean+(limit.Level-trend.At(trend.XMean))/trend.Slope, true
	}
	switch {
	case set.Kind == statistics.Everywhere:
		f.OpenBefore, f.Open = true, true
	case set.Kind == statistics.Outside && centre < 0:
		f.Earliest, f.Open = set.High, true
	case set.Kind == statistics.Outside:
		f.OpenBefore, f.Latest = true, set.Low
	case slope > 0:
		f.Earliest, f.Latest = set.Low, set.High
	default:
		return Forecast{Reached: f.Reached, Never: true}, nil
	}
	return f.from(now), nil
}

// from limits what is not reached to the time from now on.
func (f Forecast) from(now float64) Forecast {
	if f.Reached {
		return f
	}
	if f.OpenBefore || f.Earliest < now {
		f.OpenBefore, f.Earliest = false, now
	}
	if !f.Open {
		f.Latest = math.Max(f.Latest, now)
	}
	return f
}
