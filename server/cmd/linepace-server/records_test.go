package main

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"flag"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"buf.build/go/protoyaml"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
	"linepace.example/proto/refusal"
)

var writeMissing = flag.Bool("write-missing-records", false, "write the kept records that are not there yet")

var (
	keptRecords = filepath.Join("..", "..", "..", "testdata", "records", "v1")
	// The key of RFC 8032 section 7.1, TEST 1, whose private part is published.
	publishedKey = filepath.Join("..", "..", "..", "testdata", "records", "rfc8032-test1.pem")
	roofTileDemo = filepath.Join("..", "..", "..", "testdata", "rooftile")
)

// keptRequests are the requests of the kept records.
func keptRequests(t *testing.T) map[string]*linepacev1.PlanRequest {
	demo := func(product, running string) *linepacev1.PlanRequest {
		req := &linepacev1.PlanRequest{Line: &linepacev1.Line{}, Product: &linepacev1.Product{},
			Batch: &linepacev1.Batch{BatchId: "B-2291", RecipeId: "R-17", EquipmentId: "LINE-1", RequestedBy: "shift 2",
				Reason: "product change", RequestedAt: "2026-03-02T06:00:00Z"}}
		readYAML(t, "line.yaml", req.Line)
		readYAML(t, product, req.Product)
		if running != "" {
			req.Running = &linepacev1.Product{}
			readYAML(t, running, req.Running)
		}
		return req
	}
	small := func(text string) *linepacev1.PlanRequest {
		req := &linepacev1.PlanRequest{}
		require.NoError(t, protojson.Unmarshal([]byte(text), req))
		return req
	}
	base := row{Base: "roof-tiles"}
	corrected := demo("product-b.yaml", "product-a.yaml")
	corrected.Line.Corrections = []*linepacev1.DriveCorrection{{
		DriveId: "glaze-pump",
		Model: &linepacev1.DeliveryModel{Model: &linepacev1.DeliveryModel_Pump_{Pump: &linepacev1.DeliveryModel_Pump{
			Displacement: &linepacev1.Quantity{Value: 2.48, Unit: "mL/r"}, SlipFlow: &linepacev1.Quantity{Value: 0.1372, Unit: "L/min"},
		}}},
		Evidence: &linepacev1.DriveCorrection_Evidence{
			Digest: strings.Repeat("0d", 32), First: "2025-01-06T05:00:00Z", Last: "2026-01-02T05:00:00Z", ReadingCount: 258,
		},
	}}
	return map[string]*linepacev1.PlanRequest{
		"correction":     corrected,
		"roof-tiles":     small(string(base.payload(t))),
		"demo-change":    demo("product-b.yaml", "product-a.yaml"),
		"demo-first":     demo("product-a.yaml", ""),
		"demo-too-fast":  demo("product-too-fast.yaml", ""),
		"analog-outputs": small(analogOutputs),
		"measured-pump":  small(measuredPump),
		"odd-texts":      small(oddTexts),
		"references":     small(severalReferences),
		"dwells":         small(dwells),
		"transitions":    small(transitions),
		"time-registers": small(timeRegisters),
		"sensors":        small(countedSensors),
		"blends":         small(jointBlends),
	}
}

// Counts that are chosen together, of dry shares and after a leader that has a demand
// of its own, doses for each metre and each kilogram, and a drive out of range.
const jointBlends = `{
 "line": {"id": "bodies", "drives": [
  {"id": "clay", "motor": {"minRpm": 90, "maxRpm": 1750}, "delivery": {"screw": {"volumePerTurn": {"value": 50, "unit": "mL/r"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 1000, "value": {"value": 2000, "unit": "r/min"}}]}},
  {"id": "grog", "motor": {"minRpm": 90, "maxRpm": 1750}, "delivery": {"screw": {"volumePerTurn": {"value": 13.3, "unit": "mL/r"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 1000, "value": {"value": 2000, "unit": "r/min"}}]}},
  {"id": "oxide", "motor": {"minRpm": 90, "maxRpm": 1750}, "delivery": {"feeder": {"massPerTurn": {"value": 5.3, "unit": "g/r"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 1000, "value": {"value": 2000, "unit": "r/min"}}]}},
  {"id": "base", "motor": {"maxRpm": 1500}, "delivery": {"pump": {"displacement": {"value": 10, "unit": "mL/r"}, "slipFlow": {"value": 30, "unit": "mL/min"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 1500, "value": {"value": 1500, "unit": "r/min"}}]}},
  {"id": "tint", "motor": {"maxRpm": 1500}, "delivery": {"pump": {"displacement": {"value": 1, "unit": "mL/r"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 300, "value": {"value": 1500, "unit": "r/min"}}]}},
  {"id": "thinner", "motor": {"maxRpm": 1500}, "delivery": {"pump": {"displacement": {"value": 3, "unit": "mL/r"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 300, "value": {"value": 1500, "unit": "r/min"}}]}},
  {"id": "web", "motor": {"maxRpm": 1500}, "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 3.1, "unit": "mm"}}}},
  {"id": "glue", "motor": {"maxRpm": 1500}, "delivery": {"pump": {"displacement": {"value": 2, "unit": "mL/r"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "mL/min"}}, {"count": 30000, "value": {"value": 3000, "unit": "mL/min"}}]}},
  {"id": "binder", "motor": {"maxRpm": 10}, "delivery": {"feeder": {"massPerTurn": {"value": 1, "unit": "g/r"}}}}]},
 "product": {"id": "p", "materials": [
   {"id": "clay", "bulkDensity": {"value": 1.35, "unit": "kg/L"}, "moisture": {"percent": 18, "basis": "WET"}},
   {"id": "grog", "bulkDensity": {"value": 1.2, "unit": "kg/L"}, "moisture": {"percent": 2, "basis": "DRY"}},
   {"id": "paint", "density": {"value": 1.31, "unit": "kg/L"}}, {"id": "glue", "density": {"value": 1.07, "unit": "kg/L"}}],
  "demands": [
   {"driveId": "web", "rate": {"value": 18, "unit": "m/min"}},
   {"driveId": "base", "rate": {"value": 9.1, "unit": "L/min"}, "materialId": "paint"},
   {"driveId": "glue", "materialId": "glue", "dose": {"leaderId": "web", "amount": {"value": 12, "unit": "g"}, "per": {"value": 1, "unit": "m"}}},
   {"driveId": "binder", "dose": {"leaderId": "clay", "amount": {"value": 3, "unit": "g"}, "per": {"value": 1, "unit": "kg"}}}],
  "blends": [
   {"id": "body", "basis": "MASS", "total": {"value": 1200, "unit": "kg/h"}, "totalBasis": "DRY", "rounding": "JOINT", "objective": "RELATIVE", "components": [
     {"driveId": "clay", "materialId": "clay", "sharePercent": 75.3}, {"driveId": "grog", "materialId": "grog", "sharePercent": 17.1}, {"driveId": "oxide", "balance": true}]},
   {"id": "paint", "basis": "VOLUME", "leaderId": "base", "rounding": "JOINT", "components": [
     {"driveId": "base", "balance": true}, {"driveId": "tint", "sharePercent": 6.2}, {"driveId": "thinner", "sharePercent": 21.7}]}]},
 "batch": {"requestedAt": "2026-03-02T06:00:00Z"}}`

