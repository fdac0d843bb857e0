package main

import (
	"encoding/json"
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"sync"
)

// The reference computes what the contract's comments say, over the decimals of
// the JSON text and with no rounding but those that the contract asks for. It
// shares no code with the service.

// num reads a number of the wire: the shortest decimal of the double that the
// text means. Absent is zero.
func num(text json.Number) piNumber { return exactly(decimal(text)) }

func decimal(text json.Number) *big.Rat {
	if text == "" {
		return new(big.Rat)
	}
	double, err := strconv.ParseFloat(string(text), 64)
	if err != nil {
		panic(err)
	}
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(double, 'g', -1, 64))
	if !ok {
		panic("reference: no number: " + string(text))
	}
	return r
}

// percent is the share that a percentage means.
func percent(text json.Number) piNumber { return num(text).mul(fraction(1, 100)) }

func one() piNumber { return integer(1) }

// refDim holds the exponents of length, mass, time, turn, piece and pulse.
type refDim [6]int

var (
	dimSpeed  = refDim{2: -1, 3: 1}
	dimTime   = refDim{2: 1}
	dimLength = refDim{0: 1, 2: -1}
	dimMass   = refDim{1: 1, 2: -1}
	dimVolume = refDim{0: 3, 2: -1}
	dimPieces = refDim{2: -1, 4: 1}
)

// refSymbols gives each symbol in SI units, turns, pieces and pulses. The foot,
// inch and pound are those of the international yard and pound agreement of 1959,
// the US gallon is 231 cubic inches (NIST Handbook 44, appendix C), the imperial
// gallon 4.54609 L (UK Units of Measurement Regulations 1995).
var refSymbols = map[string]struct {
	factor string
	dim    refDim
}{
	"m": {"1", refDim{0: 1}}, "mm": {"1/1000", refDim{0: 1}}, "cm": {"1/100", refDim{0: 1}}, "km": {"1000", refDim{0: 1}},
	"ft": {"0.3048", refDim{0: 1}}, "in": {"0.0254", refDim{0: 1}}, "yd": {"0.9144", refDim{0: 1}},
	"[ft_i]": {"0.3048", refDim{0: 1}}, "[in_i]": {"0.0254", refDim{0: 1}},
	"s": {"1", refDim{2: 1}}, "min": {"60", refDim{2: 1}}, "h": {"3600", refDim{2: 1}}, "d": {"86400", refDim{2: 1}},
	"kg": {"1", refDim{1: 1}}, "g": {"1/1000", refDim{1: 1}}, "t": {"1000", refDim{1: 1}},
	"lb": {"0.45359237", refDim{1: 1}}, "oz": {"0.028349523125", refDim{1: 1}}, "[lb_av]": {"0.45359237", refDim{1: 1}},
	"ston": {"907.18474", refDim{1: 1}},
	"L":    {"1/1000", refDim{0: 3}}, "mL": {"1/1000000", refDim{0: 3}},
	"gal_us": {"0.003785411784", refDim{0: 3}}, "[gal_us]": {"0.003785411784", refDim{0: 3}},
	"gal_imp": {"0.00454609", refDim{0: 3}}, "[gal_br]": {"0.00454609", refDim{0: 3}},
	"r": {"1", refDim{3: 1}}, "pc": {"1", refDim{4: 1}}, "pulse": {"1", refDim{5: 1}},
}

// refUnit reads a unit of the form a/b/c, each a symbol with a power of one digit.
func refUnit(text string) (piNumber, refDim) {
	known, ok := refUnits.Load(text)
	if !ok {
		factor, dim := readRefUnit(text)
		known, _ = refUnits.LoadOrStore(text, refKnownUnit{factor, dim})
	}
	return known.(refKnownUnit).factor, known.(refKnownUnit).dim
}

type refKnownUnit struct {
	factor piNumber
	dim    refDim
}

var refUnits sync.Map // of refKnownUnit by text

func readRefUnit(text string) (piNumber, refDim) {
	factor, dim := big.NewRat(1, 1), refDim{}
	for i, part := range strings.Split(text, "/") {
		power := 1
		if last := part[len(part)-1]; last >= '2' && last <= '9' {
			part, power = part[:len(part)-1], int(last-'0')
		}
		symbol, ok := refSymbols[part]
		if !ok {
			panic("reference: no unit " + text)
		}
		f, _ := new(big.Rat).SetString(symbol.factor)
		if i > 0 {
			f.Inv(f)
			power = -power
		}
		for range max(power, -power) {
			factor = new(big.Rat).Mul(factor, f)
		}
		for j, e := range symbol.dim {
			dim[j] += power * e
		}
	}
	return exactly(factor), dim
}

// si is a quantity in SI units.
func (q jsonQuantity) si() piNumber {
	factor, _ := refUnit(q.Unit)
	return num(q.Value).mul(factor)
}

func (q jsonQuantity) dim() refDim {
	_, dim := refUnit(q.Unit)
	return dim
}

// refView is what a motor speed of n r/min does, in SI units: a n + b, or for a
// time over / (a n + b).
type refView struct {
	dim        refDim
	a, b, over piNumber
}

