package server

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"

	"linepace.example/core/changeover"
	"linepace.example/core/fault"
	"linepace.example/core/ratio"
	"linepace.example/core/scaling"
	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// decoder turns wire messages into core's. Units are read here; a unit that cannot
// be read is reported and marked, so that core says nothing more about it.
// Absence of whole messages is left for core and the contract's rules to report.
type decoder struct{ faults fault.List }

func (d *decoder) quantity(q *linepacev1.Quantity, p *fault.Path, field string) units.Quantity {
	if q == nil {
		return units.Quantity{}
	}
	at := p.Field(field)
	return units.Quantity{Value: q.Value, Unit: d.unit(q.Unit, &at)}
}

// unit reads the text of field unit at p.
func (d *decoder) unit(text string, p *fault.Path) *units.Unit {
	at := p.Field("unit")
	return d.unitAt(text, &at)
}

// unitAt reads the text at p itself.
func (d *decoder) unitAt(text string, at *fault.Path) *units.Unit {
	if text == "" {
		d.faults.Add(at, fault.UnitRequired, "is empty; give the unit, such as m/min, r/min or kg/h")
		return scaling.Unreadable
	}
	u, err := units.Parse(text)
	if err == nil {
		return u
	}
	reason := fault.UnitUnknown
	var ambiguous *units.AmbiguousError
	if errors.As(err, &ambiguous) {
		reason = fault.UnitAmbiguous
	}
	d.faults.Add(at, reason, "%s", err)
	return scaling.Unreadable
}

func optional[T any](v *T) scaling.Optional[T] {
	if v == nil {
		return scaling.Optional[T]{}
	}
	return scaling.Some(*v)
}

func (d *decoder) line(in *linepacev1.Line, p *fault.Path) *changeover.Line {
	out := &changeover.Line{
		ID:       in.GetId(),
		Drives:   make([]scaling.Drive, len(in.GetDrives())),
		Sections: make([]scaling.Section, len(in.GetSections())),
	}
	list := p.Field("drives")
	for i, drive := range in.GetDrives() {
		at := list.Index(i)
		d.drive(drive, &out.Drives[i], &at)
	}
	d.corrections(in, out, p)
	list = p.Field("sections")
	for i, section := range in.GetSections() {
		at := list.Index(i)
		out.Sections[i] = d.section(section, &at)
	}
	return out
}

// corrections puts each correction in force on its drive.
func (d *decoder) corrections(in *linepacev1.Line, out *changeover.Line, p *fault.Path) {
	if len(in.GetCorrections()) == 0 {
		return
	}
	drives := make(map[string]*scaling.Drive, len(out.Drives))
	for i := range out.Drives {
		drives[out.Drives[i].ID] = &out.Drives[i]
	}
	list := p.Field("corrections")
	for i, c := range in.GetCorrections() {
		at := list.Index(i)
		id, model, rest := at.Field("driveId"), at.Field("model"), at.Field("evidence")
		if digest := rest.Field("digest"); c.GetEvidence() != nil && !isDigest(c.GetEvidence().GetDigest()) {
			d.faults.Add(&digest, fault.Malformed, "must be a SHA-256 in 64 lower-case hexadecimal digits, as DriftService.Assess gives it")
		}
		correction := d.deliveryModel(c.GetModel(), &model)
		drive := drives[c.GetDriveId()]
		switch {
		case drive == nil:
			d.faults.Add(&id, fault.NotFound, "is %q; the line has no such drive", c.GetDriveId())
		case drive.Corrected():
			d.faults.Add(&id, fault.Duplicate, "is %q, which has a correction already; one a drive is in force", c.GetDriveId())
		case correction.PerTurn.Unit != nil && correction.PerTurn.Unit != scaling.Unreadable:
			drive.Correction = correction
			scaling.ValidateCorrection(drive, &model, &d.faults)
		}
	}
}

// isDigest reports whether a text is a SHA-256 in lower-case hexadecimal digits.
func isDigest(text string) bool {
	digest, err := hex.DecodeString(text)
	return err == nil && len(digest) == sha256.Size && strings.ToLower(text) == text
}