// Sensors whose way of counting is known, in the loop and outside it, a readout that
// drops digits, one that shows a time while its belt runs backwards, and one whose
// density is not known.
const countedSensors = `{
 "line": {"id": "counted", "drives": [
  {"id": "gate", "motor": {"minRpm": 90, "maxRpm": 1750, "regulation": {"percent": 0.5, "of": "MAX_SPEED"}},
   "transmission": [{"gearbox": {"ratio": 20, "exact": true}}],
   "delivery": {"roll": {"diameter": {"value": 100, "unit": "mm"}}},
   "sensors": [{"id": "encoder", "closesLoop": true, "shaft": {"pulsesPerTurn": 60}, "counting": {"gate": {"time": {"value": 0.5, "unit": "s"}}, "wantedPercent": 0.1}},
               {"id": "wheel", "shaft": {"pulsesPerTurn": 4, "stagesFromMotor": 1, "minHz": 10}, "counting": {"period": {"clockHz": 100000, "periods": 2}}}],
   "readout": {"unit": "m/min", "digits": 4, "decimals": 2, "rounding": "CUT_OFF"},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 17500, "value": {"value": 1750, "unit": "r/min"}}]}},
  {"id": "back", "motor": {"minRpm": 10, "maxRpm": 1000},
   "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 12.7, "unit": "mm"}}},
   "readout": {"unit": "s", "digits": 4, "decimals": 1, "rounding": "NEAREST"},
   "register": {"integer": {"type": "INT16"}, "span": [{"count": -10000, "value": {"value": -1000, "unit": "r/min"}}, {"count": 10000, "value": {"value": 1000, "unit": "r/min"}}]}},
  {"id": "screw", "motor": {"maxRpm": 900}, "delivery": {"screw": {"volumePerTurn": {"value": 1, "unit": "L/r"}}}, "readout": {"unit": "kg/h", "digits": 5}}],
  "sections": [{"id": "s", "driveId": "back", "length": {"value": 10, "unit": "m"}}]},
 "product": {"id": "p", "demands": [
  {"driveId": "gate", "rate": {"value": 18, "unit": "m/min"}},
  {"driveId": "back", "rate": {"value": -51.3, "unit": "m/min"}},
  {"driveId": "screw", "rate": {"value": 20, "unit": "L/min"}}]},
 "batch": {"requestedAt": "2026-03-02T06:00:00Z"}}`

// Small lines: outputs that do not round, and registers that speak of other shafts.
const analogOutputs = `{
 "line": {"id": "two", "drives": [
  {"id": "up", "motor": {"minRpm": 90, "maxRpm": 1750, "baseRpm": 1500, "regulation": {"percent": 0.5, "of": "BASE_SPEED"}},
   "transmission": [{"belt": {"driverDiameter": {"value": 100, "unit": "mm"}, "drivenDiameter": {"value": 8, "unit": "in"}, "slipPercent": 1.3}}],
   "delivery": {"roll": {"pitchDiameter": {"value": 212, "unit": "mm"}, "slipPercent": 0.4}},
   "register": {"current": {}, "shaft": "LAST", "span": [{"milliamps": 4, "value": {"value": 0, "unit": "r/min"}}, {"milliamps": 20, "value": {"value": 900, "unit": "r/min"}}]}},
  {"id": "down", "motor": {"minRpm": 90, "maxRpm": 1750, "regulation": {"droopPercent": 2}},
   "transmission": [{"gearPair": {"driverTeeth": 17, "drivenTeeth": 53}}],
   "delivery": {"sprocket": {"teeth": 11, "pitch": {"value": 0.75, "unit": "in"}}},
   "sensors": [{"id": "s", "closesLoop": true, "shaft": {"pulsesPerTurn": 60, "stagesFromMotor": 1, "minHz": 5, "maxHz": 900}}],
   "register": {"voltage": {}, "span": [{"volts": 0, "value": {"value": 0, "unit": "m/min"}}, {"volts": 10, "value": {"value": 120, "unit": "m/min"}}]}}]},
 "product": {"id": "p", "demands": [
  {"driveId": "up", "rate": {"value": 95.3, "unit": "ft/min"}, "tolerance": {"minusPercent": 0.1, "plusPercent": 0.2}},
  {"driveId": "down", "ratio": {"leaderId": "up", "percent": 101.37, "basis": "PROCESS_RATE"}}]},
 "batch": {"requestedAt": "2026-03-02T07:00:00.250+01:00"}}`