func (v refView) at(n piNumber) piNumber {
	value := v.a.mul(n).add(v.b)
	if v.dim == dimTime {
		return v.over.div(value)
	}
	return value
}

// rpm is the motor speed at which the view has a value.
func (v refView) rpm(value piNumber) piNumber {
	if v.dim == dimTime {
		value = v.over.div(value)
	}
	return value.sub(v.b).div(v.a)
}

func (v refView) scaled(by piNumber) refView {
	v.a, v.b = v.a.mul(by), v.b.mul(by)
	return v
}

// refDrive is a drive with the material that it conveys.
type refDrive struct {
	*jsonDrive
	material *jsonMaterial
	sections []*jsonSection // those that it moves
	ratios   []piNumber     // speed of each shaft from the motor's on, per motor speed
	own      *refView       // what it delivers; nil for neither delivery nor reference
	fit      *refLine       // of its references; nil for none
	line     *refRegister   // once register has been asked for it
}

func newRefDrive(d *jsonDrive, material *jsonMaterial, sections []*jsonSection) *refDrive {
	r := &refDrive{jsonDrive: d, material: material, sections: sections, ratios: []piNumber{one()}}
	for _, stage := range d.Transmission {
		r.ratios = append(r.ratios, r.last().mul(stage.ratio()))
	}
	switch {
	case len(d.References) > 0:
		r.fit = fitReferences(d)
		r.own = &refView{dim: d.References[0].Value.dim(), a: exactly(r.fit.slope), b: exactly(r.fit.intercept)}
	case d.Delivery != nil:
		perTurn, leak, dim := r.delivery(d.Delivery)
		r.own = &refView{dim: dim, a: perTurn.mul(r.last()).mul(fraction(1, 60)), b: leak.neg()}
	}
	return r
}

func (r *refDrive) last() piNumber { return r.ratios[len(r.ratios)-1] }

// ratio is driven speed per driver speed.
func (s jsonStage) ratio() piNumber {
	switch {
	case s.GearPair != nil:
		return fraction(s.GearPair.DriverTeeth, s.GearPair.DrivenTeeth)
	case s.Chain != nil:
		return fraction(s.Chain.DriverTeeth, s.Chain.DrivenTeeth)
	case s.Gearbox != nil:
		return one().div(num(s.Gearbox.Ratio))
	}
	grip := one().sub(percent(s.Belt.SlipPercent))
	return s.Belt.DriverDiameter.si().div(s.Belt.DrivenDiameter.si()).mul(grip)
}

// delivery returns what a turn of the last shaft delivers, and what leaks back per second.
func (r *refDrive) delivery(d *jsonDelivery) (perTurn, leak piNumber, dim refDim) {
	leak = integer(0)
	switch {
	case d.Roll != nil:
		diameter := d.Roll.PitchDiameter
		if diameter == nil {
			diameter = d.Roll.Diameter
		}
		across := diameter.si()
		if d.Roll.BeltThickness != nil {
			across = across.add(d.Roll.BeltThickness.si())
		}
		return piItself().mul(across).mul(one().sub(percent(d.Roll.SlipPercent))), leak, dimLength
	case d.Sprocket != nil:
		return integer(d.Sprocket.Teeth).mul(d.Sprocket.Pitch.si()), leak, dimLength
	case d.Pump != nil:
		perTurn = d.Pump.Displacement.si()
		if d.Pump.SlipFlow != nil {
			leak = d.Pump.SlipFlow.si()
		}
		if d.Pump.VolumetricEfficiencyPercent != "" {
			perTurn = perTurn.mul(percent(d.Pump.VolumetricEfficiencyPercent))
		}
		return perTurn, leak, dimVolume
	case d.Screw != nil:
		fill := one()
		if r.material != nil && r.material.FillPercent != "" {
			fill = percent(r.material.FillPercent)
		}
		return d.Screw.VolumePerTurn.si().mul(fill), leak, dimVolume
	case d.Feeder != nil && d.Feeder.MassPerTurn != nil:
		return d.Feeder.MassPerTurn.si(), leak, dimMass
	case d.Feeder != nil:
		return d.Feeder.VolumePerTurn.si(), leak, dimVolume
	}
	return num(d.Indexer.PiecesPerTurn), leak, dimPieces
}

// density is that which turns the drive's volume into mass: of the liquid for a
// pump, of the bulk for the rest.
func (r *refDrive) density() piNumber {
	if r.Delivery != nil && r.Delivery.Pump != nil {
		return r.material.Density.si()
	}
	return r.material.BulkDensity.si()
}

// view is the drive's view in a dimension.
func (r *refDrive) view(dim refDim) refView {
	switch {
	case dim == dimSpeed:
		return refView{dim: dim, a: fraction(1, 60), b: integer(0)}
	case r.own == nil:
		panic("reference: the drive delivers nothing known")
	case r.own.dim == dim:
		return *r.own
	case r.own.dim == dimVolume && dim == dimMass:
		v := r.own.scaled(r.density())
		v.dim = dim
		return v
	case r.own.dim == dimMass && dim == dimVolume:
		v := r.own.scaled(one().div(r.density()))
		v.dim = dim
		return v
	}
	panic(fmt.Sprint("reference: no view ", dim, " of ", r.own.dim))
}

