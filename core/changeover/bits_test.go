package changeover

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

const bitsFile = "../../testdata/changeover/bits.txt"

var update = flag.Bool("update", false, "write "+bitsFile+" anew")

// A plan must have the same bits on every processor and build, and in every later
// version, or a record of it would not replay: run this at GOAMD64=v1 and v3. The
// file says only that nothing has changed; what is right, the other tests say.
func TestBits(t *testing.T) {
	var text strings.Builder
	text.WriteString("# What Make gives for the lines of bits_test.go, floats in hexadecimal. Written by go test -run TestBits -update.\n")
	write := func(name string, req *Request) {
		fmt.Fprintf(&text, "\n# %s\n%s", name, answer(req))
	}
	write("benchmark", line(12))
	write("request", request())
	write("measured", measured())
	for seed := range uint64(24) {
		write(fmt.Sprint("mixed ", seed), mixed(seed))
	}
	for seed := range uint64(12) {
		write(fmt.Sprint("following ", seed), following(seed))
	}
	if *update {
		require.NoError(t, os.WriteFile(bitsFile, []byte(text.String()), 0o644))
	}
	want, err := os.ReadFile(bitsFile)
	require.NoError(t, err)
	require.Equal(t, strings.Split(string(want), "\n"), strings.Split(text.String(), "\n"))
}

// answer writes everything that Make returns, a setpoint, check or fault a line.
func answer(req *Request) string {
	plan, faults, ok := Make(req, nil, nil)
	text := fmt.Sprintln("verdict", plan.Verdict, ok)
	for i := range faults {
		text += "fault" + bits(reflect.ValueOf(faults[i])) + "\n"
	}
	for i := range plan.Setpoints {
		p := &plan.Setpoints[i]
		text += p.Drive.ID + bits(reflect.ValueOf(*p)) + "\n"
	}
	for i := range plan.Checks {
		check := plan.Checks[i]
		check.Decimals, check.Text = scaling.Optional[int32]{}, "" // wording, which no record holds
		text += "check" + bits(reflect.ValueOf(check)) + "\n"
	}
	return text
}

