package ratio_test

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	. "linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
	"linepace.example/core/units"
)

func q(v float64, unit string) units.Quantity {
	return units.Quantity{Value: v, Unit: units.MustParse(unit)}
}

func some[T any](v T) scaling.Optional[T] { return scaling.Some(v) }

// counted is an integer register whose count stands for 1/perRPM r/min of the motor.
func counted(perRPM int32) scaling.Register {
	return scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Int32, Span: [2]scaling.SpanPoint{
		{Count: some(int32(0)), Value: q(0, "r/min")}, {Count: some(1000 * perRPM), Value: q(1000, "r/min")}}}
}

func roll(id string, diameter units.Quantity) scaling.Drive {
	return scaling.Drive{ID: id, Motor: scaling.Motor{MaxRPM: 1e5}, Delivery: scaling.Delivery{Kind: scaling.Roll, Diameter: diameter}}
}

func requireSound(t *testing.T, validate func(*fault.List)) {
	t.Helper()
	var faults fault.List
	validate(&faults)
	require.NoError(t, faults.Err())
}

// Published: draw between rolls at 100 and 101 m/min, or 300 and 303 ft/min, is 1 %
// (a web handling column on draw).
func TestDrawPublished(t *testing.T) {
	for _, c := range []struct {
		slow, fast float64
		unit       string
	}{{100, 101, "m/min"}, {300, 303, "ft/min"}} {
		chain := DrawChain{Drives: []scaling.Drive{roll("a", q(98, "mm")), roll("b", q(131, "mm"))}, LeaderRate: q(c.slow, c.unit),
			Rolls: []DrawRoll{{DriveID: "a"}, {DriveID: "b", DrawPercent: some(1.0)}}}
		requireSound(t, chain.Validate)
		out := chain.Find()
		for _, f := range out.Rolls[1].Follows {
			require.InDelta(t, c.fast, f.Setpoint.Achieved.Value, 1e-12*c.fast)
			require.Equal(t, c.unit, f.Setpoint.Achieved.Unit.Symbol())
			require.InDelta(t, 1.01, f.Ratio.Value, 1e-15)
		}
	}
}

// Published: textile drafting (worked examples of an appendix on spinning
// calculations): a front roller of 1 in at 90 r/min and a back roller of 1.25 in at
// 3 r/min draft 24 times; 2 ft/min in and 100 ft/min out is a draft of 50; a draft of
// 24 makes a 2 hank roving 48 hank.
func TestDraftPublished(t *testing.T) {
	chain := DrawChain{Drives: []scaling.Drive{roll("back", q(1.25, "in")), roll("front", q(1, "in"))}, LeaderRate: q(3, "r/min"),
		Rolls: []DrawRoll{{DriveID: "back"}, {DriveID: "front", DrawRatio: some(24.0)}}}
	out := chain.Find()
	for _, f := range out.Rolls[1].Follows {
		require.InDelta(t, 90, f.Setpoint.DemandedRPM.Value, 1e-12)
		require.InDelta(t, 48, 2*f.Ratio.Value, 1e-12)
	}
	chain.LeaderRate, chain.Rolls[1].DrawRatio = q(2, "ft/min"), some(50.0)
	out = chain.Find()
	require.InDelta(t, 100, out.Rolls[1].Follows[Direct].Setpoint.Achieved.Value, 1e-12)
}

// Published: drafts of a draw frame, 4.011 x 1.015 x 1.485 = 6.046 (printed).
func TestDraftsInARowPublished(t *testing.T) {
	chain := DrawChain{LeaderRate: q(20, "m/min")}
	for i, r := range []float64{0, 4.011, 1.015, 1.485} {
		id := fmt.Sprint("roll", i)
		chain.Drives = append(chain.Drives, roll(id, q(float64(25+i), "mm")))
		chain.Rolls = append(chain.Rolls, DrawRoll{DriveID: id, DrawRatio: scaling.Optional[float64]{Value: r, Set: i > 0}})
	}
	requireSound(t, chain.Validate)
	out := chain.Find()
	for s, total := range out.Totals {
		require.Equal(t, "6.046", fmt.Sprintf("%.3f", total.Ratio.Value), Scheme(s))
		require.InDelta(t, 6.045680025, total.Ratio.Value, 1e-14)
	}
}

