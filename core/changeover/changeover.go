// Package changeover plans the change of a line to a product: every drive's
// setpoint in dependency order, the checks, and the verdict.
package changeover

import (
	"linepace.example/core/dwell"
	"linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// Line is the drives and sections that run one product at a time.
type Line struct {
	ID       string
	Drives   []scaling.Drive
	Sections []scaling.Section
}

// Product is what a product brings and what it asks of each drive.
type Product struct {
	ID        string
	Materials []scaling.Material
	Demands   []Demand
	Blends    []Blend
}

// Demand is what a product asks of one drive; Kind says which fields count.
type Demand struct {
	DriveID    string
	Kind       DemandKind
	Rate       units.Quantity // Rate
	SectionIDs []string       // Dwell, of a point in one section
	Time       units.Quantity // Dwell, of a point in one section
	Dwell      *dwell.Demand  // Dwell, any other; nil: SectionIDs and Time say it
	LeaderID   string         // Ratio, LengthPerPiece, Dose
	Percent    float64        // Ratio: follower as percent of leader
	Basis      RatioBasis     // Ratio
	Length     units.Quantity // LengthPerPiece
	Amount     units.Quantity // Dose
	Per        units.Quantity // Dose: for how much of the leader's
	Tolerance  scaling.Optional[scaling.Tolerance]
	MaterialID string
}

// DemandKind is a kind of demand.
type DemandKind uint8

// Kinds of demands.
const (
	NoDemand DemandKind = iota
	Rate
	Dwell
	Ratio
	LengthPerPiece
	Stopped
	LeaveAsIs
	Dose
)

// RatioBasis is what a ratio holds.
type RatioBasis uint8

// Ratio bases.
const (
	NoRatioBasis RatioBasis = iota
	ProcessRate
	MotorSpeed
)

// Blend is a set of components in fixed shares of a total, or of what one of them
// delivers.
type Blend struct {
	ID         string
	Basis      BlendBasis
	Total      units.Quantity // Unit nil: LeaderID is given
	TotalBasis TotalBasis
	LeaderID   string
	LeaderRate units.Quantity // Unit nil: the leader has a demand of its own
	Rounding   Rounding
	Objective  ratio.Objective
	Components []Component
}

// Rounding is how the counts of a blend are rounded.
type Rounding uint8

// Roundings. The zero value rounds each count by itself.
const (
	NoRounding Rounding = iota
	Each
	Joint
)

// BlendBasis is what shares count.
type BlendBasis uint8

// Blend bases.
const (
	NoBlendBasis BlendBasis = iota
	Mass
	Volume
)

// TotalBasis is whether a total counts moisture.
type TotalBasis uint8

// Total bases. The zero value counts the material as fed.
const (
	NoTotalBasis TotalBasis = iota
	AsFed
	Dry
)

// Component is one component of a blend: a share in percent, or the balance.
type Component struct {
	DriveID      string
	MaterialID   string
	SharePercent float64
	Balance      bool
	Tolerance    scaling.Optional[scaling.Tolerance]
}

// Request asks for a plan.
type Request struct {
	Line    *Line
	Product *Product
	Running *Product // nil: not told
	Working bool
	// Transitions are those to be found between the speeds of the two products.
	Transitions []Transition
}

// Plan is the answer to a changeover.
type Plan struct {
	Setpoints []Setpoint // leaders before their followers
	Checks    []scaling.Check
	Verdict   Verdict
	// Transitions are those of the request, in its order.
	Transitions []TransitionOutcome
}

// Setpoint is what one drive is to be given.
type Setpoint struct {
	scaling.Setpoint
	Drive   *scaling.Drive
	Leader  *scaling.Drive // that it follows; nil: none
	Action  Action
	Change  scaling.Optional[Change]
	Working []scaling.Step
}

// Action is what to do with a drive.
type Action uint8

// Actions.
const (
	NoAction Action = iota
	Run
	Stop
	Leave
)

// Change is the step from the running product.
type Change struct {
	FromCount          scaling.Optional[int32]
	FromMilliamps      scaling.Optional[float64]
	FromVolts          scaling.Optional[float64]
	FromRPM            float64
	SpeedChangePercent scaling.Optional[float64] // absent from a stand
}

// Verdict is whether the line may run the plan.
type Verdict uint8

// Verdicts.
const (
	NoVerdict Verdict = iota
	Runnable
	RunnableWithWarnings
	NotRunnable
)

// VerdictOf returns the verdict that checks give together.
func VerdictOf(checks []scaling.Check) Verdict {
	verdict := Runnable
	for i := range checks {
		switch checks[i].Code.Severity() {
		case scaling.Error:
			return NotRunnable
		case scaling.Warning:
			verdict = RunnableWithWarnings
		}
	}
	return verdict
}
