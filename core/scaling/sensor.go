package scaling

import (
	"fmt"
	"slices"

	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// SensorReport is what a sensor tells over the usable range of its drive.
type SensorReport struct {
	ID                 string
	Shaft              string            // which one it sits on, in words; empty for a flow meter
	TurnsPerMotorTurn  Optional[float64] // turns of that shaft per turn of the motor
	PulsesPerMotorTurn Optional[float64] // counted pulses per turn of the motor
	Low, High          SensorState       // at the lowest and the highest usable speed
	// The least frequency in Hz (counting by a gate) or the greatest (by periods) at
	// which the wanted resolution is met.
	HzAtWanted Optional[float64]
}

// SensorState is what a sensor tells at one speed. The optional values need to know
// how pulses are counted, and a shaft that turns.
type SensorState struct {
	Hz                float64
	ResolutionHz      Optional[float64] // the frequency of one pulse, or clock tick, more
	ResolutionRPM     Optional[float64] // the same as a speed of the motor
	ResolutionRate    units.Quantity    // and as a process rate
	ResolutionPercent Optional[float64] // of the frequency
	UpdateSeconds     Optional[float64] // from one value to the next
	WantedSeconds     Optional[float64] // the same where the wanted resolution is just met
}

// SensorsOf reports on every sensor of s's drive over the usable range. Checks are
// appended for what a sensor cannot tell at an end of it, and for one outside the loop
// that leaves its own limits of frequency: those of the sensor in the loop limit the
// speed.
//
//	frequency   shaft: motor speed * pulses per motor turn; flow meter: flow * K-factor
//	resolution  by gate 1 / gate; by periods frequency^2 / (periods * clock frequency)
//	update      by gate the gate; by periods periods / frequency
//
// Source: the counting error of one in direct and in reciprocal frequency counters;
// common practice, no published source. Formula: sensor-resolution/1.
func SensorsOf(c *exact.Calc, s *Subject, checks *[]Check) []SensorReport {
	var r run
	r.begin(c, s, Measure{Unit: RateUnit(s.Drive)}, checks, nil)
	usable := r.speedLimits(1)
	var out []SensorReport
	for i := range s.Drive.Sensors {
		sensor := &s.Drive.Sensors[i]
		p, ok := r.pickup(sensor)
		if !ok {
			continue
		}
		report := SensorReport{ID: sensor.ID, Low: p.state(r.at(usable.low)), High: p.state(r.at(usable.high))}
		if sensor.Kind == ShaftSensor {
			report.Shaft = shaftName(s.Drive, int(sensor.StagesFromMotor))
			report.TurnsPerMotorTurn = Some(p.turns.Float())
			report.PulsesPerMotorTurn = Some(p.pulses.Float())
		}
		if hz, ok := p.hzAtWanted(); ok {
			report.HzAtWanted = Some(perSecond(c, hz).Float())
		}
		out = append(out, report)
		p.checkEnds(r.at(usable.low), r.at(usable.high))
	}
	return out
}

// checkEnds tells what p cannot tell at either end of the usable range, each once,
// and where outside the loop it leaves its limits.
func (p *pickup) checkEnds(low, high Motion) {
	checks := p.checks
	for _, at := range [...]Motion{low, high} {
		var found []Check
		p.checks = &found
		if p.sensor.Counting.Kind != NoCounting {
			p.check(at)
		} else if !p.sensor.ClosesLoop {
			p.checkLimits(at)
		}
		for _, k := range found {
			if !slices.ContainsFunc(*checks, func(told Check) bool { return told.Code == k.Code && told.Name == k.Name }) {
				*checks = append(*checks, k)
			}
		}
	}
	p.checks = checks
}

func shaftName(d *Drive, stages int) string {
	switch {
	case stages == 0 && len(d.Transmission) == 0:
		return "the motor shaft, which is the last shaft"
	case stages == 0:
		return "the motor shaft"
	case stages == len(d.Transmission):
		return "the last shaft"
	}
	return fmt.Sprintf("the shaft behind stage %d", stages)
}

// pickup is a sensor, in the loop or not, within a run.
type pickup struct {
	*run
	sensor *Sensor
	turns  exact.Num // shaft sensor: of its shaft per motor turn
	pulses exact.Num // shaft sensor: per motor turn
}

// pickup returns s within r; ok is false for a flow meter where no density tells the
// flow.
func (r *run) pickup(s *Sensor) (p pickup, ok bool) {
	p = pickup{run: r, sensor: s}
	if s.Kind == FlowSensor {
		return p, converts(r.subject.Drive, r.subject.Material, r.rel.kind, volumeRate)
	}
	turns := shaftsOf(r.c, r.subject.Drive, s)
	p.turns, p.pulses = turns.sensor, pulsesPerMotorTurn(r.c, s, &turns)
	return p, true
}

// frequency returns the magnitude of p's frequency in pulses per minute.
func (p *pickup) frequency(at Motion) exact.Num { return p.pulsesOf(at).Abs() }

// pulsesOf returns p's pulses per minute, below zero backwards.
func (p *pickup) pulsesOf(at Motion) exact.Num {
	if p.sensor.Kind == ShaftSensor {
		return at.Speed.Mul(p.pulses)
	}
	r := p.run
	flow := convert(r.c, r.subject.Drive, r.subject.Material, at.Rate, r.rel.kind, volumeRate)
	return flow.Mul(p.sensor.KFactor.Base(r.c))
}

// resolution returns by how many pulses per minute the frequency goes up with one
// pulse, or one clock tick, more; ok is false where that is not known.
func (p *pickup) resolution(frequency exact.Num) (step exact.Num, ok bool) {
	k := &p.sensor.Counting
	switch {
	case p.c.Sign(frequency) == 0:
		return exact.Num{}, false
	case k.Kind == ByGate:
		return p.c.Int(1).Quo(k.Gate.Base(p.c)), true
	case k.Kind == ByPeriod:
		return frequency.Mul(frequency).Quo(p.ticks()), true
	}
	return exact.Num{}, false
}

// ticks returns periods * clock frequency, per minute.
func (p *pickup) ticks() exact.Num {
	k := &p.sensor.Counting
	return perMinute(p.c, k.ClockHz).Mul(p.c.Int(k.periods()))
}

// speedOf returns the motor speed that a frequency in pulses per minute means,
// without what a pump leaks: the speed of a difference.
func (p *pickup) speedOf(frequency exact.Num) exact.Num {
	if p.sensor.Kind == ShaftSensor {
		return frequency.Quo(p.pulses)
	}
	r := p.run
	flow := frequency.Quo(p.sensor.KFactor.Base(r.c))
	return convert(r.c, r.subject.Drive, r.subject.Material, flow, volumeRate, r.rel.kind).Quo(r.rel.perTurn)
}

// state describes p at a motion.
func (p *pickup) state(at Motion) SensorState {
	c, k := p.c, &p.sensor.Counting
	frequency := p.frequency(at)
	out := SensorState{Hz: perSecond(c, frequency).Float()}
	step, ok := p.resolution(frequency)
	if !ok {
		return out
	}
	speed := p.speedOf(step)
	out.ResolutionHz = Some(perSecond(c, step).Float())
	out.ResolutionRPM = Some(speed.Float())
	if p.rel.kind != noKind {
		out.ResolutionRate = quantity(c, speed.Mul(p.rel.perTurn), p.measure.Unit)
	}
	out.ResolutionPercent = Some(p.percent(step, frequency).Float())
	if k.Kind == ByGate {
		out.UpdateSeconds = Some(k.Gate.SI(c).Float())
	} else {
		out.UpdateSeconds = Some(seconds(c, c.Int(k.periods()).Quo(frequency)).Float())
	}
	if k.WantedPercent.Set {
		out.WantedSeconds = Some(seconds(c, p.minutesAtWanted(frequency)).Float())
	}
	return out
}

func (p *pickup) percent(step, frequency exact.Num) exact.Num {
	return step.Quo(frequency).Mul(p.c.Int(100))
}

// minutesAtWanted returns the least time from one value to the next with which the
// wanted resolution is met at a frequency.
//
//	by gate     1 / (wanted * frequency)
//	by periods  n / frequency, with n the least whole number not below frequency / (wanted * clock frequency)
func (p *pickup) minutesAtWanted(frequency exact.Num) exact.Num {
	c := p.c
	wanted := c.Percent(p.sensor.Counting.WantedPercent.Value)
	if p.sensor.Counting.Kind == ByGate {
		return c.Int(1).Quo(wanted.Mul(frequency))
	}
	return c.Int(p.periodsAtWanted(frequency)).Quo(frequency)
}

func (p *pickup) periodsAtWanted(frequency exact.Num) int64 {
	wanted := p.c.Percent(p.sensor.Counting.WantedPercent.Value)
	n, _ := p.c.Ceil(frequency.Quo(wanted.Mul(perMinute(p.c, p.sensor.Counting.ClockHz))))
	return max(n, 1)
}

// hzAtWanted returns the frequency, per minute, at which the wanted resolution is
// just met.
func (p *pickup) hzAtWanted() (frequency exact.Num, ok bool) {
	k := &p.sensor.Counting
	if k.Kind == NoCounting || !k.WantedPercent.Set {
		return exact.Num{}, false
	}
	wanted := p.c.Percent(k.WantedPercent.Value)
	if k.Kind == ByGate {
		return p.c.Int(1).Quo(wanted.Mul(k.Gate.Base(p.c))), true
	}
	return wanted.Mul(p.ticks()), true
}

func perSecond(c *exact.Calc, perMinute exact.Num) exact.Num {
	return perMinute.Quo(c.Int(secondsPerMinute))
}

func seconds(c *exact.Calc, minutes exact.Num) exact.Num {
	return minutes.Mul(c.Int(secondsPerMinute))
}

// checkSensors tells of every sensor whose way of counting is known what it cannot
// tell at a motion, and of one outside the loop whether it leaves its limits.
func (r *run) checkSensors(at Motion) {
	for i := range r.subject.Drive.Sensors {
		s := &r.subject.Drive.Sensors[i]
		if s.Counting.Kind == NoCounting {
			continue
		}
		if p, ok := r.pickup(s); ok {
			p.check(at)
		}
	}
}

func (p *pickup) check(at Motion) {
	frequency := p.frequency(at)
	if !p.sensor.ClosesLoop {
		p.checkLimits(at)
	}
	step, ok := p.resolution(frequency)
	if !ok {
		return
	}
	if wanted := p.sensor.Counting.WantedPercent; wanted.Set {
		if got := p.percent(step, frequency); p.c.Cmp(got, p.c.Dec(wanted.Value)) > 0 {
			p.add(Check{Code: SensorCoarserThanWanted, Name: p.sensor.ID, Text: p.coarser(at, got, frequency)})
		}
	}
	if p.sensor.ClosesLoop {
		p.checkReadout(at, p.speedOf(step))
	}
}

// coarser says how coarse the sensor is, and what would do.
func (p *pickup) coarser(at Motion, got, frequency exact.Num) string {
	k := &p.sensor.Counting
	if k.Kind == ByGate {
		return fmt.Sprintf("at %s r/min of the motor one pulse in the gate of sensor %q is %s %% of the speed, and %s %% is wanted; a gate of %s s would do",
			short(at.Speed.Float()), p.sensor.ID, short(got.Float()), short(k.WantedPercent.Value), short(seconds(p.c, p.minutesAtWanted(frequency)).Float()))
	}
	return fmt.Sprintf("at %s r/min of the motor one clock tick over %d periods of sensor %q is %s %% of the speed, and %s %% is wanted; %d periods would do",
		short(at.Speed.Float()), k.periods(), p.sensor.ID, short(got.Float()), short(k.WantedPercent.Value), p.periodsAtWanted(frequency))
}

// checkReadout tells where the readout's last digit is finer than a step of the
// sensor, which the motor's speed has at a motion.
func (p *pickup) checkReadout(at Motion, step exact.Num) {
	if p.subject.Drive.Readout.Unit == nil {
		return
	}
	digits, ok := p.digitsMoved(at, step)
	if ok && p.c.Cmp(digits, p.c.Int(1)) > 0 {
		p.add(Check{Code: ReadoutFinerThanSensor, Name: p.sensor.ID, Number: digits.Float()})
	}
}

// digitsMoved returns by how many of its last digits the reading moves when the
// motor's speed grows by step.
func (p *pickup) digitsMoved(at Motion, step exact.Num) (digits exact.Num, ok bool) {
	here, ok := p.readoutValue(at)
	there, okThere := p.readoutValue(p.at(at.Speed.Add(magnitude(step, p.c.Sign(at.Speed)))))
	if !ok || !okThere {
		return exact.Num{}, false
	}
	return there.Sub(here).Abs().Mul(p.c.Int(powersOfTen[p.subject.Drive.Readout.Decimals])), true
}

// checkLimits tells where a shaft sensor leaves the frequencies that it, or its
// input, can use.
func (p *pickup) checkLimits(at Motion) {
	frequency := p.frequency(at)
	hz := perSecond(p.c, frequency).Float()
	switch s := p.sensor; {
	case s.MaxHz.Set && p.c.Cmp(frequency, perMinute(p.c, s.MaxHz.Value)) > 0:
		p.add(Check{Code: SensorAboveItsLimit, Name: s.ID, Number: hz})
	case s.MinHz > 0 && p.c.Cmp(frequency, perMinute(p.c, s.MinHz)) < 0:
		p.add(Check{Code: SensorBelowItsLimit, Name: s.ID, Number: hz})
	}
}