// Times of whole pieces, bounds, and belts in series.
const dwells = `{
 "line": {"id": "tunnels", "drives": [
  {"id": "dryer", "motor": {"minRpm": 60, "maxRpm": 1500, "regulation": {"percent": 0.2, "of": "SET_SPEED"}},
   "transmission": [{"gearbox": {"ratio": 120, "exact": true}}],
   "delivery": {"roll": {"diameter": {"value": 120, "unit": "mm"}, "beltThickness": {"value": 4, "unit": "mm"}}},
   "readout": {"unit": "min", "digits": 4, "decimals": 2},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 1500, "value": {"value": 1500, "unit": "r/min"}}]}},
  {"id": "kiln", "motor": {"minRpm": 60, "maxRpm": 1500},
   "transmission": [{"gearbox": {"ratio": 60, "exact": true}}],
   "delivery": {"sprocket": {"teeth": 17, "pitch": {"value": 1, "unit": "in"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "m/min"}}, {"count": 10000, "value": {"value": 10, "unit": "m/min"}}]}},
  {"id": "cooler", "motor": {"minRpm": 60, "maxRpm": 1500},
   "transmission": [{"gearbox": {"ratio": 59.7}}],
   "delivery": {"roll": {"diameter": {"value": 133, "unit": "mm"}}},
   "register": {"integer": {"type": "INT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": -3000, "value": {"value": 1500, "unit": "r/min"}}]}},
  {"id": "store", "motor": {"minRpm": 0, "maxRpm": 1500, "regulation": {"percent": 0.5, "of": "MAX_SPEED"}},
   "delivery": {"sprocket": {"teeth": 7, "pitch": {"value": 1, "unit": "mm"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 3000, "value": {"value": 1500, "unit": "r/min"}}]}}],
  "sections": [
   {"id": "dry", "driveId": "dryer", "length": {"value": 72, "unit": "m"}, "zones": [{"id": "warm", "length": {"value": 20, "unit": "m"}}]},
   {"id": "fire", "driveId": "kiln", "length": {"value": 48, "unit": "m"}, "deadPlate": {"value": 120, "unit": "mm"}},
   {"id": "cool", "driveId": "cooler", "length": {"value": 15, "unit": "m"}},
   {"id": "rest", "driveId": "store", "length": {"value": 33, "unit": "m"}}]},
 "product": {"id": "p", "demands": [
  {"driveId": "dryer", "dwell": {"sectionIds": ["dry"], "atLeast": {"value": 88, "unit": "min"}, "wholePiece": {"length": {"value": 425, "unit": "mm"}}}},
  {"driveId": "kiln", "tolerance": {"minusPercent": 1, "plusPercent": 1}, "dwell": {"sectionIds": ["fire", "cool"], "time": {"value": 55, "unit": "min"}, "anyPart": {"length": {"value": 425, "unit": "mm"}},
   "belts": [{"driveId": "kiln", "speedPercent": 100}, {"driveId": "cooler", "speedPercent": 103.7}]}},
  {"driveId": "cooler", "dwell": {"sectionIds": ["fire", "cool"], "time": {"value": 55, "unit": "min"}, "anyPart": {"length": {"value": 425, "unit": "mm"}},
   "belts": [{"driveId": "kiln", "timeSharePercent": 78.5}, {"driveId": "cooler", "timeSharePercent": 21.5}]}},
  {"driveId": "store", "dwell": {"sectionIds": ["rest"], "atLeast": {"value": 7, "unit": "min"}, "atMost": {"value": 7.1, "unit": "min"}, "point": {}}}]},
 "running": {"id": "r", "demands": [
  {"driveId": "dryer", "dwell": {"sectionIds": ["dry"], "atMost": {"value": 97, "unit": "min"}, "point": {}}},
  {"driveId": "kiln", "dwell": {"sectionIds": ["fire"], "time": {"value": 54, "unit": "min"}, "wholePiece": {"length": {"value": 375, "unit": "mm"}}}},
  {"driveId": "cooler", "ratio": {"leaderId": "kiln", "percent": 104, "basis": "PROCESS_RATE"}},
  {"driveId": "store", "stopped": {}}]},
 "batch": {"requestedAt": "2026-03-02T07:00:00.250+01:00"}}`

