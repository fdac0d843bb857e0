package scaling

import (
	"fmt"
	"strconv"
	"strings"

	"linepace.example/core/units"
)

// Check is something that the user must know about a setpoint or a scale. Which
// of its values are set depends on the code. Decimals and Text only serve the wording.
type Check struct {
	Code          Code
	DriveID       string
	Field         string            // the request's field it speaks of, a lowerCamel path
	Binds         Bound             // out of range: what sets the limit
	Limit         units.Quantity    // out of range: the drive's limit, in the unit of the demand
	ExcessPercent Optional[float64] // out of range: how far beyond, percent of the limit
	Fit           units.Quantity    // out of range: a value of FitField that would fit
	FitField      string
	OtherField    string          // the other field, where it speaks of two
	Name          string          // a leader, or what limits a measurement
	Number        float64         // see Message
	Allowed       float64         // see Message
	Decimals      Optional[int32] // of a readout: how many would fit
	Text          string          // the message, where it is not that of its code
	Window        *Window         // out of range, in a plan: what FitField may be
}

// Within puts the fields that k names by their path within a drive at the drive's
// own path.
func (k *Check) Within(drive string) {
	k.Field = drive + "." + k.Field
	if k.OtherField != "" {
		k.OtherField = drive + "." + k.OtherField
	}
}

// OfRuns turns the references that k names by their path within a drive into the runs
// of a measurement that they are.
func (k *Check) OfRuns() {
	k.Field = strings.Replace(k.Field, "references", "runs", 1)
	k.OtherField = strings.Replace(k.OtherField, "references", "runs", 1)
}

// Window is the range of a quantity in which every drive that hangs on it stays
// within its limits. Low lies above High where there is none.
type Window struct {
	Field               string
	Low, High           units.Quantity
	LowDrive, HighDrive string // the drive that binds
	LowBinds, HighBinds Bound  // what binds it
}

// Turndown returns High over Low, where Low is above zero.
func (w *Window) Turndown() Optional[float64] {
	if w.Low.Value <= 0 {
		return Optional[float64]{}
	}
	return Some(w.High.Value / w.Low.Value)
}

// Code says what a check is about. The numbers are those of the wire.
type Code uint8

// Codes of setpoints and scales.
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

// Codes of measured references.
const (
	ReferencesContradict Code = 20 + iota
	ReferencesUnweighted
	SlipFlowNegative
	BeyondReferences
	SlipFlowUnknown
	OffsetFound
	LackOfFit
	MissesUncertainty
	UncertaintyOutOfReach
)

// Codes of the check of a reading.
const (
	SlipNotCorrected Code = 30 + iota
	SlipCorrected
	SingleReading
	LimitsTooClose
)

// Codes of blends.
const (
	CountChosenTogether Code = 60 + iota
	CountsNotProven
)

// Codes of times and of the pieces on belts.
const (
	NoCountWithinBounds Code = 100 + iota
	SpeedLimitMeetsBound
	NearestCountBreaksBound
	PiecesWouldTouch
	GapBelowLeast
	DeadPlateNotBridged
	NoTransition
	ZoneTemperatureOverstates
	ProcessAuthorityDecides
)

// Codes of draws, gears and ramps.
const (
	RepeatSoonLost Code = 80 + iota
	RatioFitsExactly
	DrawOutsideTolerance
	DrawBandOutsideTolerance
	DrawMayVanish
	BeltStopsBefore
	RampTooFast
	NoSpeedChanges
	BeltChangesToo
)

// CorrectionInForce says that a correction decided what the drive delivers.
const CorrectionInForce Code = 130

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
	case AboveHighestSpeed, BelowLowestSpeed, LeaderHasNoSetpoint, LeaderGivesNoRate, NoCountWithinBounds, PiecesWouldTouch, GapBelowLeast:
		return Error
	case RampTooFast:
		return Error
	case OtherCountNearerInTime, GearboxRatioNominal, ReferenceDiffers, MotorSpeedNominal, RunningSetpointUnknown, CountChosenTogether, CountsNotProven, CorrectionInForce,
		ReadoutFinerThanSensor, ReadingsDiffer, TooManyCountsToCompare, CurrentOutsideSignal,
		ReferencesUnweighted, BeyondReferences, SpeedLimitMeetsBound, NearestCountBreaksBound, NoTransition, ProcessAuthorityDecides,
		SlipNotCorrected, SlipCorrected, SingleReading:
		return Info
	case RatioFitsExactly, NoSpeedChanges:
		return Info
	}
	return Warning
}

