package changeover

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	"linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/scaling/formulatest"
)

func mustMix(t *testing.T, req *BlendRequest) *Composition {
	t.Helper()
	out, faults, ok := Mix(req, nil, nil)
	require.NoError(t, faults.Err())
	require.True(t, ok)
	return &out
}

// doser gives gramsPerTurn a motor turn and takes tenths of r/min, or what
// countsPerRPM says.
func doser(id string, gramsPerTurn, countsPerRPM float64) scaling.Drive {
	d := drive(id, scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(gramsPerTurn, "g/r")})
	d.Motor = scaling.Motor{MaxRPM: 1e6}
	d.Register = scaling.Register{Kind: scaling.IntegerRegister, Type: scaling.Int32, Span: [2]scaling.SpanPoint{
		{Count: scaling.Some[int32](0), Value: q(0, "r/min")}, {Count: scaling.Some(int32(1000 * countsPerRPM)), Value: q(1000, "r/min")}}}
	return d
}

// Sources: Pearson square answers read at a dairy extension page and at
// qammunity.org, and alligation answers of wyzant.com: 160 kg of 40 % cream to 32 %
// needs 40 kg of diluent; 500 kg of 4 % to 10 % with 35 % needs 120 kg, 620 in all;
// 40 % and 1.5 % to 3.5 %, 100 kg: 5.19 and 94.81 kg; 35 % and 100 % to 95 %,
// 260 mL: 20 and 240 mL; 50 % and 100 % to 70 %, 20 mL: 12 and 8 mL.
func TestPublishedMaterialBalances(t *testing.T) {
	t.Run("leader with a diluent", func(t *testing.T) {
		cream := BlendRequest{Drives: []scaling.Drive{doser("cream", 1, 1), doser("milk", 1, 1)},
			Blend: &Blend{Basis: Mass, LeaderID: "cream", LeaderRate: q(160, "kg/min"), Components: []Component{{DriveID: "cream", SharePercent: 80}, {DriveID: "milk", Balance: true}}}}
		cream.Drives[0].Register, cream.Drives[1].Register = scaling.Register{}, scaling.Register{}
		out := mustMix(t, &cream)
		require.InEpsilon(t, 40, out.Portions[1].Demanded.Value, 1e-14)
		require.InEpsilon(t, 200, out.Total.Value, 1e-14)
	})
	for _, of := range []struct {
		name               string
		basis              BlendBasis
		total              float64
		unit               string
		rich, poor, wanted float64
		richRate, poorRate float64
		tolerance          float64
	}{
		{"cream into milk", Mass, 620, "kg/min", 35, 4, 10, 120, 500, 1e-12},
		{"orange drinks", Volume, 5000, "mL/min", 15, 11, 12, 1250, 3750, 1e-12},
		{"cream into skim milk", Mass, 100, "kg/min", 40, 1.5, 3.5, 5.19, 94.81, 5e-5},
		{"alcohol", Volume, 260, "mL/min", 100, 35, 95, 240, 20, 1e-12},
		{"alcohol again", Volume, 20, "mL/min", 100, 50, 70, 8, 12, 1e-12},
	} {
		t.Run(of.name, func(t *testing.T) {
			share := (of.wanted - of.poor) / (of.rich - of.poor) * 100 // Pearson square
			pump := func(id string) scaling.Drive {
				d := drive(id, scaling.Delivery{Kind: scaling.Pump, Displacement: q(1, "mL/r")})
				d.Motor, d.Register = scaling.Motor{MaxRPM: 1e6}, scaling.Register{}
				return d
			}
			req := BlendRequest{Drives: []scaling.Drive{pump("rich"), pump("poor")}, Materials: []scaling.Material{{ID: "water", Density: q(1, "kg/L")}},
				Blend: &Blend{Basis: of.basis, Total: q(of.total, of.unit), Rounding: Joint, Components: []Component{
					{DriveID: "rich", MaterialID: "water", SharePercent: share}, {DriveID: "poor", MaterialID: "water", Balance: true}}}}
			out := mustMix(t, &req)
			require.InDelta(t, of.richRate, out.Portions[0].Achieved.Value, of.tolerance*of.total)
			require.InDelta(t, of.poorRate, out.Portions[1].Achieved.Value, of.tolerance*of.total)
			require.InEpsilon(t, of.total, out.Total.Value, 1e-12)
			require.True(t, out.Proven.Value)
			require.InDelta(t, 0, out.Largest.Value, 1e-12)
		})
	}
}

