package ratio_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/core/fault"
	. "linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

func feeder(id string, gramsPerTurn float64) scaling.Drive {
	return scaling.Drive{ID: id, Motor: scaling.Motor{MaxRPM: 1500}, Delivery: scaling.Delivery{Kind: scaling.Feeder, MassPerTurn: q(gramsPerTurn, "g/r")}}
}

// Worked by hand. A belt of 0.1 m/r (diameter 0.1/pi is not short, so a sprocket of
// 10 teeth of 10 mm) from standstill to 600 r/min: its setting means zero to its
// 1500 r/min and may not be below 10 s, so this change takes 10 * 600/1500 = 4 s.
// A feeder from standstill to 300 r/min at no more than 50 r/min/s takes 6 s, and
// sets the common ramp. The belt is set to 6 * 1500/600 = 15 s, the feeder, whose
// setting means this change, to 6 s.
func TestCommonRampByHand(t *testing.T) {
	belt := scaling.Drive{ID: "belt", Motor: scaling.Motor{MaxRPM: 1500}, Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(10, "mm")}}
	set := Ramps{Drives: []scaling.Drive{belt, feeder("clay", 20)}, TolerancePercent: 2, Ramps: []Ramp{
		{DriveID: "belt", To: q(60, "m/min"), Meaning: ZeroToMax, FastestTime: q(10, "s")},
		{DriveID: "clay", To: q(6, "kg/min"), Meaning: ThisChange, Acceleration: q(50, "r/min/s")},
	}}
	requireSound(t, set.Validate)
	out := set.Find()
	require.Empty(t, out.Checks)
	require.Equal(t, "clay", out.SlowestID)
	require.InDelta(t, 6, out.CommonTime.Value, 1e-12)
	require.InDelta(t, 4, out.Ramps[0].FastestTime.Value, 1e-12)
	require.InDelta(t, 15, out.Ramps[0].Setting.Value, 1e-12)
	require.InDelta(t, 100, out.Ramps[0].Acceleration.Value, 1e-12)
	require.InDelta(t, 6, out.Ramps[1].Setting.Value, 1e-12)
	require.InDelta(t, 3, out.Ramps[0].Amount.Value, 1e-12, "60 m/min over half of 0.1 min")
	require.InDelta(t, 0.3, out.Ramps[1].Amount.Value, 1e-12)
	// On the common ramp both rise from nothing in proportion.
	require.Zero(t, out.Common.Time.Value)
	require.InDelta(t, 0, out.Ramps[1].Common.Excess.Value, 1e-12)
	// Alone the belt is at speed after 4 s, the feeder after 6 s. Over the first 4 s the
	// feeder is at 4/6 of its ratio; it comes within 2 % at 0.98 * 6 s = 5.88 s.
	// The belt runs 60 * (4/60)/2 + 60 * 1.88/60 = 3.88 m meanwhile.
	require.InDelta(t, 5.88, out.Alone.Time.Value, 1e-9)
	require.InDelta(t, 3.88, out.Alone.Amount.Value, 1e-9)
	// 0.1 kg/m: belt 2 + 2 m, feeder 0.3 kg.
	require.InDelta(t, 0.3-0.4, out.Ramps[1].Alone.Excess.Value, 1e-12)
	require.InDelta(t, 6*0.98*0.98*6/60/2, out.Ramps[1].Alone.Amount.Value, 1e-9)
}