// Pieces on one belt and on two in series while the speeds change, and a drive
// that stands still now.
const transitions = `{
 "line": {"id": "tunnels", "drives": [
  {"id": "dryer", "motor": {"minRpm": 60, "maxRpm": 1500}, "transmission": [{"gearbox": {"ratio": 120, "exact": true}}],
   "delivery": {"roll": {"diameter": {"value": 180, "unit": "mm"}}},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "m/min"}}, {"count": 10000, "value": {"value": 10, "unit": "m/min"}}]}},
  {"id": "kiln", "motor": {"minRpm": 60, "maxRpm": 1500}, "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 0.17, "unit": "mm"}}}},
  {"id": "cooler", "motor": {"minRpm": 60, "maxRpm": 1500}, "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 0.19, "unit": "mm"}}}},
  {"id": "store", "motor": {"minRpm": 60, "maxRpm": 1500}, "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 0.3, "unit": "mm"}}}}],
  "sections": [
   {"id": "dry", "driveId": "dryer", "length": {"value": 72, "unit": "m"}},
   {"id": "fire", "driveId": "kiln", "length": {"value": 48, "unit": "m"}, "deadPlate": {"value": 120, "unit": "mm"}},
   {"id": "cool", "driveId": "cooler", "length": {"value": 50, "unit": "ft"}},
   {"id": "rest", "driveId": "store", "length": {"value": 33, "unit": "m"}}]},
 "product": {"id": "p", "demands": [
  {"driveId": "dryer", "dwell": {"sectionIds": ["dry"], "time": {"value": 88, "unit": "min"}, "wholePiece": {"length": {"value": 425, "unit": "mm"}}}},
  {"driveId": "kiln", "dwell": {"sectionIds": ["fire", "cool"], "time": {"value": 55, "unit": "min"}, "anyPart": {"length": {"value": 425, "unit": "mm"}}, "belts": [{"driveId": "kiln", "speedPercent": 100}, {"driveId": "cooler", "speedPercent": 103.7}]}},
  {"driveId": "cooler", "dwell": {"sectionIds": ["fire", "cool"], "time": {"value": 55, "unit": "min"}, "anyPart": {"length": {"value": 425, "unit": "mm"}}, "belts": [{"driveId": "kiln", "speedPercent": 100}, {"driveId": "cooler", "speedPercent": 103.7}]}},
  {"driveId": "store", "dwell": {"sectionIds": ["rest"], "time": {"value": 40, "unit": "min"}, "point": {}}}]},
 "running": {"id": "r", "demands": [
  {"driveId": "dryer", "dwell": {"sectionIds": ["dry"], "time": {"value": 95, "unit": "min"}, "point": {}}},
  {"driveId": "kiln", "rate": {"value": 1.07, "unit": "m/min"}},
  {"driveId": "cooler", "ratio": {"leaderId": "kiln", "percent": 101, "basis": "PROCESS_RATE"}},
  {"driveId": "store", "stopped": {}}]},
 "transitions": [
  {"driveId": "dryer", "ramp": {"value": 137, "unit": "min"}, "pitch": {"value": 470, "unit": "mm"}, "firstPiece": {"value": 0.3, "unit": "m"}, "feed": "CONSTANT_PITCH", "tolerancePercent": 6.1,
   "cost": {"perMinuteStopped": 40, "perPieceOut": 1.2}},
  {"driveId": "cooler", "ramp": {"value": 300, "unit": "s"}, "pitch": {"value": 470, "unit": "mm"}, "feed": "CONSTANT_RATE", "tolerancePercent": 4},
  {"driveId": "store", "ramp": {"value": 0, "unit": "s"}, "pitch": {"value": 1, "unit": "m"}, "pieceLength": {"value": 425, "unit": "mm"}, "feed": "CONSTANT_RATE", "tolerancePercent": 4}],
 "batch": {"requestedAt": "2026-03-02T07:00:00.250+01:00"}}`

// Registers that take a time: one that rises, one that falls, and a current.
const timeRegisters = `{
 "line": {"id": "ovens", "drives": [
  {"id": "first", "motor": {"minRpm": 60, "maxRpm": 1500, "regulation": {"percent": 0.2, "of": "SET_SPEED"}}, "transmission": [{"gearbox": {"ratio": 180, "exact": true}}],
   "delivery": {"roll": {"diameter": {"value": 200, "unit": "mm"}}}, "readout": {"unit": "min", "digits": 4, "decimals": 1},
   "register": {"integer": {"type": "UINT16"}, "dwellLength": {"value": 30, "unit": "m"}, "span": [{"count": 0, "value": {"value": 0, "unit": "min"}}, {"count": 1000, "value": {"value": 100, "unit": "min"}}]}},
  {"id": "second", "motor": {"minRpm": 60, "maxRpm": 1500}, "transmission": [{"gearbox": {"ratio": 120, "exact": true}}],
   "delivery": {"sprocket": {"teeth": 8, "pitch": {"value": 1, "unit": "in"}}},
   "register": {"integer": {"type": "INT16"}, "dwellLength": {"value": 7, "unit": "m"}, "span": [{"count": 20000, "value": {"value": 0, "unit": "s"}}, {"count": 0, "value": {"value": 2000, "unit": "s"}}]}},
  {"id": "third", "motor": {"minRpm": 60, "maxRpm": 1500}, "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 0.3, "unit": "mm"}}},
   "register": {"current": {}, "dwellLength": {"value": 9, "unit": "m"}, "span": [{"milliamps": 4, "value": {"value": 20, "unit": "min"}}, {"milliamps": 20, "value": {"value": 2, "unit": "min"}}]}},
  {"id": "fourth", "motor": {"minRpm": 60, "maxRpm": 1500}, "delivery": {"sprocket": {"teeth": 10, "pitch": {"value": 0.3, "unit": "mm"}}},
   "register": {"integer": {"type": "UINT16"}, "dwellLength": {"value": 9, "unit": "m"}, "span": [{"count": 1, "value": {"value": 1, "unit": "min"}}, {"count": 60, "value": {"value": 60, "unit": "min"}}]}}],
  "sections": [{"id": "bake", "driveId": "first", "length": {"value": 30, "unit": "m"}}, {"id": "toast", "driveId": "second", "length": {"value": 7.1, "unit": "m"}},
   {"id": "cool", "driveId": "third", "length": {"value": 9, "unit": "m"}}]},
 "product": {"id": "p", "demands": [
  {"driveId": "first", "dwell": {"sectionIds": ["bake"], "time": {"value": 12.34, "unit": "min"}, "point": {}}, "tolerance": {"minusPercent": 0.3, "plusPercent": 0.3}},
  {"driveId": "second", "dwell": {"sectionIds": ["toast"], "atLeast": {"value": 301.23, "unit": "s"}, "point": {}}},
  {"driveId": "third", "rate": {"value": 1.7, "unit": "m/min"}},
  {"driveId": "fourth", "ratio": {"leaderId": "first", "percent": 88, "basis": "PROCESS_RATE"}}]},
 "running": {"id": "r", "demands": [
  {"driveId": "first", "dwell": {"sectionIds": ["bake"], "time": {"value": 13.3, "unit": "min"}, "point": {}}},
  {"driveId": "second", "stopped": {}}, {"driveId": "third", "stopped": {}}, {"driveId": "fourth", "rate": {"value": 1.1, "unit": "m/min"}}]},
 "batch": {"requestedAt": "2026-03-02T07:00:00.250+01:00"}}`

