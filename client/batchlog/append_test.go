package batchlog

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

func TestAppendAndGet(t *testing.T) {
	path := filled(t, 30)
	log := open(t, path, Options{})
	ctx := context.Background()
	size, err := log.Size(ctx)
	require.NoError(t, err)
	require.Equal(t, int64(30), size)
	require.Equal(t, "works.example/line-1", log.Origin())
	for _, n := range []int64{0, 17, 29} {
		got, err := log.Get(ctx, n)
		require.NoError(t, err)
		require.True(t, proto.Equal(sample(t, int(n)), got), "entry %d", n)
	}
	for _, n := range []int64{-1, 30} {
		_, err := log.Get(ctx, n)
		var none *NoEntryError
		require.ErrorAs(t, err, &none)
		require.Equal(t, NoEntryError{Index: n, Size: 30}, *none)
	}
	require.NoError(t, log.Close())
	require.ErrorIs(t, log.Close(), ErrClosed)
	_, err = log.Append(ctx, sample(t, 30))
	require.ErrorIs(t, err, ErrClosed)
	_, err = log.Size(ctx)
	require.ErrorIs(t, err, ErrClosed)
	_, err = log.Checkpoint(ctx, nil)
	require.ErrorIs(t, err, ErrClosed)
	auditClean(t, path, 30)
}

func TestAppendTwice(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	ctx := context.Background()
	appendSamples(t, log, 0, 3)

	again, err := log.Append(ctx, sample(t, 1))
	require.NoError(t, err)
	require.Equal(t, Result{Index: 1, Duplicate: true}, again)

	unsigned := sample(t, 1)
	unsigned.Jws = nil
	other, err := log.Append(ctx, unsigned)
	require.NoError(t, err)
	require.Equal(t, Result{Index: 1, Duplicate: true, OtherSignature: true}, other)
	kept, err := log.Get(ctx, 1)
	require.NoError(t, err)
	require.NotEmpty(t, kept.GetJws(), "the first signature stays")
	require.NoError(t, log.Close())
	auditClean(t, path, 3)
}

func TestReplan(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	ctx := context.Background()
	appendSamples(t, log, 0, 3)
	one := int64(1)
	replan := func(count int32) *linepacev1.Record {
		return signed(t, sampleRequest(1), &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{DriveId: "press", Count: &count}}})
	}
	for i, want := range []Result{
		{Index: 3, ReplanOf: &one},
		{Index: 4, ReplanOf: &one},
		{Index: 3, ReplanOf: &one, Duplicate: true},
	} {
		got, err := log.Append(ctx, replan(int32(100+i%2)))
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	first, err := log.Append(ctx, sample(t, 1))
	require.NoError(t, err)
	require.Equal(t, Result{Index: 1, Duplicate: true}, first, "the first plan is the re-plan of none")

	var replans []int64
	for entry, err := range log.Query(ctx, Filter{}) {
		require.NoError(t, err)
		if entry.ReplanOf != nil {
			require.Equal(t, one, *entry.ReplanOf)
			replans = append(replans, entry.Index)
		}
	}
	require.Equal(t, []int64{3, 4}, replans)
	require.NoError(t, log.Close())
	require.Equal(t, int64(2), auditClean(t, path, 5).Replans)
}

func TestAppendRefuses(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	good := sample(t, 0)
	edit := func(f func(*linepacev1.Record)) *linepacev1.Record {
		r := proto.CloneOf(good)
		f(r)
		return r
	}
	at := func(instant string) *linepacev1.Record {
		request := sampleRequest(0)
		request.Batch.RequestedAt = instant
		return signed(t, request, &linepacev1.PlanResponse{})
	}
	for _, c := range []struct {
		name, field string
		record      *linepacev1.Record
	}{
		{"nil", "payload", nil},
		{"empty", "payload", &linepacev1.Record{}},
		{"no digest", "digest", edit(func(r *linepacev1.Record) { r.Digest = "" })},
		{"other digest", "digest", edit(func(r *linepacev1.Record) { r.Digest = sample(t, 1).Digest })},
		{"signature of two lines", "jws", edit(func(r *linepacev1.Record) { r.Jws = proto.String("a\nb") })},
		{"not JSON", "payload", newRecord("", []byte("plan"))},
		{"another spelling", "payload", newRecord("", append([]byte(" "), good.Payload...))},
		{"another kind", "payload", newRecord("", []byte(`{"kind":"note","version":1}`))},
		{"no instant", "payload.request.batch.requestedAt", at("")},
		{"no instant of RFC 3339", "payload.request.batch.requestedAt", at("4 May 2026")},
		{"no zone", "payload.request.batch.requestedAt", at("2026-05-04T06:00:00")},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := log.Append(context.Background(), c.record)
			var wrong *RecordError
			require.ErrorAs(t, err, &wrong)
			require.Equal(t, c.field, wrong.Field)
		})
	}
	require.NoError(t, log.Close())
	auditClean(t, path, 0)
}

// A payload is canonical, so that its request stands in it as it would by itself.
func TestRequestOf(t *testing.T) {
	request := sampleRequest(1)
	request.Batch.Reason = `,"request":{"plan":{}},"version":1}`
	plan := &linepacev1.PlanResponse{Setpoints: []*linepacev1.Setpoint{{DriveId: `,"request":{}`, Tag: `","request":{`}}}
	for _, r := range []*linepacev1.Record{signed(t, request, plan), tilePlan(t)(3)} {
		opened, want := openRequest(t, r.Payload)
		require.NotEmpty(t, opened.GetProduct().GetId())
		require.Equal(t, string(want), string(record.RequestPart(r.Payload)))
	}
}

