// Package scaling relates the motor speed, the process rate, the register count
// and the readout of one drive.
//
// The relation between the motor speed n and the process rate is
//
//	rate = perTurn * n - leak
//
// where perTurn is the product of the transmission's ratios, its slips and what
// one turn of the last shaft delivers, and leak is a pump's slip flow, zero for
// everything else. Everything is computed in base units with turns and pieces
// as units of their own, on [exact.Num], so that every count, every readout text
// and every verdict is that of the exact formula.
package scaling

import "linepace.example/core/units"

// Optional is a value that may be absent, where absent and zero differ.
type Optional[T any] struct {
	Value T
	Set   bool
}

// Some returns v as a value that is present.
func Some[T any](v T) Optional[T] { return Optional[T]{Value: v, Set: true} }

// Drive is a motor with closed-loop speed control and what it turns. [Validate]
// checks one; every other function takes only drives that passed it.
type Drive struct {
	ID           string
	Motor        Motor
	Transmission []Stage
	Delivery     Delivery
	References   []Reference
	Correction   DeliveryModel // in force, in place of both; PerTurn.Unit nil: none
	Sensors      []Sensor
	Readout      Readout  // Unit nil: none described
	Register     Register // Kind zero: none described
}

// Motor holds the limits of a motor's speed in r/min.
type Motor struct {
	MinRPM, MaxRPM float64
	BaseRPM        Optional[float64]
	Regulation     Regulation
}

// Regulation says how closely a drive holds its set speed: Percent either way of
// the speed named by Of, or a droop of DroopPercent from no load to full load.
type Regulation struct {
	Percent      Optional[float64]
	Of           SpeedBase
	DroopPercent Optional[float64]
}

// SpeedBase names the speed that a percentage refers to.
type SpeedBase uint8

// Speed bases.
const (
	NoBase SpeedBase = iota
	SetSpeed
	MaxSpeed
	BaseSpeed
)

// Stage is one stage of a transmission; Kind says which fields count.
type Stage struct {
	Kind                           StageKind
	DriverTeeth, DrivenTeeth       int32          // GearPair, Chain
	Ratio                          float64        // Gearbox: input turns per output turn
	Exact                          bool           // Gearbox: not a rounded nameplate value
	DriverDiameter, DrivenDiameter units.Quantity // Belt: pitch diameters
	SlipPercent                    float64        // Belt
}

// StageKind is a kind of transmission stage.
type StageKind uint8

// Kinds of stages.
const (
	NoStage StageKind = iota
	GearPair
	Gearbox
	Belt
	Chain
)

// Delivery is what turning the last shaft delivers; Kind says which fields count.
type Delivery struct {
	Kind                        DeliveryKind
	Diameter, BeltThickness     units.Quantity    // Roll, with or without a belt
	PitchDiameter               units.Quantity    // Roll, instead of Diameter
	SlipPercent                 float64           // Roll
	Teeth                       int32             // Sprocket
	Pitch                       units.Quantity    // Sprocket
	Displacement, SlipFlow      units.Quantity    // Pump
	VolumetricEfficiencyPercent Optional[float64] // Pump, instead of SlipFlow
	AtRPM                       Optional[float64] // Pump: where the efficiency was found
	VolumePerTurn               units.Quantity    // Screw, Feeder
	MassPerTurn                 units.Quantity    // Feeder, instead of VolumePerTurn
	PiecesPerTurn               float64           // Indexer
}

// DeliveryKind is a kind of delivery.
type DeliveryKind uint8

// Kinds of deliveries.
const (
	NoDelivery DeliveryKind = iota
	Roll
	Sprocket
	Pump
	Screw
	Feeder
	Indexer
)

// Reference is a process rate that was measured at a motor speed.
type Reference struct {
	Value              units.Quantity
	MotorRPM           float64
	UncertaintyPercent Optional[float64]
}

// Sensor is a pulse sensor on a shaft or a flow meter.
type Sensor struct {
	ID              string
	Kind            SensorKind
	ClosesLoop      bool
	PulsesPerTurn   float64           // ShaftSensor
	EdgesCounted    Optional[int32]   // ShaftSensor; 1 when absent
	StagesFromMotor int32             // ShaftSensor
	MinHz           float64           // ShaftSensor
	MaxHz           Optional[float64] // ShaftSensor
	KFactor         units.Quantity    // FlowSensor: pulses per volume
	AccuracyPercent Optional[float64] // FlowSensor
	Counting        Counting          // Kind zero: not known, and nothing is said of it
}

