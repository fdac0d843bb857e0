package changeover

import (
	"slices"

	"linepace.example/core/dwell"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// The formulas that a plan can rest on, each with its version. A change of one
// output bit of what a formula gives is a new version. Which formulas a plan
// names is itself a part of its record: naming more or fewer for the same plan
// makes other bytes, and so needs a new version of the record's format.
type formula uint8

// In byte order of their ids, so that a set lists them sorted.
const (
	achievedSpeed    formula = iota // motor speed that a count sets
	achievedAmount                  // what the achieved rate gives of the demand
	balanceShare                    // what the other shares leave
	bandSpeed                       // speeds that the regulation allows
	bandAmount                      // what those give of the demand
	bestFraction                    // of a leader's value
	boundedCount                    // whole number of the register on the safe side
	farOff                          // whether a pump's calibration is too far away
	speedChange                     // step from the running product
	order                           // order of the setpoints, which checks are given, verdict
	correctedModel                  // delivered per turn of the motor, by a correction
	count                           // nearest whole number of the register
	deliveryPerTurn                 // per turn of the last shaft
	dose                            // of a follower, for so much of its leader's
	dwellPart                       // a drive's part of a time
	dwellSpeed                      // section length over time
	dwellWay                        // travel that takes a time
	roundingError                   // achieved against demanded
	reach                           // whether a speed lies far from the measured ones
	fit                             // a value that would fit
	highestSpeed                    // least of motor, sensor and register
	jointCount                      // chosen together with others
	leaderTotal                     // of a blend, from its leader
	lengthPerPiece                  // of a follower
	lowestSpeed                     // greatest of motor, sensor and register
	margin                          // on the safe side of a bound
	materialRate                    // between volume and mass
	moisture                        // between dry and as fed
	motorSpeed                      // that meets the demand
	nearerInTime                    // whether the other count suits a time better
	perMotorTurn                    // delivered per turn of the motor
	processRate                     // at the achieved speed
	pulseFrequency                  // of the sensor in the loop
	leaderRatio                     // of a follower
	readoutCut                      // to its last digit, the rest dropped
	readoutValue                    // what the readout shows
	readoutText                     // to its last digit
	referenceDiffers                // measured against calculated
	referenceFit                    // through several references and zero
	referenceLine                   // through several references, with an offset
	contradiction                   // whether two of them contradict each other
	lineDiffers                     // their line against calculated
	registerLimit                   // speeds at the ends of the register
	registerTime                    // what a reciprocal register is asked for
	registerValue                   // what the register is asked for
	registerNumber                  // on the register's line
	sensorLimit                     // speeds at the ends of the sensor
	sensorResolution                // of the way in which its pulses are counted
	blendShare                      // of a blend's total
	stopNumber                      // what asks the register for zero
	tolerance                       // whether a value is tolerated
	transitionSeries                // pieces while the speeds of several sections change
	transition                      // pieces while a section's speed changes
	transmission                    // turns of the last shaft per motor turn
	formulaCount
)

var formulaIDs = [formulaCount]string{
	achievedSpeed:    "achieved-speed/1",
	achievedAmount:   "achieved/1",
	balanceShare:     "balance/1",
	bandSpeed:        "band-speed/1",
	bandAmount:       "band/1",
	boundedCount:     "bounded-count/1",
	bestFraction:     "best-fraction/1",
	farOff:           "calibration-distance/1",
	speedChange:      "change/1",
	order:            "changeover/1",
	correctedModel:   "corrected-model/1",
	count:            "count/1",
	deliveryPerTurn:  "delivery-per-turn/1",
	dose:             "dose/1",
	dwellPart:        "dwell-part/1",
	dwellSpeed:       "dwell-speed/1",
	dwellWay:         "dwell-way/1",
	roundingError:    "error/1",
	reach:            "extrapolation/1",
	fit:              "fit/1",
	highestSpeed:     "highest-speed/1",
	jointCount:       "joint-count/1",
	leaderTotal:      "leader-total/1",
	lengthPerPiece:   "length-per-piece/1",
	lowestSpeed:      "lowest-speed/1",
	margin:           "margin/1",
	materialRate:     "material-rate/1",
	moisture:         "moisture/1",
	motorSpeed:       "motor-speed/1",
	nearerInTime:     "nearer-in-time/1",
	perMotorTurn:     "per-motor-turn/1",
	processRate:      "process-rate/1",
	pulseFrequency:   "pulse-frequency/1",
	leaderRatio:      "ratio/1",
	readoutCut:       "readout-cut/1",
	readoutValue:     "readout-value/1",
	readoutText:      "readout/1",
	referenceDiffers: "reference-differs/1",
	referenceFit:     "reference-fit/1",
	referenceLine:    "reference-line/1",
	contradiction:    "references-contradict/1",
	lineDiffers:      "references-differ/1",
	registerLimit:    "register-limit/1",
	registerTime:     "register-time/1",
	registerValue:    "register-value/1",
	registerNumber:   "register/1",
	sensorLimit:      "sensor-limit/1",
	sensorResolution: "sensor-resolution/1",
	blendShare:       "share/1",
	stopNumber:       "stop/1",
	tolerance:        "tolerance/1",
	transitionSeries: "transition-series/1",
	transition:       "transition/1",
	transmission:     "transmission/1",
}

// Known reports whether this build has the formula of that id.
func Known(id string) bool {
	_, ok := slices.BinarySearch(formulaIDs[:], id)
	return ok
}

// formulaSet has a bit for each formula.
type formulaSet uint64

const _ = uint(64 - formulaCount) // does not compile where the bits do not suffice

func (s *formulaSet) add(list ...formula) {
	for _, f := range list {
		*s |= 1 << f
	}
}

func (s *formulaSet) addIf(yes bool, list ...formula) {
	if yes {
		s.add(list...)
	}
}

func (s formulaSet) ids() []string {
	out := make([]string, 0, formulaCount)
	for f := range formulaCount {
		if s&(1<<f) != 0 {
			out = append(out, formulaIDs[f])
		}
	}
	return out
}

// Formulas returns the ids of the formulas that plan, which [Make] found for req,
// rests on: sorted, each once, the same for the same request whether or not the
// working was asked for. Among them are those of every step of the working. What
// a follower's leader and the running product rest on is in it too.
func Formulas(req *Request, plan *Plan) []string {
	f := finder{setpoints: plan.Setpoints}
	f.drives = newIndex(plan.Setpoints, func(p *Setpoint) string { return p.Drive.ID })
	f.add(order)
	f.addProduct(req.Product)
	if req.Running != nil {
		f.addRunning(req.Running)
	}
	for i := range plan.Checks {
		f.addIf(plan.Checks[i].Fit.Unit != nil, fit)
	}
	for i := range plan.Transitions {
		t := &plan.Transitions[i]
		f.addIf(t.Feasible && len(t.Sections) == 1, transition)
		f.addIf(t.Feasible && len(t.Sections) > 1, transitionSeries)
	}
	return f.ids()
}

// finder collects the formulas of a plan.
type finder struct {
	formulaSet
	setpoints []Setpoint
	drives    index[Setpoint]
}

func (f *finder) setpoint(driveID string) *Setpoint { return &f.setpoints[f.drives.find(driveID)] }

// addProduct adds what the setpoints of a product rest on.
func (f *finder) addProduct(product *Product) {
	for i := range product.Demands {
		demand := &product.Demands[i]
		sp := f.setpoint(demand.DriveID)
		f.addDemand(demand, sp)
		f.addIf(demand.Kind == Dose && sp.DemandedRPM.Set && rateOf(demand.Per) != f.setpoint(demand.LeaderID).Drive.RateDimension(), materialRate)
		f.addSetpoint(sp)
		f.addIf(demand.Tolerance.Set && sp.AchievedRPM.Set, tolerance)
	}
	moist := moistMaterials(product)
	for i := range product.Blends {
		b := &product.Blends[i]
		for k := range b.Components {
			component := &b.Components[k]
			sp := f.setpoint(component.DriveID)
			f.addComponent(b, component, moist)
			if b.leads(k) && b.LeaderRate.Unit == nil { // its own demand is added elsewhere
				f.addIf(b.dimension() != sp.Drive.RateDimension(), materialRate)
				continue
			}
			f.addAmount(sp, b.dimension())
			f.addSetpoint(sp)
			f.addIf(component.Tolerance.Set && sp.AchievedRPM.Set, tolerance)
		}
	}
}

// moistMaterials returns the ids of the materials with moisture, nil for none.
func moistMaterials(product *Product) map[string]bool {
	var moist map[string]bool
	for i := range product.Materials {
		if m := &product.Materials[i]; m.Moisture.Basis != scaling.NoMoisture {
			if moist == nil {
				moist = map[string]bool{}
			}
			moist[m.ID] = true
		}
	}
	return moist
}

// addDemand adds what leads from a demand to the motor speed and back. A follower
// whose leader has no setpoint rests on nothing.
func (s *formulaSet) addDemand(demand *Demand, sp *Setpoint) {
	if sp.Action == Stop {
		s.addIf(sp.Drive.Register.Kind != scaling.NoRegister, stopNumber)
		return
	}
	if !sp.DemandedRPM.Set {
		return
	}
	switch demand.Kind {
	case Dwell:
		s.addDwell(demand.Dwell)
		counts := sp.Drive.Register.Counts()
		s.addIf(counts && !isBound(demand.Dwell), nearerInTime)
		s.addIf(counts && isBound(demand.Dwell), boundedCount)
		s.addIf(sp.Margin.Unit != nil, margin)
	case Ratio:
		s.add(leaderRatio)
	case LengthPerPiece:
		s.add(lengthPerPiece)
	case Dose:
		s.add(dose)
	}
	s.addAmount(sp, sp.Demanded.Unit.Dimension())
}

// addDwell adds what leads from a time to a speed; d is nil for a point in one
// section.
func (s *formulaSet) addDwell(d *dwell.Demand) {
	s.add(dwellSpeed)
	s.addIf(d != nil, dwellWay)
	s.addIf(d != nil && len(d.Belts) > 0, dwellPart)
}

// isBound reports whether a dwell is a time at least or at most.
func isBound(d *dwell.Demand) bool { return d != nil && d.Time.Unit == nil }

// addAmount adds what turns an amount of dimension dim into the motor speed of sp.
func (s *formulaSet) addAmount(sp *Setpoint, dim units.Dimension) {
	if !sp.DemandedRPM.Set || dim == units.Rotation {
		return
	}
	s.add(motorSpeed)
	own := sp.Drive.RateDimension()
	s.addIf(dim != own && dim != units.TimeDim, materialRate)
	s.addIf(dim != own && sp.AchievedRPM.Set, achievedAmount)
	s.addIf(sp.Low.Unit != nil || sp.High.Unit != nil, bandAmount)
}

func (s *formulaSet) addComponent(b *Blend, component *Component, moist map[string]bool) {
	s.add(blendShare)
	s.addIf(b.LeaderID != "", leaderTotal)
	s.addIf(b.Rounding == Joint, jointCount)
	s.addIf(component.Balance, balanceShare)
	s.addIf(b.TotalBasis == Dry && moist[component.MaterialID], moisture)
}

// addSetpoint adds what a setpoint rests on whatever was asked.
func (s *formulaSet) addSetpoint(sp *Setpoint) {
	if sp.Action == Run && sp.DemandedRPM.Set {
		s.addDrive(sp.Drive)
		s.addLimits(sp.Drive)
		s.addRegister(sp.Drive) // out of range too: what it can say limits the speed
	}
	if sp.Action != Run || !sp.AchievedRPM.Set {
		return
	}
	d := sp.Drive
	s.addIf(sp.Count.Set, count, achievedSpeed)
	s.addIf(sp.Fraction.Set, achievedSpeed)
	s.addIf(sp.ProcessRate.Unit != nil, processRate)
	s.addIf(sp.LastShaftRPM.Set && len(d.Transmission) > 0, transmission)
	s.addIf(sp.ErrorPercent.Set, roundingError)
	s.addIf(sp.Low.Unit != nil || sp.High.Unit != nil, bandSpeed)
	shown := sp.ReadoutText != scaling.Text{}
	s.addIf(shown, readoutValue)
	s.addIf(shown && !d.Readout.Truncates, readoutText)
	s.addIf(shown && d.Readout.Truncates, readoutCut)
	s.addIf(slices.ContainsFunc(d.Sensors, isCounted), sensorResolution)
	s.addIf(sp.PulseHz.Set, pulseFrequency)
	s.addMeasured(d)
}

// addMeasured adds what the checks on measured references rest on, and on a pump's
// single efficiency.
func (s *formulaSet) addMeasured(d *scaling.Drive) {
	if d.Corrected() {
		return
	}
	form := d.ReferenceForm()
	both := form != scaling.NoForm && d.Delivery.Kind != scaling.NoDelivery
	several := len(d.References) > 1
	s.addIf(both && !several, referenceDiffers)
	s.addIf(both && several, lineDiffers)
	s.addIf(several, contradiction)
	s.addIf(form == scaling.WithOffset, reach)
	tied := form == scaling.ThroughOrigin || form == scaling.NoForm && d.Delivery.VolumetricEfficiencyPercent.Set
	s.addIf(d.Delivery.Kind == scaling.Pump && tied, farOff)
}

func isCounted(s scaling.Sensor) bool { return s.Counting.Kind != scaling.NoCounting }

// addDrive adds what one turn of the motor delivers.
func (s *formulaSet) addDrive(d *scaling.Drive) {
	if d.Corrected() {
		s.add(correctedModel)
		return
	}
	delivers := d.Delivery.Kind != scaling.NoDelivery
	several := len(d.References) > 1
	s.addIf(!several && (delivers || len(d.References) > 0), perMotorTurn)
	s.addIf(several && d.ReferenceForm() == scaling.ThroughOrigin, referenceFit)
	s.addIf(d.ReferenceForm() == scaling.WithOffset, referenceLine)
	s.addIf(delivers, deliveryPerTurn)
	s.addIf(delivers && len(d.Transmission) > 0, transmission)
}

func (s *formulaSet) addLimits(d *scaling.Drive) {
	s.add(lowestSpeed, highestSpeed)
	s.addIf(d.Register.Kind != scaling.NoRegister, registerLimit)
	for i := range d.Sensors {
		sensor := &d.Sensors[i]
		s.addIf(sensor.ClosesLoop && sensor.Kind == scaling.ShaftSensor && (sensor.MinHz > 0 || sensor.MaxHz.Set), sensorLimit)
	}
}

func (s *formulaSet) addRegister(d *scaling.Drive) {
	r := &d.Register
	if r.Kind == scaling.NoRegister {
		return
	}
	s.add(registerNumber)
	s.addIf(r.Kind == scaling.FractionRegister, bestFraction)
	if r.Follows() {
		s.addIf(r.Following.Of != scaling.MotorSpeeds, registerValue)
		return
	}
	times := r.Span[0].Value.Unit.Dimension() == units.TimeDim
	s.addIf(times, registerTime)
	s.addIf(!times && (r.Span[0].Value.Unit.Dimension() != units.Rotation || r.Shaft != scaling.MotorShaft), registerValue)
}

// addRunning adds what the steps from the running product rest on. Of its plan the
// answer holds the numbers that are loaded now and the speeds, and whether there
// are any, which the limits decide.
func (f *finder) addRunning(running *Product) {
	f.add(speedChange)
	for i := range running.Demands {
		demand := &running.Demands[i]
		f.addRunningDemand(demand, f.setpoint(demand.DriveID).Drive)
	}
	moist := moistMaterials(running)
	for i := range running.Blends {
		b := &running.Blends[i]
		for k := range b.Components {
			d := f.setpoint(b.Components[k].DriveID).Drive
			f.addComponent(b, &b.Components[k], moist)
			f.addIf(b.dimension() != d.RateDimension(), materialRate)
			if b.leads(k) && b.LeaderRate.Unit == nil {
				continue
			}
			f.addRunningDrive(d)
		}
	}
}

func (f *finder) addRunningDemand(demand *Demand, d *scaling.Drive) {
	switch demand.Kind {
	case Stopped:
		f.addIf(d.Register.Kind != scaling.NoRegister, stopNumber)
		return
	case LeaveAsIs:
		return
	case Rate:
		dim := demand.Rate.Unit.Dimension()
		f.addIf(dim != units.Rotation && dim != d.RateDimension(), materialRate)
	case Dwell:
		f.addDwell(demand.Dwell)
		f.addIf(isBound(demand.Dwell) && d.Register.Kind == scaling.IntegerRegister, boundedCount)
	case Ratio:
		f.add(leaderRatio)
	case LengthPerPiece:
		f.add(lengthPerPiece)
	case Dose:
		f.add(dose)
		f.addIf(rateOf(demand.Amount) != d.RateDimension() || rateOf(demand.Per) != f.setpoint(demand.LeaderID).Drive.RateDimension(), materialRate)
	}
	f.addRunningDrive(d)
}

func (f *finder) addRunningDrive(d *scaling.Drive) {
	f.add(motorSpeed)
	f.addDrive(d)
	f.addLimits(d)
	f.addRegister(d)
	f.addIf(d.Register.Counts(), count, achievedSpeed)
	f.addIf(d.Register.Kind == scaling.FractionRegister, achievedSpeed)
}
