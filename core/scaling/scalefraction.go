package scaling

import (
	"errors"
	"fmt"
	"slices"

	"linepace.example/core/exact"
	"linepace.example/core/fraction"
	"linepace.example/core/units"
)

// Basis names what a device multiplies or divides by its scale fraction.
type Basis uint8

// Bases.
const (
	NoBasis        Basis = iota // PulseFrequency where a sensor is named or closes the loop, else MotorTurns
	PulseFrequency              // of a sensor, Hz
	MotorTurns                  // motor speed, r/min
	LastTurns                   // speed of the last shaft, r/min
)

// FractionRequest asks for the scale fraction of a drive's readout.
type FractionRequest struct {
	Basis    Basis
	SensorID string          // for PulseFrequency; empty: the sensor in the loop
	Bounds   fraction.Bounds // Prefer is not used
	// Catalogue holds what else the one fraction is to serve: the same drive with
	// other materials, sections or deliveries.
	Catalogue []Subject
}

// ScaleFraction is two integers that carry a drive's scale into its readout, and
// what the readout then shows. With x the basis and one the readout's last digit:
//
//	PROPORTIONAL  reading = x * numerator / denominator
//	RECIPROCAL    reading = numerator * denominator / x
type ScaleFraction struct {
	fraction.Pair
	Form      fraction.Form
	Basis     Basis
	SensorID  string  // of a basis that is a frequency
	Target    float64 // the exact number that the pair stands for
	ErrorPPM  float64 // (pair - target) / target * 1e6
	Catalogue []float64
	Verify    Optional[Point]
	Readings  Optional[Readings]
}

// Point is a speed at which the pair gives a whole reading, so that it can be
// checked without arithmetic.
type Point struct {
	Basis    float64
	MotorRPM float64
	Text     string
}

// Readings compares what the device shows with the exact reading, at every count of
// the usable range.
type Readings struct {
	Compared, Differing int64
	First, Last, Worst  Optional[Reading]
	Listed              []Reading // those that differ, the first mostListed of them
}

// mostListed bounds the list of readings that differ. A fraction that gives more of
// them is none to load, and the count, the last and the worst say so.
const mostListed = 1000

// Reading is what stands on the readout at a count. A text is empty where the
// digits do not suffice.
type Reading struct {
	Count         int32
	Exact, Device string
}

// Form returns the form of the fraction for d's readout, which has a unit: a time
// goes with the reciprocal of the speed.
func (r *Readout) Form() fraction.Form {
	if kindOf(r.Unit) == timeInSection {
		return fraction.Reciprocal
	}
	return fraction.Proportional
}

// basis returns what the device multiplies or divides on d, and the sensor whose
// frequency that is, or nil.
func (q *FractionRequest) basis(d *Drive) (Basis, *Sensor) {
	sensor := d.LoopSensor()
	for i := range d.Sensors {
		if q.SensorID != "" && d.Sensors[i].ID == q.SensorID {
			sensor = &d.Sensors[i]
		}
	}
	switch {
	case q.Basis == PulseFrequency, q.Basis == NoBasis && sensor != nil:
		return PulseFrequency, sensor
	case q.Basis == NoBasis:
		return MotorTurns, nil
	}
	return q.Basis, nil
}

// Unit returns the unit of a basis.
func (b Basis) Unit() *units.Unit {
	if b == PulseFrequency {
		return hertz
	}
	return revolutionPerMin
}

// ReasonNoFraction says why no fraction can carry the scale of s's drive as q asks for
// it, or is empty. The readout has a unit, and a sensor that q names is there.
func ReasonNoFraction(s *Subject, q *FractionRequest) string {
	var r run
	r.begin(new(exact.Calc), s, Measure{}, nil, nil)
	basis, sensor := q.basis(s.Drive)
	if basis == PulseFrequency && sensor == nil {
		return "no sensor of this drive closes the loop; name the one that the device counts, or another basis"
	}
	if sensor != nil {
		if _, ok := r.pickup(sensor); !ok {
			return fmt.Sprintf("the flow through sensor %q is not known; name another basis", sensor.ID)
		}
	}
	shown := kindOf(s.Drive.Readout.Unit)
	metered := sensor != nil && sensor.Kind == FlowSensor
	switch {
	case shown == timeInSection && s.ReadoutSection == nil:
		return "the readout shows a time, and no section is given"
	case shown != motorSpeed && shown != timeInSection && !converts(s.Drive, s.Material, r.rel.kind, shown):
		return "the readout shows a mass or a volume, and the drive delivers the other: give the material's density"
	case r.rel.leaks && metered != (shown != motorSpeed):
		return "the pump leaks, so its flow is not proportional to its speed, and a fraction has no offset; a flow meter in the loop has none"
	}
	return ""
}

// mostCompared is how many counts are compared at most; beyond it the comparison is
// left out, and a check tells.
const mostCompared = 2_000_000

