package scaling

import (
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Every step's formula, read as an equation between quantities, must give the
// step's result: the working is not a story told beside the calculation.
func TestWorkingAddsUp(t *testing.T) {
	material := Material{ID: "m", Density: q(1.2, "kg/L"), BulkDensity: q(0.8, "kg/L"), FillPercent: Some(45.0)}
	roll := Delivery{Kind: Roll, Diameter: q(98, "mm"), BeltThickness: q(2, "mm"), SlipPercent: 1.5}
	pump := Delivery{Kind: Pump, Displacement: q(12, "mL/r"), SlipFlow: q(0.2, "L/min")}
	stages := []Stage{
		{Kind: Gearbox, Ratio: 12.5, Exact: true}, {Kind: Belt, DriverDiameter: q(4, "in"), DrivenDiameter: q(150, "mm"), SlipPercent: 1},
		{Kind: Chain, DriverTeeth: 15, DrivenTeeth: 38}, teeth(20, 21),
	}
	inRPM := counts(0, q(0, "r/min"), 18000, q(1800, "r/min"))
	onLast := inRPM
	onLast.Shaft = LastShaft
	loop := []Sensor{{Kind: ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, StagesFromMotor: 1}}
	meter := []Sensor{{Kind: FlowSensor, ClosesLoop: true, KFactor: q(250, "pulse/L")}}
	for name, c := range map[string]struct {
		drive  Drive
		target units.Quantity
		steps  int
	}{
		"rate of a roll":      {Drive{Transmission: stages, Delivery: roll, Register: inRPM, Sensors: loop}, q(2, "m/min"), 11},
		"dwell":               {Drive{Transmission: stages, Delivery: roll, Register: onLast, Sensors: loop}, q(9, "min"), 13},
		"sprocket, own unit":  {Drive{Delivery: Delivery{Kind: Sprocket, Teeth: 17, Pitch: q(0.5, "in")}, Register: counts(0, q(0, "ft/min"), 5000, q(500, "ft/min"))}, q(200, "ft/min"), 9},
		"pump by mass":        {Drive{Delivery: pump, Register: counts(0, q(0, "L/min"), 5000, q(10, "L/min")), Sensors: meter}, q(3, "kg/min"), 12},
		"pump by efficiency":  {Drive{Delivery: Delivery{Kind: Pump, Displacement: q(12, "mL/r"), VolumetricEfficiencyPercent: Some(93.0), AtRPM: Some(400.0)}}, q(5, "L/min"), 5},
		"screw by mass":       {Drive{Transmission: stages[:1], Delivery: Delivery{Kind: Screw, VolumePerTurn: q(1.5, "L/r")}, Register: inRPM}, q(900, "kg/h"), 12},
		"feeder mass":         {Drive{Delivery: Delivery{Kind: Feeder, MassPerTurn: q(12, "g/r")}}, q(20, "L/h"), 7},
		"indexer":             {Drive{Delivery: Delivery{Kind: Indexer, PiecesPerTurn: 2}, Register: inRPM}, q(90, "pc/min"), 9},
		"reference":           {Drive{References: []Reference{{Value: q(12, "m/min"), MotorRPM: 900}}, Register: inRPM}, q(8, "m/min"), 8},
		"motor speed":         {Drive{Register: inRPM}, q(777.77, "r/min"), 5},
		"volume pitch roller": {Drive{Delivery: Delivery{Kind: Roll, PitchDiameter: q(101, "mm")}}, q(30, "m/min"), 5},
	} {
		t.Run(name, func(t *testing.T) {
			d := c.drive
			d.Motor = Motor{MaxRPM: 6000}
			s := Subject{Drive: &d, Material: &material}
			m := Measure{Unit: c.target.Unit, Length: q(20, "m")}
			out, _ := set(s, c.target, m.Length)
			require.True(t, out.AchievedRPM.Set)
			steps := Working(&s, m, &out)
			require.Len(t, steps, c.steps)
			for _, step := range steps {
				require.NotEmpty(t, step.Name)
				got := evaluate(t, step)
				want := step.Result.Base(new(exact.Calc)).Float()
				// The result and the inputs are rounded doubles; a small difference
				// of two of them, as an error in percent, keeps fewer digits.
				require.InDelta(t, want, got, 1e-12*math.Max(math.Abs(want), 1), "%s: %s", step.ID, step.Formula)
			}
		})
	}
}

// evaluate computes a step's formula from its inputs in base units, with Go's own
// expression parser.
func evaluate(t *testing.T, step Step) float64 {
	t.Helper()
	values := map[string]float64{"pi": math.Pi}
	for _, in := range step.Inputs {
		values[in.Name] = in.Value.Base(new(exact.Calc)).Float()
	}
	expression, err := parser.ParseExpr(step.Formula)
	require.NoError(t, err, step.Formula)
	used := map[string]bool{"pi": true}
	var eval func(e ast.Expr) float64
	eval = func(e ast.Expr) float64 {
		switch e := e.(type) {
		case *ast.BasicLit:
			v, err := strconv.ParseFloat(e.Value, 64)
			require.NoError(t, err)
			return v
		case *ast.Ident:
			v, known := values[e.Name]
			require.True(t, known, "%s names %s, which is not among its inputs", step.Formula, e.Name)
			used[e.Name] = true
			return v
		case *ast.ParenExpr:
			return eval(e.X)
		case *ast.CallExpr:
			require.Equal(t, "round", e.Fun.(*ast.Ident).Name)
			return math.Round(eval(e.Args[0]))
		case *ast.BinaryExpr:
			x, y := eval(e.X), eval(e.Y)
			switch e.Op {
			case token.ADD:
				return x + y
			case token.SUB:
				return x - y
			case token.MUL:
				return x * y
			case token.QUO:
				return x / y
			}
		}
		t.Fatalf("%s: cannot evaluate %T", step.Formula, e)
		return 0
	}
	result := eval(expression)
	for name := range values {
		require.True(t, used[name], "%s does not use its input %s", step.Formula, name)
	}
	return result
}