// A blend's counts chosen together, from the drives to the shares, are those of an
// exhaustive search over the neighbours in rational numbers.
func TestJointCountsAgainstExhaustiveSearch(t *testing.T) {
	r := rand.New(rand.NewPCG(60, 61))
	changed := 0
	for range 300 {
		n := 2 + r.IntN(6)
		req := &BlendRequest{Blend: &Blend{Basis: Mass, Total: q(float64(500+r.IntN(5000))/10, "kg/min"), Rounding: Joint, Objective: ratio.Objective(r.IntN(2))}}
		left := 1000
		for k := range n {
			id := fmt.Sprint("feeder-", k)
			req.Drives = append(req.Drives, doser(id, float64(5+r.IntN(995))/10*8, []float64{0.01, 0.1, 0.25}[r.IntN(3)]))
			component := Component{DriveID: id, SharePercent: float64(1+r.IntN(left-n+k)) / 10}
			left -= int(component.SharePercent*10 + 0.5)
			if k == n-1 {
				component = Component{DriveID: id, Balance: true}
			}
			req.Blend.Components = append(req.Blend.Components, component)
		}
		together := mustMix(t, req)
		if together.Verdict == NotRunnable {
			require.False(t, together.Proven.Set)
			continue
		}
		req.Blend.Rounding = Each
		each := mustMix(t, req)
		require.False(t, each.Proven.Set)
		require.True(t, together.Proven.Value)
		require.LessOrEqual(t, together.Largest.Value, each.Largest.Value)
		want, _ := leastError(req, each).Float64()
		require.InDelta(t, want*100, together.Largest.Value, 1e-9, "%+v", req.Blend)
		for k := range together.Portions {
			p, by := &together.Portions[k], &each.Portions[k]
			require.Equal(t, p.NearestCount.Set, p.Count != by.Count)
			if p.NearestCount.Set {
				require.Equal(t, by.Count, p.NearestCount)
				changed++
			}
		}
	}
	require.Greater(t, changed, 50)
}

// leastError searches all combinations of the counts next to what is asked for the
// least largest error, where the total lies within the largest step of each's.
func leastError(req *BlendRequest, each *Composition) *big.Rat {
	b, n := req.Blend, len(req.Blend.Components)
	decimal := func(v float64) *big.Rat {
		out, _ := new(big.Rat).SetString(fmt.Sprint(v))
		return out
	}
	share, step := make([]*big.Rat, n), make([]*big.Rat, n)
	choices := make([][]*big.Rat, n)
	rest, eachTotal, widest := big.NewRat(1, 1), new(big.Rat), new(big.Rat)
	for k := range n {
		share[k] = new(big.Rat).Quo(decimal(b.Components[k].SharePercent), big.NewRat(100, 1))
		if b.Components[k].Balance {
			share[k] = rest
		}
		rest = new(big.Rat).Sub(rest, share[k])
		d := &req.Drives[k]
		perCount := new(big.Rat).Quo(big.NewRat(1000, 1), big.NewRat(int64(d.Register.Span[1].Count.Value), 1))
		step[k] = perCount.Mul(perCount, new(big.Rat).Quo(decimal(d.Delivery.MassPerTurn.Value), big.NewRat(1000, 1))) // kg/min a count
		exact := new(big.Rat).Quo(new(big.Rat).Mul(decimal(b.Total.Value), share[k]), step[k])
		low := new(big.Int).Quo(exact.Num(), exact.Denom())
		for c := range int64(2) {
			count := new(big.Int).Add(low, big.NewInt(c))
			amount := new(big.Rat).Mul(new(big.Rat).SetInt(count), step[k])
			if count.Sign() > 0 && (c == 0 || !exact.IsInt()) {
				choices[k] = append(choices[k], amount)
			}
			if count.Int64() == int64(each.Portions[k].Count.Value) {
				eachTotal.Add(eachTotal, amount)
			}
		}
		if len(choices[k]) == 2 && step[k].Cmp(widest) > 0 {
			widest = step[k]
		}
	}
	var best *big.Rat
	var try func(k int, amounts []*big.Rat, total *big.Rat)
	try = func(k int, amounts []*big.Rat, total *big.Rat) {
		if k < n {
			for _, a := range choices[k] {
				try(k+1, append(amounts[:k:k], a), new(big.Rat).Add(total, a))
			}
			return
		}
		if off := new(big.Rat).Sub(total, eachTotal); off.Abs(off).Cmp(widest) > 0 {
			return
		}
		worst := new(big.Rat)
		for i, a := range amounts {
			off := new(big.Rat).Sub(new(big.Rat).Quo(a, total), share[i])
			if off.Abs(off); b.Objective == ratio.Relative {
				off.Quo(off, share[i])
			}
			if off.Cmp(worst) > 0 {
				worst = off
			}
		}
		if best == nil || worst.Cmp(best) < 0 {
			best = worst
		}
	}
	try(0, nil, new(big.Rat))
	return best
}