// A setting that means this change has the common time go in its own steps; every
// setting goes to its nearest step, and a step further where the drive would be too
// fast. Worked by hand: b may take 6 s in steps of 0.7 s, so 9 steps, 6.3 s; a then
// 6.3 s * 1500/700 = 13.5 s.
func TestRampSettingInSteps(t *testing.T) {
	set := Ramps{Drives: []scaling.Drive{feeder("a", 10), feeder("b", 10)}, TolerancePercent: 1, Ramps: []Ramp{
		{DriveID: "a", To: q(700, "r/min"), Meaning: ZeroToMax, FastestTime: q(1, "s"), TimeStep: q(0.4, "s")},
		{DriveID: "b", To: q(300, "r/min"), Meaning: ThisChange, FastestTime: q(6, "s"), TimeStep: q(0.7, "s")},
	}}
	find := func() RampSet {
		requireSound(t, set.Validate)
		out := set.Find()
		requireAddsUp(t, set.Working(&out))
		return out
	}
	out := find()
	require.InDelta(t, 6, out.LeastTime.Value, 1e-12)
	require.Equal(t, 6.3, out.CommonTime.Value)
	require.Equal(t, 13.6, out.Ramps[0].Setting.Value, "the step next to 13.5 s")
	require.InDelta(t, 13.6*700/1500, out.Ramps[0].Time.Value, 1e-12)
	require.Equal(t, 6.3, out.Ramps[1].Setting.Value)
	require.InDelta(t, 6.3, out.Ramps[1].Time.Value, 1e-12)
	set.Ramps[0].RampMaxRPM = some(1450.0) // 6.3 * 1450/700 = 13.05
	require.Equal(t, 13.2, find().Ramps[0].Setting.Value)
	set.Time = q(6.4, "s") // 9.14 steps
	require.Equal(t, 6.3, find().Ramps[1].Setting.Value)
	set.Time = q(6, "s") // 8.57 steps
	require.Equal(t, 6.3, find().Ramps[1].Setting.Value)
	set.Ramps[1].FastestTime, set.Time = q(5.8, "s"), q(5.8, "s") // 8.29 steps: 8 would be 5.6 s, too fast
	require.Equal(t, 6.3, find().Ramps[1].Setting.Value)
}

// Of two drives whose setting means this change the coarser one sets the steps of
// the common time: 6 s in steps of 0.25 s and of 0.8 s is 6.4 s, and 6.5 s for the other.
func TestCommonTimeInTheCoarsestSteps(t *testing.T) {
	ramp := func(id string, fastest, step float64) Ramp {
		return Ramp{DriveID: id, To: q(300, "r/min"), Meaning: ThisChange, FastestTime: q(fastest, "s"), TimeStep: q(step, "s")}
	}
	set := Ramps{Drives: []scaling.Drive{feeder("a", 10), feeder("b", 10)}, TolerancePercent: 1, Ramps: []Ramp{ramp("a", 6, 0.25), ramp("b", 1, 0.8)}}
	for range 2 {
		out := set.Find()
		require.Equal(t, 6.4, out.CommonTime.Value)
		set.Ramps[0], set.Ramps[1] = set.Ramps[1], set.Ramps[0]
	}
	require.Equal(t, 6.5, set.Find().Ramps[0].Setting.Value)
}

// What the description of a drive leaves open is told once, of the speed after the change.
func TestRampTellsOnce(t *testing.T) {
	d := feeder("a", 10)
	d.Transmission = []scaling.Stage{{Kind: scaling.Gearbox, Ratio: 10}}
	set := Ramps{Drives: []scaling.Drive{d}, TolerancePercent: 1, Ramps: []Ramp{
		{DriveID: "a", From: q(300, "r/min"), To: q(600, "r/min"), Meaning: ThisChange, FastestTime: q(1, "s")}}}
	out := set.Find()
	require.Equal(t, []scaling.Code{scaling.GearboxRatioNominal}, codes(out.Checks))
	require.Equal(t, "ramps[0].to", out.Checks[0].Field)
	set.Ramps[0].To = units.Quantity{}
	require.Equal(t, "ramps[0].from", set.Find().Checks[0].Field, "of a drive that stops")
}

// plant is a second telling of what drives with ramp generators do, in small steps
// of time: each moves its speed towards its target by its own slope.
type plant struct {
	slope, speed, target []float64 // r/min per s, r/min
	perTurn, leak        []float64 // delivered
}