func (d *decoder) section(in *linepacev1.Section, p *fault.Path) scaling.Section {
	out := scaling.Section{
		ID: in.GetId(), DriveID: in.GetDriveId(),
		Length: d.quantity(in.GetLength(), p, "length"), DeadPlate: d.quantity(in.GetDeadPlate(), p, "deadPlate"),
	}
	list := p.Field("zones")
	for i, zone := range in.GetZones() {
		at := list.Index(i)
		out.Zones = append(out.Zones, scaling.Zone{ID: zone.GetId(), Length: d.quantity(zone.GetLength(), &at, "length")})
	}
	return out
}

func (d *decoder) drive(in *linepacev1.Drive, out *scaling.Drive, p *fault.Path) {
	motor := in.GetMotor()
	*out = scaling.Drive{
		ID: in.GetId(),
		Motor: scaling.Motor{
			MinRPM:  motor.GetMinRpm(),
			MaxRPM:  motor.GetMaxRpm(),
			BaseRPM: optionalDouble(motor != nil && motor.BaseRpm != nil, motor.GetBaseRpm()),
			Regulation: scaling.Regulation{
				Percent:      optionalDouble(motor.GetRegulation() != nil && motor.Regulation.Percent != nil, motor.GetRegulation().GetPercent()),
				Of:           scaling.SpeedBase(motor.GetRegulation().GetOf()),
				DroopPercent: optionalDouble(motor.GetRegulation() != nil && motor.Regulation.DroopPercent != nil, motor.GetRegulation().GetDroopPercent()),
			},
		},
		Transmission: make([]scaling.Stage, len(in.GetTransmission())),
		References:   make([]scaling.Reference, len(in.GetReferences())),
		Sensors:      make([]scaling.Sensor, len(in.GetSensors())),
	}
	list := p.Field("transmission")
	for i, stage := range in.GetTransmission() {
		at := list.Index(i)
		out.Transmission[i] = d.stage(stage, &at)
	}
	at := p.Field("delivery")
	out.Delivery = d.delivery(in.GetDelivery(), &at)
	list = p.Field("references")
	for i, reference := range in.GetReferences() {
		at := list.Index(i)
		out.References[i] = scaling.Reference{
			Value:              d.quantity(reference.GetValue(), &at, "value"),
			MotorRPM:           reference.GetMotorRpm(),
			UncertaintyPercent: optional(reference.UncertaintyPercent),
		}
	}
	list = p.Field("sensors")
	for i, sensor := range in.GetSensors() {
		at := list.Index(i)
		out.Sensors[i] = d.sensor(sensor, &at)
	}
	if readout := in.GetReadout(); readout != nil {
		at = p.Field("readout")
		out.Readout = scaling.Readout{Unit: d.unit(readout.Unit, &at), Digits: readout.Digits, Decimals: readout.Decimals, SectionID: readout.SectionId,
			Truncates: readout.Rounding == linepacev1.Readout_CUT_OFF}
	}
	if register := in.GetRegister(); register != nil {
		at = p.Field("register")
		out.Register = d.register(register, &at)
	}
}

func optionalDouble(set bool, v float64) scaling.Optional[float64] {
	return scaling.Optional[float64]{Value: v, Set: set}
}

func (d *decoder) stage(in *linepacev1.Stage, p *fault.Path) scaling.Stage {
	switch kind := in.GetKind().(type) {
	case *linepacev1.Stage_GearPair_:
		return scaling.Stage{Kind: scaling.GearPair, DriverTeeth: kind.GearPair.GetDriverTeeth(), DrivenTeeth: kind.GearPair.GetDrivenTeeth()}
	case *linepacev1.Stage_Gearbox_:
		return scaling.Stage{Kind: scaling.Gearbox, Ratio: kind.Gearbox.GetRatio(), Exact: kind.Gearbox.GetExact()}
	case *linepacev1.Stage_Belt_:
		at := p.Field("belt")
		return scaling.Stage{
			Kind:           scaling.Belt,
			DriverDiameter: d.quantity(kind.Belt.GetDriverDiameter(), &at, "driverDiameter"),
			DrivenDiameter: d.quantity(kind.Belt.GetDrivenDiameter(), &at, "drivenDiameter"),
			SlipPercent:    kind.Belt.GetSlipPercent(),
		}
	case *linepacev1.Stage_Chain_:
		return scaling.Stage{Kind: scaling.Chain, DriverTeeth: kind.Chain.GetDriverTeeth(), DrivenTeeth: kind.Chain.GetDrivenTeeth()}
	}
	return scaling.Stage{}
}

