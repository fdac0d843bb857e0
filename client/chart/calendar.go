package chart

import (
	"time"

	"gonum.org/v1/plot"
)

const (
	// mostTicks is how many dates stand beside each other without touching.
	mostTicks = 8
	day       = 24 * time.Hour
)

// calendar puts the ticks of an axis of seconds since 1970 on full hours, midnights,
// weeks or the first of months, whichever leaves dates that can be read.
type calendar struct{}

func (calendar) Ticks(low, high float64) (out []plot.Tick) {
	from, to := time.Unix(int64(low), 0).UTC(), time.Unix(int64(high), 0).UTC()
	first, next, layout := steps(from, to.Sub(from)/mostTicks)
	for t := first; !t.After(to); t = next(t) {
		if !t.Before(from) {
			out = append(out, plot.Tick{Value: float64(t.Unix()), Label: t.Format(layout)})
		}
	}
	return out
}

// steps returns a tick at or before from, what leads to the next one, at least least
// later, and how ticks are written.
func steps(from time.Time, least time.Duration) (first time.Time, next func(time.Time) time.Time, layout string) {
	midnight := from.Truncate(day)
	for _, hours := range []int{1, 2, 3, 6, 12} {
		if each := time.Duration(hours) * time.Hour; least <= each {
			return midnight, func(t time.Time) time.Time { return t.Add(each) }, "01-02 15:04"
		}
	}
	for _, days := range []int{1, 2, 7, 14} {
		if least <= time.Duration(days)*day {
			return midnight, func(t time.Time) time.Time { return t.AddDate(0, 0, days) }, time.DateOnly
		}
	}
	months := 1
	for _, months = range []int{1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200} {
		if least <= time.Duration(months)*30*day {
			break
		}
	}
	january := time.Date(from.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	return january, func(t time.Time) time.Time { return t.AddDate(0, months, 0) }, time.DateOnly
}
