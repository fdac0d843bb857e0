package batchlog

import (
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/gowebpki/jcs"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// modelEntry is a record that the model holds, beside what it was made of.
type modelEntry struct {
	request int
	record  *linepacev1.Record
	asked   *linepacev1.PlanRequest
}

// model is a log as a plain list.
type model struct {
	t       *testing.T
	path    string
	log     *Log
	entries []modelEntry
}

// Sequences of appends, queries and reopenings answer as a plain list does.
func TestModel(t *testing.T) {
	folder := t.TempDir()
	runs := 0
	rapid.Check(t, func(r *rapid.T) {
		runs++
		m := &model{t: t, path: filepath.Join(folder, fmt.Sprint(runs))}
		m.reopen()
		r.Repeat(map[string]func(*rapid.T){
			"append": m.append,
			"query":  m.query,
			"get":    m.get,
			"reopen": func(*rapid.T) { m.reopen() },
		})
		require.NoError(t, m.log.Close())
		auditClean(t, m.path, int64(len(m.entries)))
		require.NoError(t, os.Remove(m.path))
	})
}

func (m *model) reopen() {
	if m.log != nil {
		require.NoError(m.t, m.log.Close())
	}
	log, err := Open(context.Background(), m.path, Options{})
	require.NoError(m.t, err)
	m.log = log
}

func (m *model) append(r *rapid.T) {
	i := rapid.IntRange(0, 12).Draw(r, "request")
	plan := rapid.Int32Range(0, 2).Draw(r, "plan")
	asked := sampleRequest(i)
	added := signed(m.t, asked, &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{DriveId: "press", Count: &plan}}})
	want := Result{Index: int64(len(m.entries))}
	for n, e := range m.entries {
		if e.record.Digest == added.Digest {
			want.Index, want.Duplicate = int64(n), true
		}
	}
	want.ReplanOf = m.replanOf(i, want.Index)
	if !want.Duplicate {
		m.entries = append(m.entries, modelEntry{i, added, asked})
	}
	got, err := m.log.Append(context.Background(), added)
	require.NoError(r, err)
	require.Equal(r, want, got)
}

func (m *model) replanOf(request int, before int64) *int64 {
	for n, e := range m.entries[:min(int(before), len(m.entries))] {
		if e.request == request {
			first := int64(n)
			return &first
		}
	}
	return nil
}

func (m *model) get(r *rapid.T) {
	n := rapid.IntRange(0, 30).Draw(r, "n")
	got, err := m.log.Get(context.Background(), int64(n))
	entry, entryErr := m.log.Entry(context.Background(), int64(n))
	if n >= len(m.entries) {
		none := &NoEntryError{Index: int64(n), Size: int64(len(m.entries))}
		require.Equal(r, []error{none, none}, []error{err, entryErr})
		return
	}
	require.NoError(r, err)
	require.True(r, proto.Equal(m.entries[n].record, got))
	require.NoError(r, entryErr)
	require.Equal(r, m.entry(r, n), entry)
}

func (m *model) query(r *rapid.T) {
	f := drawFilter(r)
	var want []Entry
	for n, e := range m.entries {
		entry := m.entry(r, n)
		if (f.Limit == 0 || len(want) < f.Limit) && selects(f, e.asked, entry.RequestedAt) {
			want = append(want, entry)
		}
	}
	var got []Entry
	for entry, err := range m.log.Query(context.Background(), f) {
		require.NoError(r, err)
		got = append(got, entry)
	}
	require.Equal(r, want, got)
}

// entry is what the log should tell of entry n.
func (m *model) entry(r *rapid.T, n int) Entry {
	e := m.entries[n]
	at, err := time.Parse(time.RFC3339, e.asked.Batch.RequestedAt)
	require.NoError(r, err)
	return Entry{
		Index: int64(n), Digest: e.record.Digest, Batch: e.asked.Batch.BatchId, Recipe: e.asked.Batch.RecipeId,
		Product: e.asked.Product.Id, Equipment: e.asked.Batch.EquipmentId, RequestedAt: at.UTC(),
		Drives: drives(e.asked), RequestDigest: requestDigest(r, e.asked), ReplanOf: m.replanOf(e.request, int64(n)),
	}
}

func drawFilter(r *rapid.T) Filter {
	text := func(name string, choices ...string) string {
		return rapid.SampledFrom(append(choices, "", "", "", "none")).Draw(r, name)
	}
	instant := func(name string) time.Time {
		if rapid.Bool().Draw(r, name+" is set") {
			return day.Add(time.Duration(rapid.IntRange(-1, 13).Draw(r, name)) * time.Minute).In(time.FixedZone("", -3600))
		}
		return time.Time{}
	}
	return Filter{
		Batch: text("batch", "batch-0", "batch-1"), Recipe: text("recipe", "recipe-1"), Product: text("product", "tile-2", "tile-3"),
		Equipment: text("equipment", "line-0"), Drive: text("drive", "press", "cutter", "a,b", "kiln \"2\", \x00 rollers"),
		From: instant("from"), To: instant("to"), Limit: rapid.SampledFrom([]int{0, 0, 1, 3}).Draw(r, "limit"),
	}
}

func selects(f Filter, asked *linepacev1.PlanRequest, at time.Time) bool {
	is := func(want, got string) bool { return want == "" || want == got }
	drive := f.Drive == "" || slices.ContainsFunc(asked.Line.Drives, func(d *linepacev1.Drive) bool { return d.Id == f.Drive })
	return drive && is(f.Batch, asked.Batch.BatchId) && is(f.Recipe, asked.Batch.RecipeId) && is(f.Product, asked.Product.Id) &&
		is(f.Equipment, asked.Batch.EquipmentId) && (f.From.IsZero() || !at.Before(f.From)) && (f.To.IsZero() || at.Before(f.To))
}

func drives(asked *linepacev1.PlanRequest) []string {
	ids := map[string]bool{}
	for _, d := range asked.Line.Drives {
		ids[d.Id] = true
	}
	return slices.Sorted(maps.Keys(ids))
}

// requestDigest is that of RFC 8785's reference implementation.
func requestDigest(r *rapid.T, asked *linepacev1.PlanRequest) string {
	text, err := protojson.Marshal(asked)
	require.NoError(r, err)
	canonical, err := jcs.Transform(text)
	require.NoError(r, err)
	return fmt.Sprintf("%x", sha256.Sum256(canonical))
}

// A loop over a query may end early, use the log meanwhile, and sees the log as it was.
func TestQueryWhileAppending(t *testing.T) {
	log := open(t, newPath(t), Options{})
	appendSamples(t, log, 0, 5)
	seen := 0
	for entry, err := range log.Query(context.Background(), Filter{}) {
		require.NoError(t, err)
		got, err := log.Get(context.Background(), entry.Index)
		require.NoError(t, err)
		require.Equal(t, entry.Digest, got.Digest)
		appendSamples(t, log, 5+seen, 6+seen)
		seen++
	}
	require.Equal(t, 5, seen)
	for range log.Query(context.Background(), Filter{}) {
		break
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, err := range log.Query(ctx, Filter{}) {
		require.ErrorIs(t, err, context.Canceled)
	}
	require.NoError(t, log.Close())
}