func TestAppendContext(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := log.Append(ctx, sample(t, 0))
	require.ErrorIs(t, err, context.Canceled)
	require.False(t, errors.As(err, new(*OutcomeUnknownError)))
	appendSamples(t, log, 0, 1)
	require.NoError(t, log.Close())
	auditClean(t, path, 1)
}

// Who waits may give up: before another one takes the record nothing is written,
// and afterwards the outcome is unknown. Appending again finds out.
func TestGiveUpWaiting(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	store := &counted{storage: log.store, release: make(chan struct{})}
	log.store = store
	var leader sync.WaitGroup
	lead := func(i int) {
		leader.Go(func() {
			_, err := log.Append(context.Background(), sample(t, i))
			require.NoError(t, err)
		})
	}
	follow := func(i int) (cancel func(), failed chan error) {
		ctx, cancel := context.WithCancel(context.Background())
		failed = make(chan error)
		go func() {
			_, err := log.Append(ctx, sample(t, i))
			failed <- err
		}()
		return cancel, failed
	}
	lead(0) // and is held back with its turn
	require.Eventually(t, func() bool { return store.begun.Load() == 1 }, time.Minute, time.Millisecond)
	cancel, failed := follow(1)
	cancel()
	require.Equal(t, context.Canceled, <-failed)

	cancel, failed = follow(2)
	taken := <-log.queue // as another one would
	cancel()
	require.ErrorAs(t, <-failed, new(*OutcomeUnknownError))
	store.release <- struct{}{}
	leader.Wait()
	close(store.release)
	_, err := log.put(context.Background(), taken)
	require.NoError(t, err)
	again, err := log.Append(context.Background(), sample(t, 2))
	require.NoError(t, err)
	require.Equal(t, Result{Index: 1, Duplicate: true}, again)
	require.NoError(t, log.Close())
	auditClean(t, path, 2)
}

// Many goroutines over two handles append the same records, each some first.
func TestAppendConcurrently(t *testing.T) {
	const records, goroutines = 120, 8
	path := newPath(t)
	logs := []*Log{open(t, path, Options{}), open(t, path, Options{})}
	results := make([][records]Result, goroutines)
	var wait sync.WaitGroup
	failed := make(chan error, goroutines)
	for g := range goroutines {
		wait.Go(func() {
			for k := range records {
				i := (k + g*records/goroutines) % records
				result, err := logs[g%2].Append(context.Background(), sample(t, i))
				if err != nil {
					failed <- fmt.Errorf("record %d: %w", i, err)
					return
				}
				results[g][i] = result
			}
		})
	}
	wait.Wait()
	close(failed)
	for err := range failed {
		t.Fatal(err)
	}
	seen := map[int64]bool{}
	for i := range records {
		firsts := 0
		for g := range goroutines {
			require.Equal(t, results[0][i].Index, results[g][i].Index, "record %d", i)
			if !results[g][i].Duplicate {
				firsts++
			}
		}
		require.Equal(t, 1, firsts, "record %d", i)
		seen[results[0][i].Index] = true
	}
	require.Len(t, seen, records)
	for i := range records {
		got, err := logs[0].Get(context.Background(), results[0][i].Index)
		require.NoError(t, err)
		require.Equal(t, sample(t, i).Digest, got.Digest)
	}
	require.NoError(t, logs[0].Close())
	require.NoError(t, logs[1].Close())
	auditClean(t, path, records)
}

// counted holds the first transaction back until it is released, and counts.
type counted struct {
	storage
	release chan struct{}
	begun   atomic.Int32
	updates int
}

func (c *counted) update(f func(writer) error) error {
	c.begun.Add(1)
	<-c.release
	c.updates++
	return c.storage.update(f)
}

// What waits while a transaction is under way shares the next ones.
func TestGroup(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	store := &counted{storage: log.store, release: make(chan struct{})}
	log.store = store
	next := tilePlan(t)
	const n = 64
	var started, done sync.WaitGroup
	started.Add(n)
	for i := range n {
		r := next(i)
		done.Go(func() {
			started.Done()
			if _, err := log.Append(context.Background(), r); err != nil {
				t.Error(err)
			}
		})
	}
	started.Wait()
	close(store.release)
	done.Wait()
	require.NoError(t, log.Close())
	require.Less(t, store.updates, n)
	auditClean(t, path, n)
}

// A commit is on the disk when it returns, and no append does a checkpoint.
func TestDurability(t *testing.T) {
	log := open(t, newPath(t), Options{})
	for pragma, want := range map[string]string{"synchronous": "2", "journal_mode": "wal", "wal_autocheckpoint": "0"} {
		var got string
		require.NoError(t, log.store.(*sqlite).conn.QueryRowContext(context.Background(), "PRAGMA "+pragma).Scan(&got))
		require.Equal(t, want, got, pragma)
	}
}

func TestFold(t *testing.T) {
	path := newPath(t)
	log := open(t, path, Options{})
	store := log.store.(*sqlite)
	appendSamples(t, log, 0, 50)
	pages, err := store.foldNow("PASSIVE")
	require.NoError(t, err)
	require.Positive(t, pages)
	pages, err = store.foldNow("RESTART")
	require.NoError(t, err)
	require.Positive(t, pages)
	appendSamples(t, log, 50, 51)
	after, err := store.foldNow("PASSIVE")
	require.NoError(t, err)
	require.Less(t, after, pages, "the journal starts again from its beginning")
	require.NoError(t, log.Close())
	require.True(t, store.folded(), "a closed log is one file")
	auditClean(t, path, 51)
}