// randomChain makes a chain of rolls with registers, some of them coarse.
func randomChain(rng *rand.Rand) DrawChain {
	n := 2 + rng.IntN(7)
	chain := DrawChain{LeaderRate: q(float64(1+rng.IntN(5000))/10, "m/min")}
	for i := range n {
		d := roll(fmt.Sprint("roll", i), q(float64(500+rng.IntN(3000))/10, "mm"))
		d.Transmission = []scaling.Stage{{Kind: scaling.GearPair, DriverTeeth: 11 + rng.Int32N(30), DrivenTeeth: 40 + rng.Int32N(300)}}
		d.Register = counted([]int32{1, 1, 5, 20, 100}[rng.IntN(5)])
		d.Motor.MaxRPM, d.Motor.BaseRPM = 1e5, some(150.0)
		switch percent := float64(rng.IntN(100)) / 100; rng.IntN(4) {
		case 0:
			d.Motor.Regulation = scaling.Regulation{DroopPercent: some(percent)}
		case 1:
			d.Motor.Regulation = scaling.Regulation{Percent: some(percent / 1000), Of: scaling.MaxSpeed}
		case 2:
			d.Motor.Regulation = scaling.Regulation{Percent: some(percent), Of: scaling.BaseSpeed}
		default:
			d.Motor.Regulation = scaling.Regulation{Percent: some(percent), Of: scaling.SetSpeed}
		}
		chain.Drives = append(chain.Drives, d)
		r := DrawRoll{DriveID: d.ID}
		switch {
		case i == 0:
		case rng.IntN(2) == 0:
			r.DrawPercent = some(float64(rng.IntN(2000)-500) / 100)
		default:
			r.DrawRatio = some(float64(900+rng.IntN(900)) / 1000)
		}
		chain.Rolls = append(chain.Rolls, r)
	}
	chain.LeaderID = chain.Rolls[rng.IntN(n)].DriveID
	return chain
}