func (p *plant) step(dt float64) {
	for i := range p.speed {
		left := p.target[i] - p.speed[i]
		move := min(p.slope[i]*dt, math.Abs(left))
		p.speed[i] += math.Copysign(move, left)
	}
}

func (p *plant) rate(i int) float64 { return max(p.perTurn[i]*p.speed[i]-p.leak[i], 0) }

func (p *plant) moving() bool {
	for i := range p.speed {
		if p.speed[i] != p.target[i] {
			return true
		}
	}
	return false
}

// Random sets of drives, with pumps that leak among them, against the plant: times
// of arrival, amounts, time and amount off ratio, excess.
func TestRampsAgainstTimeSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for n := range 60 {
		set, leak := randomRamps(rng)
		requireSound(t, set.Validate)
		out := set.Find()
		require.NotNil(t, out.CommonTime.Unit, "%v", out.Checks)
		for _, common := range []bool{false, true} {
			compareWithPlant(t, fmt.Sprint(n, common), &set, &out, leak, common)
		}
		requireAddsUp(t, set.Working(&out))
	}
}

func randomRamps(rng *rand.Rand) (set Ramps, leak []float64) {
	set.TolerancePercent = float64(1+rng.IntN(50)) / 10
	kind := rng.IntN(3) // start, stop, change
	for i := range 2 + rng.IntN(4) {
		d := scaling.Drive{ID: fmt.Sprint("drive", i), Motor: scaling.Motor{MaxRPM: float64(1000 + rng.IntN(1000))},
			Delivery: scaling.Delivery{Kind: scaling.Pump, Displacement: q(float64(1+rng.IntN(20)), "mL/r")}}
		leaks := 0.0
		if rng.IntN(3) == 0 {
			leaks = float64(rng.IntN(100)) // mL/min
			d.Delivery.SlipFlow = q(leaks, "mL/min")
		}
		ramp := Ramp{DriveID: d.ID, Meaning: Meaning(1 + rng.IntN(2))}
		speed := func() units.Quantity { return q(float64(200+rng.IntN(800)), "r/min") }
		if kind != 0 {
			ramp.From = speed()
		}
		if kind != 1 {
			ramp.To = speed()
		}
		if rng.IntN(2) == 0 {
			ramp.Acceleration = q(float64(20+rng.IntN(400)), "r/min/s")
		} else {
			ramp.FastestTime = q(float64(10+rng.IntN(100))/10, "s")
		}
		if rng.IntN(2) == 0 {
			ramp.TimeStep = q(0.1, "s")
		}
		set.Drives, set.Ramps, leak = append(set.Drives, d), append(set.Ramps, ramp), append(leak, leaks)
	}
	return set, leak
}