// bits writes what is not zero in v, exactly.
func bits(v reflect.Value) string {
	text := ""
	switch v.Kind() {
	case reflect.Struct:
		if shown, ok := v.Interface().(scaling.Text); ok {
			return bits(reflect.ValueOf(shown.String()))
		}
		for i := range v.NumField() {
			if inner := bits(v.Field(i)); inner != "" {
				text += " " + v.Type().Field(i).Name + inner
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			text += fmt.Sprintf(" [%d]", i) + bits(v.Index(i))
		}
	case reflect.Pointer:
		if u, ok := v.Interface().(*units.Unit); ok && u != nil {
			text = " " + u.Symbol()
		}
	case reflect.Float64:
		if v.Float() != 0 {
			text = " " + strconv.FormatFloat(v.Float(), 'x', -1, 64)
		}
	default:
		if !v.IsZero() {
			text = fmt.Sprintf(" %q", fmt.Sprint(v.Interface()))
		}
	}
	return text
}

// mixed returns a small line of drives of every kind, some out of range.
func mixed(seed uint64) *Request {
	m := mixer{rand.New(rand.NewPCG(seed, 0))}
	req := &Request{Line: &Line{ID: "line"}, Product: m.product(), Working: seed%16 == 0}
	for i := range 2 + m.IntN(4) {
		d := m.drive(fmt.Sprint("drive-", i))
		req.Line.Sections = append(req.Line.Sections, scaling.Section{ID: "section-" + d.ID, DriveID: d.ID, Length: q(m.near(20), "m")})
		req.Line.Drives = append(req.Line.Drives, d)
	}
	m.demands(req.Line, req.Product)
	if seed%3 == 0 {
		req.Running = m.product()
		m.demands(req.Line, req.Running)
	}
	return req
}

type mixer struct{ *rand.Rand }

// near returns a decimal of three digits within a third of v.
func (m mixer) near(v float64) float64 {
	out, _ := strconv.ParseFloat(strconv.FormatFloat(v*(0.7+0.6*m.Float64()), 'g', 3, 64), 64)
	return out
}

func (m mixer) product() *Product {
	return &Product{ID: "product", Materials: []scaling.Material{{
		ID: "clay", Density: q(m.near(1.2), "kg/L"), BulkDensity: q(m.near(1350), "kg/m3"), FillPercent: scaling.Some(m.near(70)),
		Moisture: scaling.Moisture{Percent: m.near(18), Basis: scaling.MoistureBasis(m.IntN(3))},
	}}}
}

func (m mixer) drive(id string) scaling.Drive {
	d := scaling.Drive{
		ID:           id,
		Motor:        scaling.Motor{MinRPM: 60, MaxRPM: 1750, BaseRPM: scaling.Some(1480.0)},
		Transmission: m.transmission(),
		Delivery:     m.delivery(),
	}
	percent := scaling.Some(m.near(0.5))
	d.Motor.Regulation = []scaling.Regulation{
		{}, {DroopPercent: percent}, {Percent: percent, Of: scaling.SetSpeed}, {Percent: percent, Of: scaling.MaxSpeed}, {Percent: percent, Of: scaling.BaseSpeed},
	}[m.IntN(5)]
	if m.IntN(6) == 0 {
		d.References = []scaling.Reference{{Value: q(m.near(8), scaling.UsualRateUnit(d.RateDimension()).Symbol()), MotorRPM: m.near(900)}}
	}
	switch m.IntN(4) {
	case 0:
		d.Sensors = []scaling.Sensor{{ID: "meter", Kind: scaling.FlowSensor, ClosesLoop: true, KFactor: q(m.near(200), "pulse/L")}}
	case 1, 2:
		d.Sensors = []scaling.Sensor{{
			ID: "pickup", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, EdgesCounted: scaling.Some[int32](2),
			StagesFromMotor: int32(m.IntN(len(d.Transmission) + 1)), MinHz: 1, MaxHz: scaling.Some(m.near(4000)),
		}}
	}
	d.Readout = scaling.Readout{Unit: scaling.RateUnit(&d), Digits: 4, Decimals: int32(m.IntN(3))}
	switch m.IntN(4) {
	case 0:
		d.Readout.Unit = units.MustParse("r/min")
	case 1:
		if d.RateDimension() == units.SpeedDim {
			d.Readout.Unit = units.MustParse("min")
		}
	}
	d.Register = m.register(&d)
	return d
}

func (m mixer) transmission() []scaling.Stage {
	gearbox := scaling.Stage{Kind: scaling.Gearbox, Ratio: m.near(40), Exact: m.IntN(2) == 0}
	belt := scaling.Stage{Kind: scaling.Belt, DriverDiameter: q(m.near(4), "in"), DrivenDiameter: q(m.near(120), "mm"), SlipPercent: 1.5}
	chain := scaling.Stage{Kind: scaling.Chain, DriverTeeth: 15, DrivenTeeth: 32 + int32(m.IntN(8))}
	return [][]scaling.Stage{{gearbox}, {belt, gearbox}, {gearbox, chain}, {belt, gearbox, chain}}[m.IntN(4)]
}

func (m mixer) delivery() scaling.Delivery {
	return []scaling.Delivery{
		{Kind: scaling.Roll, Diameter: q(m.near(160), "mm"), BeltThickness: q(m.near(4), "mm"), SlipPercent: float64(m.IntN(2))},
		{Kind: scaling.Roll, PitchDiameter: q(m.near(6), "in")},
		{Kind: scaling.Sprocket, Teeth: 12, Pitch: q(38.1, "mm")},
		{Kind: scaling.Pump, Displacement: q(m.near(400), "mL/r"), SlipFlow: q(m.near(90), "mL/min")},
		{Kind: scaling.Pump, Displacement: q(m.near(400), "mL/r"), VolumetricEfficiencyPercent: scaling.Some(92.5), AtRPM: scaling.Some(m.near(800))},
		{Kind: scaling.Screw, VolumePerTurn: q(m.near(1.1), "L/r")},
		{Kind: scaling.Feeder, MassPerTurn: q(m.near(200), "g/r")},
		{Kind: scaling.Indexer, PiecesPerTurn: m.near(3)},
	}[m.IntN(8)]
}

func (m mixer) register(d *scaling.Drive) scaling.Register {
	span := q(1500, "r/min") // twenty counts for each r/min: 900.025 r/min is a tie
	r := scaling.Register{Kind: scaling.RegisterKind(m.IntN(4)), Type: scaling.Int16, Shaft: scaling.Shaft(m.IntN(3))}
	if s := d.Sensors; r.Shaft == scaling.SensorShaft && (len(s) == 0 || s[0].Kind != scaling.ShaftSensor) {
		r.Shaft = scaling.MotorShaft
	}
	if r.Shaft == scaling.MotorShaft && m.IntN(2) == 0 {
		span = q(m.near(12), scaling.UsualRateUnit(d.RateDimension()).Symbol())
	}
	r.Span = [2]scaling.SpanPoint{
		{Count: scaling.Some[int32](0), Milliamps: scaling.Some(4.0), Volts: scaling.Some(0.0), Value: q(0, span.Unit.Symbol())},
		{Count: scaling.Some[int32](30000), Milliamps: scaling.Some(20.0), Volts: scaling.Some(10.0), Value: span},
	}
	for i := range r.Span { // only the number that belongs to the kind
		p := &r.Span[i]
		p.Count.Set, p.Milliamps.Set, p.Volts.Set = r.Kind == scaling.IntegerRegister, r.Kind == scaling.CurrentOutput, r.Kind == scaling.VoltageOutput
	}
	return r
}

// demands asks every drive for something: the screws and feeders in a blend, each
// other one by itself or as a follower of an earlier one.
func (m mixer) demands(line *Line, product *Product) {
	blend := Blend{ID: "body", Basis: Mass, Total: q(m.near(600), "kg/h"), TotalBasis: TotalBasis(1 + m.IntN(2))}
	for i := range line.Drives {
		d := &line.Drives[i]
		if d.Delivery.Kind == scaling.Screw || d.Delivery.Kind == scaling.Feeder {
			blend.Components = append(blend.Components, Component{DriveID: d.ID, MaterialID: "clay", SharePercent: m.near(15), Tolerance: m.tolerance()})
			continue
		}
		product.Demands = append(product.Demands, m.demand(line, i))
	}
	if k := len(blend.Components); k > 0 {
		blend.Components[k-1].Balance, blend.Components[k-1].SharePercent = true, 0
		product.Blends = append(product.Blends, blend)
	}
}

func (m mixer) tolerance() scaling.Optional[scaling.Tolerance] {
	return scaling.Optional[scaling.Tolerance]{Value: scaling.Tolerance{MinusPercent: m.near(0.5), PlusPercent: m.near(0.5)}, Set: m.IntN(3) > 0}
}

func (m mixer) demand(line *Line, i int) Demand {
	d := &line.Drives[i]
	dim := d.RateDimension()
	out := Demand{DriveID: d.ID, Tolerance: m.tolerance(), MaterialID: "clay"}
	if i > 0 && m.IntN(3) > 0 {
		leader := &line.Drives[m.IntN(i)]
		out.LeaderID = leader.ID
		joined := dim == units.PieceRate && leader.RateDimension() == units.SpeedDim || dim == units.SpeedDim && leader.RateDimension() == units.PieceRate
		switch {
		case joined:
			out.Kind, out.Length = LengthPerPiece, q(m.near(400), "mm")
		case dim == leader.RateDimension():
			out.Kind, out.Percent, out.Basis = Ratio, m.near(100), ProcessRate
		default:
			out.Kind, out.Percent, out.Basis = Ratio, m.near(100), MotorSpeed
		}
		return out
	}
	switch m.IntN(10) {
	case 0:
		return Demand{DriveID: d.ID, Kind: Stopped}
	case 1:
		return Demand{DriveID: d.ID, Kind: LeaveAsIs}
	case 2:
		out.Kind, out.Rate = Rate, q(900.025, "r/min")
	case 3:
		out.Kind, out.Rate = Rate, q(m.near(400), "kg/h")
		if dim != units.VolumeFlow {
			out.Rate = q(m.near(5), scaling.UsualRateUnit(dim).Symbol())
		}
	case 4, 5, 6:
		out.Kind, out.SectionIDs, out.Time = Dwell, []string{"section-" + d.ID}, q(m.near(4), "min")
		if dim != units.SpeedDim {
			out = Demand{DriveID: d.ID, Kind: Rate, Rate: q(m.near(20), scaling.UsualRateUnit(dim).Symbol()), Tolerance: out.Tolerance}
		}
	default:
		out.Kind, out.Rate = Rate, q(m.near(6), scaling.UsualRateUnit(dim).Symbol())
	}
	return out
}

// following is a line whose drives follow each other in every way: blends whose
// counts are chosen together, by total and after a leader, doses, and registers that
// take a ratio or a fraction.
func following(seed uint64) *Request {
	r := rand.New(rand.NewPCG(seed, 41))
	within := func(low, width float64) float64 { return low + float64(width*r.Float64()) } // not fused either
	req := &Request{Line: &Line{ID: "line"}, Product: &Product{ID: "product", Materials: []scaling.Material{
		{ID: "wet", BulkDensity: q(1+r.Float64(), "kg/L"), Moisture: scaling.Moisture{Percent: 20 * r.Float64(), Basis: scaling.MoistureBasis(1 + r.IntN(2))}},
	}}}
	blend := func(id string, n int) Blend {
		b := Blend{ID: id, Basis: Mass, TotalBasis: TotalBasis(1 + r.IntN(2)), Rounding: Joint, Objective: ratio.Objective(r.IntN(2))}
		for k := range n {
			d := drive(fmt.Sprint(id, "-", k), scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(within(5, 20), "mL/r")})
			d.Motor = scaling.Motor{MaxRPM: 1e5}
			d.Register = counts(1000, q(within(500, 1000), "r/min"))
			d.Register.Type = scaling.Int32
			req.Line.Drives = append(req.Line.Drives, d)
			b.Components = append(b.Components, Component{DriveID: d.ID, MaterialID: "wet", SharePercent: (0.5 + r.Float64()) * 60 / float64(n)})
		}
		b.Components[n-1].SharePercent, b.Components[n-1].Balance = 0, true
		return b
	}
	total, led := blend("total", 3+r.IntN(14)), blend("led", 3+r.IntN(4))
	total.Total, led.LeaderID = q(within(1000, 4000), "kg/h"), "led-1"
	req.Product.Blends = []Blend{total, led}
	web, taker, geared := coarse("web"), coarse("taker"), coarse("geared")
	web.Register = counts(3000, q(3000, "r/min"))
	taker.Register = ratioRegister("web", scaling.RatioOf(1+r.IntN(3)), int32(r.IntN(5)))
	geared.Register = scaling.Register{Kind: scaling.FractionRegister, Following: scaling.Following{LeaderID: "taker", Of: scaling.ProcessRates, MaxNumerator: 99, MaxDenominator: 255}}
	req.Line.Drives = append(req.Line.Drives, geared, taker, web)
	req.Product.Demands = []Demand{rate("web", within(100, 200), "m/min"), followingAt("taker", "web", within(80, 40)), followingAt("geared", "taker", within(80, 40)),
		{DriveID: "led-1", Kind: Dose, LeaderID: "geared", Amount: q(within(100, 100), "g"), Per: q(1, "m"), MaterialID: "wet"}}
	return req
}
