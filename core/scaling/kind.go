package scaling

import "linepace.example/core/units"

// kind is the dimension of an amount, as far as drives tell dimensions apart. It
// is found once for each unit, and compared many times.
type kind uint8

const (
	noKind        kind = iota // what no drive gives
	motorSpeed                // turns per time
	timeInSection             // of a belt's section
	lengthRate                // and the other process rates, per time
	volumeRate
	massRate
	pieceRate
	pulsesInTime // of a sensor; no amount is asked in it
)

func kindOf(u *units.Unit) kind { return kindOfDimension(u.Dimension()) }

func kindOfDimension(d units.Dimension) kind {
	switch d {
	case units.Rotation:
		return motorSpeed
	case units.TimeDim:
		return timeInSection
	case units.SpeedDim:
		return lengthRate
	case units.VolumeFlow:
		return volumeRate
	case units.MassFlow:
		return massRate
	case units.PieceRate:
		return pieceRate
	}
	return noKind
}

// dimensions holds the dimension of each kind.
var dimensions = [...]units.Dimension{
	motorSpeed: units.Rotation, timeInSection: units.TimeDim,
	lengthRate: units.SpeedDim, volumeRate: units.VolumeFlow, massRate: units.MassFlow, pieceRate: units.PieceRate,
}
