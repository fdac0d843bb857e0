package measurement

import "linepace.example/core/scaling"

// tell adds what must be known of the reading to checks.
func (t *TachometerCheck) tell(out *Reading, checks *[]scaling.Check) {
	d := t.Subject.Drive
	add := func(k scaling.Check) {
		k.DriveID = d.ID
		*checks = append(*checks, k)
	}
	held, measured := d.HeldShaft(), len(d.Transmission)
	if t.Place == NoPlace {
		measured = d.StagesTo(t.Shaft)
	}
	nominal := false
	for i := min(held, measured); i < max(held, measured); i++ {
		s := &d.Transmission[i]
		nominal = nominal || s.Kind == scaling.Gearbox && !s.Exact
		switch {
		case s.Kind != scaling.Belt:
		case measured > held:
			add(scaling.Check{Code: scaling.SlipNotCorrected, Field: t.pointField(), Number: float64(i + 1)})
		default:
			add(scaling.Check{Code: scaling.SlipCorrected, Field: t.pointField(), Number: float64(i + 1)})
		}
	}
	if nominal {
		add(scaling.Check{Code: scaling.GearboxRatioNominal, Field: "drive.transmission"})
	}
	if s := d.LoopSensor(); s != nil && s.Kind == scaling.FlowSensor {
		add(scaling.Check{Code: scaling.MotorSpeedNominal, Field: "drive.sensors"})
	}
	if len(t.Readings) == 1 {
		add(scaling.Check{Code: scaling.SingleReading, Field: "readings"})
	}
	if l := &out.Limits; l.Set && l.Value.High-l.Value.Low < 2*l.Value.GuardBand {
		add(scaling.Check{Code: scaling.LimitsTooClose, Field: "drive.motor.regulation"})
	}
}

// pointField is the request's field that says where was measured.
func (t *TachometerCheck) pointField() string {
	if t.Place == NoPlace {
		return "shaft"
	}
	return "wheel"
}