// Message says the check in words.
func (k *Check) Message() string {
	if k.Code >= ReadoutCannotShowRange && k.Code <= CurrentOutsideSignal {
		return k.readoutMessage()
	}
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
		return "the value has more digits than the readout" + k.decimals()
	case ReadoutWithoutSection:
		return "the readout shows a time, but no single section of this drive is named: set readout.sectionId"
	case FarFromCalibration:
		return fmt.Sprintf("the pump was calibrated at %s r/min, more than 1.5 times away; its slip makes the flow uncertain here: give slipFlow, or references at two speeds, or calibrate near this speed", short(k.Number))
	case GearboxRatioNominal:
		return "the gearbox ratio is a nameplate value: count its teeth or check with a tachometer, and mark it exact"
	case ReferenceDiffers:
		if k.Name != "" {
			return fmt.Sprintf("the line through the measured references is %s %% off the drivetrain at their mean speed; the references were used", short(k.Number))
		}
		return fmt.Sprintf("the measured reference is %s %% off the drivetrain; the reference was used", short(k.Number))
	case CorrectionInForce:
		return "a correction for drift is in force: it decides what the drive delivers, not the description"
	case NoCountForStop:
		return "the register has no count for zero speed: stop the drive by its own stop input"
	case MotorSpeedNominal:
		return "the loop holds the flow; the motor speed is nominal and drifts with the pump's wear"
	case RunningSetpointUnknown:
		return "the running product gives this drive no setpoint, so the change is not shown"
	case LeaderGivesNoRate:
		return fmt.Sprintf("at its setpoint the leader %q gives nothing, or runs backwards, which this drive cannot follow", k.Name)
	case SlipNotCorrected:
		return fmt.Sprintf("the belt of stage %.0f lies behind the shaft that the loop holds: the loop does not correct its slip, and what slips beyond the description shows in the deviation", k.Number)
	case SlipCorrected:
		return fmt.Sprintf("the belt of stage %.0f lies before the shaft that the loop holds: the loop corrects its slip, so this shaft runs faster by what slips beyond the description; measure at the sensor's shaft to judge the drive", k.Number)
	case SingleReading:
		return "one reading tells nothing of the scatter: take five or more"
	case LimitsTooClose:
		return "the limits lie closer together than two guard bands: no reading of this instrument could prove that the drive keeps to them"
	case DeliversNothing:
		return "the pump turns no faster than its slip flow takes back, so it delivers nothing"
	case CountChosenTogether:
		return fmt.Sprintf("the counts of the blend were chosen together; by itself count %.0f is nearer", k.Number)
	case CountsNotProven:
		return "the search for the counts of the blend was cut off: these are the best it found, not proven to be the best there are"
	case RepeatSoonLost:
		return fmt.Sprintf("the follower is one whole repeat off after %s h, within a shift: let larger integers in, or correct the position by a mark on the product", short(k.Number))
	case RatioFitsExactly:
		return fmt.Sprintf("the ratio is exactly %s: bounds that hold these integers lose nothing", k.Name)
	case DrawOutsideTolerance:
		return fmt.Sprintf("%s: the counts give a draw ratio that is off by %s %%, outside the tolerance", k.Name, short(k.Number))
	case DrawBandOutsideTolerance:
		return k.Name + ": the drives' regulation may take the draw outside the tolerance"
	case DrawMayVanish:
		return fmt.Sprintf("%s: a draw is asked for, but rounding and regulation may leave %s %%: the material goes slack before this roll", k.Name, short(k.Number))
	case BeltStopsBefore:
		return fmt.Sprintf("the belt %q stops before the place below the first feeder has come the %s m to this one, so this one has no delay", k.Name, short(k.Number))
	case RampTooFast:
		return fmt.Sprintf("the time is shorter than drive %q can take for its change; it needs at least %s", k.Name, show(k.Limit))
	case BeltChangesToo:
		return fmt.Sprintf("the belt %q changes its speed with the first feeder: the materials meet on it, but lie in ratio only when every feeder has its new speed; change the belt's speed before the feeders or after them", k.Name)
	case NoSpeedChanges:
		return "rounded to counts, no drive changes its speed, so there is nothing to ramp"
	}
	if text := k.dwellMessage(); text != "" {
		return text
	}
	return k.measuredMessage()
}

func (k *Check) measuredMessage() string {
	switch k.Code {
	case ReferencesContradict:
		return fmt.Sprintf("%s contradicts %s: they differ by %s %%, and their stated uncertainties explain %s %%; measure again, or state larger uncertainties",
			k.Field, k.OtherField, short(k.Number), short(k.Allowed))
	case ReferencesUnweighted:
		return k.Field + " states no uncertainty while another does, so all of them weigh alike; state it for each"
	case SlipFlowNegative:
		if k.Name == byChance {
			return fmt.Sprintf("the references give a slip flow of %s, below zero by no more than chance explains; it was used as it is: measure at a lower speed too, or more often", show(k.Limit))
		}
		return fmt.Sprintf("the references give a slip flow of %s, below zero, which no pump has: a wrong value, or the scatter of few measurements; it was used as it is", show(k.Limit))
	case BeyondReferences:
		return fmt.Sprintf("the speed is more than 1.5 times away from the nearest measured one, %s r/min: the line is continued beyond what was measured", short(k.Number))
	case SlipFlowUnknown:
		return "one speed alone cannot tell the pump's displacement from its slip flow: measure at a second speed, far from the first"
	case OffsetFound:
		return fmt.Sprintf("the measured points do not lie on a line through zero: it meets standstill at %s, which is more than chance (%s %% level); look for a zero error of what was measured with, or for slip that grows with the load", show(k.Limit), short(k.Number))
	case LackOfFit:
		return fmt.Sprintf("the measured points lie farther from the line than their uncertainty explains (probability %.2g by chance): a wrong value, or what is measured is no straight line", k.Number)
	case MissesUncertainty:
		return fmt.Sprintf("the uncertainty of %s is %s %%, more than the %s %% that are wanted", k.Field, short(k.Number), short(k.Allowed))
	case UncertaintyOutOfReach:
		return fmt.Sprintf("no measurement like %s, however long, reaches the %s %% that are wanted: %s alone takes %s %%", k.Field, short(k.Allowed), k.Name, short(k.Number))
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
