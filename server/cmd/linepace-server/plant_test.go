package main

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// A plant of its own, which shares no code with the service: machines that turn, slip
// and leak in small steps of time, whose controller counts whole pulses and whose
// display drops digits. It is described to the service over JSON, takes the count
// that comes back, and runs.
//
// The speed error of a drive is drawn evenly between the ends of its regulation, as
// the GUM (4.3.7) has it of limits of which nothing else is known. On top come the
// load's unrest and the pulses that a controller counts whole. So the amount that is
// delivered may leave the stated band, but seldom does.

// machine is a drive of the plant, in SI units and turns.
type machine struct {
	gear      float64 // turns of the last shaft per turn of the motor
	perTurn   float64 // m, m3, kg or pieces per turn of the last shaft
	leak      float64 // m3/s
	ppr       float64 // pulses per turn of the motor
	low, high float64 // r/min
	count     [2]float64
	value     [2]float64 // r/min of the motor at the counts
	error     float64    // of the speed, r/min, within its regulation
	beyond    float64    // an error a fifth of the regulation beyond it
	load      float64    // unrest, r/min
}

// speedOf is what the controller makes of a count.
func (m *machine) speedOf(count float64) float64 {
	return m.value[0] + (count-m.count[0])*(m.value[1]-m.value[0])/(m.count[1]-m.count[0])
}

// track is what a run delivered, and what the sensor counted in its last second.
type track struct {
	delivered, seconds float64
	pulses, last       float64 // of the last second: pulses, and what was delivered then
}

// run lets the machine settle and then takes what it delivers for half a minute.
func (m *machine) run(count, speedError float64, random *rand.Rand) track {
	const (
		step   = 0.01 // s
		gate   = 10   // steps
		lag    = 0.15 // s, of the motor
		settle = 1000 // steps
		whole  = settle + 3000
	)
	asked := m.speedOf(count) + speedError
	speed, drive, unrest, turns, seen := asked, asked, 0.0, 0.0, 0.0
	var start, lastStart float64
	for i := range whole {
		switch i {
		case settle:
			start = turns
		case whole - 100:
			lastStart = turns
		}
		unrest += -0.02*unrest + 0.06*m.load*random.NormFloat64()
		speed += (drive + unrest - speed) * step / lag
		turns += speed / 60 * step
		if i%gate == gate-1 {
			counted := math.Floor(turns*m.ppr) - seen
			seen += counted
			drive += 0.15 * (asked - counted/m.ppr/(gate*step)*60)
		}
	}
	deliver := func(turns, seconds float64) float64 { return turns*m.gear*m.perTurn - m.leak*seconds }
	return track{
		delivered: deliver(turns-start, (whole-settle)*step), seconds: (whole - settle) * step,
		pulses: math.Floor(turns*m.ppr) - math.Floor(lastStart*m.ppr), last: deliver(turns-lastStart, 100*step),
	}
}

// Units of the plant, with what one of them is in SI. Defined by the yard and pound
// agreement of 1959 and the US gallon of 231 in3.
var plantUnits = map[string]map[string]float64{
	"length": {"m/min": 1.0 / 60, "ft/min": 0.3048 / 60, "mm/s": 0.001, "in/s": 0.0254},
	"volume": {"L/min": 0.001 / 60, "L/h": 0.001 / 3600, "gal_us/min": 231 * 0.0254 * 0.0254 * 0.0254 / 60},
	"mass":   {"kg/h": 1.0 / 3600, "lb/h": 0.45359237 / 3600, "g/min": 0.001 / 60},
	"pieces": {"pc/min": 1.0 / 60, "pc/h": 1.0 / 3600},
}

type object = map[string]any

func quantityOf(value float64, unit string) object { return object{"value": value, "unit": unit} }

// tried is a machine with what is told of it.
type tried struct {
	machine
	kind     string
	drive    object
	material object // nil: none
	unit     string
}

