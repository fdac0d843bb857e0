package drift

import (
	"fmt"
	"math"
)

// AdviceCode says what to do. The numbers are those of the wire.
type AdviceCode uint8

// Advice.
const (
	NoAdvice AdviceCode = iota
	Hold
	KeepWatch
	Rescale
	Service
	CatchTest
	FindCause
	CorrelatedReadings
	Season
)

// Severity of an advice, rising; the numbers are those of the wire.
type Severity uint8

// Severities.
const (
	NoSeverity Severity = iota
	Info
	Warning
	Error
)

// Advice is something to do, and why.
type Advice struct {
	Code     AdviceCode
	Severity Severity
	Message  string
}

const (
	// nearLimit is the share of the highest speed from which on a service is to be
	// planned (common practice: a margin of 5 %).
	nearLimit = 0.95
	// seasonHours is how long a drift must take for the seasons to be a rival of wear: two months.
	seasonHours = 60 * 24
)

// Advise says what to do about an assessment, the most urgent first. metered tells
// that the amounts came from a meter, which may have changed instead of the drive.
func Advise(s *Study, a *Assessment, metered bool) []Advice {
	var out []Advice
	add := func(code AdviceCode, severity Severity, format string, args ...any) {
		out = append(out, Advice{code, severity, fmt.Sprintf(format, args...)})
	}
	changed := a.Now.Drifted || a.alarmed()
	speed := a.speedNow(s)
	switch {
	case len(a.Causes) > 0:
		add(FindCause, Warning, "the delivery changed at once by a factor that a known mistake makes: %s. Look for it before anything is corrected", a.Causes[0].Message())
	case changed && s.HighestRPM > 0 && speed >= s.HighestRPM:
		add(Service, Error, "to make up for the loss the motor would need %.4g r/min, and it has %.4g: correction has ended; service the drive", speed, s.HighestRPM)
	case changed && s.HighestRPM > 0 && speed >= nearLimit*s.HighestRPM:
		add(Service, Warning, "to make up for the loss the motor needs %.4g r/min of its %.4g: correction ends soon; plan a service", speed, s.HighestRPM)
	case a.Now.Drifted && !a.Now.Within:
		add(Rescale, Warning, "the delivery is %.3g %% off, outside the tolerance of %v %%: correct the scale, or service the drive", a.Now.Percent, s.TolerancePercent)
	case changed:
		add(KeepWatch, Info, "the delivery changes, by %.3g %% so far, within the tolerance of %v %%: watch it", a.Now.Percent, s.TolerancePercent)
	default:
		add(Hold, Info, "nothing changed that chance does not explain: go on")
	}
	if changed && metered {
		add(CatchTest, Warning, "wear of the drive and a change of the meter look alike from these readings: a catch test, weighed, tells them apart; do one before a correction is loaded")
	}
	if changed && a.seasonal(s) {
		add(Season, Info, "the change came on over months: temperature and viscosity go with the seasons and may be behind it; compare with the same season of another year")
	}
	if a.Correlated {
		add(CorrelatedReadings, Info, "readings depend on the ones before them (lag-1 autocorrelation %.2f): false alarms come sooner than the run lengths say", a.Lag1)
	}
	return out
}

// alarmed reports whether a chart alarmed since the last event.
func (a *Assessment) alarmed() bool {
	for i := a.Current; i < len(a.Readings); i++ {
		if a.CUSUMs[i].Alarm != NoAlarm || a.EWMAs[i].Alarm != NoAlarm {
			return true
		}
	}
	return false
}

// speedNow is the motor speed that makes up for the loss at the mean metered flow.
func (a *Assessment) speedNow(s *Study) float64 {
	worn, err := s.Model.Worn(s.Wear, math.Max(0, a.Now.Loss.Value))
	if err != nil {
		return math.Inf(1) // nothing is delivered any more
	}
	speed, err := worn.SpeedFor(a.Now.Metered)
	if err != nil {
		return 0
	}
	return speed
}

func (a *Assessment) seasonal(s *Study) bool {
	gradual := a.Trending() || a.HasChange && a.Change.Kind == Ramp
	return gradual && s.Hours[len(s.Hours)-1]-s.Hours[a.TrendFrom] >= seasonHours
}

// SigmaOf returns the standard deviation of a reading on the charts.
func (a *Assessment) SigmaOf(i int) float64 { return sigmaOf(a.Sigma, a.Readings[i]) }

// PercentOf returns the change of the delivery at the usual speed that a loss is.
func (a *Assessment) PercentOf(s *Study, loss float64) float64 {
	at, err := s.Model.LossBy(s.Wear, Observation{Minutes: 1, Turns: a.Now.UsualRPM, Amount: a.Now.Flow})
	if err != nil {
		return 0
	}
	return -loss / at.PerPoint
}

// MeterUncertainty returns the half-width that holds 95 % of what an accuracy, given
// as limits of a rectangular distribution, leaves open (GUM 4.3.7).
func MeterUncertainty(accuracyPercent float64) float64 { return 0.95 * accuracyPercent }

// Message says in words what a step's factor stands for, and how to find out.
func (n *StepName) Message() string {
	wheel := "driving"
	if n.Driven {
		wheel = "driven"
	}
	switch n.Cause {
	case Doubled:
		return "twice as much: both edges of each pulse counted, or a scale doubled; compare the edges that are counted with the set-up"
	case Halved:
		return "half as much: every second pulse lost, or a scale halved; look at the pick-up's gap and at the edges that are counted"
	case ToothMore:
		return fmt.Sprintf("a %s wheel of %d teeth in place of %d; lock out and count its teeth", wheel, n.Teeth+1, n.Teeth)
	}
	return fmt.Sprintf("a %s wheel of %d teeth in place of %d; lock out and count its teeth", wheel, n.Teeth-1, n.Teeth)
}
