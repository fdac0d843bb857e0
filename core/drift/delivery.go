package drift

import (
	"math"

	"linepace.example/core/statistics"
)

// Model is what a drive delivered when it was commissioned:
//
//	amount = PerTurn turns - SlipFlow minutes
//
// The amount may be a volume, a mass or a length, in any unit that all of a
// calculation shares.
type Model struct {
	PerTurn  float64 // amount per turn of the motor, above 0
	SlipFlow float64 // what a pump loses through its gaps, amount per minute, 0 or more; 0 for other drives
}

// Observation is a metered amount and the turns of the motor in the same gate.
type Observation struct {
	Minutes float64 // length of the gate, above 0
	Turns   float64 // of the motor, above 0
	Amount  float64 // metered, 0 or more
	// AmountPulses and TurnPulses are how many pulses the amount and the turns were
	// counted in; 0 where they were not counted (weighed, or known from the speed).
	AmountPulses, TurnPulses float64
}

// Reading is an observation against the model.
type Reading struct {
	Expected float64 // amount by the model
	// Percent is 100 (Amount/Expected - 1). It is 0 on average at every speed as long as
	// the model holds, so that a change of product is no drift.
	Percent float64
	// CountingU is the standard uncertainty of Percent that counting whole pulses in
	// the gate gives it, in points; 0 where nothing was counted. The meter's accuracy is not in it: it
	// is common to all readings, and shifts them alike.
	CountingU float64
}

// UnsynchronisedCount is the standard uncertainty of a count of pulses over a gate that
// starts and ends anywhere between two: triangular within one pulse, 1/sqrt(6).
// GUM (JCGM 100:2008) 4.3.9.
const UnsynchronisedCount = 0.40824829046386301636621401245098

// Check returns what is wrong with the model, or nil.
func (m Model) Check() error {
	switch {
	case !(m.PerTurn >= smallestValue && m.PerTurn <= greatestValue):
		return &statistics.DomainError{Name: "perTurn", Index: -1, Value: m.PerTurn, Want: "it must be above 0"}
	case !(m.SlipFlow >= 0 && m.SlipFlow <= greatestValue):
		return &statistics.DomainError{Name: "slipFlow", Index: -1, Value: m.SlipFlow, Want: "it must be 0 or more"}
	}
	return nil
}

// Check returns what is wrong with the observation, or nil.
func (o Observation) Check() error {
	for _, f := range []struct {
		name  string
		value float64
	}{{"minutes", o.Minutes}, {"turns", o.Turns}} {
		if !(f.value >= smallestValue && f.value <= greatestValue) {
			return &statistics.DomainError{Name: f.name, Index: -1, Value: f.value, Want: "it must be above 0"}
		}
	}
	for _, f := range []struct {
		name  string
		value float64
	}{{"amount", o.Amount}, {"amountPulses", o.AmountPulses}, {"turnPulses", o.TurnPulses}} {
		if !(f.value >= 0 && f.value <= greatestValue) {
			return &statistics.DomainError{Name: f.name, Index: -1, Value: f.value, Want: "it must be 0 or more"}
		}
	}
	return nil
}