func (d *decoder) delivery(in *linepacev1.Delivery, p *fault.Path) scaling.Delivery {
	switch kind := in.GetKind().(type) {
	case *linepacev1.Delivery_Roll_:
		at := p.Field("roll")
		return scaling.Delivery{
			Kind:          scaling.Roll,
			Diameter:      d.quantity(kind.Roll.GetDiameter(), &at, "diameter"),
			BeltThickness: d.quantity(kind.Roll.GetBeltThickness(), &at, "beltThickness"),
			PitchDiameter: d.quantity(kind.Roll.GetPitchDiameter(), &at, "pitchDiameter"),
			SlipPercent:   kind.Roll.GetSlipPercent(),
		}
	case *linepacev1.Delivery_Sprocket_:
		at := p.Field("sprocket")
		return scaling.Delivery{Kind: scaling.Sprocket, Teeth: kind.Sprocket.GetTeeth(), Pitch: d.quantity(kind.Sprocket.GetPitch(), &at, "pitch")}
	case *linepacev1.Delivery_Pump_:
		at := p.Field("pump")
		pump := kind.Pump
		return scaling.Delivery{
			Kind:                        scaling.Pump,
			Displacement:                d.quantity(pump.GetDisplacement(), &at, "displacement"),
			SlipFlow:                    d.quantity(pump.GetSlipFlow(), &at, "slipFlow"),
			VolumetricEfficiencyPercent: optionalDouble(pump != nil && pump.VolumetricEfficiencyPercent != nil, pump.GetVolumetricEfficiencyPercent()),
			AtRPM:                       optionalDouble(pump != nil && pump.AtRpm != nil, pump.GetAtRpm()),
		}
	case *linepacev1.Delivery_Screw_:
		at := p.Field("screw")
		return scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: d.quantity(kind.Screw.GetVolumePerTurn(), &at, "volumePerTurn")}
	case *linepacev1.Delivery_Feeder_:
		at := p.Field("feeder")
		return scaling.Delivery{
			Kind:          scaling.Feeder,
			MassPerTurn:   d.quantity(kind.Feeder.GetMassPerTurn(), &at, "massPerTurn"),
			VolumePerTurn: d.quantity(kind.Feeder.GetVolumePerTurn(), &at, "volumePerTurn"),
		}
	case *linepacev1.Delivery_Indexer_:
		return scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: kind.Indexer.GetPiecesPerTurn()}
	}
	return scaling.Delivery{}
}

func (d *decoder) sensor(in *linepacev1.Sensor, p *fault.Path) scaling.Sensor {
	out := scaling.Sensor{ID: in.GetId(), ClosesLoop: in.GetClosesLoop()}
	if counting := in.GetCounting(); counting != nil {
		at := p.Field("counting")
		out.Counting = d.counting(counting, &at)
	}
	switch kind := in.GetKind().(type) {
	case *linepacev1.Sensor_Shaft_:
		out.Kind = scaling.ShaftSensor
		if s := kind.Shaft; s != nil {
			out.PulsesPerTurn, out.StagesFromMotor, out.MinHz = s.PulsesPerTurn, s.StagesFromMotor, s.MinHz
			out.EdgesCounted, out.MaxHz = optional(s.EdgesCounted), optional(s.MaxHz)
		}
	case *linepacev1.Sensor_Flow_:
		out.Kind = scaling.FlowSensor
		if s := kind.Flow; s != nil {
			at := p.Field("flow")
			out.KFactor, out.AccuracyPercent = d.quantity(s.KFactor, &at, "kFactor"), optional(s.AccuracyPercent)
		}
	}
	return out
}