// build makes a machine and describes it.
func build(random *rand.Rand) *tried {
	t := &tried{}
	between := func(low, high float64) float64 { return math.Round(1000*(low+(high-low)*random.Float64())) / 1000 }
	teeth := func() float64 { return float64(12 + random.IntN(60)) }
	t.low, t.high = 60+float64(random.IntN(60)), 1400+float64(random.IntN(600))
	t.gear = 1
	stages := []any{}
	for range random.IntN(4) {
		a, b := teeth(), teeth()
		switch random.IntN(4) {
		case 0:
			ratio := between(2, 60)
			t.gear /= ratio
			stages = append(stages, object{"gearbox": object{"ratio": ratio, "exact": true}})
		case 1:
			t.gear *= a / b
			stages = append(stages, object{"gearPair": object{"driverTeeth": a, "drivenTeeth": b}})
		case 2:
			t.gear *= a / b
			stages = append(stages, object{"chain": object{"driverTeeth": a, "drivenTeeth": b}})
		default:
			slip := between(-0.5, 3)
			t.gear *= 5 * a * 0.001 / (0.2 * b * 0.0254) * (1 - slip/100)
			stages = append(stages, object{"belt": object{"driverDiameter": quantityOf(5*a, "mm"), "drivenDiameter": quantityOf(0.2*b, "in"), "slipPercent": slip}})
		}
	}
	delivery := t.deliver(random, between)
	t.unit = pickUnit(random, t.kind)
	edges := []float64{1, 2, 4}[random.IntN(3)]
	pulses := float64(10 + random.IntN(500))
	t.ppr = pulses * edges
	t.drive = object{
		"id": "machine", "transmission": stages, "delivery": delivery,
		"motor":   object{"minRpm": t.low, "maxRpm": t.high, "regulation": t.regulation(random, between)},
		"sensors": []any{object{"id": "pickup", "closesLoop": true, "shaft": object{"pulsesPerTurn": pulses, "edgesCounted": edges}}},
		"readout": object{"unit": t.unit, "digits": 9, "decimals": t.decimals(), "rounding": "CUT_OFF"},
	}
	t.drive["register"] = t.register(random)
	return t
}

func pickUnit(random *rand.Rand, kind string) string {
	names := map[string][]string{"length": {"m/min", "ft/min", "mm/s", "in/s"}, "volume": {"L/min", "L/h", "gal_us/min"}, "mass": {"kg/h", "lb/h", "g/min"}, "pieces": {"pc/min", "pc/h"}}[kind]
	return names[random.IntN(len(names))]
}

// deliver gives the machine what its last shaft turns.
func (t *tried) deliver(random *rand.Rand, between func(low, high float64) float64) object {
	switch random.IntN(6) {
	case 0:
		d, belt, slip := between(40, 400), between(0, 6), between(0, 2)
		t.kind, t.perTurn = "length", math.Pi*(d+belt)/1000*(1-slip/100)
		return object{"roll": object{"diameter": quantityOf(d, "mm"), "beltThickness": quantityOf(belt, "mm"), "slipPercent": slip}}
	case 1:
		teeth := float64(9 + random.IntN(30))
		t.kind, t.perTurn = "length", teeth*0.5*0.0254
		return object{"sprocket": object{"teeth": teeth, "pitch": quantityOf(0.5, "in")}}
	case 2:
		v := between(5, 200)
		t.kind, t.perTurn = "volume", v*1e-6
		t.leak = math.Round(1e6*0.2*v*1e-3*t.low*t.gear) / 1e6 // a fifth of what it moves at its lowest speed, L/min
		pump := object{"displacement": quantityOf(v, "mL/r"), "slipFlow": quantityOf(t.leak, "L/min")}
		t.leak *= 0.001 / 60
		return object{"pump": pump}
	case 3:
		v, fill, density := between(0.2, 4), between(20, 100), between(0.4, 1.9)
		t.kind, t.perTurn = "mass", v*0.001*fill/100*density*1000
		t.material = object{"id": "stuff", "bulkDensity": quantityOf(density, "kg/L"), "fillPercent": fill}
		return object{"screw": object{"volumePerTurn": quantityOf(v, "L/r")}}
	case 4:
		g := between(3, 300)
		t.kind, t.perTurn = "mass", g/1000
		return object{"feeder": object{"massPerTurn": quantityOf(g, "g/r")}}
	}
	n := float64(1+random.IntN(8)) / 2
	t.kind, t.perTurn = "pieces", n
	return object{"indexer": object{"piecesPerTurn": n}}
}

// regulation says how closely the drive holds its speed, and makes it do so. Its
// unrest is a twentieth of that.
func (t *tried) regulation(random *rand.Rand, between func(low, high float64) float64) object {
	percent := between(0.1, 1)
	side := float64(1 - 2*random.IntN(2))
	t.error, t.beyond = 2*random.Float64()-1, 1.2*side
	scale, told := percent/100, object{"percent": percent, "of": "SET_SPEED"} // of the set speed, which is not known yet
	t.load = percent / 100 * t.low / 20
	switch random.IntN(3) {
	case 0:
		scale, told = percent/100*t.high, object{"percent": percent, "of": "MAX_SPEED"}
	case 1:
		t.error, t.beyond = (t.error-1)/2, -0.5+0.7*side
		told = object{"droopPercent": percent}
	}
	t.error, t.beyond = t.error*scale, t.beyond*scale
	return told
}

// decimals are those with which the display has some five digits at the highest speed.
func (t *tried) decimals() int {
	top := (t.high/60*t.gear*t.perTurn - t.leak) / plantUnits[t.kind][t.unit]
	return min(max(5-int(math.Ceil(math.Log10(top))), 0), 6)
}