// dwell is the view of the time in a section.
func (r *refDrive) dwell(section *jsonSection) refView {
	v := r.view(dimLength)
	v.dim, v.over = dimTime, section.Length.si()
	return v
}

// loop is the sensor that closes the loop, or nil.
func (r *refDrive) loop() *jsonSensor {
	for i := range r.Sensors {
		if r.Sensors[i].ClosesLoop {
			return &r.Sensors[i]
		}
	}
	return nil
}

// frequency is the view of the loop's sensor, in Hz; it has no dimension of its own.
func (r *refDrive) frequency() *refView {
	switch s := r.loop(); {
	case s == nil:
		return nil
	case s.Flow != nil:
		v := r.view(dimVolume).scaled(s.Flow.KFactor.si())
		return &v
	default:
		perTurn := num(s.Shaft.PulsesPerTurn).mul(integer(max(s.Shaft.EdgesCounted, 1)))
		return &refView{a: perTurn.mul(r.ratios[s.Shaft.StagesFromMotor]).mul(fraction(1, 60)), b: integer(0)}
	}
}

// refRegister is the register's line, output = a n + b, between its ends.
type refRegister struct {
	a, b, low, high piNumber
	integer         bool
}

func (r *refDrive) register() *refRegister {
	if r.Register == nil || r.line != nil {
		return r.line
	}
	from, to := r.Register.Span[0], r.Register.Span[1]
	view := r.view(from.Value.dim())
	switch r.Register.Shaft {
	case "SENSOR":
		view = view.scaled(r.ratios[r.loop().Shaft.StagesFromMotor])
	case "LAST":
		view = view.scaled(r.last())
	}
	steep := to.output().sub(from.output()).div(to.Value.si().sub(from.Value.si()))
	line := &refRegister{
		a: steep.mul(view.a),
		b: view.b.sub(from.Value.si()).mul(steep).add(from.output()),
	}
	switch {
	case r.Register.Current != nil:
		line.low, line.high = integer(4), integer(20)
	case r.Register.Voltage != nil:
		line.low, line.high = integer(0), integer(10)
	default:
		line.integer = true
		ends := map[string][2]int64{"INT16": {-32768, 32767}, "UINT16": {0, 65535}, "INT32": {-2147483648, 2147483647}}[r.Register.Integer.Type]
		line.low, line.high = integer(ends[0]), integer(ends[1])
	}
	r.line = line
	return line
}

func (p jsonPoint) output() piNumber {
	return num(p.Count + p.Milliamps + p.Volts)
}

// spansBelowZero tells whether the register can ask for the other direction.
func (r *refDrive) spansBelowZero() bool {
	return r.Register != nil && (r.Register.Span[0].Value.si().sign() < 0 || r.Register.Span[1].Value.si().sign() < 0)
}

func (line refRegister) output(n piNumber) piNumber { return line.a.mul(n).add(line.b) }
func (line refRegister) rpm(output piNumber) piNumber {
	return output.sub(line.b).div(line.a)
}

// refLimit is a limit of the motor speed and what sets it; more than one thing may.
type refLimit struct {
	rpm   piNumber
	binds []string
}

func (l *refLimit) take(rpm piNumber, binds string, tighter int) {
	switch rpm.cmp(l.rpm) {
	case tighter:
		l.rpm, l.binds = rpm, []string{binds}
	case 0:
		l.binds = append(l.binds, binds)
	}
}

// limits are the lowest and highest speed in the direction of sign, as magnitudes.
func (r *refDrive) limits(sign int) (lowest, highest refLimit) {
	lowest = refLimit{num(r.Motor.MinRpm), []string{"MOTOR"}}
	highest = refLimit{num(r.Motor.MaxRpm), []string{"MOTOR"}}
	if s := r.loop(); s != nil && s.Shaft != nil {
		hertz := r.frequency()
		lowest.take(num(s.Shaft.MinHz).div(hertz.a), "SENSOR", 1)
		if s.Shaft.MaxHz != "" {
			highest.take(num(s.Shaft.MaxHz).div(hertz.a), "SENSOR", -1)
		}
	}
	if line := r.register(); line != nil {
		first, end := line.reach(sign)
		lowest.take(line.rpm(first).mul(integer(int64(sign))), "REGISTER", 1)
		highest.take(line.rpm(end).mul(integer(int64(sign))), "REGISTER", -1)
	}
	return lowest, highest
}

// reach returns the first output beyond standstill in a direction, and the last.
// A current or voltage has no first step, so for it the first is standstill itself.
func (line refRegister) reach(sign int) (first, end piNumber) {
	if line.a.sign()*sign > 0 {
		first, end = line.b, line.high
		if line.integer {
			first = ofInt(line.b.floor()).add(one())
		}
		if first.less(line.low) {
			first = line.low
		}
		return first, end
	}
	first, end = line.b, line.low
	if line.integer {
		first = ofInt(line.b.ceil()).sub(one())
	}
	if line.high.less(first) {
		first = line.high
	}
	return first, end
}