// A pump by one measured reference, under a flow meter.
const measuredPump = `{
 "line": {"id": "glaze", "drives": [
  {"id": "pump", "motor": {"minRpm": 60, "maxRpm": 1450},
   "transmission": [{"gearbox": {"ratio": 7.03}}],
   "delivery": {"pump": {"displacement": {"value": 21.4, "unit": "mL/r"}}},
   "references": [{"value": {"value": 1.93, "unit": "L/min"}, "motorRpm": 700, "uncertaintyPercent": 0.6}],
   "sensors": [{"id": "meter", "closesLoop": true, "flow": {"kFactor": {"value": 2100, "unit": "pulse/L"}, "accuracyPercent": 0.5}}],
   "readout": {"unit": "kg/h", "digits": 4, "decimals": 1},
   "register": {"integer": {"type": "INT32"}, "span": [{"count": 0, "value": {"value": 0, "unit": "L/min"}}, {"count": 100000, "value": {"value": 10, "unit": "L/min"}}]}}]},
 "product": {"id": "white", "materials": [{"id": "slip", "density": {"value": 1.46, "unit": "kg/L"}}],
  "demands": [{"driveId": "pump", "rate": {"value": 41.7, "unit": "kg/h"}, "materialId": "slip"}]},
 "batch": {"requestedAt": "2026-03-02T06:00:00Z"}}`

// Lines through several references: a pump with slip flow, planned at a quarter of the
// speed of its first reference and weighted; a belt through zero in two units, of which
// one contradicts another; a screw with one reference that states no uncertainty.
const severalReferences = `{
 "line": {"id": "glaze-2", "drives": [
  {"id": "pump", "motor": {"minRpm": 60, "maxRpm": 1450},
   "transmission": [{"gearbox": {"ratio": 7.03}}],
   "delivery": {"pump": {"displacement": {"value": 21.4, "unit": "mL/r"}}},
   "references": [{"value": {"value": 3.87, "unit": "L/min"}, "motorRpm": 1400, "uncertaintyPercent": 0.6},
                  {"value": {"value": 1.745, "unit": "L/min"}, "motorRpm": 700, "uncertaintyPercent": 0.8}],
   "register": {"integer": {"type": "INT32"}, "span": [{"count": 0, "value": {"value": 0, "unit": "L/min"}}, {"count": 100000, "value": {"value": 10, "unit": "L/min"}}]}},
  {"id": "belt", "motor": {"minRpm": 90, "maxRpm": 1750, "regulation": {"percent": 0.5, "of": "SET_SPEED"}},
   "delivery": {"roll": {"diameter": {"value": 100, "unit": "mm"}}}, "transmission": [{"gearbox": {"ratio": 20, "exact": true}}],
   "references": [{"value": {"value": 12.61, "unit": "m/min"}, "motorRpm": 800, "uncertaintyPercent": 0.4},
                  {"value": {"value": 25.31, "unit": "m/min"}, "motorRpm": 1600, "uncertaintyPercent": 0.3},
                  {"value": {"value": 42.7, "unit": "ft/min"}, "motorRpm": 800, "uncertaintyPercent": 0.5}],
   "readout": {"unit": "m/min", "digits": 4, "decimals": 2},
   "register": {"integer": {"type": "UINT16"}, "span": [{"count": 0, "value": {"value": 0, "unit": "r/min"}}, {"count": 17500, "value": {"value": 1750, "unit": "r/min"}}]}},
  {"id": "screw", "motor": {"minRpm": 90, "maxRpm": 1750},
   "references": [{"value": {"value": 310, "unit": "kg/h"}, "motorRpm": 500}, {"value": {"value": 634, "unit": "kg/h"}, "motorRpm": 1000, "uncertaintyPercent": 1}],
   "register": {"current": {}, "span": [{"milliamps": 4, "value": {"value": 0, "unit": "r/min"}}, {"milliamps": 20, "value": {"value": 1750, "unit": "r/min"}}]}}]},
 "product": {"id": "white", "materials": [{"id": "slip", "density": {"value": 1.46, "unit": "kg/L"}}],
  "demands": [{"driveId": "pump", "rate": {"value": 60.4, "unit": "kg/h"}, "materialId": "slip"},
              {"driveId": "belt", "rate": {"value": 18, "unit": "m/min"}, "tolerance": {"minusPercent": 1, "plusPercent": 1}},
              {"driveId": "screw", "rate": {"value": 425, "unit": "kg/h"}}]},
 "batch": {"requestedAt": "2026-11-25T06:00:00Z"}}`

// What JSON escapes, what canonical JSON does not, and numbers at its bounds.
const oddTexts = `{
 "line": {"id": "\"\\/\b\f\n\r\t\u0001\u007f<&>\u2028é\ud83d\udd25", "drives": [
  {"id": "belt", "motor": {"minRpm": 1e-7, "maxRpm": 123456.789}, "delivery": {"roll": {"diameter": {"value": 0.30000000000000004, "unit": "m"}}}},
  {"id": "spare", "motor": {"minRpm": 0, "maxRpm": 1}}, {"id": "fan", "motor": {"minRpm": 0, "maxRpm": 1}}]},
 "product": {"id": "p", "demands": [{"driveId": "belt", "rate": {"value": 100, "unit": "mm/s"}}, {"driveId": "spare", "stopped": {}}, {"driveId": "fan", "leaveAsIs": {}}]},
 "batch": {"reason": "\u00e9 is not e\u0301", "requestedAt": "2026-12-31T23:59:59Z"}}`

