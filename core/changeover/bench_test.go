package changeover

import (
	"fmt"
	"testing"

	"linepace.example/core/scaling"
	"linepace.example/core/units"
)

// line returns a request for n drives, in groups of twelve as a small works has
// them: belts that follow each other, a cutter, two dwells, a blend of three
// feeders, a pump, a spare and a fan. It asks for no working.
func line(n int) *Request {
	req := &Request{Line: &Line{ID: "line"}, Product: &Product{ID: "product", Materials: []scaling.Material{
		{ID: "clay", BulkDensity: q(1.35, "kg/L"), Moisture: scaling.Moisture{Percent: 18, Basis: scaling.WetBasis}},
		{ID: "grog", BulkDensity: q(1.1, "kg/L")},
	}}}
	for i := range n {
		addDrive(req, i)
	}
	return req
}

func addDrive(req *Request, i int) {
	id := func(k int) string { return fmt.Sprintf("drive-%05d", i/12*12+k) }
	d := scaling.Drive{
		ID:           id(i % 12),
		Motor:        scaling.Motor{MinRPM: 90, MaxRPM: 1750, Regulation: scaling.Regulation{Percent: scaling.Some(0.5), Of: scaling.MaxSpeed}},
		Transmission: []scaling.Stage{{Kind: scaling.Gearbox, Ratio: 60, Exact: true}, {Kind: scaling.Chain, DriverTeeth: 15, DrivenTeeth: 38}},
		Delivery:     scaling.Delivery{Kind: scaling.Roll, Diameter: q(140, "mm"), BeltThickness: q(3, "mm")},
		Sensors:      []scaling.Sensor{{ID: "pickup", Kind: scaling.ShaftSensor, ClosesLoop: true, PulsesPerTurn: 60, MinHz: 20}},
		Readout:      scaling.Readout{Unit: units.MustParse("m/min"), Digits: 4, Decimals: 2},
		Register:     counts(18000, q(1800, "r/min")),
	}
	product := req.Product
	tolerance := scaling.Some(scaling.Tolerance{MinusPercent: 1, PlusPercent: 1})
	demand := Demand{DriveID: d.ID, Kind: Rate, Rate: q(4.137, "m/min"), Tolerance: tolerance}
	screw := scaling.Delivery{Kind: scaling.Screw, VolumePerTurn: q(3.7, "L/r")}
	switch k := i % 12; k {
	case 1, 2:
		demand = Demand{DriveID: d.ID, Kind: Ratio, LeaderID: id(k - 1), Percent: 101.5, Basis: ProcessRate, Tolerance: tolerance}
	case 3:
		d.Delivery = scaling.Delivery{Kind: scaling.Indexer, PiecesPerTurn: 2}
		d.Readout.Unit = units.MustParse("pc/min")
		demand = Demand{DriveID: d.ID, Kind: LengthPerPiece, LeaderID: id(0), Length: q(410, "mm"), Tolerance: tolerance}
	case 4, 5:
		d.Readout = scaling.Readout{Unit: units.MustParse("min"), Digits: 4, Decimals: 1}
		section := fmt.Sprint("section-", d.ID)
		req.Line.Sections = append(req.Line.Sections, scaling.Section{ID: section, DriveID: d.ID, Length: q(150, "m")})
		demand = Demand{DriveID: d.ID, Kind: Dwell, SectionIDs: []string{section}, Time: q(42, "min"), Tolerance: tolerance}
	case 6, 7, 8:
		d.Delivery, d.Readout.Unit = screw, units.MustParse("r/min")
		d.Readout.Decimals = 0
		component := Component{DriveID: d.ID, MaterialID: []string{"clay", "grog", "grog"}[k-6], SharePercent: []float64{62.5, 25, 12.5}[k-6], Tolerance: tolerance}
		if k == 6 {
			product.Blends = append(product.Blends, Blend{ID: fmt.Sprint("blend-", i), Basis: Mass, Total: q(2400, "kg/h"), TotalBasis: AsFed})
		}
		blend := &product.Blends[len(product.Blends)-1]
		blend.Components = append(blend.Components, component)
	case 9:
		d.Delivery = scaling.Delivery{Kind: scaling.Pump, Displacement: q(1.4, "L/r"), SlipFlow: q(0.35, "L/min")}
		d.Readout.Unit = units.MustParse("L/min")
		demand.Rate = q(8.2, "L/min")
	case 10:
		demand = Demand{DriveID: d.ID, Kind: Stopped}
	case 11:
		demand = Demand{DriveID: d.ID, Kind: LeaveAsIs}
	}
	req.Line.Drives = append(req.Line.Drives, d)
	if k := i % 12; k < 6 || k > 8 {
		product.Demands = append(product.Demands, demand)
	}
}

func BenchmarkMake(b *testing.B) {
	for _, n := range []int{1, 12, 120, 10000} {
		b.Run(fmt.Sprint(n, "-drives"), func(b *testing.B) {
			req := line(n)
			b.ReportAllocs()
			for b.Loop() {
				plan, faults, _ := Make(req, nil, nil)
				if len(faults) > 0 || plan.Verdict == NotRunnable {
					b.Fatal(faults, plan.Checks)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*n), "ns/drive")
		})
	}
}