func compareWithPlant(t *testing.T, name string, set *Ramps, out *RampSet, leak []float64, common bool) {
	t.Helper()
	const dt = 1e-3 // s
	n := len(set.Ramps)
	var p plant
	for i := range set.Ramps {
		ramp, d := &set.Ramps[i], &set.Drives[i]
		// The slope is what the device makes of its setting.
		maximum := d.Motor.MaxRPM
		change := math.Abs(ramp.To.Value - ramp.From.Value)
		slope := 0.0
		switch {
		case change == 0:
		case common && ramp.Meaning == ZeroToMax:
			slope = maximum / out.Ramps[i].Setting.Value
		case common:
			slope = change / out.Ramps[i].Setting.Value
		case ramp.Acceleration.Unit != nil:
			slope = ramp.Acceleration.Value
		case ramp.Meaning == ZeroToMax:
			slope = maximum / ramp.FastestTime.Value
		default:
			slope = change / ramp.FastestTime.Value
		}
		p.slope, p.speed, p.target = append(p.slope, slope), append(p.speed, ramp.From.Value), append(p.target, ramp.To.Value)
		p.perTurn, p.leak = append(p.perTurn, d.Delivery.Displacement.Value), append(p.leak, leak[i])
	}
	ratios := func(rates []float64) []float64 {
		r := make([]float64, n)
		for i := range r {
			r[i] = rates[i] / rates[0]
		}
		return r
	}
	rates := func() []float64 {
		r := make([]float64, n)
		for i := range r {
			r[i] = p.rate(i)
		}
		return r
	}
	before := ratios(rates())
	final := p
	final.speed = p.target
	after := make([]float64, n)
	for i := range after {
		after[i] = final.rate(i)
	}
	after = ratios(after)
	arrived, amount, offTime, offAmount := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	anyTime, anyAmount, steps := 0.0, 0.0, 0
	holds := func(now []float64, i int, ratio []float64) bool {
		r := ratio[i]
		if math.IsNaN(r) || math.IsInf(r, 0) {
			return false
		}
		tol := set.TolerancePercent / 100
		return now[i] >= (1-tol)*r*now[0] && now[i] <= (1+tol)*r*now[0]
	}
	for ; p.moving(); steps++ {
		require.Less(t, steps, 1_000_000)
		old := rates()
		p.step(dt)
		now := rates()
		any := false
		for i := range now {
			now[i] = (now[i] + old[i]) / 2 // in the middle of the step
			amount[i] += now[i] * dt / 60
			if p.speed[i] != p.target[i] {
				arrived[i] = float64(steps+1) * dt
			}
		}
		for i := 1; i < n; i++ {
			if !holds(now, i, before) && !holds(now, i, after) {
				any = true
				offTime[i] += dt
				offAmount[i] += now[i] * dt / 60
			}
		}
		if any {
			anyTime += dt
			anyAmount += now[0] * dt / 60
		}
	}
	whole := out.Alone
	if common {
		whole = out.Common
	}
	fast := 0.0 // the greatest rate, mL per step
	for i := range p.target {
		fast = max(fast, p.perTurn[i]*1000*dt/60)
	}
	close := 20 * dt // several crossings, each to a step
	require.InDelta(t, anyTime, whole.Time.Value, close, name)
	require.InDelta(t, anyAmount, whole.Amount.Value*1000, 20*fast, name)
	for i := range set.Ramps {
		o := out.Ramps[i]
		got, took := o.Alone, o.FastestTime
		if common {
			got, took = o.Common, o.Time
		}
		require.InDelta(t, arrived[i], took.Value, 2*dt, name)
		if common {
			require.InDelta(t, amount[i], o.Amount.Value*1000, 5*fast, name)
		}
		if i == 0 {
			continue
		}
		require.InDelta(t, offTime[i], got.Time.Value, close, "%s drive %d", name, i)
		require.InDelta(t, offAmount[i], got.Amount.Value*1000, 20*fast, "%s drive %d", name, i)
		ratio := after[i]
		if math.IsNaN(ratio) || math.IsInf(ratio, 0) {
			ratio = before[i]
		}
		if math.IsNaN(ratio) || math.IsInf(ratio, 0) {
			require.Nil(t, got.Excess.Unit)
			continue
		}
		require.InDelta(t, amount[i]-ratio*amount[0], got.Excess.Value*1000, 5*fast*(1+ratio), name)
	}
}

// With one ratio before and after, a common ramp keeps it all the way: nothing is
// off ratio, where each drive by itself makes waste.
func TestCommonRampKeepsTheRatio(t *testing.T) {
	set := Ramps{Drives: []scaling.Drive{feeder("a", 20), feeder("b", 7), feeder("c", 3)}, TolerancePercent: 0.1, Ramps: []Ramp{
		{DriveID: "a", From: q(300, "kg/h"), To: q(900, "kg/h"), Meaning: ZeroToMax, FastestTime: q(8, "s")},
		{DriveID: "b", From: q(50, "kg/h"), To: q(150, "kg/h"), Meaning: ZeroToMax, FastestTime: q(3, "s")},
		{DriveID: "c", From: q(4, "kg/h"), To: q(12, "kg/h"), Meaning: ThisChange, FastestTime: q(1, "s")},
	}}
	out := set.Find()
	require.Zero(t, out.Common.Time.Value)
	require.Zero(t, out.Common.Amount.Value)
	require.Greater(t, out.Alone.Time.Value, 1.0)
	require.Equal(t, "a", out.SlowestID)
}