// A count beyond a limit of the drive is no choice.
func TestJointStaysWithinLimits(t *testing.T) {
	// 10 g a turn and a count for each r/min: 100.4 and 899.6 r/min are asked. 100 and
	// 900 give 10 % of a share of 10.04 %, 100 and 899 give 10.01 %.
	blend := Blend{Basis: Mass, Total: q(10, "kg/min"), Rounding: Joint,
		Components: []Component{{DriveID: "a", SharePercent: 10.04}, {DriveID: "b", Balance: true}}}
	drives := []scaling.Drive{doser("a", 10, 1), doser("b", 10, 1)}
	out := mustMix(t, &BlendRequest{Drives: drives, Blend: &blend})
	require.Equal(t, []int32{100, 899}, []int32{out.Portions[0].Count.Value, out.Portions[1].Count.Value})
	require.Equal(t, scaling.Some[int32](900), out.Portions[1].NearestCount)
	require.Equal(t, scaling.CountChosenTogether, out.Checks[0].Code)
	require.Equal(t, "blend.components[1]", out.Checks[0].Field)

	drives[1].Motor.MinRPM = 899.5
	out = mustMix(t, &BlendRequest{Drives: drives, Blend: &blend})
	require.Equal(t, []int32{100, 900}, []int32{out.Portions[0].Count.Value, out.Portions[1].Count.Value})
	require.True(t, out.Proven.Value)

	// Nor is one that its component does not tolerate: 899 is 0.067 % below 899.6.
	drives[1].Motor.MinRPM = 0
	blend.Components[1].Tolerance = scaling.Some(scaling.Tolerance{MinusPercent: 0.06, PlusPercent: 1})
	out = mustMix(t, &BlendRequest{Drives: drives, Blend: &blend})
	require.Equal(t, int32(900), out.Portions[1].Count.Value)
	blend.Components[1].Tolerance.Value.MinusPercent = 0.07
	out = mustMix(t, &BlendRequest{Drives: drives, Blend: &blend})
	require.Equal(t, int32(899), out.Portions[1].Count.Value)
	require.Equal(t, scaling.Some(true), out.Portions[1].WithinTolerance)
	blend.Components[1].Tolerance.Set = false

	// A nearest count that lies just past a limit is one all the same, with its check.
	drives[1].Motor = scaling.Motor{MaxRPM: 899.8}
	out = mustMix(t, &BlendRequest{Drives: drives, Blend: &blend})
	require.Equal(t, int32(899), out.Portions[1].Count.Value)
	require.Len(t, out.Checks, 1)
	drives[1].Motor = scaling.Motor{MinRPM: 899.5, MaxRPM: 899.8}
	out = mustMix(t, &BlendRequest{Drives: drives, Blend: &blend})
	require.Equal(t, int32(900), out.Portions[1].Count.Value)
	require.Equal(t, scaling.CountPastMotorLimit, out.Checks[0].Code)
}

// Followers take their shares of what the leader's count gives, wherever the
// leader's own demand stands.
func TestBlendFollowsItsLeader(t *testing.T) {
	blend := Blend{ID: "mix", Basis: Mass, LeaderID: "a", LeaderRate: q(1.004, "kg/min"),
		Components: []Component{{DriveID: "b", SharePercent: 60}, {DriveID: "a", SharePercent: 10}, {DriveID: "c", Balance: true}}}
	drives := []scaling.Drive{doser("a", 10, 1), doser("b", 10, 1), doser("c", 10, 1)}
	out := mustMix(t, &BlendRequest{Drives: drives, Blend: &blend, Working: true})
	require.Equal(t, "a", out.LeaderID)
	require.Equal(t, q(1.004, "kg/min"), out.Portions[1].Demanded)
	require.Equal(t, []int32{600, 100, 300}, []int32{out.Portions[0].Count.Value, out.Portions[1].Count.Value, out.Portions[2].Count.Value})
	require.InDelta(t, 0, out.Largest.Value, 1e-12)
	require.InDelta(t, 600, out.Portions[0].RatioToLeaderPercent.Value, 1e-9)

	blend.LeaderRate.Unit = nil
	req := &Request{Line: &Line{Drives: append(drives, doser("d", 10, 1))}, Product: &Product{Blends: []Blend{blend},
		Demands: []Demand{{DriveID: "a", Kind: Ratio, LeaderID: "d", Percent: 50, Basis: MotorSpeed}, rate("d", 2.008, "kg/min")}}}
	plan := mustPlan(t, req)
	order := make([]string, 4)
	for i := range plan.Setpoints {
		order[i] = plan.Setpoints[i].Drive.ID
	}
	require.Equal(t, []string{"d", "a", "b", "c"}, order)
	require.Equal(t, int32(201), plan.of("d").Count.Value)
	require.Equal(t, int32(101), plan.of("a").Count.Value) // half of 201 is 100.5
	require.Equal(t, int32(606), plan.of("b").Count.Value)
	require.Equal(t, int32(303), plan.of("c").Count.Value)
	require.Equal(t, Known("leader-total/1"), true)
	require.Contains(t, Formulas(req, &plan), "leader-total/1")
}