// register describes what the controller takes: rising or falling, of the motor's
// shaft or of the last one.
func (t *tried) register(random *rand.Rand) object {
	t.count, t.value = [2]float64{0, float64(20000 + random.IntN(40000))}, [2]float64{0, t.high * 1.1}
	if random.IntN(4) == 0 {
		t.count[0], t.count[1] = t.count[1], t.count[0]
	}
	shaft, perMotor := "MOTOR", 1.0
	if random.IntN(3) == 0 {
		shaft, perMotor = "LAST", t.gear
	}
	point := func(i int) object {
		return object{"count": t.count[i], "value": quantityOf(t.value[i]*perMotor, "r/min")}
	}
	return object{"integer": object{"type": "UINT16"}, "shaft": shaft, "span": []any{point(0), point(1)}}
}

// request asks the service about the machine.
func (t *tried) request(field string, value any) object {
	out := object{"drive": t.drive, field: value}
	if t.material != nil {
		out["material"] = t.material
	}
	return out
}

func TestPlantStaysInItsBand(t *testing.T) {
	const machines = 1000
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	url := "http://" + server.addresses["http"]
	random := rand.New(rand.NewPCG(1000, 95))
	inBand, outside, displays, wrong := 0, 0, 0, 0
	for range machines {
		m := build(random)
		factor := plantUnits[m.kind][m.unit]
		target := (m.low + (m.high-m.low)*(0.05+0.9*random.Float64())) / 60 * m.gear * m.perTurn
		var answer struct {
			Setpoint struct {
				Count    float64
				Band     struct{ Low, High struct{ Value float64 } }
				Achieved struct{ Value float64 }
			}
			Verdict string
		}
		askPlant(t, url+"/v1/scaling:setpoint", m.request("target", quantityOf((target-m.leak)/factor, m.unit)), &answer)
		require.NotEqual(t, "NOT_RUNNABLE", answer.Verdict)
		count, band := answer.Setpoint.Count, answer.Setpoint.Band
		if regulation := m.drive["motor"].(object)["regulation"].(object); regulation["of"] != "MAX_SPEED" {
			m.error, m.beyond = m.error*m.speedOf(count), m.beyond*m.speedOf(count)
		}
		run := m.run(count, m.error, random)
		got := run.delivered / run.seconds / factor
		if got >= band.Low.Value && got <= band.High.Value {
			inBand++
		}
		faulty := m.run(count, m.beyond, random)
		if bad := faulty.delivered / faulty.seconds / factor; bad < band.Low.Value || bad > band.High.Value {
			outside++
		}
		require.InEpsilon(t, answer.Setpoint.Achieved.Value, got, 0.1, "%v", m.drive) // a different machine altogether
		if m.leak == 0 {
			displays++
			if !m.displayTells(t, url, run, factor) {
				wrong++
			}
		}
	}
	t.Logf("%.1f %% of %d machines deliver within the stated band, %.1f %% of those that break their regulation by a fifth outside it; %d displays with a scale fraction tell what is delivered, %d do not",
		100*float64(inBand)/machines, machines, 100*float64(outside)/machines, displays-wrong, wrong)
	require.GreaterOrEqual(t, inBand, machines*95/100)
	require.GreaterOrEqual(t, outside, machines*95/100)
	require.Greater(t, displays, machines/2)
	require.Zero(t, wrong)
}

// displayTells reports whether a display that counts whole pulses for a second,
// multiplies by the scale fraction and drops digits shows what is delivered: to one
// pulse, one digit and the fraction's error.
func (t *tried) displayTells(test *testing.T, url string, run track, factor float64) bool {
	var scale struct {
		ScaleFraction struct{ Numerator, Denominator, ErrorPpm float64 }
	}
	askPlant(test, url+"/v1/scaling:scale", t.request("scaleFraction", object{"maxNumerator": 99999, "maxDenominator": 9999}), &scale)
	f := scale.ScaleFraction
	if f.Denominator == 0 {
		return false
	}
	shown := math.Floor(run.pulses * f.Numerator / f.Denominator)
	truth := run.last / factor * math.Pow10(t.drive["readout"].(object)["decimals"].(int))
	onePulse := f.Numerator / f.Denominator
	return math.Abs(shown-truth) <= onePulse+1+math.Abs(f.ErrorPpm)*1e-6*truth
}

func askPlant(t *testing.T, url string, request any, answer any) {
	t.Helper()
	data, err := json.Marshal(request)
	require.NoError(t, err)
	res, err := http.Post(url, "application/json", bytes.NewReader(data))
	require.NoError(t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, res.StatusCode, "%s\n%s", data, body)
	require.NoError(t, json.Unmarshal(body, answer))
}
