package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
)

// The generator of the differential test makes valid lines and products, each
// from its own seed. Half of the drives are neat: their numbers are products of
// twos and fives, so that halves of counts and of readouts, limits and tolerances
// are met exactly. The others are rough.

// genUnits lists units by what they measure; inside a list they are mixed freely.
var genUnits = map[refDim][]string{
	dimLength: {"m/min", "ft/min", "mm/s", "in/s", "m/h", "cm/min", "m/s", "ft/s", "yd/min", "[ft_i]/min", "mm/min", "in/min"},
	dimMass:   {"kg/h", "lb/h", "g/min", "kg/min", "t/h", "g/s", "lb/min", "oz/min", "[lb_av]/h", "ston/h", "kg/s"},
	dimVolume: {"L/min", "gal_us/min", "gal_imp/min", "mL/min", "L/h", "m3/h", "ft3/h", "mL/s", "[gal_us]/h", "L/s"},
	dimPieces: {"pc/min", "pc/h", "pc/s"},
	dimTime:   {"min", "s", "h"},
	dimSpeed:  {"r/min"},
}

var (
	genLengths   = []string{"mm", "in", "cm", "m", "ft", "[in_i]"}
	genVolumes   = []string{"mL/r", "L/r", "in3/r", "cm3/r", "gal_us/r", "gal_imp/r"}
	genMasses    = []string{"g/r", "kg/r", "lb/r", "oz/r"}
	genDensities = []string{"kg/L", "kg/m3", "g/cm3", "lb/ft3", "g/mL", "lb/gal_us"}
)

// generator makes one plan. What it aims at it finds by the reference; what the
// answer must be, the reference finds anew from the text.
type generator struct {
	*rand.Rand
	plan *jsonPlan
	ref  *refPlan
	neat bool // of the drive at hand
}

func newGenerator(seed uint64) *generator {
	plan := &jsonPlan{Line: jsonLine{ID: "line"}, Product: jsonProduct{ID: "product"}}
	return &generator{
		Rand: rand.New(rand.NewPCG(seed, 1)), plan: plan, ref: newRefPlan(plan),
	}
}

func (g *generator) one(percent int) bool { return g.IntN(100) < percent }

func pick[T any](g *generator, from ...T) T { return from[g.IntN(len(from))] }

// between is log-uniform, with few or many digits.
func (g *generator) between(low, high float64) json.Number {
	value := low * math.Pow(high/low, g.Float64())
	digits := pick(g, 2, 3, 4, 6, 12, 15, 17)
	text := strconv.FormatFloat(value, 'g', digits, 64)
	if back, _ := strconv.ParseFloat(text, 64); back < low || back > high {
		text = strconv.FormatFloat(value, 'g', 17, 64)
	}
	return g.spell(text)
}

// spell writes the same double in another way: that must not matter.
func (g *generator) spell(text string) json.Number {
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	switch g.IntN(40) {
	case 0:
		text = strconv.FormatFloat(value, 'e', -1, 64)
	case 1:
		text = strconv.FormatFloat(value, 'f', -1, 64)
		if !strings.Contains(text, ".") {
			text += "."
		}
		text += "000"
	case 2:
		text = new(big.Float).SetFloat64(value).Text('e', 40) // all that the double holds
	case 3:
		text = strings.ToUpper(strconv.FormatFloat(value, 'e', 16, 64))
	}
	return json.Number(text)
}

// twosAndFives returns a short number of that kind from low to high, which are at
// least a factor of 1.3 apart.
func (g *generator) twosAndFives(low, high float64) json.Number {
	for {
		exponent := math.Floor(math.Log10(low * math.Pow(high/low, g.Float64())))
		lead := pick(g, "1", "1.25", "1.6", "2", "2.5", "3.2", "4", "5", "6.4", "8")
		text := fmt.Sprintf("%se%d", lead, int(exponent))
		if value, _ := strconv.ParseFloat(text, 64); value >= low && value <= high {
			return json.Number(strconv.FormatFloat(value, 'f', -1, 64))
		}
	}
}

