package changeover

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
)

func ratioRegister(leader string, of scaling.RatioOf, decimals int32) scaling.Register {
	return scaling.Register{Kind: scaling.RatioRegister, Following: scaling.Following{LeaderID: leader, Of: of, Decimals: decimals, MaxPercent: 400}}
}

// coarse is a roll of 100 mm on the motor whose register counts hundreds of r/min.
func coarse(id string) scaling.Drive {
	d := belt(id)
	d.Motor, d.Transmission = scaling.Motor{MaxRPM: 3000}, nil
	d.Delivery = scaling.Delivery{Kind: scaling.Roll, Diameter: q(100, "mm")}
	d.Register = counts(10, q(1000, "r/min"))
	d.Sensors = []scaling.Sensor{{ID: "encoder", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60}}
	return d
}

// Worked by hand. The leader is asked for 430 r/min and gets 400 by its count.
// Motor speeds: 102.5 % of them is a ratio of 102.5 %. Process rates: a roll of
// 120 mm has the same ratio whatever its diameter, since pi and diameter are on
// both sides, and 102.125 % is a tie, rounded away from zero. Pulses: the roll of
// 120 mm behind 2:1 turns its motor at 400 * 100/120 * 2 * 1.025 = 683.333 r/min; 30
// pulses a turn against 60 is 341.667 Hz to 400 Hz, 85.4167 %. As a fraction of the
// motor speeds 683.333 / 400 is 41/24.
func TestRatioRegisters(t *testing.T) {
	asked := func(percent float64, basis RatioBasis, r scaling.Register) (*Request, *Setpoint) {
		follower := coarse("follower")
		follower.Delivery.Diameter = q(120, "mm")
		follower.Transmission = []scaling.Stage{{Kind: scaling.Gearbox, Ratio: 2, Exact: true}}
		follower.Sensors[0].PulsesPerTurn = 30
		follower.Register = r
		req := &Request{Line: &Line{Drives: []scaling.Drive{follower, coarse("leader")}}, Working: true,
			Product: &Product{Demands: []Demand{{DriveID: "follower", Kind: Ratio, LeaderID: "leader", Percent: percent, Basis: basis},
				{DriveID: "leader", Kind: Rate, Rate: q(430, "r/min")}}}}
		plan := mustPlan(t, req)
		require.Equal(t, int32(4), plan.of("leader").Count.Value)
		sp := plan.of("follower")
		named := Formulas(req, &plan)
		for _, step := range sp.Working {
			require.Contains(t, named, step.ID)
			got, want, err := formulatest.Evaluate(step)
			require.NoError(t, err)
			require.InDelta(t, want, got, 1e-12+1e-12*max(want, -want), "%+v", step)
		}
		running := *req
		running.Running = req.Product
		require.Subset(t, Formulas(&running, &plan), named)
		return req, sp
	}
	_, sp := asked(102.5, MotorSpeed, ratioRegister("leader", scaling.MotorSpeeds, 1))
	require.Equal(t, int32(1025), sp.Count.Value)
	require.InEpsilon(t, 410, sp.AchievedRPM.Value, 1e-15)
	require.Equal(t, "102.5", sp.Drive.Register.Following.RatioText(sp.Count.Value))
	require.InDelta(t, 0, sp.ErrorPercent.Value, 1e-12)

	_, sp = asked(102.125, ProcessRate, ratioRegister("leader", scaling.ProcessRates, 2))
	require.Equal(t, int32(10213), sp.Count.Value)
	require.InEpsilon(t, 102.13/102.125*100-100, sp.ErrorPercent.Value, 1e-9)

	_, sp = asked(102.5, ProcessRate, ratioRegister("leader", scaling.PulseFrequencies, 3))
	require.Equal(t, int32(85417), sp.Count.Value) // 85.4166...
	require.InEpsilon(t, 0.85417*400, sp.PulseHz.Value, 1e-14)
	require.InEpsilon(t, 0.85417*800, sp.AchievedRPM.Value, 1e-14)

	fractions := scaling.Register{Kind: scaling.FractionRegister, Following: scaling.Following{LeaderID: "leader", Of: scaling.MotorSpeeds, MaxNumerator: 99, MaxDenominator: 99}}
	_, sp = asked(102.5, ProcessRate, fractions)
	require.Equal(t, scaling.Some(scaling.Fraction{Numerator: 41, Denominator: 24}), sp.Fraction)
	require.False(t, sp.Count.Set)
	require.InEpsilon(t, 400.0*41/24, sp.AchievedRPM.Value, 1e-14)

	// Exhaustive search over 16 bit and 8 bit terms gives 355/113 and 245/78 for pi.
	for bound, want := range map[int32][2]int32{32767: {355, 113}, 255: {245, 78}} {
		fractions.Following.MaxNumerator, fractions.Following.MaxDenominator = bound, bound
		_, sp = asked(314.15926535897932, MotorSpeed, fractions)
		require.Equal(t, want, [2]int32{sp.Fraction.Value.Numerator, sp.Fraction.Value.Denominator})
	}
	require.InDelta(t, 57, -sp.Fraction.Value.ErrorPPM, 200)

	// Out of what the register takes.
	req, _ := asked(102.5, MotorSpeed, ratioRegister("leader", scaling.MotorSpeeds, 1))
	req.Product.Demands[0].Percent = 400.1
	plan := mustPlan(t, req)
	require.Equal(t, scaling.RegisterBound, checkOf(t, plan, "follower").Binds)

	// Stopped by a ratio of nothing.
	req.Product.Demands[0] = Demand{DriveID: "follower", Kind: Stopped}
	plan = mustPlan(t, req)
	require.Equal(t, scaling.Some[int32](0), plan.of("follower").Count)
	req.Line.Drives[0].Register = fractions
	plan = mustPlan(t, req)
	require.Equal(t, scaling.NoCountForStop, plan.Checks[0].Code)
}

