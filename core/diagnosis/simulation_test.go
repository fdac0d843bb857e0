package diagnosis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	. "linepace.example/core/diagnosis"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// The simulation: a machine in plain float64, with a drive that holds the frequency
// of its sensor. It knows nothing of factors; a mistake is put into the machine, into
// the drive's set-up, into what was reckoned on paper, or into the reading.

// plant is a machine as it stands, with its true description.
type plant struct {
	name     string
	drive    scaling.Drive
	material *scaling.Material
	unit     string

	edgePulses float64   // counted in a turn of the sensor's shaft
	sensorAt   int       // stages before the sensor
	ratios     []float64 // of each stage, slip included
	perTurn    float64   // of the last shaft, in unit times min
	diameter   float64   // m, of a roll
	thickness  float64   // m, of its belt
}

// motor returns the motor's speed in r/min when the drive, which takes pulsesPerTurn
// for a turn of the motor, is set to rpm: the loop makes the sensor's frequency what
// the set-up asks for.
func (p *plant) motor(rpm, pulsesPerTurn float64) float64 {
	hertz := rpm / 60 * pulsesPerTurn
	sensorTurnsPerSecond := hertz / p.edgePulses
	for _, r := range p.ratios[:p.sensorAt] {
		sensorTurnsPerSecond /= r
	}
	return sensorTurnsPerSecond * 60
}

// rate returns the process rate when the drive is set to rpm.
func (p *plant) rate(rpm, pulsesPerTurn float64) float64 {
	n := p.motor(rpm, pulsesPerTurn)
	for _, r := range p.ratios {
		n *= r
	}
	return n * p.perTurn
}

// pulses is what a right set-up takes for a turn of the motor.
func (p *plant) pulses() float64 {
	pulses := p.edgePulses
	for _, r := range p.ratios[:p.sensorAt] {
		pulses *= r
	}
	return pulses
}

// clone returns a copy whose stages can be changed.
func (p *plant) clone() *plant {
	out := *p
	out.ratios = append([]float64(nil), p.ratios...)
	out.drive.Transmission = append([]scaling.Stage(nil), p.drive.Transmission...)
	out.drive.Sensors = append([]scaling.Sensor(nil), p.drive.Sensors...)
	return &out
}

func sensor(id string, pulses float64, edges int32, stages int32) scaling.Sensor {
	return scaling.Sensor{ID: id, Kind: scaling.ShaftSensor, PulsesPerTurn: pulses, EdgesCounted: scaling.Some(edges), StagesFromMotor: stages}
}

func closing(s scaling.Sensor) scaling.Sensor {
	s.ClosesLoop = true
	return s
}

