package codec_test

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func quantity(value float64, unit string) *linepacev1.Quantity {
	return &linepacev1.Quantity{Value: value, Unit: unit}
}

// twelveDrives returns a plan request of a roof-tile line of twelve drives.
func twelveDrives() *linepacev1.PlanRequest {
	line := &linepacev1.Line{Id: "kiln-line-2", Description: "roof tiles, second line"}
	product := &linepacev1.Product{Id: "slate-300", Materials: []*linepacev1.Material{{
		Id: "clay", BulkDensity: quantity(1.35, "kg/L"),
		Moisture: &linepacev1.Material_Moisture{Percent: 18, Basis: linepacev1.Material_Moisture_WET},
	}}}
	for i := range 12 {
		id := fmt.Sprintf("conveyor-%02d", i)
		line.Drives = append(line.Drives, drive(id, i))
		line.Sections = append(line.Sections, &linepacev1.Section{
			Id: "section-" + id, DriveId: id, Length: quantity(12.5+float64(i), "m"),
		})
		product.Demands = append(product.Demands, demand(id, i))
	}
	return &linepacev1.PlanRequest{
		Line: line, Product: product, IncludeWorking: true,
		Batch: &linepacev1.Batch{BatchId: "B-2291", RecipeId: "R-17", RequestedAt: "2026-03-02T06:00:00Z"},
	}
}

func drive(id string, i int) *linepacev1.Drive {
	return &linepacev1.Drive{
		Id:          id,
		Description: "Rollenförderer Nr. " + id,
		Motor: &linepacev1.Motor{MinRpm: 90, MaxRpm: 1750, Regulation: &linepacev1.Regulation{
			Percent: proto.Float64(0.5), Of: linepacev1.Regulation_MAX_SPEED,
		}},
		Transmission: []*linepacev1.Stage{
			{Kind: &linepacev1.Stage_Gearbox_{Gearbox: &linepacev1.Stage_Gearbox{Ratio: 60 + float64(i)/3, Exact: true}}},
			{Kind: &linepacev1.Stage_Chain_{Chain: &linepacev1.Stage_Chain{DriverTeeth: 15, DrivenTeeth: 38}}},
		},
		Delivery: &linepacev1.Delivery{Kind: &linepacev1.Delivery_Roll_{Roll: &linepacev1.Delivery_Roll{
			Diameter: quantity(40.25, "mm"),
		}}},
		Sensors: []*linepacev1.Sensor{{
			Id: "pickup", ClosesLoop: true,
			Kind: &linepacev1.Sensor_Shaft_{Shaft: &linepacev1.Sensor_Shaft{PulsesPerTurn: 60, EdgesCounted: proto.Int32(1)}},
		}},
		Readout: &linepacev1.Readout{Unit: "min", Digits: 4, Decimals: 1},
		Register: &linepacev1.Register{
			Kind: &linepacev1.Register_Integer_{Integer: &linepacev1.Register_Integer{Type: linepacev1.Register_Integer_UINT16}},
			Span: []*linepacev1.SpanPoint{
				{Count: proto.Int32(0), Value: quantity(0, "r/min")},
				{Count: proto.Int32(18000), Value: quantity(1800, "r/min")},
			},
			Tag: "KILN.SPEED_SP",
		},
	}
}

func demand(id string, i int) *linepacev1.Demand {
	d := &linepacev1.Demand{DriveId: id, Tolerance: &linepacev1.Tolerance{MinusPercent: 1, PlusPercent: 1}}
	switch i % 3 {
	case 0:
		d.Kind = &linepacev1.Demand_Rate{Rate: quantity(6.5+float64(i)/7, "m/min")}
	case 1:
		d.Kind = &linepacev1.Demand_Ratio{Ratio: &linepacev1.Ratio{
			LeaderId: "conveyor-00", Percent: 102.5, Basis: linepacev1.Ratio_PROCESS_RATE,
		}}
	case 2:
		d.Kind = &linepacev1.Demand_Dwell{Dwell: &linepacev1.Dwell{
			SectionIds: []string{"section-" + id}, Time: quantity(42, "min"),
			Meaning: &linepacev1.Dwell_Point_{Point: &linepacev1.Dwell_Point{}},
		}}
	}
	return d
}

// twelveSetpoints returns the answer to such a request, with or without the
// working of each setpoint.
func twelveSetpoints(working bool) *linepacev1.PlanResponse {
	plan := &linepacev1.PlanResponse{Verdict: linepacev1.Check_RUNNABLE_WITH_WARNINGS}
	for i := range 12 {
		x := float64(i)
		s := &linepacev1.Setpoint{
			DriveId: fmt.Sprintf("conveyor-%02d", i), Action: linepacev1.Setpoint_RUN, Tag: "KILN.SPEED_SP",
			Demanded: quantity(42, "min"), DemandedRpm: proto.Float64(1382.3743628553193 + x),
			Count: proto.Int32(13824), AchievedRpm: proto.Float64(1382.4 + x), LastShaftRpm: proto.Float64(9.094736842105263 + x),
			Achieved: quantity(41.999221112+x, "min"), ErrorPercent: proto.Float64(-0.0018545),
			ReadoutText: proto.String("42.0"), ReadoutUnit: proto.String("min"), PulseHz: proto.Float64(1382.4 + x),
			WithinTolerance: proto.Bool(true), BandWithinTolerance: proto.Bool(false),
			Band: &linepacev1.Setpoint_Band{Low: quantity(41.7352891+x, "min"), High: quantity(42.266482+x, "min")},
		}
		if working {
			s.Working = steps(x)
		}
		plan.Setpoints = append(plan.Setpoints, s)
		plan.Checks = append(plan.Checks, &linepacev1.Check{
			Code: linepacev1.Check_BAND_OUTSIDE_TOLERANCE, Severity: linepacev1.Check_WARNING, DriveId: s.DriveId,
			Field: fmt.Sprintf("product.demands[%d].tolerance", i), Message: "the drive holds ±0.63 %, the tolerance is 0.5 %",
		})
	}
	return plan
}

func steps(x float64) []*linepacev1.Step {
	return []*linepacev1.Step{{
		Id: "belt-speed/1", Name: "belt speed", Formula: "length / time",
		Inputs: []*linepacev1.Step_Input{
			{Name: "length", Value: quantity(48+x, "m")}, {Name: "time", Value: quantity(42, "min")},
		},
		Result: quantity((48+x)/42, "m/min"),
	}, {
		Id: "motor-speed/1", Name: "motor speed", Formula: "speed / (pi * diameter) * ratio",
		Inputs: []*linepacev1.Step_Input{
			{Name: "speed", Value: quantity((48+x)/42, "m/min")}, {Name: "diameter", Value: quantity(40.25, "mm")},
			{Name: "ratio", Value: quantity(152, "1")},
		},
		Result: quantity(1382.3743628553193+x, "r/min"),
	}, {
		Id: "count/1", Name: "count", Formula: "round(speed * span)",
		Inputs: []*linepacev1.Step_Input{
			{Name: "speed", Value: quantity(1382.3743628553193+x, "r/min")}, {Name: "span", Value: quantity(10, "1/(r/min)")},
		},
		Result: quantity(13824, "1"),
	}}
}