// A follower of a follower goes by the ratio that its leader was really given, and
// the counts are those of the exact rational numbers.
func TestRatioRegistersInAChain(t *testing.T) {
	r := rand.New(rand.NewPCG(102, 5))
	for range 300 {
		drives, demands := []scaling.Drive{doser("drive-0", 3, 0.25)}, []Demand{rate("drive-0", float64(100+r.IntN(900))/100, "kg/min")}
		speed := big.NewRat(int64(demands[0].Rate.Value*1000+0.5), 3)
		speed = rounded(speed, big.NewRat(4, 1)) // a count for each 4 r/min
		for k := 1; k < 4; k++ {
			id, leader := fmt.Sprint("drive-", k), fmt.Sprint("drive-", k-1)
			d := doser(id, 3, 1)
			d.Motor.MaxRPM = 1e6
			decimals := int32(r.IntN(4))
			d.Register = ratioRegister(leader, scaling.MotorSpeeds, decimals)
			percent := float64(5000+r.IntN(20000)) / 100
			drives = append(drives, d)
			demands = append(demands, followingAt(id, leader, percent))
			step := new(big.Rat).Quo(speed, big.NewRat(100*int64([]int{1, 10, 100, 1000}[decimals]), 1))
			ask := new(big.Rat).Mul(speed, big.NewRat(int64(percent*100+0.5), 10000))
			speed = rounded(ask, step)
			plan := mustPlan(t, &Request{Line: &Line{Drives: drives}, Product: &Product{Demands: demands}})
			count, _ := new(big.Rat).Quo(speed, step).Float64()
			require.Equal(t, int32(count), plan.of(id).Count.Value)
			want, _ := speed.Float64()
			require.InEpsilon(t, want, plan.of(id).AchievedRPM.Value, 1e-14)
		}
	}
}

// rounded returns the multiple of step nearest to v, ties away from zero.
func rounded(v, step *big.Rat) *big.Rat {
	n := new(big.Rat).Add(new(big.Rat).Quo(v, step), big.NewRat(1, 2))
	whole := new(big.Int).Quo(n.Num(), n.Denom())
	return new(big.Rat).Mul(new(big.Rat).SetInt(whole), step)
}