// plants are varied drives, described as they are.
func plants() []*plant {
	gearbox := func(ratio float64) scaling.Stage {
		return scaling.Stage{Kind: scaling.Gearbox, Ratio: ratio, Exact: true}
	}
	chain := func(driver, driven int32) scaling.Stage {
		return scaling.Stage{Kind: scaling.Chain, DriverTeeth: driver, DrivenTeeth: driven}
	}
	motor := scaling.Motor{MaxRPM: 1800}
	liquid := &scaling.Material{ID: "glaze", Density: q(1.7, "kg/L")}
	bulk := &scaling.Material{ID: "clay", BulkDensity: q(1.35, "kg/L"), FillPercent: scaling.Some(42.0)}
	return []*plant{
		{
			name: "bare roll", unit: "m/min", edgePulses: 60, ratios: []float64{1.0 / 20, 15.0 / 38},
			perTurn: math.Pi * 0.120, diameter: 0.120,
			drive: scaling.Drive{Motor: motor, Transmission: []scaling.Stage{gearbox(20), chain(15, 38)},
				Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: q(120, "mm")},
				Sensors:  []scaling.Sensor{closing(sensor("motor", 60, 1, 0)), sensor("spare", 100, 1, 0)}},
		},
		{
			name: "belt conveyor", unit: "ft/min", edgePulses: 2048, ratios: []float64{1 / 31.5, 17.0 / 25},
			perTurn: math.Pi * 0.212 / 0.3048, diameter: 0.200, thickness: 0.012,
			drive: scaling.Drive{Motor: motor, Transmission: []scaling.Stage{gearbox(31.5), chain(17, 25)},
				Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: q(200, "mm"), BeltThickness: q(12, "mm")},
				Sensors:  []scaling.Sensor{closing(sensor("encoder", 1024, 2, 0)), sensor("pickup", 24, 1, 1)}},
		},
		{
			name: "sensor behind the gearbox", unit: "m/min", edgePulses: 90, sensorAt: 1, ratios: []float64{1 / 12.25, 100.0 / 160},
			perTurn: math.Pi * 0.310, diameter: 0.310,
			drive: scaling.Drive{Motor: motor,
				Transmission: []scaling.Stage{gearbox(12.25), {Kind: scaling.Belt, DriverDiameter: q(100, "mm"), DrivenDiameter: q(160, "mm")}},
				Delivery:     scaling.Delivery{Kind: scaling.Roll, PitchDiameter: q(310, "mm")},
				Sensors:      []scaling.Sensor{closing(sensor("gearbox", 90, 1, 1)), sensor("tail", 20, 1, 2)}},
		},
		{
			name: "sprocket", unit: "in/min", edgePulses: 3, ratios: []float64{18.0 / 72},
			perTurn: 17 * 0.5,
			drive: scaling.Drive{Motor: motor, Transmission: []scaling.Stage{{Kind: scaling.GearPair, DriverTeeth: 18, DrivenTeeth: 72}},
				Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 17, Pitch: q(0.5, "in")},
				Sensors:  []scaling.Sensor{closing(sensor("cam", 3, 1, 0))}},
		},
		{
			name: "pump", unit: "L/min", material: liquid, edgePulses: 60, ratios: []float64{1 / 5.6},
			perTurn: 0.024,
			drive: scaling.Drive{Motor: motor, Transmission: []scaling.Stage{gearbox(5.6)},
				Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: q(24, "mL/r")},
				Sensors:  []scaling.Sensor{closing(sensor("motor", 60, 1, 0))}},
		},
		{
			name: "screw", unit: "kg/h", material: bulk, edgePulses: 12, ratios: []float64{1 / 43.7},
			perTurn: 1.6 * 0.42 * 1.35 * 60,
			drive: scaling.Drive{Motor: motor, Transmission: []scaling.Stage{gearbox(43.7)},
				Delivery: scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(1.6, "L/r")},
				Sensors:  []scaling.Sensor{closing(sensor("motor", 12, 1, 0))}},
		},
	}
}

// simulated is one mistake with what was reckoned and what was then observed.
type simulated struct {
	name     string
	plant    *plant // the true one
	drive    scaling.Drive
	material *scaling.Material
	cause    Cause
	field    string
	reckoned func(rpm float64) float64 // on paper or by the drive, where the description does not
	observed func(rpm float64) float64
}

const setTo = 1000 // r/min

func (c *simulated) observation() Observation {
	out := Observation{MotorRPM: scaling.Some(float64(setTo)), Observed: q(c.observed(setTo), c.plant.unit), UncertaintyPercent: 200 * noise}
	if c.reckoned != nil {
		out.MotorRPM = scaling.Optional[float64]{}
		out.Shown = q(c.reckoned(setTo), c.plant.unit)
	}
	return out
}

func (c *simulated) subject() *scaling.Subject {
	return &scaling.Subject{Drive: &c.drive, Material: c.material}
}

// diagnose diagnoses the mistake, with noise where there is a source of it.
func (c *simulated) diagnose(random *rand.Rand) Answer {
	o := c.observation()
	if random != nil {
		o.Observed.Value *= math.Exp(noise * random.NormFloat64())
	}
	return Diagnose(c.subject(), []Observation{o}, false)
}

// factor is that of the mistake without noise, seen from the plant's true description.
func (c *simulated) factor() float64 {
	answer := c.diagnose(nil)
	return answer.Compared[0].Factor
}

// find returns the place of the true cause among the candidates, or -1. One cause can
// predict several factors, so it must predict the simulated one; the size of a slip is
// fitted.
func (c *simulated) find(answer *Answer) int {
	exact := c.factor()
	return slices.IndexFunc(answer.Candidates, func(k Candidate) bool {
		m := k.Mistakes
		return len(m) == 1 && m[0].Cause == c.cause && (c.field == "" || m[0].Field == c.field) &&
			(c.cause == Slip || math.Abs(k.Predicted[0]/exact-1) < 1e-9)
	})
}

