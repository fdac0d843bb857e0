package scaling

import "fmt"

// dwellMessage says a check of a time or of the pieces on a belt in words, and
// nothing of any other.
func (k *Check) dwellMessage() string {
	switch k.Code {
	case NoCountWithinBounds:
		return fmt.Sprintf("no count meets both bounds: the nearest that keeps the shorter one gives %s; widen the bounds, or use a finer register", show(k.Limit))
	case SpeedLimitMeetsBound:
		return fmt.Sprintf("the bound asks for no more than the drive does at its limit, which %s sets; that limit was taken", k.Binds)
	case NearestCountBreaksBound:
		return fmt.Sprintf("the nearest count, %.0f, would break the bound; the next one on its safe side was taken", k.Number)
	case PiecesWouldTouch:
		return fmt.Sprintf("the pieces would touch here: they lie %s apart from leading edge to leading edge, no more than their own length; let this belt run faster, or feed fewer", show(k.Limit))
	case GapBelowLeast:
		return fmt.Sprintf("the gap between the pieces would be %s here, less than what is asked; let this belt run faster, or feed fewer", show(k.Limit))
	case DeadPlateNotBridged:
		return fmt.Sprintf("a piece is no longer than the dead plate behind section %q, %s: it rests there until the next one pushes it, and its time is longer than shown", k.Name, show(k.Limit))
	case ZoneTemperatureOverstates:
		return "the dose is reckoned with the temperature that the zones are set to; the product lags behind it, so the dose that the product gets is lower: measure the product's own temperature"
	case ProcessAuthorityDecides:
		return "a thermal process is set by a process authority and proven on the product; this number compares speeds, it releases nothing"
	case NoTransition:
		return fmt.Sprintf("there is no transition to find: drive %q has no setpoint for one of the products, or stands still for it", k.Name)
	}
	return ""
}