// Read compares an observation with the model.
//
//	u(Percent)² = (100/Expected)² (u(amount)² + (PerTurn u(turns))² (Amount/Expected)²)
//	u(amount) = Amount/(sqrt(6) AmountPulses)        u(turns) = Turns/(sqrt(6) TurnPulses)
//
// Source: GUM (JCGM 100:2008) 5.1.2.
// Errors: *statistics.DomainError for a bad model or observation, and where the
// model delivers nothing at that speed.
// Formula: delivery-deviation/1
func (m Model) Read(o Observation) (Reading, error) {
	if err := firstError(m.Check(), o.Check()); err != nil {
		return Reading{}, err
	}
	expected := float64(m.PerTurn*o.Turns) - float64(m.SlipFlow*o.Minutes)
	if !(expected > float64(m.PerTurn*o.Turns)*1e-9) {
		return Reading{}, &statistics.DomainError{Name: "turns", Index: -1, Value: o.Turns, Want: "so few turns deliver nothing by the model: all of it slips"}
	}
	r := Reading{Expected: expected, Percent: (o.Amount - expected) / expected * 100}
	var amountU, turnsU float64
	if o.AmountPulses > 0 {
		amountU = UnsynchronisedCount / o.AmountPulses * o.Amount
	}
	if o.TurnPulses > 0 {
		turnsU = UnsynchronisedCount / o.TurnPulses * o.Turns * m.PerTurn * (o.Amount / expected)
	}
	r.CountingU = math.Sqrt(float64(amountU*amountU)+float64(turnsU*turnsU)) / expected * 100
	return r, nil
}

// GateSpeed returns a speed counted over a gate, in r/min, and its standard uncertainty:
//
//	n = pulses/pulsesPerTurn/minutes        u(n)² = (countU n/pulses)² + (gateU n)²
//
// countU is the standard uncertainty of the count in pulses (UnsynchronisedCount; 1/sqrt(3)
// takes the whole range of one pulse either way as equally likely), gateU that of the gate's length, relative.
//
// Source: GUM (JCGM 100:2008) 4.3.7, 4.3.9 and 5.1.6.
// Errors: *statistics.DomainError.
// Formula: gate-speed/1
func GateSpeed(pulses, pulsesPerTurn, minutes, countU, gateU float64) (statistics.Value, error) {
	for _, f := range []struct {
		name  string
		value float64
	}{{"pulses", pulses}, {"pulsesPerTurn", pulsesPerTurn}, {"minutes", minutes}} {
		if !(f.value >= smallestValue && f.value <= greatestValue) {
			return statistics.Value{}, &statistics.DomainError{Name: f.name, Index: -1, Value: f.value, Want: "it must be above 0"}
		}
	}
	for _, f := range []struct {
		name  string
		value float64
	}{{"countU", countU}, {"gateU", gateU}} {
		if !(f.value >= 0 && f.value <= greatestValue) {
			return statistics.Value{}, &statistics.DomainError{Name: f.name, Index: -1, Value: f.value, Want: "it must be 0 or more"}
		}
	}
	n := pulses / pulsesPerTurn / minutes
	count, gate := float64(countU/pulses*n), float64(gateU*n)
	return statistics.Value{Value: n, U: math.Sqrt(float64(count*count) + float64(gate*gate))}, nil
}

// Wear is how a drive comes to deliver less.
type Wear uint8

// Kinds of wear. A loss is measured accordingly.
const (
	// Leak loses a flow that does not depend on the speed: the gaps of a pump widen.
	// A loss is in amount per minute.
	Leak Wear = iota
	// Share loses a part of each turn: a roll wears, a belt slips, a screw fills less. A
	// loss is in percent of PerTurn.
	Share
)

// Loss is what wear took by one observation.
type Loss struct {
	Value float64
	// PerPoint is the loss that one point of Reading.Percent amounts to at that speed.
	PerPoint float64
	// PerPercent is the loss that one percent of the metered amount amounts to, taken for
	// at least a tenth of what was expected. A meter scatters by about the same percentage at
	// all flows, so that losses scatter in proportion to it.
	PerPercent float64
}

// Weight returns 1/PerPercent², which weighs losses against one another.
func (l Loss) Weight() float64 { return 1 / l.PerPercent / l.PerPercent }

// LossBy returns the loss against the model by a kind of wear. It is negative where more
// was delivered.
//
//	Leak: PerTurn turns/minutes - SlipFlow - amount/minutes
//	Share: 100 (1 - (amount + SlipFlow minutes)/(PerTurn turns))
//
// Errors as Read.
// Formula: delivery-loss/1
func (m Model) LossBy(w Wear, o Observation) (Loss, error) {
	r, err := m.Read(o)
	if err != nil {
		return Loss{}, err
	}
	return m.loss(w, o, r), nil
}