// simulatedMistakes puts mistakes into every plant.
func simulatedMistakes() (all []simulated) {
	for _, p := range plants() {
		right := p.pulses()
		add := func(name string, cause Cause, field string, change func(c *simulated)) {
			c := simulated{name: p.name + ": " + name, plant: p, drive: p.clone().drive, material: p.material, cause: cause, field: field}
			c.observed = func(rpm float64) float64 { return p.rate(rpm, right) }
			change(&c)
			all = append(all, c)
		}
		// broken is the machine with a change that nobody knows of.
		broken := func(change func(*plant)) func(*simulated) {
			return func(c *simulated) {
				other := p.clone()
				change(other)
				c.observed = func(rpm float64) float64 { return other.rate(rpm, right) }
			}
		}
		setUp := func(pulsesPerTurn float64) func(*simulated) {
			return func(c *simulated) { c.observed = func(rpm float64) float64 { return p.rate(rpm, pulsesPerTurn) } }
		}
		add("no mistake", NoMistake, "", func(*simulated) {})
		p.sensorMistakes(add, broken, setUp)
		p.stageMistakes(add)
		p.deliveryMistakes(add)
		p.readingMistakes(add)
	}
	return all
}

type (
	adder   = func(name string, cause Cause, field string, change func(*simulated))
	breaker = func(func(*plant)) func(*simulated)
	setter  = func(float64) func(*simulated)
)

func (p *plant) sensorMistakes(add adder, broken breaker, setUp setter) {
	edges := "drive.sensors[0].shaft.edgesCounted"
	described := float64(p.drive.Sensors[0].EdgesCounted.Value)
	for _, e := range []float64{1, 2, 4} {
		if e != described {
			add(fmt.Sprintf("counts %v edges", e), EdgesCounted, edges, broken(func(q *plant) { q.edgePulses *= e / described }))
		}
	}
	add("set up for twice the edges", EdgesCounted, edges, setUp(2*p.pulses()))
	if len(p.drive.Sensors) > 1 {
		other := p.drive.Sensors[1]
		counted := other.PulsesPerTurn * float64(other.EdgesCounted.Value)
		add("other sensor connected", OtherSensorConnected, "drive.sensors[1]", broken(func(q *plant) {
			q.edgePulses, q.sensorAt = counted, int(other.StagesFromMotor)
		}))
		add("set up with the other sensor's pulses", OtherSensorPulses, "", setUp(p.pulses()/p.edgePulses*counted))
	}
	if p.sensorAt < len(p.ratios) {
		add("sensor one stage further on", SensorSide, "", broken(func(q *plant) { q.sensorAt++ }))
	}
	if p.sensorAt > 0 {
		add("sensor one stage nearer", SensorSide, "", broken(func(q *plant) { q.sensorAt-- }))
	}
}

// stageMistakes: the machine differs from the description, and the drive was set up
// by trial so that its motor speed is right; or somebody reckoned wrongly on paper.
func (p *plant) stageMistakes(add adder) {
	for i := range p.ratios {
		field := fmt.Sprintf("drive.transmission[%d].%s", i, map[scaling.StageKind]string{
			scaling.GearPair: "gearPair", scaling.Gearbox: "gearbox", scaling.Belt: "belt", scaling.Chain: "chain"}[p.drive.Transmission[i].Kind])
		add(fmt.Sprintf("stage %d turned around", i+1), StageInverted, field, func(c *simulated) {
			other := p.clone()
			other.ratios[i] = 1 / p.ratios[i]
			c.observed = func(rpm float64) float64 { return other.rate(rpm, other.pulses()) }
		})
		add(fmt.Sprintf("stage %d not in the machine", i+1), StageCountedTwice, field, func(c *simulated) {
			other := p.clone()
			other.ratios[i] = 1
			c.observed = func(rpm float64) float64 { return other.rate(rpm, other.pulses()) }
		})
		add(fmt.Sprintf("stage %d left out on paper", i+1), StageLeftOut, field, func(c *simulated) {
			paper := p.clone()
			paper.ratios[i] = 1
			c.reckoned = func(rpm float64) float64 { return paper.rate(rpm, paper.pulses()) }
		})
		if p.drive.Transmission[i].Kind == scaling.Belt {
			for _, slip := range []float64{0.03, 0.06} {
				add(fmt.Sprintf("belt slips %v", slip), Slip, "", func(c *simulated) {
					other := p.clone()
					other.ratios[i] *= 1 - slip
					c.observed = func(rpm float64) float64 { return other.rate(rpm, p.pulses()) }
				})
			}
		}
	}
}