// size is a positive number in the style of the drive.
func (g *generator) size(low, high float64) json.Number {
	if g.neat {
		return g.twosAndFives(low, high)
	}
	return g.between(low, high)
}

// quantity is a size of so many SI units, written in one of the units.
func (g *generator) quantity(low, high float64, units []string) jsonQuantity {
	unit := units[0]
	if !g.neat || g.one(20) {
		unit = pick(g, units...)
	}
	factor, _ := refUnit(unit)
	f := factor.float64()
	return jsonQuantity{g.size(low/f, high/f), unit}
}

func (g *generator) pointer(q jsonQuantity) *jsonQuantity { return &q }

// exactText is the decimal that equals x, where there is one of at most 15 digits:
// so many any double holds.
func exactText(x piNumber) (json.Number, bool) {
	r := x.rational()
	if r == nil {
		return "", false
	}
	text := r.FloatString(25)
	back, _ := new(big.Rat).SetString(text)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	if text == "" || text == "-" || back.Cmp(r) != 0 || len(strings.Trim(text, "-.0")) > 16 {
		return "", false
	}
	if decimal(json.Number(text)).Cmp(r) != 0 {
		return "", false
	}
	return json.Number(text), true
}

// aim writes x: exactly where a decimal can, otherwise the double nearest to it or
// one of its neighbours.
func (g *generator) aim(x piNumber) json.Number {
	if text, ok := exactText(x); ok && !g.one(15) {
		return g.spell(string(text))
	}
	value := x.float64()
	for range g.IntN(3) {
		value = math.Nextafter(value, math.Inf(1-2*g.IntN(2)))
	}
	return json.Number(strconv.FormatFloat(value, 'g', -1, 64))
}

// slip is in percent.
func (g *generator) slip() json.Number {
	if g.neat {
		return pick[json.Number](g, "", "0", "20", "-2.4", "2.34375") // 1 - slip is of twos and fives
	}
	return pick(g, "", g.between(0.01, 20), "-"+g.between(0.01, 4.9))
}

func (g *generator) transmission() []jsonStage {
	var stages []jsonStage
	for range pick(g, 0, 0, 1, 1, 2, 2, 3, 4, 5) {
		stages = append(stages, g.stage())
	}
	return stages
}

func (g *generator) stage() jsonStage {
	teeth := &jsonTeeth{8 + g.Int64N(60), 10 + g.Int64N(120)}
	if g.neat {
		teeth = &jsonTeeth{pick[int64](g, 10, 16, 20, 25), pick[int64](g, 10, 20, 25, 32, 40, 50, 64)}
	}
	switch g.IntN(4) {
	case 0:
		return jsonStage{GearPair: teeth}
	case 1:
		return jsonStage{Chain: teeth}
	case 2:
		return jsonStage{Gearbox: &jsonGearbox{g.size(0.5, 40), g.one(60)}}
	}
	belt := &jsonBelt{g.quantity(0.05, 0.2, genLengths), g.quantity(0.05, 0.4, genLengths), g.slip()}
	if num(belt.SlipPercent).sign() != 0 {
	}
	return jsonStage{Belt: belt}
}

func (g *generator) delivery(dim refDim, ref *refDrive) *jsonDelivery {
	switch {
	case dim == dimLength && g.one(75):
		return &jsonDelivery{Roll: g.roll()}
	case dim == dimLength:
		return &jsonDelivery{Sprocket: &jsonSprocket{pick[int64](g, 8, 16, 20, 25, 40), g.quantity(0.008, 0.1, genLengths)}}
	case dim == dimPieces:
		return &jsonDelivery{Indexer: &jsonIndexer{g.size(0.125, 64)}}
	case dim == dimMass:
		return &jsonDelivery{Feeder: &jsonFeeder{MassPerTurn: g.pointer(g.quantity(0.01, 2, genMasses))}}
	}
	switch g.IntN(3) {
	case 0:
		return &jsonDelivery{Feeder: &jsonFeeder{VolumePerTurn: g.pointer(g.quantity(1e-5, 2e-3, genVolumes))}}
	case 1:
		return &jsonDelivery{Screw: &jsonScrew{g.quantity(1e-5, 2e-3, genVolumes)}}
	}
	return &jsonDelivery{Pump: g.pump(ref)}
}