func (m Model) loss(w Wear, o Observation, r Reading) Loss {
	short, metered := r.Expected-o.Amount, max(o.Amount, r.Expected/10)
	per := o.Minutes
	if w == Share {
		per = m.PerTurn * o.Turns / 100
	}
	return Loss{Value: short / per, PerPoint: r.Expected / per / 100, PerPercent: metered / per / 100}
}

// Worn returns the model after a loss: the correction that makes it hold again.
// Errors: *statistics.DomainError for a loss that leaves nothing, or of more than there is.
// Formula: worn-model/1
func (m Model) Worn(w Wear, loss float64) (Model, error) {
	if err := m.Check(); err != nil {
		return Model{}, err
	}
	worn := Model{PerTurn: m.PerTurn, SlipFlow: m.SlipFlow + loss}
	want := "a leak less than that of a pump without gaps cannot be: the displacement is greater than the model's, or the meter reads high"
	if w == Share {
		worn = Model{PerTurn: float64(m.PerTurn * (1 - loss/100)), SlipFlow: m.SlipFlow}
		want = "nothing would be delivered"
	}
	if worn.Check() != nil {
		return Model{}, &statistics.DomainError{Name: "loss", Index: -1, Value: loss, Want: want}
	}
	return worn, nil
}

// SpeedFor returns the motor speed in r/min at which the model delivers a flow (amount per
// minute, 0 or more), as a loop that is closed on the flow finds it by itself.
//
//	n = (flow + SlipFlow)/PerTurn
//
// Errors: *statistics.DomainError.
// Formula: speed-for-flow/1
func (m Model) SpeedFor(flow float64) (float64, error) {
	if err := m.Check(); err != nil {
		return 0, err
	}
	if !(flow >= 0 && flow <= greatestValue) {
		return 0, &statistics.DomainError{Name: "flow", Index: -1, Value: flow, Want: "it must be 0 or more"}
	}
	return (flow + m.SlipFlow) / m.PerTurn, nil
}

// LossAtTolerance returns the loss at which the drive, turning at a speed (r/min) that is not
// corrected, delivers a percentage less than the model says.
//
//	Leak: percent/100 (PerTurn rpm - SlipFlow)
//	Share: percent (1 - SlipFlow/(PerTurn rpm))
//
// Errors: *statistics.DomainError, also for a speed at which the model delivers nothing.
// Formula: loss-at-tolerance/1
func (m Model) LossAtTolerance(w Wear, percent, rpm float64) (float64, error) {
	switch {
	case !(percent > 0 && percent <= 100):
		return 0, &statistics.DomainError{Name: "tolerancePercent", Index: -1, Value: percent, Want: "it must be above 0 and at most 100"}
	case !(rpm > 0 && rpm <= greatestValue):
		return 0, &statistics.DomainError{Name: "rpm", Index: -1, Value: rpm, Want: "it must be above 0"}
	}
	r, err := m.LossBy(w, Observation{Minutes: 1, Turns: rpm})
	if err != nil {
		return 0, err
	}
	return float64(percent * r.PerPoint), nil
}

// LossAtSpeed returns the loss at which a loop closed on a flow (amount per minute) needs a
// speed (r/min), such as the motor's limit. It is negative where the model itself needs more.
//
//	Leak: PerTurn rpm - SlipFlow - flow
//	Share: 100 (1 - (flow + SlipFlow)/(PerTurn rpm))
//
// Errors as LossBy.
// Formula: loss-at-speed/1
func (m Model) LossAtSpeed(w Wear, flow, rpm float64) (float64, error) {
	l, err := m.LossBy(w, Observation{Minutes: 1, Turns: rpm, Amount: flow})
	return l.Value, err
}