// The counts of random chains against a second evaluation in 300 bits, written from
// the textbook: surface speed = pi * diameter * motor speed * teeth ratio; each roll
// follows the achieved speed of the leader or of its neighbour.
func TestDrawCountsAgainstBigFloats(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	big300 := func(v float64) *big.Float {
		x, _, err := big.ParseFloat(fmt.Sprint(v), 10, 300, big.ToNearestEven)
		require.NoError(t, err)
		return x
	}
	mul := func(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(300).Mul(a, b) }
	quo := func(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(300).Quo(a, b) }
	for range 300 {
		chain := randomChain(rng)
		requireSound(t, chain.Validate)
		out := chain.Find()
		lead := 0
		n := len(chain.Rolls)
		ratio := make([]*big.Float, n)
		for i, r := range chain.Rolls {
			if r.DriveID == chain.LeaderID {
				lead = i
			}
			ratio[i] = big300(1)
			if r.DrawRatio.Set {
				ratio[i] = big300(r.DrawRatio.Value)
			} else if r.DrawPercent.Set {
				ratio[i].Add(ratio[i], quo(big300(r.DrawPercent.Value), big300(100)))
			}
		}
		// Speeds in mm/min over pi: pi falls out between rolls.
		load := func(i int, speedOverPi *big.Float) (count int64, achieved *big.Float) {
			d := &chain.Drives[i]
			perRPM := mul(big300(d.Delivery.Diameter.Value), quo(big300(float64(d.Transmission[0].DriverTeeth)), big300(float64(d.Transmission[0].DrivenTeeth))))
			step := quo(big300(float64(d.Register.Span[1].Count.Value)), big300(1000))
			k, _ := mul(quo(speedOverPi, perRPM), step).Add(mul(quo(speedOverPi, perRPM), step), big300(0.5)).Int64()
			return k, mul(quo(big300(float64(k)), step), perRPM)
		}
		pi, _, err := big.ParseFloat("3.14159265358979323846264338327950288419716939937510582097494459230781640628620899862803482534211706798214808651", 10, 300, big.ToNearestEven)
		require.NoError(t, err)
		for s := range out.Totals {
			achieved := make([]*big.Float, n)
			check := func(i int, speed *big.Float) {
				var k int64
				k, achieved[i] = load(i, speed)
				require.Equal(t, k, int64(out.Rolls[i].Follows[s].Setpoint.Count.Value), "roll %d of %+v", i, chain)
			}
			check(lead, quo(mul(big300(chain.LeaderRate.Value), big300(1000)), pi))
			for i := lead + 1; i < n; i++ {
				from := achieved[i-1]
				r := ratio[i]
				if Scheme(s) == Direct {
					from = achieved[lead]
					for k := i - 1; k > lead; k-- {
						r = mul(r, ratio[k])
					}
				}
				check(i, mul(from, r))
			}
			for i := lead - 1; i >= 0; i-- {
				from := achieved[i+1]
				r := ratio[i+1]
				if Scheme(s) == Direct {
					from = achieved[lead]
					for k := i + 2; k <= lead; k++ {
						r = mul(r, ratio[k])
					}
				}
				check(i, quo(from, r))
			}
			for i := 1; i < n; i++ {
				got := out.Rolls[i].Follows[s]
				want, _ := quo(achieved[i], achieved[i-1]).Float64()
				require.InEpsilon(t, want, got.Ratio.Value, 1e-14)
				off, _ := quo(quo(achieved[i], achieved[i-1]), ratio[i]).Float64()
				require.InDelta(t, (off-1)*100, got.ErrorPercent.Value, 1e-11)
			}
		}
	}
}

// No error of rounding leaves the spread that is told for it, and a chain driven to
// the corners of every roll's regulation reaches exactly the worst case, however
// the corners are chosen: all of them are tried.
func TestDrawSpreadsAgainstAllCorners(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	known := 0
	defer func() { require.Greater(t, known, 500) }()
	for range 300 {
		chain := randomChain(rng)
		if len(chain.Rolls) > 6 {
			continue
		}
		out := chain.Find()
		n, lead := len(chain.Rolls), 0
		for i := range chain.Rolls {
			if chain.Rolls[i].DriveID == chain.LeaderID {
				lead = i
			}
		}
		for s := range out.Totals {
			for i := 1; i < n; i++ {
				f := out.Rolls[i].Follows[s]
				require.LessOrEqual(t, f.ErrorPercent.Value, f.Rounding.Value.HighPercent*(1+1e-12)+1e-12)
				require.GreaterOrEqual(t, f.ErrorPercent.Value, f.Rounding.Value.LowPercent*(1+1e-12)-1e-12)
			}
			low, high := make([]float64, n), make([]float64, n)
			for i := range low {
				low[i], high[i] = math.Inf(1), math.Inf(-1)
			}
			for corner := range 1 << n {
				speed := make([]float64, n) // what follows is what really turns
				turn := func(i int, followed float64) {
					motor := &chain.Drives[i].Motor
					set := out.Rolls[i].Follows[s].Setpoint.AchievedRPM.Value
					off := 0.0 // r/min
					switch g := &motor.Regulation; {
					case g.DroopPercent.Set:
						off = -set * g.DroopPercent.Value / 100 * float64(corner>>i&1)
					case g.Of == scaling.SetSpeed:
						off = set * g.Percent.Value / 100
					case g.Of == scaling.MaxSpeed:
						off = motor.MaxRPM * g.Percent.Value / 100
					case g.Of == scaling.BaseSpeed:
						off = motor.BaseRPM.Value * g.Percent.Value / 100
					}
					if corner>>i&1 == 1 && !motor.Regulation.DroopPercent.Set {
						off = -off
					}
					speed[i] = followed * (1 + off/set)
				}
				turn(lead, 1)
				for i := lead + 1; i < n; i++ {
					if Scheme(s) == Direct {
						turn(i, speed[lead])
					} else {
						turn(i, speed[i-1])
					}
				}
				for i := lead - 1; i >= 0; i-- {
					if Scheme(s) == Direct {
						turn(i, speed[lead])
					} else {
						turn(i, speed[i+1])
					}
				}
				for i := 1; i < n; i++ {
					off := (speed[i]/speed[i-1] - 1) * 100
					low[i], high[i] = min(low[i], off), max(high[i], off)
				}
			}
			for i := 1; i < n; i++ {
				spread := out.Rolls[i].Follows[s].Regulation
				if !spread.Set {
					continue // a roll may come to a stand
				}
				known++
				got := spread.Value
				require.InDelta(t, low[i], got.LowPercent, 1e-11)
				require.InDelta(t, high[i], got.HighPercent, 1e-11)
			}
		}
	}
}