// FractionOf finds the scale fraction that q asks for. [ReasonNoFraction] is empty
// for s and each of the catalogue, whose readout is that of s. Where the bounds do
// not reach the scale there is none, and a check tells. It returns with ok false
// too where stop, which is asked now and then, says so.
//
// Of pairs that are equally near, one that can be verified within the usable range
// is taken: PROPORTIONAL, where a whole multiple of the denominator is a value of
// the basis there, at which the reading is the same multiple of the numerator;
// RECIPROCAL, where the denominator is one, at which the reading is the numerator.
// Then the smaller denominator, then the smaller numerator.
//
// Formula: scale-fraction/1.
func FractionOf(s *Subject, q *FractionRequest, checks *[]Check, stop func() bool) (out ScaleFraction, ok bool) {
	out.Form = s.Drive.Readout.Form()
	basis, sensor := q.basis(s.Drive)
	if out.Basis = basis; sensor != nil {
		out.SensorID = sensor.ID
	}
	target := out.targetOf(s)
	targets := []fraction.Target{target}
	for i := range q.Catalogue {
		targets = append(targets, out.targetOf(&q.Catalogue[i]))
	}
	f := fitting{subject: s, fraction: &out}
	f.usable()
	bounds := q.Bounds
	bounds.Prefer = f.verifiable
	pair, err := fraction.LeastWorst(out.Form, targets, bounds)
	if err != nil {
		*checks = append(*checks, Check{Code: NoScaleFraction, DriveID: s.Drive.ID, Text: outOfReach(err, target)})
		return out, false
	}
	out.Pair = pair
	out.Target = target(exact.NewExact()).True()
	out.ErrorPPM = pair.ErrorPPM(out.Form, target)
	for _, t := range targets[1:] {
		out.Catalogue = append(out.Catalogue, pair.ErrorPPM(out.Form, t))
	}
	out.Verify = f.verify()
	if s.Drive.Register.Kind != IntegerRegister {
		return out, true
	}
	out.Readings = f.compare(checks, stop)
	return out, !stop()
}

func outOfReach(err error, t fraction.Target) string {
	var out *fraction.OutOfReachError
	if !errors.As(err, &out) {
		return "the bounds of the scale fraction leave no pair"
	}
	side := "above"
	if out.Small {
		side = "below"
	}
	return fmt.Sprintf("the scale needs the number %s, far %s what the bounds of the fraction reach, %s to %s; change the readout's decimals or unit, or the basis",
		short(t(new(exact.Calc)).Float()), side, short(out.Least), short(out.Greatest))
}

// targetOf returns the number that the pair is to be for s.
//
//	PROPORTIONAL  reading / x
//	RECIPROCAL    reading * x
//
// with the reading in its last digit, both at any speed.
func (f *ScaleFraction) targetOf(s *Subject) fraction.Target {
	return func(c *exact.Calc) exact.Num {
		var r run
		r.begin(c, s, Measure{}, nil, nil)
		at := Motion{Speed: c.Int(1)}
		if r.rel.kind != noKind {
			at.Rate = r.rel.perTurn // without what leaks: ReasonNoFraction
		}
		value, _ := r.readoutValue(at)
		reading := value.Mul(c.Int(powersOfTen[s.Drive.Readout.Decimals]))
		if f.Form == fraction.Reciprocal {
			return reading.Mul(f.x(&r, at))
		}
		return reading.Quo(f.x(&r, at))
	}
}

// x returns the basis at a motion.
func (f *ScaleFraction) x(r *run, at Motion) exact.Num {
	switch f.Basis {
	case PulseFrequency:
		p := f.counted(r)
		return perSecond(r.c, p.pulsesOf(at))
	case LastTurns:
		return at.Speed.Mul(r.turns.last)
	}
	return at.Speed
}

// counted returns the sensor whose frequency is the basis, within r.
func (f *ScaleFraction) counted(r *run) pickup {
	sensors := r.subject.Drive.Sensors
	i := slices.IndexFunc(sensors, func(s Sensor) bool { return s.ID == f.SensorID })
	p, _ := r.pickup(&sensors[i])
	return p
}

// fitting is one fraction on one drive.
type fitting struct {
	subject   *Subject
	fraction  *ScaleFraction
	low, high int64 // whole values of the basis within the usable range
}

// begin prepares a run of f's drive.
func (f *fitting) begin(c *exact.Calc) *run {
	r := new(run)
	r.begin(c, f.subject, Measure{}, nil, nil)
	return r
}

func (f *fitting) usable() {
	ends := Certain(func(c *exact.Calc) [2]int64 {
		r := f.begin(c)
		usable := r.speedLimits(1)
		low, _ := c.Ceil(f.fraction.x(r, r.at(usable.low)))
		high, _ := c.Floor(f.fraction.x(r, r.at(usable.high)))
		return [2]int64{max(low, 1), high}
	})
	f.low, f.high = ends[0], ends[1]
}

// verifiable reports whether a pair gives a whole reading at a whole value of the basis.
func (f *fitting) verifiable(p fraction.Pair) bool { return f.wholeAt(p) > 0 }