func (p *plant) deliveryMistakes(add adder) {
	paper := func(perTurn float64) func(*simulated) {
		return func(c *simulated) {
			other := p.clone()
			other.perTurn = perTurn
			c.reckoned = func(rpm float64) float64 { return other.rate(rpm, other.pulses()) }
		}
	}
	if p.diameter > 0 {
		entered := func(metres float64) func(*simulated) {
			return func(c *simulated) {
				if c.drive.Delivery.PitchDiameter.Unit != nil {
					c.drive.Delivery.PitchDiameter = q(metres, "m")
				} else {
					c.drive.Delivery.Diameter = q(metres, "m")
				}
			}
		}
		perDiameter := p.perTurn / (p.diameter + p.thickness)
		add("radius entered", RadiusForDiameter, "", entered(p.diameter/2))
		add("circumference entered", CircumferenceForDiameter, "", entered(math.Pi*p.diameter))
		add("pi left out on paper", CircumferenceForDiameter, "", paper(perDiameter*(p.diameter/math.Pi+p.thickness)))
		if t := p.thickness; t > 0 {
			add("belt left out on paper", BeltThickness, "", paper(perDiameter*p.diameter))
			add("belt on both sides on paper", BeltThickness, "", paper(perDiameter*(p.diameter+2*t)))
			add("diameter measured over the belt", BeltThickness, "", entered(p.diameter+2*t))
			add("wheel over the roll", BeltThickness, "", func(c *simulated) {
				c.observed = func(rpm float64) float64 {
					return p.rate(rpm, p.pulses()) / (p.diameter + t) * (p.diameter + 2*t)
				}
			})
		}
	}
	if p.material != nil && p.material.FillPercent.Set {
		fill := p.material.FillPercent.Value / 100
		add("fill left out on paper", FillOrEfficiency, "", paper(p.perTurn/fill))
		add("screw runs full", FillOrEfficiency, "", func(c *simulated) {
			c.observed = func(rpm float64) float64 { return p.rate(rpm, p.pulses()) / fill }
		})
	}
	if p.drive.Delivery.Kind == scaling.Pump {
		for _, slip := range []float64{0.05, 0.12} {
			add(fmt.Sprintf("pump slips %v", slip), Slip, "", func(c *simulated) {
				c.observed = func(rpm float64) float64 { return p.rate(rpm, p.pulses()) * (1 - slip) }
			})
		}
	}
}

// readingMistakes: the number is right and its unit or its point is not.
func (p *plant) readingMistakes(add adder) {
	read := func(name string, cause Cause, as string) {
		add(name, cause, "", func(c *simulated) { // read in one unit, written down in the plant's
			c.observed = func(rpm float64) float64 { return in(p.rate(rpm, p.pulses()), p.unit, as) }
		})
	}
	switch units.MustParse(p.unit).Dimension() {
	case units.SpeedDim:
		if p.unit == "m/min" {
			read("read in feet", UnitOfAmount, "ft/min")
		} else {
			read("read in metric", UnitOfAmount, map[string]string{"ft/min": "m/min", "in/min": "mm/min"}[p.unit])
		}
	case units.VolumeFlow:
		read("read in US gallons", UnitOfAmount, "gal_us/min")
		add("K-factor for imperial gallons", UsForImperialGallon, "", func(c *simulated) {
			c.observed = func(rpm float64) float64 { return p.rate(rpm, p.pulses()) * 4.54609 / 3.785411784 }
		})
	case units.MassFlow:
		read("read in pounds", UnitOfAmount, "lb/h")
	}
	scaled := func(name string, cause Cause, by float64) {
		add(name, cause, "", func(c *simulated) {
			c.observed = func(rpm float64) float64 { return p.rate(rpm, p.pulses()) * by }
		})
	}
	scaled("read per second", UnitOfTime, 1.0/60)
	scaled("per hour for per second", UnitOfTime, 3600)
	scaled("point one place off", DecimalPoint, 10)
	scaled("point two places off", DecimalPoint, 0.01)
}

// in converts by plain factors of the units' definitions.
func in(v float64, from, to string) float64 {
	metres := map[string]float64{"m/min": 1, "ft/min": 0.3048, "in/min": 0.0254, "mm/min": 0.001,
		"L/min": 1, "gal_us/min": 3.785411784, "kg/h": 1, "lb/h": 0.45359237}
	return v * metres[from] / metres[to]
}