// Worked by hand: four rolls, the second leads, each at 0.1 % regulation.
// Direct: roll 3 against roll 2 errs by both, against the leader by one. Cascaded:
// roll 3 against roll 2 by one, against the leader by two.
func TestDrawAccumulates(t *testing.T) {
	chain := DrawChain{LeaderRate: q(10, "m/min"), LeaderID: "roll1"}
	for i := range 4 {
		d := roll(fmt.Sprint("roll", i), q(100, "mm"))
		d.Motor.Regulation = scaling.Regulation{Percent: some(0.1), Of: scaling.SetSpeed}
		chain.Drives = append(chain.Drives, d)
		chain.Rolls = append(chain.Rolls, DrawRoll{DriveID: d.ID, DrawPercent: scaling.Optional[float64]{Value: 2, Set: i > 0}})
	}
	out := chain.Find()
	direct, cascaded := out.Rolls[3].Follows[Direct], out.Rolls[3].Follows[Cascaded]
	require.InDelta(t, 100*(1.001/0.999-1), direct.Regulation.Value.HighPercent, 1e-12)
	require.InDelta(t, math.Sqrt2*0.1, direct.Regulation.Value.RootSumSquarePercent, 1e-12)
	require.InDelta(t, 0.1, direct.LeaderRegulation.Value.HighPercent, 1e-12)
	require.InDelta(t, 0.1, cascaded.Regulation.Value.HighPercent, 1e-12)
	require.InDelta(t, 100*(1.001*1.001-1), cascaded.LeaderRegulation.Value.HighPercent, 1e-12)
	require.InDelta(t, -100*(1-0.999*0.999), cascaded.LeaderRegulation.Value.LowPercent, 1e-12)
	require.InDelta(t, math.Sqrt2*0.1, cascaded.LeaderRegulation.Value.RootSumSquarePercent, 1e-12)
	require.False(t, direct.Rounding.Set, "nothing is rounded")
	require.False(t, out.Rolls[0].Follows[Direct].Ratio.Set, "no roll before the first")
	require.False(t, out.Rolls[1].Follows[Direct].LeaderRatio.Set, "the leader against itself")
}

