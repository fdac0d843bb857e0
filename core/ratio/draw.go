package ratio

import (
	"slices"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// DrawChain asks for the speeds of rolls that draw a material from one to the next.
// [DrawChain.Validate] checks one.
type DrawChain struct {
	Drives      []scaling.Drive
	LeaderID    string         // the roll that the line's speed is set at; empty: the first
	LeaderRate  units.Quantity // a surface speed, or a motor speed in r/min
	Rolls       []DrawRoll     // upstream first
	Tolerance   *scaling.Tolerance
	Disturbance *Disturbance
}

// DrawRoll is a roll of a chain. The first has no draw, every other one exactly one
// of the two, against the roll before it.
type DrawRoll struct {
	DriveID     string
	DrawPercent Optional[float64] // (v - v of the roll before) / v of the roll before * 100
	DrawRatio   Optional[float64] // v / v of the roll before
}

// Disturbance is a change of one roll's speed that nobody asked for.
type Disturbance struct {
	DriveID            string
	SpeedChangePercent float64
}

// Scheme is a way for rolls to follow each other.
type Scheme uint8

// Schemes. DIRECT: each roll follows the leader. CASCADED: each roll follows its
// neighbour on the leader's side. Either follows what the other's count really gives.
const (
	Direct Scheme = iota
	Cascaded
)

var schemeNames = [...]string{Direct: "direct", Cascaded: "cascaded"}

// String names the scheme.
func (s Scheme) String() string { return schemeNames[s] }

// Draws is the answer to a [DrawChain].
type Draws struct {
	Rolls  []DrawnRoll
	Totals [2]DrawTotal // by scheme
	Checks []scaling.Check
}

// DrawnRoll is what one roll is to do.
type DrawnRoll struct {
	Drive         *scaling.Drive
	WantedPercent Optional[float64] // draw from the roll before
	WantedRatio   Optional[float64] // v / v of the roll before
	LeaderRatio   float64           // v / v of the leader, wanted
	Follows       [2]Followed       // by scheme
	Ripple        Optional[Ripple]  // of the draw from the roll before, by chordal action
}

// Ripple is how far a ratio goes below and above its mean, percent of it.
type Ripple struct{ LowPercent, HighPercent float64 }

// Followed is what one scheme makes of one roll. What does not exist is absent.
type Followed struct {
	Setpoint scaling.Setpoint
	// The draw against the roll before.
	Percent, Ratio       Optional[float64] // achieved
	ErrorPercent         Optional[float64] // (achieved - wanted) / wanted * 100, of the ratio
	Rounding, Regulation Optional[Spread]
	WithinTolerance      Optional[bool]
	BandWithinTolerance  Optional[bool] // with the regulation
	// The same against the leader, where errors may add up.
	LeaderRatio, LeaderErrorPercent  Optional[float64]
	LeaderRounding, LeaderRegulation Optional[Spread]
	Disturbed                        Optional[Disturbed]
}

// Spread is how far a ratio of speeds may lie from where it should, in percent of
// it: the worst case either way, in which every roll errs to the worst side at
// once, and the root of the sum of the squares of the rolls' own limits, which
// independent errors seldom exceed.
type Spread struct{ LowPercent, HighPercent, RootSumSquarePercent float64 }

// Disturbed is what a disturbance does to a roll and to the draw before it.
type Disturbed struct {
	SpeedChangePercent float64
	DrawChangePercent  Optional[float64] // of the ratio to the roll before
	Percent            Optional[float64] // the draw from the roll before, then
	FirstChangePercent float64           // of the ratio to the first roll
}

// DrawTotal is the draw over the whole chain, the last roll against the first, and
// the largest error of a draw within it.
type DrawTotal struct {
	Percent, Ratio      Optional[float64]
	ErrorPercent        Optional[float64]
	LargestErrorPercent Optional[float64] // without its sign
}

// Find returns what each scheme does. The chain has been validated.
//
//	direct    speed = leader's achieved speed * product of the draw ratios between
//	cascaded  speed = neighbour's achieved speed * draw ratio, upstream of the leader / draw ratio
//
// Source: the draw of two rolls is that of their surface speeds, and draws in a
// row multiply. Formula: draw-speed/1.
func (d *DrawChain) Find() Draws {
	out := d.find()
	for i := range out.Checks {
		d.fit(&out.Checks[i])
	}
	return out
}

func (d *DrawChain) find() Draws {
	return scaling.Certain(func(c *exact.Calc) Draws {
		r := newDrawRun(c, d)
		r.follow()
		for i := range r.out.Rolls {
			for s := range schemeNames {
				r.judge(Scheme(s), i)
			}
		}
		r.total()
		r.ripple()
		return r.out
	})
}

// fit adds to a check that a roll is out of range a rate of the leader, of six
// digits, with which the whole chain would run, where there is one: that which takes
// this roll to its limit. It is tried out, since counts move with it.
func (d *DrawChain) fit(k *scaling.Check) {
	if !k.ExcessPercent.Set {
		return
	}
	part := 1 + k.ExcessPercent.Value/100
	if k.Code == scaling.BelowLowestSpeed {
		part = 1 - k.ExcessPercent.Value/100
	}
	for _, nudge := range [...]float64{1, 1 - 1e-5, 1 + 1e-5} {
		tried := *d
		tried.LeaderRate.Value = sixDigits(d.LeaderRate.Value / part * nudge)
		if found := tried.find(); tried.LeaderRate.Value > 0 && !outOfRange(found.Checks) {
			k.Fit, k.FitField = tried.LeaderRate, "leaderRate"
			return
		}
	}
}

func outOfRange(checks []scaling.Check) bool {
	return slices.ContainsFunc(checks, func(k scaling.Check) bool { return k.Code.Severity() == scaling.Error })
}

// sixDigits rounds v to the decimal of six significant digits.
func sixDigits(v float64) float64 {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 5, 64), 64)
	return rounded
}
