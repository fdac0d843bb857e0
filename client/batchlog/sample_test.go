package batchlog

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"buf.build/go/protoyaml"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// testKey signs the records of these tests.
var testKey = ed25519.NewKeyFromSeed([]byte("invented roof-tile works, line 1"))

// day is when the samples begin to be asked for.
var day = time.Date(2026, 5, 4, 6, 0, 0, 0, time.UTC)

// sample is a small record: number i of a works that changes between four
// products, one batch for each ten plans, on two lines by turns.
func sample(tb testing.TB, i int) *linepacev1.Record {
	return signed(tb, sampleRequest(i), &linepacev1.PlanResponse{
		Setpoints: []*linepacev1.Setpoint{{DriveId: "press", Count: proto.Int32(int32(i))}},
	})
}

func sampleRequest(i int) *linepacev1.PlanRequest {
	drives := []*linepacev1.Drive{{Id: "press"}, {Id: "cutter"}}
	if i%2 == 1 {
		drives = []*linepacev1.Drive{{Id: "press"}, {Id: "kiln \"2\", \x00 rollers"}, {Id: "a,b"}}
	}
	return &linepacev1.PlanRequest{
		Line:    &linepacev1.Line{Id: "line", Drives: drives},
		Product: &linepacev1.Product{Id: fmt.Sprintf("tile-%d", i%4)},
		Batch: &linepacev1.Batch{
			BatchId:     fmt.Sprintf("batch-%d", i/10),
			RecipeId:    fmt.Sprintf("recipe-%d", i%3),
			EquipmentId: fmt.Sprintf("line-%d", i%2),
			// Every other one as the clock of another zone shows it.
			RequestedAt: day.Add(time.Duration(i) * time.Minute).In(time.FixedZone("", i%2*7200)).Format(time.RFC3339Nano),
		},
	}
}

func signed(tb testing.TB, request *linepacev1.PlanRequest, plan *linepacev1.PlanResponse) *linepacev1.Record {
	tb.Helper()
	payload, err := record.Payload(request, plan, []string{"motor-speed/1"})
	require.NoError(tb, err)
	signer, err := record.NewSigner(testKey, "test")
	require.NoError(tb, err)
	return newRecord(signer.Sign(payload), payload)
}

func testKeys(tb testing.TB) *record.Keys {
	tb.Helper()
	keys, err := record.NewKeys(testKey.Public().(ed25519.PublicKey))
	require.NoError(tb, err)
	return &keys
}

// tilePlan returns a maker of records as large as those of a real line: the
// request of the roof-tile works, and a setpoint with every number for each drive.
func tilePlan(tb testing.TB) func(i int) *linepacev1.Record {
	tb.Helper()
	request := &linepacev1.PlanRequest{Line: &linepacev1.Line{}, Product: &linepacev1.Product{}, Batch: &linepacev1.Batch{}}
	readYAML(tb, "line.yaml", request.Line)
	readYAML(tb, "product-b.yaml", request.Product)
	plan := &linepacev1.PlanResponse{}
	for i, drive := range request.Line.Drives {
		rpm := 1000.0 / float64(i+3)
		plan.Setpoints = append(plan.Setpoints, &linepacev1.Setpoint{
			DriveId: drive.Id, Tag: strings.ToUpper(drive.Id), Count: proto.Int32(int32(1000 + i)),
			DemandedRpm: proto.Float64(rpm), AchievedRpm: proto.Float64(rpm * 1.0001), LastShaftRpm: proto.Float64(rpm / 7),
			ErrorPercent: proto.Float64(0.01), ReadoutText: proto.String("12.34"), ReadoutUnit: proto.String("m/min"),
			PulseHz: proto.Float64(rpm * 4.2667), WithinTolerance: proto.Bool(true),
		})
	}
	return func(i int) *linepacev1.Record {
		request.Batch.BatchId = fmt.Sprintf("B-%06d", i/4)
		request.Batch.RequestedAt = day.Add(time.Duration(i) * time.Second).Format(time.RFC3339)
		return signed(tb, request, plan)
	}
}

func readYAML(tb testing.TB, name string, m proto.Message) {
	tb.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "rooftile", name))
	require.NoError(tb, err)
	require.NoError(tb, protoyaml.Unmarshal(text, m))
}

// newPath names a log that does not exist yet, in a folder that is hard to quote.
func newPath(tb testing.TB) string {
	folder := filepath.Join(tb.TempDir(), "a b?c%20#d")
	require.NoError(tb, os.Mkdir(folder, 0o755))
	return filepath.Join(folder, "log")
}

func open(tb testing.TB, path string, options Options) *Log {
	tb.Helper()
	log, err := Open(context.Background(), path, options)
	require.NoError(tb, err)
	tb.Cleanup(func() { _ = log.Close() }) // once more where the test closes it
	return log
}

// filled makes a log of n samples and closes it.
func filled(tb testing.TB, n int) string {
	tb.Helper()
	path := newPath(tb)
	log := open(tb, path, Options{Origin: "works.example/line-1"})
	appendSamples(tb, log, 0, n)
	require.NoError(tb, log.Close())
	return path
}

func appendSamples(tb testing.TB, log *Log, from, to int) {
	tb.Helper()
	for i := from; i < to; i++ {
		result, err := log.Append(context.Background(), sample(tb, i))
		require.NoError(tb, err)
		require.Equal(tb, Result{Index: int64(i)}, result)
	}
}

// auditClean audits with everything but recomputation and wants nothing found.
func auditClean(tb testing.TB, path string, size int64) *Report {
	tb.Helper()
	report := auditFile(tb, path, AuditOptions{Keys: testKeys(tb)})
	require.Empty(tb, report.Findings)
	require.Equal(tb, size, report.Entries)
	return report
}

func auditFile(tb testing.TB, path string, options AuditOptions) *Report {
	tb.Helper()
	log := open(tb, path, Options{ReadOnly: true})
	report, err := Audit(context.Background(), log, options)
	require.NoError(tb, err)
	require.NoError(tb, log.Close())
	return report
}

// openRequest returns the request of a payload, and its canonical form.
func openRequest(tb testing.TB, payload []byte) (*linepacev1.PlanRequest, []byte) {
	tb.Helper()
	opened, err := record.Open(payload)
	require.NoError(tb, err)
	text, err := codec.AppendCanonical(nil, opened.Request)
	require.NoError(tb, err)
	return opened.Request, text
}