func (g *generator) roll() *jsonRoll {
	r := &jsonRoll{SlipPercent: g.slip()}
	if g.one(40) {
		r.PitchDiameter = g.pointer(g.quantity(0.04, 1, genLengths))
		return r
	}
	r.Diameter = g.pointer(g.quantity(0.04, 1, genLengths))
	if g.one(40) {
		r.BeltThickness = g.pointer(g.quantity(0.002, 0.02, genLengths))
	}
	return r
}

func (g *generator) pump(ref *refDrive) *jsonPump {
	p := &jsonPump{Displacement: g.quantity(1e-6, 1e-3, genVolumes)}
	switch g.IntN(3) {
	case 0:
		most := p.Displacement.si().mul(ref.last()).mul(num(ref.Motor.MaxRpm)).float64() / 60
		p.SlipFlow = g.pointer(g.quantity(most*0.005, most*0.3, genUnits[dimVolume]))
	case 1:
		p.VolumetricEfficiencyPercent = pick(g, "80", "64", g.between(50, 105))
		p.AtRpm = g.between(100, 3000)
	}
	return p
}

func (g *generator) motor() jsonMotor {
	m := jsonMotor{MaxRpm: pick[json.Number](g, "1000", "1500", "1750", "1800", "2000", "3000", "3600")}
	if !g.neat {
		m.MaxRpm = g.between(400, 6000)
	}
	max := num(m.MaxRpm).float64()
	if g.one(70) {
		m.MinRpm = pick(g, "50", "90", g.between(max/1000, max/10))
	}
	switch g.IntN(6) {
	case 0, 1:
		m.Regulation = &jsonRegulation{Percent: g.regulation(), Of: "SET_SPEED"}
	case 2:
		m.Regulation = &jsonRegulation{Percent: pick(g, "10", g.between(0.005, 0.5), g.between(0.005, 0.5)), Of: "MAX_SPEED"}
	case 3:
		m.BaseRpm = g.between(400, 2000)
		m.Regulation = &jsonRegulation{Percent: pick(g, "10", g.between(0.005, 0.5), g.between(0.005, 0.5)), Of: "BASE_SPEED"}
	case 4:
		m.Regulation = &jsonRegulation{DroopPercent: g.regulation()}
	}
	return m
}

func (g *generator) regulation() json.Number {
	return pick(g, "0.1", "0.5", "1", "20", "25", g.between(0.01, 3), g.between(0.01, 3), g.between(0.01, 3))
}

// sensors has the one that closes the loop, if any, at a random place.
func (g *generator) sensors(d *jsonDrive, ref *refDrive) []jsonSensor {
	var sensors []jsonSensor
	if g.one(20) {
		sensors = append(sensors, jsonSensor{ID: "other", Shaft: g.shaft(ref)}) // its limits do not bind
	}
	switch {
	case g.one(20):
	case d.Delivery != nil && d.Delivery.Pump != nil && g.one(40):
		k := g.quantity(50e3, 1e6, []string{"pulse/L", "pulse/mL", "pulse/gal_us", "pulse/m3"})
		sensors = append(sensors, jsonSensor{ID: "loop", ClosesLoop: true, Flow: &jsonFlow{k}})
	default:
		sensors = append(sensors, jsonSensor{ID: "loop", ClosesLoop: true, Shaft: g.shaft(ref)})
	}
	g.Shuffle(len(sensors), func(i, j int) { sensors[i], sensors[j] = sensors[j], sensors[i] })
	return sensors
}

func (g *generator) shaft(ref *refDrive) *jsonShaft {
	s := &jsonShaft{
		PulsesPerTurn: pick(g, "1", "60", "1024", g.between(0.5, 5000)), EdgesCounted: pick[int64](g, 0, 1, 2, 4),
		StagesFromMotor: g.IntN(len(ref.ratios)),
	}
	hertz := num(s.PulsesPerTurn).mul(integer(max(s.EdgesCounted, 1))).mul(ref.ratios[s.StagesFromMotor]).mul(num(ref.Motor.MaxRpm)).mul(fraction(1, 60))
	if g.one(30) {
		s.MinHz = g.aim(hertz.mul(fraction(1+g.Int64N(20), 200)))
	}
	if g.one(30) {
		s.MaxHz = g.aim(hertz.mul(fraction(17+g.Int64N(20), 20)))
	}
	return s
}

