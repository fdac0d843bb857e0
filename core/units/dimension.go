package units

import "strings"

// Dimension says what a unit measures, by its exponents of the base dimensions.
// Dimensions compare with ==. The zero Dimension is that of a plain number.
type Dimension struct {
	Length, Mass, Time, Turn, Piece, Pulse, Temperature int8

	_ int8 // fills a machine word, which is copied at once
}

// The dimensions that the calculations ask for.
var (
	Plain           = Dimension{}
	LengthDim       = Dimension{Length: 1}
	AreaDim         = Dimension{Length: 2}
	VolumeDim       = Dimension{Length: 3}
	MassDim         = Dimension{Mass: 1}
	TimeDim         = Dimension{Time: 1}
	TurnDim         = Dimension{Turn: 1}
	PieceDim        = Dimension{Piece: 1}
	PulseDim        = Dimension{Pulse: 1}
	TemperatureDim  = Dimension{Temperature: 1} // a difference, never a point
	SpeedDim        = LengthDim.Per(TimeDim)
	AccelerationDim = SpeedDim.Per(TimeDim)
	VolumeFlow      = VolumeDim.Per(TimeDim)
	MassFlow        = MassDim.Per(TimeDim)
	PieceRate       = PieceDim.Per(TimeDim)
	PulseRate       = PulseDim.Per(TimeDim)
	Rotation        = TurnDim.Per(TimeDim)
	RotationPerTime = Rotation.Per(TimeDim) // of a speed ramp
	Frequency       = Plain.Per(TimeDim)    // of events that are not named
	LengthPerTurn   = LengthDim.Per(TurnDim)
	VolumePerTurn   = VolumeDim.Per(TurnDim)
	MassPerTurn     = MassDim.Per(TurnDim)
	PiecesPerTurn   = PieceDim.Per(TurnDim)
	PulsesPerTurn   = PulseDim.Per(TurnDim)
	PulsesPerLength = PulseDim.Per(LengthDim)
	PulsesPerVolume = PulseDim.Per(VolumeDim)
	PulsesPerMass   = PulseDim.Per(MassDim)
	Density         = MassDim.Per(VolumeDim)
	MassPerArea     = MassDim.Per(AreaDim)
	MassPerLength   = MassDim.Per(LengthDim)
	PiecesPerLength = PieceDim.Per(LengthDim)
	LengthPerPiece  = LengthDim.Per(PieceDim)
	MassPerPiece    = MassDim.Per(PieceDim)
	VolumePerPiece  = VolumeDim.Per(PieceDim)
	TimePerPiece    = TimeDim.Per(PieceDim)
	TimePerLength   = TimeDim.Per(LengthDim)
	TimePerTurn     = TimeDim.Per(TurnDim)
	TimePerVolume   = TimeDim.Per(VolumeDim)
	TimePerMass     = TimeDim.Per(MassDim)
)

// quantityOf names the quantities that have a word of their own.
var quantityOf = map[Dimension]string{
	Plain:           "ratio",
	LengthDim:       "length",
	AreaDim:         "area",
	VolumeDim:       "volume",
	MassDim:         "mass",
	TimeDim:         "time",
	TurnDim:         "turns",
	PieceDim:        "pieces",
	PulseDim:        "pulses",
	TemperatureDim:  "temperature difference",
	SpeedDim:        "speed",
	AccelerationDim: "acceleration",
	VolumeFlow:      "volume flow",
	MassFlow:        "mass flow",
	PieceRate:       "piece rate",
	PulseRate:       "pulse rate",
	Rotation:        "rotational speed",
	RotationPerTime: "rotational acceleration",
	Frequency:       "frequency",
	Density:         "density",
	PulsesPerVolume: "pulses per volume (K-factor)",
	MassPerArea:     "areal mass",
	MassPerLength:   "linear mass",
}

// Times returns the dimension of a product.
func (d Dimension) Times(other Dimension) Dimension {
	return Dimension{
		Length: d.Length + other.Length, Mass: d.Mass + other.Mass, Time: d.Time + other.Time,
		Turn: d.Turn + other.Turn, Piece: d.Piece + other.Piece, Pulse: d.Pulse + other.Pulse,
		Temperature: d.Temperature + other.Temperature,
	}
}

// Per returns the dimension of a quotient.
func (d Dimension) Per(other Dimension) Dimension {
	return d.Times(Dimension{
		Length: -other.Length, Mass: -other.Mass, Time: -other.Time,
		Turn: -other.Turn, Piece: -other.Piece, Pulse: -other.Pulse,
		Temperature: -other.Temperature,
	})
}

// base is one base dimension with its singular word and its SI base unit.
type base struct {
	exponent     int8
	word, symbol string
}

// bases lists them in the order in which phrases name them.
func (d Dimension) bases() [7]base {
	return [7]base{
		{d.Pulse, "pulse", "pulse"}, {d.Piece, "piece", "pc"}, {d.Mass, "mass", "kg"},
		{d.Length, "length", "m"}, {d.Turn, "turn", "r"}, {d.Temperature, "temperature", "K"},
		{d.Time, "time", "s"},
	}
}

// String returns words for messages: "length per time", "volume per turn".
func (d Dimension) String() string {
	if d == Plain {
		return "plain number"
	}
	var above, below []string
	for _, b := range d.bases() {
		if b.exponent > 0 {
			above = append(above, powerWords(b.word, b.exponent))
		}
		if b.exponent < 0 {
			below = append(below, powerWords(b.word, -b.exponent))
		}
	}
	if len(above) == 0 {
		above = []string{"count"} // 1/s: events per time
	}
	return strings.Join(append([]string{strings.Join(above, " times ")}, below...), " per ")
}

func powerWords(word string, exponent int8) string {
	switch {
	case exponent == 1:
		return word
	case word == "length" && exponent == 2:
		return "area"
	case word == "length" && exponent == 3:
		return "volume"
	case exponent == 2:
		return word + " squared"
	case exponent == 3:
		return word + " cubed"
	}
	return word + " to the power " + string(rune('0'+exponent))
}

// maxExamples is what a message can carry and still be read.
const maxExamples = 5

// Examples returns units of this dimension for a message that says what would
// be right, such as "m/min, ft/min, in/s", or the SI base unit where the table
// has none.
func (d Dimension) Examples() string {
	var found []string
	for _, row := range registered.rows {
		if row.dim == d && len(found) < maxExamples {
			found = append(found, row.symbol)
		}
	}
	if len(found) == 0 {
		return d.BaseUnit()
	}
	return strings.Join(found, ", ")
}

// BaseUnit writes the base unit of d, such as m3/s, as the package reads it; 1 for a
// plain number.
func (d Dimension) BaseUnit() string {
	var above []string
	below := ""
	for _, b := range d.bases() {
		if b.exponent > 0 {
			above = append(above, powerSymbol(b.symbol, b.exponent))
		}
		if b.exponent < 0 {
			below += "/" + powerSymbol(b.symbol, -b.exponent)
		}
	}
	if len(above) == 0 {
		above = []string{"1"}
	}
	return strings.Join(above, ".") + below
}

func powerSymbol(symbol string, exponent int8) string {
	if exponent == 1 {
		return symbol
	}
	return symbol + string(rune('0'+exponent))
}
