package main

import (
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What the test has met is counted from the requests that were sent and from what
// the reference found, not from what the generator meant.

// required is how often fullPlans plans must meet each feature, at least: about
// half of what they do. A generator that has lost one must not go unnoticed.
const required = `
200 action LEAVE
20000 action RUN
500 action STOP
1000 alone: count
100 alone: count below zero
100 alone: count of standstill
200 alone: count out of range
1000 alone: target
5000 bandWithinTolerance false
5000 bandWithinTolerance true
200 blend by MASS
200 blend by VOLUME
20 blend total not said
500 blend total AS_FED
100 blend total DRY
200 blend with a balance
2000 change
2000 check ABOVE_HIGHEST_SPEED
5000 check BAND_OUTSIDE_TOLERANCE
1000 check BELOW_LOWEST_SPEED
2000 check COUNT_OUTSIDE_TOLERANCE
200 check COUNT_PAST_MOTOR_LIMIT
25 check BEYOND_REFERENCES
500 check FAR_FROM_CALIBRATION
2000 check GEARBOX_RATIO_NOMINAL
200 check LEADER_HAS_NO_SETPOINT
500 check MOTOR_SPEED_NOMINAL
100 check NO_COUNT_FOR_STOP
200 check OTHER_COUNT_NEARER_IN_TIME
500 check READOUT_TOO_SHORT
20 check READOUT_WITHOUT_SECTION
300 check REFERENCES_CONTRADICT
300 check REFERENCES_UNWEIGHTED
1000 check REFERENCE_DIFFERS
1000 check RUNNING_SETPOINT_UNKNOWN
20 check SLIP_FLOW_NEGATIVE
20000 count
500 count: exact tie
50 count: exact tie of a roll behind a roll
2000 count: within 1e-15 of a tie
1000 demand dwell
200 demand leave as is
200 demand length per piece, length leads
100 demand length per piece, pieces lead
2000 demand rate
200 demand rate below zero
500 demand rate by density
2000 demand rate in r/min
1000 demand ratio MOTOR_SPEED
1000 demand ratio PROCESS_RATE
200 demand stopped
1000 feeder by mass
1000 feeder by volume
10 fit: none offered
200 fit: offered for product.blends[].total
200 fit: offered for product.demands[].dwell.time
1000 fit: offered for product.demands[].rate
5 follower below zero
2000 follower of a count
200 follower of a drive without count
2000 indexer
2000 limit by MOTOR
200 limit by REGISTER
200 limit by SENSOR
5000 loop on a driven shaft
200 loop on a flow meter
10000 loop on a shaft
1000 moisture DRY
1000 moisture WET
1000 no delivery and no reference
1000 no register
3000 plan
1000 pump
200 pump with an efficiency
200 pump with slip flow
500 readout by density
5000 readout of a rate
1000 readout of a time
2000 readout of the motor speed
20000 readout text
2000 readout text cut off
50 readout: whole before it is cut off
200 readout: exact tie
50 readout: exact tie (time)
100 readout: within 1e-15 of a tie
200 readout: within 1e-15 of a tie (time)
500 reference alone
1000 reference and drivetrain
2000 register INT16
2000 register INT32
5000 register UINT16
1000 register current
2000 register falling
1000 register from below zero
2000 register in process units
1000 register in r/min of shaft not said
1000 register in r/min of shaft LAST
1000 register in r/min of shaft MOTOR
2000 register in r/min of shaft SENSOR
1000 register voltage
2000 register with an offset span
2000 regulation by droop
2000 regulation BASE_SPEED
2000 regulation MAX_SPEED
2000 regulation SET_SPEED
2000 roll
1000 roll by pitch diameter
1000 roll with a belt
2000 roll with slip
1000 screw
500 screw with a fill
20000 setpoint
1000 several references
50 several references of a pump
500 speed: exactly at a limit
1000 sprocket
5000 stage belt
2000 stage belt with slip
5000 stage chain
5000 stage gear pair
5000 stage gearbox
2000 stages 0
2000 stages 1
2000 stages 2
1000 stages 3
1000 stages 4
1000 stages 5
1000 tolerance of the band: exactly met
1000 tolerance of the band: met by less than 1e-14
1000 tolerance of the band: missed by less than 1e-14
1000 tolerance: exactly met
500 tolerance: met by less than 1e-14
1000 tolerance: missed by less than 1e-14
2000 verdict NOT_RUNNABLE
1000 verdict RUNNABLE
1000 verdict RUNNABLE_WITH_WARNINGS
2000 withinTolerance false
10000 withinTolerance true`

// requireFound reports what was found, and fails for what was found too rarely.
func requireFound(t *testing.T, found map[string]int) {
	names := make([]string, 0, len(found))
	for name := range found {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		t.Logf("%8d %s", found[name], name)
	}
	for line := range strings.Lines(strings.TrimSpace(required)) {
		text, name, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		least, err := strconv.Atoi(text)
		require.NoError(t, err)
		want := least
		if differentialPlans < fullPlans { // a part of the plans meets its part of each, give or take three standard deviations
			part := float64(least) * differentialPlans / fullPlans
			want = int(part - 3*math.Sqrt(part))
		}
		if found[name] < want {
			t.Errorf("%q was met %d times; at least %d are wanted", name, found[name], want)
		}
	}
	for _, units := range genUnits {
		for _, unit := range units {
			if found["unit "+unit] == 0 {
				t.Errorf("nothing was asked in %s", unit)
			}
		}
	}
}

// features counts what each drive of a plan and its demand are.
func (c *comparison) features(p *refPlan) {
	for id, s := range p.setpoints {
		c.driveFeatures(s.drive)
		if d := p.demands[id]; d != nil {
			c.demandFeatures(p, d)
		}
		if s.runs() {
			c.edges(s)
			c.tolerances(p, id, s)
		}
	}
	for _, b := range p.Product.Blends {
		c.found["blend by "+b.Basis]++
		c.found["blend total "+orElse(b.TotalBasis, "not said")]++
		for _, k := range b.Components {
			c.count(k.Balance, "blend with a balance")
		}
	}
}

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

func (c *comparison) count(is bool, name string) {
	if is {
		c.found[name]++
	}
}

func (c *comparison) driveFeatures(r *refDrive) {
	c.found["stages "+string(rune('0'+len(r.Transmission)))]++
	for _, s := range r.Transmission {
		c.count(s.GearPair != nil, "stage gear pair")
		c.count(s.Chain != nil, "stage chain")
		c.count(s.Gearbox != nil, "stage gearbox")
		c.count(s.Belt != nil, "stage belt")
		c.count(s.Belt != nil && num(s.Belt.SlipPercent).sign() != 0, "stage belt with slip")
	}
	c.deliveryFeatures(r)
	c.count(r.own == nil, "no delivery and no reference")
	c.count(len(r.References) > 0 && r.Delivery != nil, "reference and drivetrain")
	c.count(len(r.References) > 0 && r.Delivery == nil, "reference alone")
	if s := r.loop(); s != nil {
		c.count(s.Flow != nil, "loop on a flow meter")
		c.count(s.Shaft != nil, "loop on a shaft")
		c.count(s.Shaft != nil && s.Shaft.StagesFromMotor > 0, "loop on a driven shaft")
	}
	if r.Motor.Regulation != nil {
		c.found["regulation "+orElse(r.Motor.Regulation.Of, "by droop")]++
	}
	c.registerFeatures(r)
	if r.Readout != nil {
		switch _, dim := refUnit(r.Readout.Unit); {
		case dim == dimTime:
			c.found["readout of a time"]++
		case dim == dimSpeed:
			c.found["readout of the motor speed"]++
		case dim != r.own.dim:
			c.found["readout by density"]++
		default:
			c.found["readout of a rate"]++
		}
	}
}

func (c *comparison) deliveryFeatures(r *refDrive) {
	d := r.Delivery
	if d == nil {
		return
	}
	c.count(d.Roll != nil, "roll")
	c.count(d.Roll != nil && d.Roll.PitchDiameter != nil, "roll by pitch diameter")
	c.count(d.Roll != nil && d.Roll.BeltThickness != nil, "roll with a belt")
	c.count(d.Roll != nil && num(d.Roll.SlipPercent).sign() != 0, "roll with slip")
	c.count(d.Sprocket != nil, "sprocket")
	c.count(d.Pump != nil, "pump")
	c.count(d.Pump != nil && d.Pump.SlipFlow != nil, "pump with slip flow")
	c.count(d.Pump != nil && d.Pump.AtRpm != "", "pump with an efficiency")
	c.count(d.Screw != nil, "screw")
	c.count(d.Screw != nil && r.material.FillPercent != "", "screw with a fill")
	c.count(d.Feeder != nil && d.Feeder.MassPerTurn != nil, "feeder by mass")
	c.count(d.Feeder != nil && d.Feeder.VolumePerTurn != nil, "feeder by volume")
	c.count(d.Indexer != nil, "indexer")
	if m := r.material; m != nil && m.Moisture != nil {
		c.found["moisture "+m.Moisture.Basis]++
	}
}

func (c *comparison) registerFeatures(r *refDrive) {
	if r.Register == nil {
		c.found["no register"]++
		return
	}
	from, to := r.Register.Span[0], r.Register.Span[1]
	c.count(r.Register.Current != nil, "register current")
	c.count(r.Register.Voltage != nil, "register voltage")
	if r.Register.Integer != nil {
		c.found["register "+r.Register.Integer.Type]++
	}
	if from.Value.dim() == dimSpeed {
		c.found["register in r/min of shaft "+orElse(r.Register.Shaft, "not said")]++
	} else {
		c.found["register in process units"]++
	}
	line := r.register()
	c.count(line.a.sign() < 0, "register falling")
	c.count(from.Value.si().sign() != 0 && to.Value.si().sign() != 0, "register with an offset span")
	c.count(r.spansBelowZero(), "register from below zero")
}

func (c *comparison) demandFeatures(p *refPlan, d *jsonDemand) {
	s := p.setpoints[d.DriveID]
	switch {
	case d.Rate != nil:
		c.count(d.Rate.dim() == dimSpeed, "demand rate in r/min")
		c.count(d.Rate.dim() != dimSpeed && d.Rate.dim() == s.drive.own.dim, "demand rate")
		c.count(d.Rate.dim() != dimSpeed && d.Rate.dim() != s.drive.own.dim, "demand rate by density")
		c.count(s.demanded.sign() < 0, "demand rate below zero")
		c.found["unit "+d.Rate.Unit]++
	case d.Dwell != nil:
		c.found["demand dwell"]++
		c.found["unit "+d.Dwell.Time.Unit]++
	case d.Ratio != nil:
		c.found["demand ratio "+d.Ratio.Basis]++
	case d.LengthPerPiece != nil:
		c.count(s.drive.own.dim == dimPieces, "demand length per piece, length leads")
		c.count(s.drive.own.dim == dimLength, "demand length per piece, pieces lead")
	case d.Stopped != nil:
		c.found["demand stopped"]++
	default:
		c.found["demand leave as is"]++
	}
	if leader := p.setpoints[d.leader()]; leader != nil && leader.runs() {
		c.count(leader.count != nil, "follower of a count")
		c.count(leader.count == nil, "follower of a drive without count")
		c.count(leader.achieved.sign() < 0, "follower below zero")
	}
}

// edges counts the decisions that were close.
func (c *comparison) edges(s *refSetpoint) {
	if line := s.drive.register(); line != nil && line.integer {
		from := line.output(s.rpm).fromHalf()
		c.count(from == 0, "count: exact tie")
		c.count(from > 0 && from < 1e-15, "count: within 1e-15 of a tie")
		roll := s.drive.Delivery != nil && s.drive.Delivery.Roll != nil && len(s.drive.References) == 0
		c.count(from == 0 && roll && s.view.dim == dimLength && s.drive.Register.Span[0].Value.dim() == dimSpeed,
			"count: exact tie of a roll behind a roll")
	}
	lowest, highest := s.drive.limits(s.rpm.sign())
	for _, limit := range []refLimit{lowest, highest} {
		if limit.rpm.sign() > 0 {
			c.count(limit.rpm.cmp(s.rpm.abs()) == 0, "speed: exactly at a limit")
		}
	}
	if r := s.drive.Readout; r != nil {
		if text, ok, _ := s.readout(); ok && text != "" {
			whole := s.drive.shown(r, s.achieved).mul(tenTo(r.Decimals))
			c.count(r.Rounding == "CUT_OFF" && ofInt(whole.floor()).cmp(whole) == 0, "readout: whole before it is cut off")
			ten := ofInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(r.Decimals)), nil))
			from := s.drive.shown(r, s.achieved).mul(ten).fromHalf()
			_, dim := refUnit(r.Unit)
			kind := map[bool]string{true: " (time)", false: ""}[dim == dimTime]
			c.count(from == 0, "readout: exact tie"+kind)
			c.count(from > 0 && from < 1e-15, "readout: within 1e-15 of a tie"+kind)
		}
	}
}

// tolerances counts the tolerances that are met exactly, or missed by next to nothing.
func (c *comparison) tolerances(p *refPlan, id string, s *refSetpoint) {
	t := p.tolerance(id)
	if t == nil {
		return
	}
	near := func(value piNumber, name string) {
		off := value.div(s.demanded).sub(one())
		slack := percent(t.PlusPercent).sub(off)
		if off.sign() < 0 {
			slack = percent(t.MinusPercent).add(off)
		}
		c.count(slack.sign() == 0, name+": exactly met")
		tiny := slack.abs().less(fraction(1, 1e14))
		c.count(slack.sign() > 0 && tiny, name+": met by less than 1e-14")
		c.count(slack.sign() < 0 && tiny, name+": missed by less than 1e-14")
	}
	near(s.view.at(s.achieved), "tolerance")
	for _, end := range s.band {
		near(end, "tolerance of the band")
	}
}

func (p *refPlan) tolerance(id string) *jsonTolerance {
	if d := p.demands[id]; d != nil {
		return d.Tolerance
	}
	for _, b := range p.Product.Blends {
		for _, k := range b.Components {
			if k.DriveID == id {
				return k.Tolerance
			}
		}
	}
	return nil
}