// register is nil for some drives.
func (g *generator) register(d *jsonDrive, ref *refDrive) *jsonRegister {
	if g.one(8) {
		return nil
	}
	r := &jsonRegister{Tag: pick(g, "", "LINE."+d.ID)}
	unit := "r/min"
	if ref.own != nil && g.one(45) {
		unit = pick(g, genUnits[ref.own.dim]...)
	} else {
		r.Shaft = g.registerShaft(ref)
	}
	switch g.IntN(10) {
	case 0:
		r.Current = &struct{}{}
	case 1:
		r.Voltage = &struct{}{}
	default:
		r.Integer = &jsonInteger{pick(g, "INT16", "UINT16", "UINT16", "INT32")}
	}
	r.Span = g.span(r, ref, unit)
	return r
}

func (g *generator) registerShaft(ref *refDrive) string {
	shafts := []string{"", "MOTOR", "LAST"}
	if s := ref.loop(); s != nil && s.Shaft != nil {
		shafts = append(shafts, "SENSOR", "SENSOR")
	}
	return pick(g, shafts...)
}

// span lays the register's line so that the motor's highest speed lies inside, or
// now and then just outside.
func (g *generator) span(r *jsonRegister, ref *refDrive, unit string) []jsonPoint {
	factor, dim := refUnit(unit)
	view := ref.view(dim)
	switch r.Shaft {
	case "SENSOR":
		view = view.scaled(ref.ratios[ref.loop().Shaft.StagesFromMotor])
	case "LAST":
		view = view.scaled(ref.last())
	}
	top := view.at(num(ref.Motor.MaxRpm)).div(factor).float64()
	switch {
	case r.Current != nil:
		return g.analogSpan(func(p *jsonPoint, at json.Number) { p.Milliamps = at }, 4, 20, top, unit)
	case r.Voltage != nil:
		return g.analogSpan(func(p *jsonPoint, at json.Number) { p.Volts = at }, 0, 10, top, unit)
	}
	l := g.layout(r.Integer.Type)
	if g.neat {
		return g.neatSpan(l, top, unit)
	}
	return g.roughSpan(l, top, unit)
}

// layout is where a register has its ends, standstill and the motor's highest
// speed, in counts.
type layout struct{ low, high, zero, full int64 }

func (g *generator) layout(kind string) layout {
	l := layout{low: 0, high: 65535}
	switch kind {
	case "INT16":
		l = layout{low: -32768, high: 32767}
	case "INT32":
		l = layout{low: -2147483648, high: 2147483647}
		if g.one(80) {
			l = layout{low: -5000000, high: 5000000}
		}
	}
	l.full = int64(float64(l.high) * (0.05 + 0.85*g.Float64()))
	switch g.IntN(5) {
	case 0: // falling
		l.zero, l.full = l.high-g.Int64N(l.high/10), g.Int64N(l.high/10)
	case 1:
		l.zero = int64(float64(l.high) * 0.4 * g.Float64())
		l.full = l.zero + int64(float64(l.high)*(0.1+0.4*g.Float64()))
	case 2:
		if l.low < 0 {
			l.zero = l.low + g.Int64N(-l.low/2)
		}
	}
	return l
}

// roughSpan has whole counts and values that do not divide evenly.
func (g *generator) roughSpan(l layout, top float64, unit string) []jsonPoint {
	from, to := jsonPoint{Value: jsonQuantity{"0", unit}}, jsonPoint{Value: jsonQuantity{g.between(top*0.4, top*1.2), unit}}
	at := func(value json.Number) json.Number {
		count := float64(l.zero) + float64(l.full-l.zero)*num(value).float64()/top
		return json.Number(strconv.FormatInt(min(max(int64(count), l.low), l.high), 10))
	}
	switch g.IntN(4) {
	case 0:
		from.Value.Value = g.between(top*0.01, top*0.3)
	case 1:
		if value := "-" + g.between(top*0.1, top); at(value) != json.Number(strconv.FormatInt(l.low, 10)) {
			from.Value.Value = value
		}
	}
	from.Count, to.Count = at(from.Value.Value), at(to.Value.Value)
	return g.ordered(from, to)
}