// Worked by hand: a dip of 1 % of the third of five rolls, led by the first.
// Direct: it alone dips; the draw before it falls and the one behind it rises.
// Cascaded: all behind it dip with it, and only the draw before it falls.
func TestDrawDisturbed(t *testing.T) {
	chain := DrawChain{LeaderRate: q(10, "m/min"), Disturbance: &Disturbance{DriveID: "roll2", SpeedChangePercent: -1}}
	for i := range 5 {
		id := fmt.Sprint("roll", i)
		chain.Drives = append(chain.Drives, roll(id, q(100, "mm")))
		chain.Rolls = append(chain.Rolls, DrawRoll{DriveID: id, DrawRatio: scaling.Optional[float64]{Value: 1.1, Set: i > 0}})
	}
	requireSound(t, chain.Validate)
	up := 100 * (1/0.99 - 1)
	for _, c := range []struct {
		scheme              Scheme
		speed, draw, toward [5]float64
	}{
		{Direct, [5]float64{0, 0, -1, 0, 0}, [5]float64{0, 0, -1, up, 0}, [5]float64{0, 0, -1, 0, 0}},
		{Cascaded, [5]float64{0, 0, -1, -1, -1}, [5]float64{0, 0, -1, 0, 0}, [5]float64{0, 0, -1, -1, -1}},
	} {
		for i, r := range chain.Find().Rolls {
			got := r.Follows[c.scheme].Disturbed.Value
			require.InDelta(t, c.speed[i], got.SpeedChangePercent, 1e-12)
			require.InDelta(t, c.toward[i], got.FirstChangePercent, 1e-12)
			require.Equal(t, i > 0, got.DrawChangePercent.Set)
			require.InDelta(t, c.draw[i], got.DrawChangePercent.Value, 1e-12)
			if i > 0 {
				require.InDelta(t, 100*(1.1*(1+c.draw[i]/100)-1), got.Percent.Value, 1e-12)
			}
		}
	}
	chain.Disturbance.DriveID = "roll0" // the leader: all follow, no draw changes
	for _, r := range chain.Find().Rolls {
		for _, f := range r.Follows {
			require.InDelta(t, -1, f.Disturbed.Value.SpeedChangePercent, 1e-12)
			require.Zero(t, f.Disturbed.Value.DrawChangePercent.Value)
			require.Zero(t, f.Disturbed.Value.FirstChangePercent)
		}
	}
}

func codes(checks []scaling.Check) (out []scaling.Code) {
	for _, k := range checks {
		out = append(out, k.Code)
	}
	return out
}

// A roll out of range has no setpoint: by cascade no roll behind it has one either.
// Worked by hand: 10 m/min * 1.5 on 100 mm is 47.7 r/min, above 40.
func TestDrawOutOfRange(t *testing.T) {
	chain := DrawChain{LeaderRate: q(10, "m/min")}
	for i := range 4 {
		id := fmt.Sprint("roll", i)
		chain.Drives = append(chain.Drives, roll(id, q(100, "mm")))
		chain.Rolls = append(chain.Rolls, DrawRoll{DriveID: id, DrawRatio: scaling.Optional[float64]{Value: 1.5, Set: i == 1}, DrawPercent: scaling.Optional[float64]{Set: i > 1}})
	}
	chain.Drives[1].Motor.MaxRPM = 40
	out := chain.Find()
	require.Equal(t, []scaling.Code{scaling.AboveHighestSpeed, scaling.LeaderHasNoSetpoint, scaling.LeaderHasNoSetpoint}, codes(out.Checks))
	require.Equal(t, "rolls[1]", out.Checks[0].Field)
	// 40 r/min on 100 mm is 12.5664 m/min, over 1.5 is 8.37758 m/min.
	require.Equal(t, q(8.37758, "m/min").Value, out.Checks[0].Fit.Value)
	require.Equal(t, "leaderRate", out.Checks[0].FitField)
	fits := chain
	fits.LeaderRate = out.Checks[0].Fit
	require.Empty(t, fits.Find().Checks)
	require.True(t, out.Rolls[2].Follows[Direct].Setpoint.AchievedRPM.Set)
	require.False(t, out.Rolls[2].Follows[Direct].Ratio.Set)
	require.True(t, out.Rolls[3].Follows[Direct].Ratio.Set)
	require.False(t, out.Rolls[2].Follows[Cascaded].Setpoint.AchievedRPM.Set)
	require.True(t, out.Totals[Direct].Ratio.Set)
	require.False(t, out.Totals[Cascaded].Ratio.Set)
}

