package scaling

import "fmt"

// Codes of readouts, sensors and scale fractions.
const (
	ReadoutCannotShowRange Code = 40 + iota
	ReadoutWithoutDensity
	ReadoutFinerThanSensor
	SensorCoarserThanWanted
	SensorAboveItsLimit
	SensorBelowItsLimit
	NoScaleFraction
	ReadingsDiffer
	TooManyCountsToCompare
	CurrentOutsideSignal
)

func (k *Check) readoutMessage() string {
	switch k.Code {
	case ReadoutCannotShowRange:
		return "the readout cannot show every value of the usable range" + k.decimals()
	case ReadoutWithoutDensity:
		return fmt.Sprintf("the readout shows a mass or a volume, and the drive delivers the other: give the material's %s", k.Name)
	case ReadoutFinerThanSensor:
		return fmt.Sprintf("one pulse or clock tick more of sensor %q changes the readout by %s of its last digit: that digit says more than the sensor tells", k.Name, short(k.Number))
	case SensorAboveItsLimit:
		return fmt.Sprintf("sensor %q gives %s Hz, above its highest frequency", k.Name, short(k.Number))
	case SensorBelowItsLimit:
		return fmt.Sprintf("sensor %q gives %s Hz, below its lowest frequency", k.Name, short(k.Number))
	case ReadingsDiffer:
		return fmt.Sprintf("at %.0f counts of the usable range the device's fraction shows another reading than the exact scale", k.Number)
	case TooManyCountsToCompare:
		return fmt.Sprintf("the usable range has %.0f counts, too many to compare each reading", k.Number)
	}
	return k.Text
}

// decimals says which decimals would do.
func (k *Check) decimals() string {
	switch {
	case !k.Decimals.Set:
		return "; it does not without decimals either: it needs more digits, or a larger unit"
	case k.Decimals.Value == 1:
		return "; with 1 decimal it would"
	}
	return fmt.Sprintf("; with %d decimals it would", k.Decimals.Value)
}
