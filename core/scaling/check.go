package scaling

import (
	"fmt"
	"strconv"

	"linepace.example/core/units"
)

// Check is something that the user must know about a setpoint or a scale. Which
// of its values are set depends on the code.
type Check struct {
	Code          Code
	DriveID       string
	Field         string            // the request's field it speaks of, a lowerCamel path
	Binds         Bound             // out of range: what sets the limit
	Limit         units.Quantity    // out of range: the drive's limit, in the unit of the demand
	ExcessPercent Optional[float64] // out of range: how far beyond, percent of the limit
	Fit           units.Quantity    // out of range: a value of FitField that would fit
	FitField      string
	Name          string  // a leader, or a gearbox's field
	Number        float64 // see Message
}

// Code says what a check is about. The numbers are those of the wire.
type Code uint8

// Codes. The wire has no code 16.
const (
	NoCode Code = iota
	AboveHighestSpeed
	BelowLowestSpeed
	LeaderHasNoSetpoint
	CountOutsideTolerance
	BandOutsideTolerance
	OtherCountNearerInTime
	CountPastMotorLimit
	ReadoutTooShort
	ReadoutWithoutSection
	FarFromCalibration
	GearboxRatioNominal
	ReferenceDiffers
	NoCountForStop
	MotorSpeedNominal
	RunningSetpointUnknown
	LeaderGivesNoRate
	DeliversNothing
)

// Codes of blends.
const (
	CountChosenTogether Code = 60 + iota
	CountsNotProven
)

// Severity says how grave a check is.
type Severity uint8

// Severities, rising.
const (
	NoSeverity Severity = iota
	Info
	Warning
	Error
)

// Severity returns how grave checks of this code are.
func (k Code) Severity() Severity {
	switch k {
	case AboveHighestSpeed, BelowLowestSpeed, LeaderHasNoSetpoint, LeaderGivesNoRate:
		return Error
	case OtherCountNearerInTime, GearboxRatioNominal, ReferenceDiffers, MotorSpeedNominal, RunningSetpointUnknown, CountChosenTogether:
		return Info
	}
	return Warning
}

// Message says the check in words.
func (k *Check) Message() string {
	switch k.Code {
	case AboveHighestSpeed:
		return k.outOfRange("above the highest", false)
	case BelowLowestSpeed:
		return k.outOfRange("below the lowest", true)
	case LeaderHasNoSetpoint:
		return fmt.Sprintf("the leader %q has no setpoint, so this drive has none", k.Name)
	case CountOutsideTolerance:
		return fmt.Sprintf("the nearest count is off by %s %%, outside the tolerance: the register is too coarse here", short(k.Number))
	case BandOutsideTolerance:
		return "the drive's regulation may take the value outside the tolerance"
	case OtherCountNearerInTime:
		return fmt.Sprintf("the count is nearest in speed; count %.0f is nearer to the demanded time", k.Number)
	case CountPastMotorLimit:
		return fmt.Sprintf("rounding to a count sets %s r/min, just past the motor's limit", short(k.Number))
	case ReadoutTooShort:
		return "the value has more digits than the readout"
	case ReadoutWithoutSection:
		return "the readout shows a time, but no single section of this drive is named: set readout.sectionId"
	case FarFromCalibration:
		return fmt.Sprintf("the pump was calibrated at %s r/min, more than 1.5 times away; its slip makes the flow uncertain here: give slipFlow, or calibrate near this speed", short(k.Number))
	case GearboxRatioNominal:
		return "the gearbox ratio is a nameplate value: count its teeth or check with a tachometer, and mark it exact"
	case ReferenceDiffers:
		return fmt.Sprintf("the measured reference is %s %% off the drivetrain; the reference was used", short(k.Number))
	case NoCountForStop:
		return "the register has no count for zero speed: stop the drive by its own stop input"
	case MotorSpeedNominal:
		return "the loop holds the flow; the motor speed is nominal and drifts with the pump's wear"
	case RunningSetpointUnknown:
		return "the running product gives this drive no setpoint, so the change is not shown"
	case LeaderGivesNoRate:
		return fmt.Sprintf("at its setpoint the leader %q gives nothing, or runs backwards, which this drive cannot follow", k.Name)
	case DeliversNothing:
		return "the pump turns no faster than its slip flow takes back, so it delivers nothing"
	case CountChosenTogether:
		return fmt.Sprintf("the counts of the blend were chosen together; by itself count %.0f is nearer", k.Number)
	case CountsNotProven:
		return "the search for the counts of the blend was cut off: these are the best it found, not proven to be the best there are"
	}
	return ""
}

func (k *Check) outOfRange(side string, low bool) string {
	bound := "at most"
	if low != (k.Limit.Unit.Dimension() == units.TimeDim) { // the lowest speed gives the longest time
		bound = "at least"
	}
	by := ""
	if k.ExcessPercent.Set {
		by = short(k.ExcessPercent.Value) + " % "
	}
	text := fmt.Sprintf("the demand is %s%s speed, which %s sets; the drive gives %s %s", by, side, k.Binds, bound, show(k.Limit))
	if k.Fit.Unit == nil {
		return text
	}
	return fmt.Sprintf("%s; %s = %s would fit", text, k.FitField, show(k.Fit))
}

// String names the bound in words.
func (b Bound) String() string {
	return [...]string{"nothing", "the motor", "the sensor", "the register"}[b]
}

func show(q units.Quantity) string { return short(q.Value) + " " + q.Unit.Symbol() }

// short writes six significant digits, for people.
func short(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