// A rate that would fit is told only where the whole chain runs with it.
func TestDrawFit(t *testing.T) {
	chain := DrawChain{Drives: []scaling.Drive{roll("a", q(100, "mm")), roll("b", q(100, "mm"))}, LeaderRate: q(10, "r/min"),
		Rolls: []DrawRoll{{DriveID: "a"}, {DriveID: "b", DrawRatio: some(0.5)}}}
	chain.Drives[1].Motor.MinRPM = 7
	out := chain.Find()
	require.Equal(t, []scaling.Code{scaling.BelowLowestSpeed}, codes(out.Checks))
	require.Equal(t, 14.0, out.Checks[0].Fit.Value)
	chain.Drives[0].Motor.MaxRPM = 13
	require.Nil(t, chain.Find().Checks[0].Fit.Unit)
	chain.LeaderRate = q(20, "r/min")
	require.Equal(t, scaling.AboveHighestSpeed, chain.Find().Checks[0].Code)
}

// Worked by hand: counts of 1 r/min and 100 mm rolls without gears. 10 m/min is
// 31.83 r/min, count 32; the follower is asked for 32.32, count 32 again, so a draw of 1 % is lost.
func TestDrawIsJudged(t *testing.T) {
	chain := DrawChain{Drives: []scaling.Drive{roll("a", q(100, "mm")), roll("b", q(100, "mm"))}, LeaderRate: q(10, "m/min"),
		Rolls: []DrawRoll{{DriveID: "a"}, {DriveID: "b", DrawPercent: some(1.0)}}, Tolerance: &scaling.Tolerance{MinusPercent: 0.5, PlusPercent: 0.5}}
	for i := range chain.Drives {
		chain.Drives[i].Register = counted(1)
		chain.Drives[i].Motor.Regulation = scaling.Regulation{DroopPercent: some(0.2)}
	}
	out := chain.Find()
	f := out.Rolls[1].Follows[Direct]
	require.Equal(t, int32(32), f.Setpoint.Count.Value)
	require.InDelta(t, 100*(1/1.01-1), f.ErrorPercent.Value, 1e-12)
	require.False(t, f.WithinTolerance.Value)
	require.False(t, f.BandWithinTolerance.Value)
	require.Equal(t, []scaling.Code{scaling.DrawMayVanish, scaling.DrawOutsideTolerance, scaling.DrawBandOutsideTolerance,
		scaling.DrawMayVanish, scaling.DrawOutsideTolerance, scaling.DrawBandOutsideTolerance}, codes(out.Checks))
	require.Equal(t, "direct", out.Checks[0].Name)
	require.InDelta(t, -0.2, f.LeaderRegulation.Value.LowPercent, 1e-12, "a droop is one-sided")
	require.Zero(t, f.LeaderRegulation.Value.HighPercent)
}

func requireAddsUp(t *testing.T, steps []scaling.Step) {
	t.Helper()
	require.NotEmpty(t, steps)
	for _, step := range steps {
		got, want, err := formulatest.Evaluate(step)
		require.NoError(t, err, step.Name)
		require.InDelta(t, want, got, 1e-9*math.Abs(want)+1e-12, "%s: %s of %v", step.ID, step.Formula, step.Inputs)
	}
}

func TestDrawWorkingAddsUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 50 {
		chain := randomChain(rng)
		chain.Disturbance = &Disturbance{DriveID: chain.Rolls[rng.IntN(len(chain.Rolls))].DriveID, SpeedChangePercent: 2.5}
		out := chain.Find()
		requireAddsUp(t, chain.Working(&out))
		for i := range out.Rolls {
			for s := range out.Totals {
				requireAddsUp(t, chain.SetpointWorking(&out, Scheme(s), i))
			}
		}
	}
}