// SensorKind is a kind of sensor.
type SensorKind uint8

// Kinds of sensors.
const (
	NoSensor SensorKind = iota
	ShaftSensor
	FlowSensor
)

// Counting is how a device finds a frequency from pulses; Kind says which fields count.
type Counting struct {
	Kind          CountingKind
	Gate          units.Quantity    // ByGate: the time in which pulses are counted
	ClockHz       float64           // ByPeriod: the clock that times whole periods
	Periods       Optional[int32]   // ByPeriod: how many at a time; 1 when absent
	WantedPercent Optional[float64] // the coarsest resolution that is wanted, percent of the speed
}

// periods returns how many periods are timed for one value.
func (k *Counting) periods() int64 {
	if k.Periods.Set {
		return int64(k.Periods.Value)
	}
	return 1
}

// CountingKind is a way of counting.
type CountingKind uint8

// Ways of counting.
const (
	NoCounting CountingKind = iota
	ByGate
	ByPeriod
)

// Readout is what the operator sees: a number in Unit with Decimals of its Digits
// after the point. Its unit is a process rate, r/min of the motor, or a time, which
// has no sign. What is beyond the last digit is rounded, or dropped where Truncates.
type Readout struct {
	Unit      *units.Unit
	Digits    int32
	Decimals  int32
	SectionID string
	Truncates bool
}

// Register is what the controller takes: a number linear in a motor speed or a
// process rate, through the two points of Span.
type Register struct {
	Kind  RegisterKind
	Type  IntegerType
	Shaft Shaft
	Span  [2]SpanPoint // none for a register that follows
	// DwellLength is the length over which the values of Span are times, of a reciprocal
	// register; a nil Unit for any other.
	DwellLength units.Quantity
	Tag         string
	Following   Following // RatioRegister, FractionRegister
}

// RegisterKind is a kind of register.
type RegisterKind uint8

// Kinds of registers.
const (
	NoRegister RegisterKind = iota
	IntegerRegister
	CurrentOutput    // mA, 4 to 20 after IEC 60381-1
	VoltageOutput    // V, 0 to 10 after IEC 60381-2
	RatioRegister    // percent of a leader, with fixed decimals
	FractionRegister // of a leader, two integers
)

// IntegerType is a type of integer register.
type IntegerType uint8

// Integer types.
const (
	NoInteger IntegerType = iota
	Int16
	Uint16
	Int32
	ratioCount // units of the last decimal of a ratio
)

// Shaft names the shaft whose speed a register's points give.
type Shaft uint8

// Shafts.
const (
	MotorShaft Shaft = iota
	SensorShaft
	LastShaft
)

// SpanPoint is a point of a register's line. The number is in the field that
// belongs to the register's kind.
type SpanPoint struct {
	Count     Optional[int32]
	Milliamps Optional[float64]
	Volts     Optional[float64]
	Value     units.Quantity
}

// Material is what a product brings to a drive.
type Material struct {
	ID          string
	Density     units.Quantity
	BulkDensity units.Quantity
	FillPercent Optional[float64]
	Moisture    Moisture
}

// Moisture is the water in a material as fed.
type Moisture struct {
	Percent float64
	Basis   MoistureBasis
}

// MoistureBasis is the mass that a moisture refers to.
type MoistureBasis uint8

// Moisture bases. The zero value means dry.
const (
	NoMoisture MoistureBasis = iota
	WetBasis
	DryBasis
)

// Section is a length of tunnel that a drive moves.
type Section struct {
	ID      string
	DriveID string
	Length  units.Quantity
	Zones   []Zone
	// DeadPlate is the length, without a drive, from the end of the section to the
	// next one. A nil Unit means none.
	DeadPlate units.Quantity
}

// Zone is a part of a section.
type Zone struct {
	ID     string
	Length units.Quantity
}

// LoopSensor returns the sensor that closes the loop, or nil.
func (d *Drive) LoopSensor() *Sensor {
	for i := range d.Sensors {
		if d.Sensors[i].ClosesLoop {
			return &d.Sensors[i]
		}
	}
	return nil
}