func (g *generator) ordered(from, to jsonPoint) []jsonPoint {
	span := []jsonPoint{from, to}
	if g.one(30) {
		slices.Reverse(span)
	}
	return span
}

// neatSpan gives each count a step of twos and fives.
func (g *generator) neatSpan(l layout, top float64, unit string) []jsonPoint {
	perUnit := math.Abs(float64(l.full-l.zero)) / top
	step := one().div(num(g.twosAndFives(perUnit/4, perUnit)))
	if l.full < l.zero {
		step = step.neg()
	}
	l.zero -= l.zero % 100
	point := func(count int64) jsonPoint {
		value := step.mul(integer(count - l.zero))
		text, ok := exactText(value)
		if !ok {
			text = json.Number(strconv.FormatFloat(value.float64(), 'g', -1, 64))
		}
		return jsonPoint{Count: json.Number(strconv.FormatInt(count, 10)), Value: jsonQuantity{text, unit}}
	}
	first := l.zero
	switch g.IntN(4) {
	case 0:
		first = l.zero + (l.full-l.zero)/8
	case 1:
		if back := l.zero - (l.full-l.zero)/2; back >= l.low && back <= l.high {
			first = back
		}
	}
	return g.ordered(point(first), point(l.full))
}

// analogSpan lays the line of a current or voltage output.
func (g *generator) analogSpan(set func(*jsonPoint, json.Number), low, high float64, top float64, unit string) []jsonPoint {
	text := func(x float64) json.Number { return json.Number(strconv.FormatFloat(x, 'g', -1, 64)) }
	from, to := jsonPoint{Value: jsonQuantity{"0", unit}}, jsonPoint{Value: jsonQuantity{g.between(top*0.9, top*1.2), unit}}
	ends := [2]float64{low, high}
	switch g.IntN(4) {
	case 0:
		ends = [2]float64{high, low}
	case 1:
		ends = [2]float64{low + 0.5, high - 1.25}
		from.Value.Value = g.between(top*0.01, top*0.1)
	}
	set(&from, text(ends[0]))
	set(&to, text(ends[1]))
	return g.ordered(from, to)
}

// readout shows a process rate, a motor speed or a dwell.
func (g *generator) readout(ref *refDrive) *jsonReadout {
	if g.one(15) {
		return nil
	}
	r := &jsonReadout{Unit: "r/min", Digits: 5 + g.IntN(5)}
	switch {
	case ref.own == nil || g.one(20):
	case ref.own.dim == dimLength && len(ref.sections) > 0 && g.one(60):
		r.Unit, r.SectionID = pick(g, genUnits[dimTime]...), pick(g, ref.sections...).ID
		if g.one(20) {
			r.SectionID = "" // clear where the drive moves one section
		}
	case ref.own.dim == dimVolume && ref.material != nil && g.one(30):
		r.Unit = pick(g, genUnits[dimMass]...)
	default:
		r.Unit = pick(g, genUnits[ref.own.dim]...)
		if reg := ref.Register; reg != nil && g.one(50) && reg.Span[0].Value.dim() == ref.own.dim {
			r.Unit = reg.Span[0].Value.Unit
		}
	}
	if _, dim := refUnit(r.Unit); dim == dimTime && ref.shownSection(r) == nil {
		return r
	}
	whole := len(ref.shown(r, num(ref.Motor.MaxRpm).mul(fraction(1, 3))).fixed(0))
	r.Decimals = min(max(0, r.Digits-whole-1), g.IntN(6))
	if g.one(3) {
		r.Digits = r.Decimals + 1
	}
	switch { // as good as drawn
	case r.Digits == 7:
		r.Rounding = "CUT_OFF"
	case r.Digits == 6 && r.Decimals == 2:
		r.Rounding = "NEAREST"
	}
	return r
}