func TestDrawFaults(t *testing.T) {
	good := func() DrawChain {
		return DrawChain{Drives: []scaling.Drive{roll("a", q(98, "mm")), roll("b", q(131, "mm"))}, LeaderRate: q(9, "m/min"),
			Rolls: []DrawRoll{{DriveID: "a"}, {DriveID: "b", DrawPercent: some(1.0)}}}
	}
	for _, c := range []struct {
		spoil func(*DrawChain)
		want  string
	}{
		{func(d *DrawChain) { d.Rolls = d.Rolls[:1] }, "rolls OUT_OF_RANGE"},
		{func(d *DrawChain) { d.Rolls[0].DrawRatio = some(1.1) }, "rolls[0].drawRatio CONFLICT"},
		{func(d *DrawChain) { d.Rolls[1].DrawPercent.Set = false }, "rolls[1] REQUIRED"},
		{func(d *DrawChain) { d.Rolls[1].DrawPercent.Value = -100 }, "rolls[1].drawPercent OUT_OF_RANGE"},
		{func(d *DrawChain) { d.Rolls[1].DrawPercent.Value = math.NaN() }, "rolls[1].drawPercent OUT_OF_RANGE"},
		{func(d *DrawChain) { d.Rolls[1].DrawRatio = some(0.0) }, "rolls[1].drawRatio OUT_OF_RANGE"},
		{func(d *DrawChain) { d.Rolls[1].DriveID = "x" }, "rolls[1].driveId NOT_FOUND"},
		{func(d *DrawChain) { d.Rolls[1].DriveID = "a" }, "rolls[1].driveId DUPLICATE"},
		{func(d *DrawChain) { d.Drives[1].Delivery = scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 1} }, "rolls[1].driveId CONFLICT"},
		{func(d *DrawChain) { d.Drives[1].ID = "a" }, "drives[1].id DUPLICATE"},
		{func(d *DrawChain) { d.Drives[0].Motor.MaxRPM = 0 }, "drives[0].motor.maxRpm OUT_OF_RANGE"},
		{func(d *DrawChain) { d.LeaderID = "x" }, "leaderId NOT_FOUND"},
		{func(d *DrawChain) { d.LeaderRate = q(0, "m/min") }, "leaderRate.value OUT_OF_RANGE"},
		{func(d *DrawChain) { d.LeaderRate = q(3, "kg/h") }, "leaderRate.unit UNIT_WRONG_DIMENSION"},
		{func(d *DrawChain) { d.Tolerance = &scaling.Tolerance{MinusPercent: -1} }, "tolerance.minusPercent OUT_OF_RANGE"},
		{func(d *DrawChain) { d.Disturbance = &Disturbance{DriveID: "a"} }, "disturbance.speedChangePercent OUT_OF_RANGE"},
		{func(d *DrawChain) { d.Disturbance = &Disturbance{DriveID: "x", SpeedChangePercent: 1} }, "disturbance.driveId NOT_FOUND"},
	} {
		chain := good()
		c.spoil(&chain)
		var faults fault.List
		chain.Validate(&faults)
		requireFault(t, c.want, faults)
	}
}

// requireFault demands one fault, written as its path and reason.
func requireFault(t *testing.T, want string, faults fault.List) {
	t.Helper()
	var got []string
	for _, f := range faults {
		got = append(got, f.Path+" "+string(f.Reason))
	}
	require.Contains(t, got, want)
}

func BenchmarkDraw100(b *testing.B) {
	chain := DrawChain{LeaderRate: q(7, "m/min")}
	for i := range 100 {
		d := roll(fmt.Sprint("roll", i), q(100, "mm"))
		d.Motor.Regulation = scaling.Regulation{Percent: some(0.1), Of: scaling.SetSpeed}
		d.Register = counted(100)
		chain.Drives = append(chain.Drives, d)
		chain.Rolls = append(chain.Rolls, DrawRoll{DriveID: d.ID, DrawPercent: scaling.Optional[float64]{Value: 1, Set: i > 0}})
	}
	for b.Loop() {
		chain.Find()
	}
}