func TestRatioRegisterFaults(t *testing.T) {
	request := func(change func(*Request, *scaling.Register)) fault.List {
		follower := coarse("follower")
		follower.Register = ratioRegister("leader", scaling.MotorSpeeds, 1)
		req := &Request{Line: &Line{Drives: []scaling.Drive{follower, coarse("leader"), coarse("other")}}, Product: &Product{
			Demands: []Demand{followingAt("follower", "leader", 50), rate("leader", 100, "m/min"), rate("other", 100, "m/min")}}}
		change(req, &req.Line.Drives[0].Register)
		_, faults, _ := Make(req, nil, nil)
		return faults
	}
	for name, tc := range map[string]struct {
		change func(*Request, *scaling.Register)
		path   string
		reason fault.Reason
	}{
		"follows another":   {func(req *Request, _ *scaling.Register) { req.Product.Demands[0].LeaderID = "other" }, "product.demands[0].ratio", fault.Conflict},
		"follows none":      {func(req *Request, _ *scaling.Register) { req.Product.Demands[0] = rate("follower", 100, "m/min") }, "product.demands[0].rate", fault.Conflict},
		"no such leader":    {func(_ *Request, r *scaling.Register) { r.Following.LeaderID = "x" }, "line.drives[0].register.ratio.leaderId", fault.NotFound},
		"itself":            {func(_ *Request, r *scaling.Register) { r.Following.LeaderID = "follower" }, "line.drives[0].register.ratio.leaderId", fault.Cycle},
		"decimals":          {func(_ *Request, r *scaling.Register) { r.Following.Decimals = 7 }, "line.drives[0].register.ratio.decimals", fault.OutOfRange},
		"no ratio":          {func(_ *Request, r *scaling.Register) { r.Following.MaxPercent = 0 }, "line.drives[0].register.ratio.maxPercent", fault.OutOfRange},
		"finer than it can": {func(_ *Request, r *scaling.Register) { r.Following.MaxPercent = 99.99 }, "line.drives[0].register.ratio.maxPercent", fault.OutOfRange},
		"too many counts":   {func(_ *Request, r *scaling.Register) { r.Following.MaxPercent, r.Following.Decimals = 1e6, 6 }, "line.drives[0].register.ratio.maxPercent", fault.OutOfRange},
		"no numerator": {func(_ *Request, r *scaling.Register) {
			r.Kind, r.Following.MaxDenominator = scaling.FractionRegister, 9
		}, "line.drives[0].register.fraction.maxNumerator", fault.OutOfRange},
		"no pulses": {func(req *Request, r *scaling.Register) {
			r.Following.Of, req.Line.Drives[0].Sensors = scaling.PulseFrequencies, nil
		}, "line.drives[0].register.ratio.of", fault.Conflict},
		"no pulses of the leader": {func(req *Request, r *scaling.Register) {
			r.Following.Of, req.Line.Drives[1].Sensors = scaling.PulseFrequencies, nil
		}, "line.drives[0].register.ratio.of", fault.Conflict},
		"another kind of rate": {func(req *Request, r *scaling.Register) {
			r.Following.Of, req.Line.Drives[1].Delivery = scaling.ProcessRates, scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 1}
			req.Line.Drives[1].Register = scaling.Register{}
			req.Product.Demands[1].Rate, req.Product.Demands[0].Basis = q(100, "pc/min"), MotorSpeed
		}, "line.drives[0].register.ratio.of", fault.Conflict},
	} {
		t.Run(name, func(t *testing.T) {
			faults := request(tc.change)
			require.Len(t, faults, 1, "%v", faults)
			require.Equal(t, tc.path, faults[0].Path)
			require.Equal(t, tc.reason, faults[0].Reason)
		})
	}
	require.Empty(t, request(func(*Request, *scaling.Register) {}))
}