func (d *decoder) counting(in *linepacev1.Sensor_Counting, p *fault.Path) scaling.Counting {
	out := scaling.Counting{WantedPercent: optional(in.WantedPercent)}
	switch method := in.GetMethod().(type) {
	case *linepacev1.Sensor_Counting_Gate:
		at := p.Field("gate")
		out.Kind, out.Gate = scaling.ByGate, d.quantity(method.Gate.GetTime(), &at, "time")
	case *linepacev1.Sensor_Counting_Period:
		out.Kind, out.ClockHz = scaling.ByPeriod, method.Period.GetClockHz()
		if method.Period != nil {
			out.Periods = optional(method.Period.Periods)
		}
	}
	return out
}

func (d *decoder) register(in *linepacev1.Register, p *fault.Path) scaling.Register {
	out := scaling.Register{Tag: in.Tag, DwellLength: d.quantity(in.DwellLength, p, "dwellLength")}
	switch kind := in.Kind.(type) {
	case *linepacev1.Register_Integer_:
		out.Kind, out.Type = scaling.IntegerRegister, scaling.IntegerType(kind.Integer.GetType())
	case *linepacev1.Register_Current_:
		out.Kind = scaling.CurrentOutput
	case *linepacev1.Register_Voltage_:
		out.Kind = scaling.VoltageOutput
	case *linepacev1.Register_Ratio_:
		out.Kind = scaling.RatioRegister
		if r := kind.Ratio; r != nil {
			out.Following = scaling.Following{LeaderID: r.LeaderId, Of: scaling.RatioOf(r.Of), Decimals: r.Decimals, MaxPercent: r.MaxPercent}
		}
	case *linepacev1.Register_Fraction_:
		out.Kind = scaling.FractionRegister
		if f := kind.Fraction; f != nil {
			out.Following = scaling.Following{LeaderID: f.LeaderId, Of: scaling.RatioOf(f.Of), MaxNumerator: f.MaxNumerator, MaxDenominator: f.MaxDenominator}
		}
	}
	out.Shaft = shaft(in.Shaft)
	list := p.Field("span")
	if n := len(in.Span); out.Kind != scaling.NoRegister && n != out.SpanPoints() {
		d.checkSpan(n, &out, &list)
		out.Kind = scaling.NoRegister // what else there is to say needs its points
	}
	for i, point := range in.Span {
		if i >= len(out.Span) {
			break // the contract's rule says how many there are
		}
		at := list.Index(i)
		out.Span[i] = scaling.SpanPoint{
			Count: optional(point.Count), Milliamps: optional(point.Milliamps), Volts: optional(point.Volts),
			Value: d.quantity(point.Value, &at, "value"),
		}
	}
	return out
}

// shaft reads a shaft; the motor's where none is named.
func shaft(in linepacev1.Register_Shaft) scaling.Shaft {
	switch in {
	case linepacev1.Register_SENSOR:
		return scaling.SensorShaft
	case linepacev1.Register_LAST:
		return scaling.LastShaft
	}
	return scaling.MotorShaft
}

// checkSpan tells that a register has another number of points than its kind needs.
func (d *decoder) checkSpan(n int, r *scaling.Register, p *fault.Path) {
	switch {
	case r.Follows():
		d.faults.Add(p, fault.Conflict, "is given, and a ratio to a leader has no points; leave it out")
	case n == 0:
		d.faults.Add(p, fault.Required, "is needed: exactly %d", r.SpanPoints())
	case n < r.SpanPoints():
		d.faults.Add(p, fault.OutOfRange, "has %d items; it must have exactly %d", n, r.SpanPoints())
	}
}

func (d *decoder) tolerance(in *linepacev1.Tolerance) scaling.Optional[scaling.Tolerance] {
	if in == nil {
		return scaling.Optional[scaling.Tolerance]{}
	}
	return scaling.Some(scaling.Tolerance{MinusPercent: in.MinusPercent, PlusPercent: in.PlusPercent})
}

func (d *decoder) material(in *linepacev1.Material, p *fault.Path) scaling.Material {
	return scaling.Material{
		ID:          in.GetId(),
		Density:     d.quantity(in.GetDensity(), p, "density"),
		BulkDensity: d.quantity(in.GetBulkDensity(), p, "bulkDensity"),
		FillPercent: optionalDouble(in != nil && in.FillPercent != nil, in.GetFillPercent()),
		Moisture:    scaling.Moisture{Percent: in.GetMoisture().GetPercent(), Basis: scaling.MoistureBasis(in.GetMoisture().GetBasis())},
	}
}