// Feeders over a belt, with the belt's places followed in small steps of time: what
// lies on every place that passes the last feeder after the start has been under
// each feeder while it ran.
func TestStaggeredStartAgainstTimeSteps(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for range 30 {
		belt := scaling.Drive{ID: "belt", Motor: scaling.Motor{MaxRPM: 3000}, Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(10, "mm")}}
		set := Ramps{Drives: []scaling.Drive{belt}, TolerancePercent: 1, Stagger: &Stagger{BeltID: "belt"},
			Ramps: []Ramp{{DriveID: "belt", Meaning: ThisChange, FastestTime: q(float64(1+rng.IntN(20)), "s")}}}
		from, to := float64(rng.IntN(3))*15, float64(rng.IntN(3))*20 // m/min
		if from == 0 && to == 0 {
			to = 12
		}
		if from > 0 {
			set.Ramps[0].From = q(from, "m/min")
		}
		if to > 0 {
			set.Ramps[0].To = q(to, "m/min")
		}
		for i := range 2 + rng.IntN(3) {
			d := feeder(fmt.Sprint("feeder", i), 10)
			set.Drives = append(set.Drives, d)
			set.Ramps = append(set.Ramps, Ramp{DriveID: d.ID, To: q(20, "kg/h"), Meaning: ThisChange, FastestTime: q(1, "s")})
			set.Stagger.Feeders = append(set.Stagger.Feeders, StaggeredFeeder{DriveID: d.ID, Distance: q(float64(rng.IntN(400))/100, "m")})
		}
		requireSound(t, set.Validate)
		out := set.Find()
		requireAddsUp(t, set.Working(&out))
		farthest := 0.0
		for _, f := range set.Stagger.Feeders {
			farthest = max(farthest, f.Distance.Value)
		}
		const dt = 5e-4
		ramp := out.CommonTime.Value
		place, passed := 0.0, map[string]float64{} // the place below the first feeder at time 0
		for k := 0; k < 400_000 && len(passed) < len(set.Stagger.Feeders); k++ {
			now := float64(k) * dt
			for _, f := range set.Stagger.Feeders {
				if _, ok := passed[f.DriveID]; !ok && place >= farthest-f.Distance.Value-1e-9 {
					passed[f.DriveID] = now
				}
			}
			speed := to
			if from != to && now < ramp {
				speed = from + (to-from)*(now+dt/2)/ramp
			}
			if speed <= 0 {
				break
			}
			place += speed / 60 * dt
		}
		for i, start := range out.Starts {
			want, arrives := passed[start.DriveID]
			if !arrives && start.Delay.Unit != nil {
				require.InDelta(t, place, start.Travel.Value, 1e-5, "only at the very end")
				continue
			}
			require.Equal(t, arrives, start.Delay.Unit != nil, "%+v", set)
			if arrives {
				require.InDelta(t, want, start.Delay.Value, 0.02, "%v", start)
			}
			if i > 0 {
				require.GreaterOrEqual(t, start.Travel.Value, out.Starts[i-1].Travel.Value, "in the order of their starts")
			}
		}
		require.Zero(t, out.Starts[0].Delay.Value)
	}
}