func readYAML(t *testing.T, name string, into proto.Message) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(roofTileDemo, name))
	require.NoError(t, err)
	require.NoError(t, protoyaml.Unmarshal(data, into))
}

// privateCopy copies a key's file to where its owner alone may read it, which a
// checkout does not keep.
func privateCopy(t *testing.T, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	return privateFile(t, data)
}

func privateFile(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "key.pem")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

func newKeyFile(t *testing.T) string {
	t.Helper()
	_, key, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	der, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	return privateFile(t, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
}

// services are the clients of one server.
type services struct {
	linepacev1.ChangeoverServiceClient
	linepacev1.RecordServiceClient
}

func servicesOf(t *testing.T, p *process) services {
	t.Helper()
	conn := dial(t, p.addresses["grpc"])
	return services{linepacev1.NewChangeoverServiceClient(conn), linepacev1.NewRecordServiceClient(conn)}
}

func startSigning(t *testing.T, keyFile string) services {
	t.Helper()
	return servicesOf(t, startServer(t, "--grpc", "127.0.0.1:0", "--http", "", "--signing-key", keyFile))
}

func (s services) recordOf(t *testing.T, req *linepacev1.PlanRequest) *linepacev1.Record {
	t.Helper()
	req = proto.CloneOf(req)
	req.IncludeRecord = true
	resp, err := s.Plan(t.Context(), req)
	require.NoError(t, err)
	require.NotNil(t, resp.Record)
	return resp.Record
}

func (s services) verify(t *testing.T, rec *linepacev1.Record, keys ...*linepacev1.PublicKey) *linepacev1.VerifyResponse {
	t.Helper()
	out, err := s.Verify(t.Context(), &linepacev1.VerifyRequest{Record: rec, Keys: keys})
	require.NoError(t, err)
	return out
}

// readKept returns the kept records by their names.
func readKept(t *testing.T) map[string]*linepacev1.Record {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(keptRecords, "*.json"))
	require.NoError(t, err)
	out := map[string]*linepacev1.Record{}
	for _, file := range files {
		payload, err := os.ReadFile(file)
		require.NoError(t, err)
		base := strings.TrimSuffix(file, ".json")
		jws, err := os.ReadFile(base + ".jws")
		require.NoError(t, err)
		out[filepath.Base(base)] = &linepacev1.Record{Payload: payload, Digest: record.Digest(payload),
			Jws: proto.String(strings.TrimSuffix(string(jws), "\n"))}
	}
	return out
}

// Records that were made once verify for ever. Adding one writes its file; no
// flag writes one anew.
func TestKeptRecords(t *testing.T) {
	s := startSigning(t, privateCopy(t, publishedKey))
	kept := readKept(t)
	if *writeMissing {
		for name, req := range keptRequests(t) {
			if kept[name] == nil {
				rec := s.recordOf(t, req)
				file := filepath.Join(keptRecords, name)
				require.NoError(t, os.WriteFile(file+".json", rec.Payload, 0o644))
				require.NoError(t, os.WriteFile(file+".jws", []byte(rec.GetJws()+"\n"), 0o644))
			}
		}
		kept = readKept(t)
	}
	require.GreaterOrEqual(t, len(kept), 7, "records are missing; they are never removed")
	for name, rec := range kept {
		t.Run(name, func(t *testing.T) {
			out := s.verify(t, rec)
			require.Equal(t, linepacev1.VerifyResponse_SAME, out.Outcome, "%v", out)
			require.Equal(t, linepacev1.VerifyResponse_GOOD, out.Signature)
			require.Equal(t, rec.Digest, out.Digest)
			require.Equal(t, "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k", out.KeyId) // RFC 8037 appendix A.3, from memory
			require.Contains(t, out.Build, "linepace-server")
			require.Empty(t, out.Differences)
			require.Empty(t, out.UnknownFormulas)
		})
	}
	// The requests give them still: what is read from a record is what was asked.
	for name, req := range keptRequests(t) {
		require.NotNil(t, kept[name], name)
		require.Equal(t, string(kept[name].Payload), string(s.recordOf(t, req).Payload), name)
	}
}

func replaceOnce(t *testing.T, payload []byte, old, with string) []byte {
	t.Helper()
	require.Equal(t, 1, bytes.Count(payload, []byte(old)), "%s in the payload", old)
	return bytes.Replace(payload, []byte(old), []byte(with), 1)
}