func (d *decoder) product(in *linepacev1.Product, p *fault.Path) *changeover.Product {
	out := &changeover.Product{
		ID:        in.GetId(),
		Materials: make([]scaling.Material, len(in.GetMaterials())),
		Demands:   make([]changeover.Demand, len(in.GetDemands())),
		Blends:    make([]changeover.Blend, len(in.GetBlends())),
	}
	list := p.Field("materials")
	for i, material := range in.GetMaterials() {
		at := list.Index(i)
		out.Materials[i] = d.material(material, &at)
	}
	list = p.Field("demands")
	for i, demand := range in.GetDemands() {
		at := list.Index(i)
		out.Demands[i] = d.demand(demand, &at)
	}
	list = p.Field("blends")
	for i, blend := range in.GetBlends() {
		at := list.Index(i)
		out.Blends[i] = d.blend(blend, &at)
	}
	return out
}

func (d *decoder) demand(in *linepacev1.Demand, p *fault.Path) changeover.Demand {
	out := changeover.Demand{DriveID: in.GetDriveId(), MaterialID: in.GetMaterialId(), Tolerance: d.tolerance(in.GetTolerance())}
	switch kind := in.GetKind().(type) {
	case *linepacev1.Demand_Rate:
		out.Kind, out.Rate = changeover.Rate, d.quantity(kind.Rate, p, "rate")
	case *linepacev1.Demand_Dwell:
		at := p.Field("dwell")
		out.Kind = changeover.Dwell
		if asked := d.dwell(kind.Dwell, &at); plainDwell(kind.Dwell) {
			out.SectionIDs, out.Time = asked.SectionIDs, asked.Time
		} else {
			out.Dwell = asked
		}
	case *linepacev1.Demand_Ratio:
		out.Kind, out.LeaderID, out.Percent = changeover.Ratio, kind.Ratio.GetLeaderId(), kind.Ratio.GetPercent()
		out.Basis = changeover.RatioBasis(kind.Ratio.GetBasis())
	case *linepacev1.Demand_LengthPerPiece:
		at := p.Field("lengthPerPiece")
		out.Kind, out.LeaderID = changeover.LengthPerPiece, kind.LengthPerPiece.GetLeaderId()
		out.Length = d.quantity(kind.LengthPerPiece.GetLength(), &at, "length")
	case *linepacev1.Demand_Dose:
		at := p.Field("dose")
		out.Kind, out.LeaderID = changeover.Dose, kind.Dose.GetLeaderId()
		out.Amount, out.Per = d.quantity(kind.Dose.GetAmount(), &at, "amount"), d.quantity(kind.Dose.GetPer(), &at, "per")
	case *linepacev1.Demand_Stopped:
		out.Kind = changeover.Stopped
	case *linepacev1.Demand_LeaveAsIs:
		out.Kind = changeover.LeaveAsIs
	}
	return out
}

var objectives = map[linepacev1.Blend_Objective]ratio.Objective{linepacev1.Blend_RELATIVE: ratio.Relative}

func (d *decoder) blend(in *linepacev1.Blend, p *fault.Path) changeover.Blend {
	out := changeover.Blend{
		ID:         in.GetId(),
		Basis:      changeover.BlendBasis(in.GetBasis()),
		Total:      d.quantity(in.GetTotal(), p, "total"),
		TotalBasis: changeover.TotalBasis(in.GetTotalBasis()),
		LeaderID:   in.GetLeaderId(),
		LeaderRate: d.quantity(in.GetLeaderRate(), p, "leaderRate"),
		Rounding:   changeover.Rounding(in.GetRounding()),
		Objective:  objectives[in.GetObjective()],
		Components: make([]changeover.Component, len(in.GetComponents())),
	}
	for i, component := range in.GetComponents() {
		out.Components[i] = changeover.Component{
			DriveID: component.GetDriveId(), MaterialID: component.GetMaterialId(),
			SharePercent: component.GetSharePercent(), Tolerance: d.tolerance(component.GetTolerance()),
		}
		// A balance of false is refused by the contract's rule; it is no share either.
		_, out.Components[i].Balance = component.GetShare().(*linepacev1.Blend_Component_Balance)
	}
	return out
}