// Worked by hand: a belt at 12 m/min, feeders 3 m, 1 m and 2.4 m before the mixer:
// the first starts 2 m / 0.2 m/s = 10 s before the second and 3 s before the third.
func TestStaggeredStartByHand(t *testing.T) {
	belt := scaling.Drive{ID: "belt", Motor: scaling.Motor{MaxRPM: 3000}, Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(10, "mm")}}
	set := Ramps{Drives: []scaling.Drive{belt, feeder("clay", 20), feeder("grog", 7), feeder("oxide", 3)}, TolerancePercent: 1,
		Ramps:   []Ramp{{DriveID: "belt", From: q(12, "m/min"), To: q(12, "m/min"), Meaning: ThisChange, FastestTime: q(1, "s")}},
		Stagger: &Stagger{BeltID: "belt", Feeders: []StaggeredFeeder{{"clay", q(3, "m")}, {"grog", q(1, "m")}, {"oxide", q(2.4, "m")}}}}
	for _, id := range []string{"clay", "grog", "oxide"} {
		set.Ramps = append(set.Ramps, Ramp{DriveID: id, To: q(20, "kg/h"), Meaning: ThisChange, FastestTime: q(1, "s")})
	}
	requireSound(t, set.Validate)
	out := set.Find()
	require.Len(t, out.Starts, 3)
	for i, want := range []struct {
		id    string
		delay float64
	}{{"clay", 0}, {"oxide", 3}, {"grog", 10}} {
		require.Equal(t, want.id, out.Starts[i].DriveID)
		require.InDelta(t, want.delay, out.Starts[i].Delay.Value, 1e-12)
	}
	require.InDelta(t, 2, out.PartialBelt.Value, 1e-12)
	require.Empty(t, out.Checks)
	require.Nil(t, out.Ramps[0].Setting.Unit, "the belt keeps its speed")
	// A belt that stops within 2 s has 0.2 m to go: the others never get there.
	set.Ramps[0].To, set.Time = units.Quantity{}, q(2, "s")
	out = set.Find()
	require.Equal(t, []scaling.Code{scaling.BeltStopsBefore, scaling.BeltStopsBefore, scaling.BeltChangesToo}, codes(out.Checks))
}

func TestRampsThatCannotBe(t *testing.T) {
	set := Ramps{Drives: []scaling.Drive{feeder("a", 20), feeder("b", 7)}, TolerancePercent: 1, Time: q(0.05, "min"), Ramps: []Ramp{
		{DriveID: "a", To: q(900, "r/min"), Meaning: ZeroToMax, FastestTime: q(10, "s")},
		{DriveID: "b", To: q(900, "r/min"), Meaning: ThisChange, FastestTime: q(1, "s")},
	}}
	requireSound(t, set.Validate)
	out := set.Find()
	require.Equal(t, []scaling.Code{scaling.RampTooFast}, codes(out.Checks))
	require.InDelta(t, 0.1, out.Checks[0].Limit.Value, 1e-12)
	require.Nil(t, out.CommonTime.Unit)
	set.Time = q(12, "s")
	require.Equal(t, q(12, "s").Value, set.Find().CommonTime.Value)
	set.Ramps[0].To = q(2000, "r/min")
	out = set.Find()
	require.Equal(t, []scaling.Code{scaling.AboveHighestSpeed}, codes(out.Checks))
	require.Equal(t, "ramps[0].to", out.Checks[0].FitField)
	set.Drives[0].Register, set.Drives[1].Register = counted(1), counted(1)
	for i := range set.Ramps {
		set.Ramps[i].From, set.Ramps[i].To = q(99.9, "r/min"), q(100.1, "r/min")
	}
	require.Equal(t, []scaling.Code{scaling.NoSpeedChanges}, codes(set.Find().Checks))
}

// A drive that cannot run what is asked, beside one whose count is a tie that only
// exact numbers decide: 10.05 g/min over 0.1 g is 100.5 r/min.
func TestRampOutOfRangeBesideATie(t *testing.T) {
	set := Ramps{Drives: []scaling.Drive{feeder("a", 20), feeder("b", 0.1)}, TolerancePercent: 1, Ramps: []Ramp{
		{DriveID: "a", From: q(9000, "r/min"), To: q(100, "r/min"), Meaning: ThisChange, FastestTime: q(1, "s")},
		{DriveID: "b", To: q(10.05, "g/min"), Meaning: ThisChange, FastestTime: q(1, "s")},
	}}
	set.Drives[1].Register = counted(1)
	requireSound(t, set.Validate)
	out := set.Find()
	require.Equal(t, []scaling.Code{scaling.AboveHighestSpeed}, codes(out.Checks))
	require.False(t, out.Ramps[0].FromRPM.Set)
	require.Equal(t, 101.0, out.Ramps[1].ToRPM.Value)
}