// A changed copy of a kept record never passes, and the answer says what is wrong.
func TestChangedRecords(t *testing.T) {
	s := startSigning(t, privateCopy(t, publishedKey))
	rec := readKept(t)["measured-pump"]
	require.NotNil(t, rec)
	// The pump's count, by hand: 41.7 kg/h / 1.46 kg/L / 60 = 0.476027 L/min, at 10000 counts a L/min.
	changed := replaceOnce(t, rec.Payload, `"count":4760,`, `"count":4761,`)

	out := s.verify(t, &linepacev1.Record{Payload: changed, Jws: rec.Jws})
	require.Equal(t, linepacev1.VerifyResponse_BAD_SIGNATURE, out.Outcome)
	require.Equal(t, linepacev1.VerifyResponse_BAD, out.Signature)
	require.Empty(t, out.Differences, "the bytes are not read")

	out = s.verify(t, &linepacev1.Record{Payload: changed})
	require.Equal(t, linepacev1.VerifyResponse_DIFFERS, out.Outcome)
	require.Equal(t, linepacev1.VerifyResponse_NONE, out.Signature)
	require.Len(t, out.Differences, 1)
	require.Equal(t, "setpoints[0].count", out.Differences[0].Field)
	require.Equal(t, "4761", out.Differences[0].Recorded)
	require.Equal(t, "4760", out.Differences[0].Recomputed)

	out = s.verify(t, &linepacev1.Record{Payload: rec.Payload})
	require.Equal(t, linepacev1.VerifyResponse_SAME, out.Outcome)
	require.Equal(t, linepacev1.VerifyResponse_NONE, out.Signature)

	out = s.verify(t, &linepacev1.Record{Payload: replaceOnce(t, rec.Payload, `"pulse-frequency/1"`, `"pulse-frequency/1","ratio/999"`)})
	require.Equal(t, linepacev1.VerifyResponse_NOT_RECOMPUTABLE, out.Outcome)
	require.Equal(t, []string{"ratio/999"}, out.UnknownFormulas)

	// A known formula that the plan does not rest on, and one that is left out.
	out = s.verify(t, &linepacev1.Record{Payload: replaceOnce(t, rec.Payload, `"reference-differs/1",`, ``)})
	require.Equal(t, linepacev1.VerifyResponse_DIFFERS, out.Outcome)
	require.Contains(t, out.Differences[0].Field, "formulas[")

	// The same record by another key, and by a key that the caller does not trust.
	other := startSigning(t, newKeyFile(t))
	out = other.verify(t, rec)
	require.Equal(t, linepacev1.VerifyResponse_UNKNOWN_KEY, out.Outcome)
	require.Equal(t, linepacev1.VerifyResponse_KEY_UNKNOWN, out.Signature)
	require.NotEmpty(t, out.KeyId)
	keys, err := s.Keys(t.Context(), &linepacev1.KeysRequest{})
	require.NoError(t, err)
	require.Len(t, keys.Keys, 1)
	require.Equal(t, linepacev1.VerifyResponse_SAME, other.verify(t, rec, keys.Keys...).Outcome)
	theirs, err := other.Keys(t.Context(), &linepacev1.KeysRequest{})
	require.NoError(t, err)
	require.Equal(t, linepacev1.VerifyResponse_UNKNOWN_KEY, s.verify(t, rec, theirs.Keys...).Outcome)
	require.Equal(t, linepacev1.VerifyResponse_SAME, s.verify(t, rec, append(theirs.Keys, keys.Keys...)...).Outcome)
}

// Whatever byte of an unsigned payload is changed, the answer is never SAME.
func TestEveryByteOfAPlanCounts(t *testing.T) {
	s := servicesOf(t, startServer(t, "--grpc", "127.0.0.1:0", "--http", ""))
	rec := readKept(t)["measured-pump"]
	begin, end := bytes.Index(rec.Payload, []byte(`"plan":`)), bytes.Index(rec.Payload, []byte(`,"request":`))
	require.True(t, 0 < begin && begin < end)
	outcomes := map[linepacev1.VerifyResponse_Outcome]int{}
	for i := range rec.Payload {
		if i >= end {
			break // another request has another plan, and may well be a record
		}
		changed := bytes.Clone(rec.Payload)
		changed[i] ^= 1
		out, err := s.Verify(t.Context(), &linepacev1.VerifyRequest{Record: &linepacev1.Record{Payload: changed}})
		if err != nil {
			require.Equal(t, refusal.InvalidRequest, refusal.Reason(err))
			require.Equal(t, "record.payload", refusal.Violations(err)[0].Path)
			continue
		}
		require.NotEqual(t, linepacev1.VerifyResponse_SAME, out.Outcome, "byte %d: %s", i, changed)
		outcomes[out.Outcome]++
	}
	require.Greater(t, outcomes[linepacev1.VerifyResponse_DIFFERS], 20)
	require.Greater(t, outcomes[linepacev1.VerifyResponse_NOT_RECOMPUTABLE], 20)
}

// The same request gives the same bytes: from two replicas, on a retry, after a
// restart, under two keys and under none, with the working and without.
func TestSameRequestSameBytes(t *testing.T) {
	replica := func(key string) (services, *process) {
		args := []string{"--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0"}
		if key != "" {
			args = append(args, "--signing-key", key)
		}
		cmd := exec.Command(os.Args[0], args...)
		cmd.Env = append(os.Environ(), asServer+"=1")
		p := startProcess(t, cmd, 2)
		return servicesOf(t, p), p
	}
	oneKey, otherKey := newKeyFile(t), newKeyFile(t)
	requests := keptRequests(t)
	type made struct{ payload, jws string }
	records := func(s services) map[string]made {
		out := map[string]made{}
		for name, req := range requests {
			rec := s.recordOf(t, req)
			require.Equal(t, record.Digest(rec.Payload), rec.Digest)
			withWorking := proto.CloneOf(req)
			withWorking.IncludeWorking = true
			again := s.recordOf(t, withWorking)
			require.Equal(t, string(rec.Payload), string(again.Payload), name)
			require.Equal(t, rec.GetJws(), again.GetJws(), "a retry")
			out[name] = made{string(rec.Payload), rec.GetJws()}
		}
		return out
	}
	first, process := replica(oneKey)
	want := records(first)
	second, _ := replica(oneKey)
	require.Equal(t, want, records(second), "another replica")
	require.Zero(t, process.stop(), process.log)
	restarted, _ := replica(oneKey)
	require.Equal(t, want, records(restarted), "after a restart")

	other, _ := replica(otherKey)
	unsigned, _ := replica("")
	byOther, byNone := records(other), records(unsigned)
	for name := range want {
		require.Equal(t, want[name].payload, byOther[name].payload, "another key")
		require.NotEqual(t, want[name].jws, byOther[name].jws)
		require.Equal(t, want[name].payload, byNone[name].payload, "no key")
		require.Empty(t, byNone[name].jws)
	}
}