// wholeAt returns the greatest whole value of the basis within the usable range at
// which p gives a whole reading that the readout's digits hold, or 0.
func (f *fitting) wholeAt(p fraction.Pair) int64 {
	fits := powersOfTen[f.subject.Drive.Readout.Digits] - 1
	times := int64(1)
	if f.fraction.Form == fraction.Proportional {
		times = min(f.high/p.Denominator, fits/p.Numerator)
	}
	if x := times * p.Denominator; x >= f.low && x <= f.high && p.Numerator <= fits {
		return x
	}
	return 0
}

func (f *fitting) verify() Optional[Point] {
	p := f.fraction.Pair
	x := f.wholeAt(p)
	if x == 0 {
		return Optional[Point]{}
	}
	reading := p.Numerator
	if f.fraction.Form == fraction.Proportional {
		reading *= x / p.Denominator
	}
	return Some(Point{
		Basis:    float64(x),
		MotorRPM: f.speedAt(x),
		Text:     fixedPoint(reading, int(f.subject.Drive.Readout.Decimals)).String(),
	})
}

// speedAt returns the motor speed at a value of the basis.
func (f *fitting) speedAt(x int64) float64 {
	c := exact.NewExact()
	r := f.begin(c)
	value := c.Int(x)
	switch {
	case f.fraction.Basis == LastTurns:
		value = value.Quo(r.turns.last)
	case f.fraction.Basis == PulseFrequency:
		p := f.fraction.counted(r)
		value = value.Mul(c.Int(secondsPerMinute))
		if p.sensor.Kind == FlowSensor {
			flow := value.Quo(p.sensor.KFactor.Base(c))
			return r.rel.speed(convert(c, f.subject.Drive, f.subject.Material, flow, volumeRate, r.rel.kind)).True()
		}
		value = value.Quo(p.pulses)
	}
	return value.True()
}

// compare holds the device's reading against the exact one, at each count.
func (f *fitting) compare(checks *[]Check, stop func() bool) Optional[Readings] {
	first, last := f.counts()
	if last-first >= mostCompared {
		*checks = append(*checks, Check{Code: TooManyCountsToCompare, DriveID: f.subject.Drive.ID, Number: float64(last - first + 1)})
		return Optional[Readings]{}
	}
	var out Readings
	worst := int64(0)
	one := comparison{f, new(exact.Calc), nil}
	one.run = f.begin(one.c)
	for count := first; count <= last; count++ {
		if count&0xfff == 0 && stop() {
			return Optional[Readings]{}
		}
		out.Compared++
		exactly, device := one.at(count)
		if exactly == device {
			continue
		}
		out.Differing++
		reading := Some(Reading{Count: int32(count), Exact: f.text(exactly), Device: f.text(device)})
		if !out.First.Set {
			out.First = reading
		}
		if len(out.Listed) < mostListed {
			out.Listed = append(out.Listed, reading.Value)
		}
		out.Last = reading
		if off := max(device-exactly, exactly-device); off > worst {
			worst, out.Worst = off, reading
		}
	}
	if out.Differing > 0 {
		*checks = append(*checks, Check{Code: ReadingsDiffer, DriveID: f.subject.Drive.ID, Number: float64(out.Differing)})
	}
	return Some(out)
}

// counts returns the first and the last count of the usable range.
func (f *fitting) counts() (first, last int64) {
	ends := Certain(func(c *exact.Calc) [2]int64 {
		r := f.begin(c)
		first, last := r.countsWithin(r.speedLimits(1))
		return [2]int64{first, last}
	})
	return ends[0], ends[1]
}

// comparison finds both readings at a count, in their last digits, by one run that
// serves all counts.
type comparison struct {
	*fitting
	c   *exact.Calc
	run *run
}

func (o *comparison) at(count int64) (exactly, device int64) {
	exactly, device = o.readings(o.c, o.run, count)
	if !o.c.Undecided() {
		return exactly, device
	}
	*o.c = exact.Calc{} // decided again by the next
	c := exact.NewExact()
	return o.readings(c, o.begin(c), count)
}

func (o *comparison) readings(c *exact.Calc, r *run, count int64) (exactly, device int64) {
	readout := &o.subject.Drive.Readout
	at := r.at(r.line.speed(c.Int(count)))
	value, _ := r.readoutValue(at)
	exactly, _ = readout.lastDigits(c, value)
	shown := o.fraction.Value(c, o.fraction.Form)
	if x := o.fraction.x(r, at); o.fraction.Form == fraction.Reciprocal {
		shown = shown.Quo(x)
	} else {
		shown = shown.Mul(x)
	}
	device, _ = readout.lastDigits(c, shown.Quo(c.Int(powersOfTen[readout.Decimals])))
	return exactly, device
}

// text writes a reading, or nothing where the digits do not suffice.
func (f *fitting) text(reading int64) string {
	readout := &f.subject.Drive.Readout
	if limit := powersOfTen[readout.Digits]; reading >= limit || reading <= -limit {
		return ""
	}
	return fixedPoint(reading, int(readout.Decimals)).String()
}