// The formulas of every step give its result, and a plan names each of them.
func TestBlendWorking(t *testing.T) {
	materials := []scaling.Material{
		{ID: "wet", BulkDensity: q(1.35, "kg/L"), Moisture: scaling.Moisture{Percent: 18, Basis: scaling.WetBasis}},
		{ID: "damp", BulkDensity: q(1.2, "kg/L"), Moisture: scaling.Moisture{Percent: 2, Basis: scaling.DryBasis}},
		{ID: "dry", BulkDensity: q(1.6, "kg/L")},
	}
	screw := func(id string, litres float64) scaling.Drive {
		d := drive(id, scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(litres, "L/r")})
		d.Register = counts(1000, q(2000, "r/min"))
		return d
	}
	blend := Blend{ID: "body", Basis: Mass, TotalBasis: Dry, Total: q(1200, "kg/h"), Rounding: Joint, Objective: ratio.Relative, Components: []Component{
		{DriveID: "clay", MaterialID: "wet", SharePercent: 75.3}, {DriveID: "grog", MaterialID: "damp", SharePercent: 17.1}, {DriveID: "oxide", MaterialID: "dry", Balance: true}}}
	drives := []scaling.Drive{screw("clay", 0.05), screw("grog", 0.013), screw("oxide", 0.00333)}
	leader := blend
	leader.Total.Unit, leader.LeaderID, leader.LeaderRate = nil, "clay", q(1100, "kg/h")
	for _, b := range []Blend{blend, leader} {
		out := mustMix(t, &BlendRequest{Drives: drives, Materials: materials, Blend: &b, Working: true})
		steps := out.Working
		plan := mustPlan(t, &Request{Line: &Line{Drives: drives}, Product: &Product{Materials: materials, Blends: []Blend{b}}, Working: true})
		named := Formulas(&Request{Line: &Line{Drives: drives}, Product: &Product{Materials: materials, Blends: []Blend{b}}}, &plan)
		for k := range out.Portions {
			require.Equal(t, plan.of(out.Portions[k].Drive.ID).Setpoint.Count, out.Portions[k].Count)
			steps = append(steps, out.Portions[k].Working...)
			for _, step := range out.Portions[k].Working {
				require.Contains(t, named, step.ID)
			}
		}
		require.Greater(t, len(steps), 20)
		for _, step := range steps {
			got, want, err := formulatest.Evaluate(step)
			require.NoError(t, err)
			require.InEpsilon(t, want+1, got+1, 1e-12, "%+v", step)
		}
	}
}

func TestBlendEndsWhenStopped(t *testing.T) {
	blend := Blend{Basis: Mass, Total: q(10, "kg/min"), Components: []Component{{DriveID: "a", SharePercent: 100}}}
	_, faults, ok := Mix(&BlendRequest{Drives: []scaling.Drive{doser("a", 10, 1)}, Blend: &blend}, nil, func() bool { return true })
	require.Empty(t, faults)
	require.False(t, ok)
	_, faults, _ = Mix(&BlendRequest{Blend: &blend}, fault.List{{Path: "x"}}, nil)
	require.Len(t, faults, 2, "what was found before comes first")
	require.Equal(t, "x", faults[0].Path)
}

// BenchmarkMix finds a blend with its counts chosen together, and each by itself.
func BenchmarkMix(b *testing.B) {
	for _, n := range []int{3, 12, 20} {
		for _, rounding := range []Rounding{Each, Joint} {
			b.Run(fmt.Sprint(n, "/", []string{"", "each", "joint"}[rounding]), func(b *testing.B) {
				r := rand.New(rand.NewPCG(9, uint64(n)))
				req := &BlendRequest{Blend: &Blend{Basis: Mass, Total: q(1000, "kg/min"), Rounding: rounding, Objective: ratio.Relative}}
				for k := range n {
					id := fmt.Sprint("feeder-", k)
					req.Drives = append(req.Drives, doser(id, 30+300*r.Float64(), 0.1+r.Float64()))
					component := Component{DriveID: id, SharePercent: (0.2 + r.Float64()) / float64(n) * 80}
					if k == n-1 {
						component = Component{DriveID: id, Balance: true}
					}
					req.Blend.Components = append(req.Blend.Components, component)
				}
				b.ReportAllocs()
				for b.Loop() {
					if out, faults, _ := Mix(req, nil, nil); len(faults) > 0 || !out.Largest.Set {
						b.Fatal(faults, out.Checks)
					}
				}
			})
		}
	}
}