func TestKeysOverHTTP(t *testing.T) {
	get := func(p *process) string {
		res, err := http.Get("http://" + p.addresses["http"] + "/v1/keys")
		require.NoError(t, err)
		defer res.Body.Close()
		data, err := io.ReadAll(res.Body)
		require.NoError(t, err)
		require.Equal(t, 200, res.StatusCode)
		return string(data)
	}
	args := []string{"--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0"}
	require.Equal(t, `{"keys":[]}`, get(startServer(t, args...)))
	signing := startServer(t, append(slices.Clip(args), "--signing-key", privateCopy(t, publishedKey))...)
	// RFC 8037 appendix A, from memory.
	require.Equal(t, `{"keys":[{"kty":"OKP","crv":"Ed25519","x":"11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",`+
		`"kid":"kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"}]}`, get(signing))
	_, err := record.ParseKeys([]byte(get(signing)))
	require.NoError(t, err)

	// What a shell script would send: the parts of a kept record.
	rec := readKept(t)["demo-change"]
	body := `{"record":{"payload":"` + base64.StdEncoding.EncodeToString(rec.Payload) + `","jws":"` + rec.GetJws() + `"}}`
	res, err := http.Post("http://"+signing.addresses["http"]+"/v1/records:verify", "application/json", strings.NewReader(body))
	require.NoError(t, err)
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Contains(t, string(answer), `{"outcome":"SAME","signature":"GOOD",`)
}

func TestSigningKeyFiles(t *testing.T) {
	good, err := os.ReadFile(publishedKey)
	require.NoError(t, err)
	exposed := func(mode os.FileMode) string {
		path := privateFile(t, good)
		require.NoError(t, os.Chmod(path, mode))
		return path
	}
	pipe := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, syscall.Mkfifo(pipe, 0o600))
	cases := []struct{ name, path, text string }{
		{"absent", filepath.Join(t.TempDir(), "none.pem"), "no such file"},
		{"a folder", t.TempDir(), "is not a regular file"},
		{"a pipe", pipe, "is not a regular file"},
		{"readable by the group", exposed(0o640), "has the mode 0640"},
		{"readable by others", exposed(0o604), "has the mode 0604"},
		{"writable by the group", exposed(0o620), "has the mode 0620"},
		{"very long", privateFile(t, bytes.Repeat(good, 1000)), "is too long"},
		{"two keys", privateFile(t, bytes.Repeat(good, 2)), "several PEM blocks"},
		{"no key", privateFile(t, []byte("a key")), "no PEM block"},
	}
	for _, tc := range cases {
		t.Run(tc.name, func(t *testing.T) {
			var stdout, stderr bytes.Buffer
			code := run(t.Context(), []string{"--grpc", "127.0.0.1:0", "--http", "", "--signing-key", tc.path}, strings.NewReader(""), &stdout, &stderr)
			require.Equal(t, 1, code)
			require.Empty(t, stdout.String(), "it does not listen")
			require.Contains(t, stderr.String(), "linepace-server: error: --signing-key: ")
			require.Contains(t, stderr.String(), tc.path)
			require.Contains(t, stderr.String(), tc.text)
			require.NotContains(t, stderr.String(), "MC4CAQ", "nothing of the key is told")
		})
	}
	require.NotEmpty(t, startSigning(t, exposed(0o400)).recordOf(t, keptRequests(t)["measured-pump"]).GetJws())
}

// BenchmarkRecords measures over gRPC what a record adds to a plan of twelve
// drives, without and with a signature, and what verifying takes.
func BenchmarkRecords(b *testing.B) {
	request := &linepacev1.PlanRequest{}
	base := row{Base: "roof-tiles"}
	require.NoError(b, protojson.Unmarshal(base.payload(b), request))
	withRecord := proto.CloneOf(request)
	withRecord.IncludeRecord = true
	data, err := os.ReadFile(publishedKey)
	require.NoError(b, err)
	key := filepath.Join(b.TempDir(), "key.pem")
	require.NoError(b, os.WriteFile(key, data, 0o600))
	start := func(args ...string) (linepacev1.ChangeoverServiceClient, linepacev1.RecordServiceClient) {
		conn := dial(b, startServer(b, append([]string{"--grpc", "127.0.0.1:0", "--http", ""}, args...)...).addresses["grpc"])
		return linepacev1.NewChangeoverServiceClient(conn), linepacev1.NewRecordServiceClient(conn)
	}
	plain, _ := start()
	signing, records := start("--signing-key", key)
	answer, err := signing.Plan(b.Context(), withRecord)
	require.NoError(b, err)
	planWith := func(c linepacev1.ChangeoverServiceClient, req *linepacev1.PlanRequest) func(b *testing.B) {
		return func(b *testing.B) {
			for b.Loop() {
				_, err := c.Plan(b.Context(), req)
				require.NoError(b, err)
			}
		}
	}
	b.Run("plan", planWith(plain, request))
	b.Run("plan with record", planWith(plain, withRecord))
	b.Run("plan with signed record", planWith(signing, withRecord))
	b.Run("verify", func(b *testing.B) {
		for b.Loop() {
			out, err := records.Verify(b.Context(), &linepacev1.VerifyRequest{Record: answer.Record})
			require.NoError(b, err)
			require.Equal(b, linepacev1.VerifyResponse_SAME, out.Outcome)
		}
	})
}