func TestRampFaults(t *testing.T) {
	good := func() Ramps {
		belt := scaling.Drive{ID: "belt", Motor: scaling.Motor{MaxRPM: 3000}, Delivery: scaling.Delivery{Kind: scaling.Sprocket, Teeth: 10, Pitch: q(10, "mm")}}
		screw := scaling.Drive{ID: "screw", Motor: scaling.Motor{MaxRPM: 3000}, Delivery: scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(1, "L/r")}}
		return Ramps{Drives: []scaling.Drive{belt, feeder("a", 20), screw}, TolerancePercent: 1, Materials: []scaling.Material{{ID: "dry", BulkDensity: q(1, "kg/L")}},
			Ramps: []Ramp{
				{DriveID: "belt", From: q(12, "m/min"), To: q(12, "m/min"), Meaning: ThisChange, FastestTime: q(1, "s")},
				{DriveID: "a", From: q(10, "kg/h"), To: q(20, "kg/h"), Meaning: ZeroToMax, FastestTime: q(1, "s")},
				{DriveID: "screw", MaterialID: "dry", To: q(20, "kg/h"), Meaning: ZeroToMax, Acceleration: q(1, "r/min/s")},
			},
			Stagger: &Stagger{BeltID: "belt", Feeders: []StaggeredFeeder{{"a", q(3, "m")}, {"screw", q(0, "m")}}}}
	}
	g := good()
	requireSound(t, g.Validate)
	for _, c := range []struct {
		spoil func(*Ramps)
		want  string
	}{
		{func(r *Ramps) { r.Ramps[1].From = r.Ramps[1].To; r.Ramps[2].From = r.Ramps[2].To }, "ramps OUT_OF_RANGE"},
		{func(r *Ramps) { r.Ramps[1].FastestTime.Value = -1 }, "ramps[1].fastestTime.value OUT_OF_RANGE"},
		{func(r *Ramps) { r.Ramps[1].FastestTime = units.Quantity{} }, "ramps[1] REQUIRED"},
		{func(r *Ramps) { r.Ramps[1].FastestTime = q(1, "m") }, "ramps[1].fastestTime.unit UNIT_WRONG_DIMENSION"},
		{func(r *Ramps) { r.Ramps[2].Acceleration = q(1, "m/s2") }, "ramps[2].acceleration.unit UNIT_WRONG_DIMENSION"},
		{func(r *Ramps) { r.Ramps[1].From.Value = 0 }, "ramps[1].from OUT_OF_RANGE"},
		{func(r *Ramps) { r.Ramps[1].From.Value = -3 }, "ramps[1].from.value OUT_OF_RANGE"},
		{func(r *Ramps) { r.Ramps[1].To = q(3, "m/min") }, "ramps[1].to.unit UNIT_WRONG_DIMENSION"},
		{func(r *Ramps) { r.Ramps[2].MaterialID = "" }, "ramps[2].to REQUIRED"},
		{func(r *Ramps) { r.Ramps[2].MaterialID = "x" }, "ramps[2].materialId NOT_FOUND"},
		{func(r *Ramps) { r.Ramps[2].DriveID = "x" }, "ramps[2].driveId NOT_FOUND"},
		{func(r *Ramps) { r.Ramps[2].DriveID = "a" }, "ramps[2].driveId DUPLICATE"},
		{func(r *Ramps) { r.Ramps[1].Meaning = NoMeaning }, "ramps[1].meaning REQUIRED"},
		{func(r *Ramps) { r.Ramps[0].RampMaxRPM = some(1.0) }, "ramps[0].rampMaxRpm CONFLICT"},
		{func(r *Ramps) { r.Ramps[1].RampMaxRPM = some(0.0) }, "ramps[1].rampMaxRpm OUT_OF_RANGE"},
		{func(r *Ramps) { r.Ramps[1].TimeStep = q(-1, "s") }, "ramps[1].timeStep.value OUT_OF_RANGE"},
		{func(r *Ramps) { r.TolerancePercent = 0 }, "tolerancePercent REQUIRED"},
		{func(r *Ramps) { r.TolerancePercent = -1 }, "tolerancePercent OUT_OF_RANGE"},
		{func(r *Ramps) { r.TolerancePercent = math.NaN() }, "tolerancePercent OUT_OF_RANGE"},
		{func(r *Ramps) { r.LeaderID = "x" }, "leaderId NOT_FOUND"},
		{func(r *Ramps) { r.Time = q(0, "s") }, "time.value OUT_OF_RANGE"},
		{func(r *Ramps) { r.Materials = append(r.Materials, r.Materials[0]) }, "materials[1].id DUPLICATE"},
		{func(r *Ramps) { r.Stagger.BeltID = "x" }, "stagger.beltId NOT_FOUND"},
		{func(r *Ramps) { r.Stagger.BeltID = "a" }, "stagger.beltId CONFLICT"},
		{func(r *Ramps) { r.Ramps[0].From, r.Ramps[0].To = units.Quantity{}, units.Quantity{} }, "stagger.beltId CONFLICT"},
		{func(r *Ramps) { r.Stagger.Feeders = r.Stagger.Feeders[:1] }, "stagger.feeders OUT_OF_RANGE"},
		{func(r *Ramps) { r.Stagger.Feeders[1].DriveID = "a" }, "stagger.feeders[1].driveId DUPLICATE"},
		{func(r *Ramps) { r.Stagger.Feeders[1].DriveID = "belt" }, "stagger.feeders[1].driveId CONFLICT"},
		{func(r *Ramps) { r.Stagger.Feeders[1].DriveID = "x" }, "stagger.feeders[1].driveId NOT_FOUND"},
		{func(r *Ramps) { r.Stagger.Feeders[1].Distance = q(-1, "m") }, "stagger.feeders[1].distance.value OUT_OF_RANGE"},
		{func(r *Ramps) { r.Stagger.Feeders[1].Distance = units.Quantity{} }, "stagger.feeders[1].distance REQUIRED"},
	} {
		set := good()
		c.spoil(&set)
		var faults fault.List
		set.Validate(&faults)
		requireFault(t, c.want, faults)
	}
}

// Worked by hand: a screw of 0.5 L/r of a material of 1.2 kg/L goes from a stand to
// 900 kg/h, 25 r/min, in 4 s: half of 900 kg/h for 4 s is 0.5 kg.
func TestRampAmountInTheKindThatIsAsked(t *testing.T) {
	set := Ramps{Drives: []scaling.Drive{{ID: "screw", Motor: scaling.Motor{MaxRPM: 100}, Delivery: scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(0.5, "L/r")}}},
		Materials: []scaling.Material{{ID: "dust", BulkDensity: q(1.2, "kg/L")}}, TolerancePercent: 1,
		Ramps: []Ramp{{DriveID: "screw", MaterialID: "dust", To: q(900, "kg/h"), Meaning: ThisChange, FastestTime: q(4, "s")}}}
	requireSound(t, set.Validate)
	out := set.Find()
	require.InDelta(t, 25, out.Ramps[0].ToRPM.Value, 1e-12)
	require.InDelta(t, 0.5, out.Ramps[0].Amount.Value, 1e-12)
	require.Equal(t, "kg", out.Ramps[0].Amount.Unit.Symbol())
}
