package batchlog

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

const testOrigin = "works.example/line-1"

// kinds returns the kinds of a report's findings, each once, in byte order.
func kinds(r *Report) []Kind {
	var out []Kind
	for _, f := range r.Findings {
		out = append(out, f.Kind)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// logKey makes a key for checkpoints, the same for the same seed.
func logKey(tb testing.TB, seed byte) (note.Signer, note.Verifier) {
	tb.Helper()
	secret, public, err := note.GenerateKey(bytes.NewReader(bytes.Repeat([]byte{seed}, 64)), testOrigin)
	require.NoError(tb, err)
	signer, err := note.NewSigner(secret)
	require.NoError(tb, err)
	verifier, err := note.NewVerifier(public)
	require.NoError(tb, err)
	return signer, verifier
}

func checkpoint(tb testing.TB, path string) []byte {
	tb.Helper()
	signer, _ := logKey(tb, 1)
	log := open(tb, path, Options{})
	signed, err := log.Checkpoint(context.Background(), signer)
	require.NoError(tb, err)
	require.NoError(tb, log.Close())
	return signed.Note
}

func TestAuditClean(t *testing.T) {
	for _, n := range []int{0, 1, 2, 3, 8, 21, 300} {
		path := filled(t, n)
		report := auditClean(t, path, int64(n))
		require.Equal(t, int64(n), report.Signatures)
		require.True(t, report.Clean())
		var leaves edge
		for i := range n {
			row, err := rowOf(sample(t, i))
			require.NoError(t, err)
			_, err = leaves.add(tlog.RecordHash(row.leaf))
			require.NoError(t, err)
		}
		root, err := leaves.root()
		require.NoError(t, err)
		require.Equal(t, root.String(), report.Root)
		require.Equal(t, testOrigin, report.Origin)
	}
}

func TestReportText(t *testing.T) {
	path := filled(t, 3)
	edit(t, path, "UPDATE entry SET product = 'tile-9' WHERE n = 1")
	report := auditFile(t, path, AuditOptions{})
	require.Len(t, report.Findings, 1)
	require.Equal(t, `index, entry 1, product: expected "tile-1", found "tile-9"`, report.Findings[0].String())
	text, err := json.Marshal(report)
	require.NoError(t, err)
	var read Report
	require.NoError(t, json.Unmarshal(text, &read))
	require.Equal(t, *report, read)
}

// moveEntry puts an entry at another place, with everything beside it.
func moveEntry(from, to int) string {
	return fmt.Sprintf("UPDATE entry SET n = %d WHERE n = %d", to, from)
}

// What is detected without a kept checkpoint: whatever contradicts the leaves, the
// hashes over them, the signatures, or the data base itself. Each case names every
// kind that it is found by.
func TestTamperDetectedWithoutCheckpoint(t *testing.T) {
	const n = 21
	swap := []string{moveEntry(4, 1000), moveEntry(9, 4), moveEntry(1000, 9)}
	pristine := filled(t, n)
	checkpoint(t, pristine)
	content, err := os.ReadFile(pristine)
	require.NoError(t, err)
	for _, c := range []struct {
		name string
		sql  []string
		want []Kind
	}{
		{"a byte of a payload", []string{"UPDATE entry SET leaf = CAST(replace(CAST(leaf AS TEXT), '\"count\":5', '\"count\":6') AS BLOB) WHERE n = 5"},
			[]Kind{KindHash, KindHead, KindIndex, KindSignature, KindStoredCheckpoint}},
		{"a byte of a signature", []string{"UPDATE entry SET leaf = CAST(substr(leaf, 1, 190) || char(unicode(substr(leaf, 191, 1)) % 26 + 65) || substr(leaf, 192) AS BLOB) WHERE n = 5"},
			[]Kind{KindHash, KindHead, KindSignature, KindStoredCheckpoint}},
		{"a signature taken away", []string{"UPDATE entry SET leaf = CAST(substr(CAST(leaf AS TEXT), instr(CAST(leaf AS TEXT), char(10))) AS BLOB) WHERE n = 5"},
			[]Kind{KindHash, KindHead, KindSignature, KindStoredCheckpoint}},
		{"a leaf that is no record", []string{"UPDATE entry SET leaf = CAST('all well' AS BLOB) WHERE n = 5"},
			[]Kind{KindHash, KindHead, KindRecord, KindStoredCheckpoint}},
		{"white space before a payload", []string{"UPDATE entry SET leaf = CAST(replace(CAST(leaf AS TEXT), char(10), char(10) || ' ') AS BLOB) WHERE n = 5"},
			[]Kind{KindHash, KindHead, KindRecord, KindSignature, KindStoredCheckpoint}},
		{"an entry deleted", []string{"DELETE FROM entry WHERE n = 5"},
			[]Kind{KindHash, KindHead, KindMissing, KindStoredCheckpoint}},
		{"the first entry deleted", []string{"DELETE FROM entry WHERE n = 0"},
			[]Kind{KindHash, KindHead, KindMissing, KindStoredCheckpoint}},
		{"the last entry deleted", []string{"DELETE FROM entry WHERE n = 20"},
			[]Kind{KindHead, KindMissing, KindStoredCheckpoint}},
		{"all entries deleted", []string{"DELETE FROM entry"},
			[]Kind{KindHead, KindMissing, KindStoredCheckpoint}},
		{"everything deleted but the head", []string{"DELETE FROM entry", "DELETE FROM checkpoint"},
			[]Kind{KindHead, KindMissing}},
		{"two leaves swapped", []string{
			"CREATE TEMP TABLE kept AS SELECT n, leaf FROM entry WHERE n IN (4, 9)",
			"UPDATE entry SET leaf = (SELECT leaf FROM kept WHERE kept.n = 13 - entry.n) WHERE n IN (4, 9)",
		}, []Kind{KindHash, KindHead, KindIndex, KindStoredCheckpoint}},
		{"two entries swapped whole", swap, []Kind{KindHash, KindHead, KindStoredCheckpoint}},
		{"an entry taken out and the others moved up", []string{"DELETE FROM entry WHERE n = 19", moveEntry(20, 19)},
			[]Kind{KindHash, KindHead, KindMissing, KindStoredCheckpoint}},
		{"an entry moved beyond the head", []string{moveEntry(20, 21)},
			[]Kind{KindMissing, KindSurplus}},
		{"an entry before the first", []string{moveEntry(0, -1)},
			[]Kind{KindMissing, KindSurplus}},
		{"the head set back", []string{"UPDATE head SET size = 20"}, []Kind{KindHead, KindSurplus}},
		{"the head set forth", []string{"UPDATE head SET size = 22"}, []Kind{KindHead, KindMissing}},
		{"the root replaced", []string{"UPDATE head SET root = randomblob(32)"}, []Kind{KindHead}},
		{"the root cut", []string{"UPDATE head SET root = x'00'"}, []Kind{KindFile}},
		{"the head removed", []string{"DELETE FROM head"}, []Kind{KindFile}},
		{"batch", []string{"UPDATE entry SET batch = 'batch-7' WHERE n = 5"}, []Kind{KindIndex}},
		{"recipe", []string{"UPDATE entry SET recipe = '' WHERE n = 5"}, []Kind{KindIndex}},
		{"product", []string{"UPDATE entry SET product = 'tile-7' WHERE n = 5"}, []Kind{KindIndex}},
		{"equipment", []string{"UPDATE entry SET equipment = 'line-7' WHERE n = 5"}, []Kind{KindIndex}},
		{"requested at", []string{"UPDATE entry SET requested_at = '2026-05-04T06:05:00.000000001Z' WHERE n = 5"}, []Kind{KindIndex}},
		{"digest", []string{"UPDATE entry SET digest = randomblob(32) WHERE n = 5"}, []Kind{KindIndex}},
		{"request digest", []string{"UPDATE entry SET request_digest = x'' WHERE n = 5"}, []Kind{KindIndex}},
		{"a drive removed", []string{`UPDATE entry SET drives = '["a,b"]' WHERE n = 4`}, []Kind{KindIndex}},
		{"a drive added", []string{"UPDATE entry SET drives = json_insert(drives, '$[#]', 'press 2') WHERE n = 5"}, []Kind{KindIndex}},
		{"drives that are no list", []string{"UPDATE entry SET drives = 'press' WHERE n = 5"}, []Kind{KindIndex}},
		{"a hash of a leaf replaced", []string{"UPDATE entry SET hashes = randomblob(32) WHERE n = 0"}, []Kind{KindHash}},
		{"a hash of a node replaced", []string{"UPDATE entry SET hashes = CAST(substr(hashes, 1, 32) || randomblob(32) AS BLOB) WHERE n = 1"}, []Kind{KindHash}},
		{"a hash removed", []string{"UPDATE entry SET hashes = substr(hashes, 1, 32) WHERE n = 3"}, []Kind{KindHash}},
		{"the last hash removed", []string{"UPDATE entry SET hashes = x'' WHERE n = 20"}, []Kind{KindHash}},
		{"hashes added", []string{"UPDATE entry SET hashes = CAST(hashes || randomblob(40) AS BLOB) WHERE n IN (0, 20)"}, []Kind{KindHash}},
		{"a stored checkpoint of another log", []string{"UPDATE checkpoint SET note = CAST(replace(CAST(note AS TEXT), 'line-1', 'line-2') AS BLOB)"}, []Kind{KindStoredCheckpoint}},
		{"a stored checkpoint under another size", []string{"UPDATE checkpoint SET size = 3"}, []Kind{KindStoredCheckpoint}},
		{"a stored checkpoint that is none", []string{"UPDATE checkpoint SET note = CAST('all well' AS BLOB)"}, []Kind{KindStoredCheckpoint}},
		{"a consistent truncation that forgets the stored checkpoint", truncation(t, 10)[1:], []Kind{KindStoredCheckpoint}},
		{"an index for queries dropped", []string{"DROP INDEX entry_batch"}, []Kind{KindFile}},
		{"a table under another name in SQLite's own list", []string{"PRAGMA writable_schema = ON", "UPDATE sqlite_schema SET tbl_name = 'Entry' WHERE name = 'entry_batch'"}, []Kind{KindFile}},
		{"a trigger that hides entries", []string{"CREATE TRIGGER t AFTER INSERT ON entry BEGIN DELETE FROM entry WHERE n = new.n; END"}, []Kind{KindFile}},
		{"the table of leaves dropped", []string{"DROP TABLE entry"}, []Kind{KindFile}},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "log")
			require.NoError(t, os.WriteFile(path, content, 0o644))
			edit(t, path, c.sql...)
			report := auditFile(t, path, AuditOptions{Keys: testKeys(t)})
			require.Equal(t, c.want, kinds(report), "%v", report.Findings)
			require.False(t, report.Clean())
		})
	}
	auditClean(t, pristine, n)
}

// truncation cuts a log of samples to a size so that everything in it fits again.
func truncation(tb testing.TB, size int64) []string {
	var tree edge
	for i := range int(size) {
		row, err := rowOf(sample(tb, i))
		require.NoError(tb, err)
		_, err = tree.add(tlog.RecordHash(row.leaf))
		require.NoError(tb, err)
	}
	root, err := tree.root()
	require.NoError(tb, err)
	return []string{
		"DELETE FROM checkpoint",
		fmt.Sprintf("DELETE FROM entry WHERE n >= %d", size),
		fmt.Sprintf("UPDATE head SET size = %d, root = x'%x'", size, root[:]),
	}
}

// rebuild makes a log of the same origin anew, of other records.
func rebuild(tb testing.TB, path string, records ...*linepacev1.Record) {
	tb.Helper()
	require.NoError(tb, os.Remove(path))
	log := open(tb, path, Options{Origin: testOrigin})
	for i, r := range records {
		result, err := log.Append(context.Background(), r)
		require.NoError(tb, err)
		require.Equal(tb, int64(i), result.Index)
	}
	require.NoError(tb, log.Close())
}

// What is detected with a kept checkpoint only: a log that fits together, of genuine
// records, and is not the log of then.
func TestTamperDetectedWithCheckpointOnly(t *testing.T) {
	const n = 21
	samples := func(edit func([]*linepacev1.Record) []*linepacev1.Record) []*linepacev1.Record {
		var all []*linepacev1.Record
		for i := range n {
			all = append(all, sample(t, i))
		}
		return edit(all)
	}
	for _, c := range []struct {
		name   string
		tamper func(t *testing.T, path string, old []byte)
		field  string
	}{
		{"the last entry cut off", func(t *testing.T, path string, _ []byte) { edit(t, path, truncation(t, n-1)...) }, "size"},
		{"half of the log cut off", func(t *testing.T, path string, _ []byte) { edit(t, path, truncation(t, n/2)...) }, "size"},
		{"everything cut off", func(t *testing.T, path string, _ []byte) { edit(t, path, truncation(t, 0)...) }, "size"},
		{"cut off and grown again", func(t *testing.T, path string, _ []byte) {
			edit(t, path, truncation(t, n-3)...)
			log := open(t, path, Options{})
			for i := 100; i < 110; i++ {
				_, err := log.Append(context.Background(), sample(t, i))
				require.NoError(t, err)
			}
			require.NoError(t, log.Close())
		}, "root of the first 21 entries"},
		{"an old copy", func(t *testing.T, path string, old []byte) { require.NoError(t, os.WriteFile(path, old, 0o644)) }, "size"},
		{"built anew without one record", func(t *testing.T, path string, _ []byte) {
			rebuild(t, path, samples(func(all []*linepacev1.Record) []*linepacev1.Record {
				return append(slices.Delete(all, 5, 6), sample(t, 50))
			})...)
		}, "root of the first 21 entries"},
		{"built anew in another order", func(t *testing.T, path string, _ []byte) {
			rebuild(t, path, samples(func(all []*linepacev1.Record) []*linepacev1.Record { all[3], all[4] = all[4], all[3]; return all })...)
		}, "root of the first 21 entries"},
		{"built anew with another genuine record", func(t *testing.T, path string, _ []byte) {
			rebuild(t, path, samples(func(all []*linepacev1.Record) []*linepacev1.Record { all[20] = sample(t, 99); return all })...)
		}, "root of the first 21 entries"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filled(t, n/2)
			old, err := os.ReadFile(path)
			require.NoError(t, err)
			log := open(t, path, Options{})
			appendSamples(t, log, n/2, n)
			require.NoError(t, log.Close())
			kept := checkpoint(t, path)
			_, verifier := logKey(t, 1)
			with := AuditOptions{Keys: testKeys(t), Checkpoint: kept, Verifier: verifier}
			require.Empty(t, auditFile(t, path, with).Findings)

			c.tamper(t, path, old)
			require.Empty(t, auditFile(t, path, AuditOptions{Keys: testKeys(t)}).Findings, "cannot be seen without the checkpoint")
			report := auditFile(t, path, with)
			require.Equal(t, []Kind{KindCheckpoint}, kinds(report), "%v", report.Findings)
			require.Equal(t, c.field, report.Findings[0].Field)
		})
	}
}

// A forged record fits the tree, since anyone can build a tree, but not the keys.
func TestTamperDetectedWithKeysOnly(t *testing.T) {
	path := filled(t, 5)
	forged := sample(t, 5)
	signer, err := record.NewSigner(ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, 32)), "")
	require.NoError(t, err)
	forged.Jws = proto.String(signer.Sign(forged.Payload))
	log := open(t, path, Options{})
	_, err = log.Append(context.Background(), forged)
	require.NoError(t, err)
	unsigned := sample(t, 6)
	unsigned.Jws = nil
	_, err = log.Append(context.Background(), unsigned)
	require.NoError(t, err)
	require.NoError(t, log.Close())

	unjudged := auditFile(t, path, AuditOptions{})
	require.Empty(t, unjudged.Findings)
	require.False(t, unjudged.SignaturesJudged)
	report := auditFile(t, path, AuditOptions{Keys: testKeys(t)})
	require.Equal(t, []Kind{KindSignature}, kinds(report))
	require.Len(t, report.Findings, 2)
	require.Equal(t, int64(5), *report.Findings[0].Index)
	require.Equal(t, int64(6), *report.Findings[1].Index)
	require.Equal(t, int64(5), report.Signatures)
	none := auditFile(t, path, AuditOptions{Keys: &record.Keys{}})
	require.Len(t, none.Findings, 7, "no key is trusted")
}

func TestCheckpoint(t *testing.T) {
	path := filled(t, 5)
	signer, verifier := logKey(t, 1)
	log := open(t, path, Options{})
	ctx := context.Background()
	made, err := log.Checkpoint(ctx, signer)
	require.NoError(t, err)
	signed := made.Note
	require.Equal(t, head{5, tlog.Hash(rootOf(t, log))}, head{made.Size, made.Root})
	opened, err := note.Open(signed, note.VerifierList(verifier))
	require.NoError(t, err)
	require.Equal(t, testOrigin+"\n5\n"+base64.StdEncoding.EncodeToString(rootOf(t, log))+"\n", opened.Text)
	again, err := log.Checkpoint(ctx, signer)
	require.NoError(t, err)
	require.Equal(t, made, again, "the same state is the same note")
	appendSamples(t, log, 5, 9)
	_, err = log.Checkpoint(ctx, signer)
	require.NoError(t, err)
	require.NoError(t, log.Close())

	_, stranger := logKey(t, 2)
	garbled := bytes.Replace(signed, []byte("\n5\n"), []byte("\n4\n"), 1)
	foreign, err := note.Sign(&note.Note{Text: checkpointText("works.example/line-2", head{})}, signer)
	require.NoError(t, err)
	diary, err := note.Sign(&note.Note{Text: "all\nis\nwell\n"}, signer)
	require.NoError(t, err)
	empty, err := note.Sign(&note.Note{Text: checkpointText(testOrigin, head{0, mustRoot(t, 0)})}, signer)
	require.NoError(t, err)
	wrong, err := note.Sign(&note.Note{Text: checkpointText(testOrigin, head{0, tlog.Hash{}})}, signer)
	require.NoError(t, err)
	for _, c := range []struct {
		name     string
		note     []byte
		verifier note.Verifier
		field    string // of the finding; none is clean
	}{
		{"good", signed, verifier, ""},
		{"of the empty log", empty, verifier, ""},
		{"of another empty log", wrong, verifier, "root of the first 0 entries"},
		{"garbled", garbled, verifier, "signature"},
		{"no note", []byte("all is well"), verifier, "signature"},
		{"another log", foreign, verifier, "origin"},
		{"another text", diary, verifier, "text"},
	} {
		t.Run(c.name, func(t *testing.T) {
			report := auditFile(t, path, AuditOptions{Checkpoint: c.note, Verifier: c.verifier})
			if c.field == "" {
				require.Empty(t, report.Findings)
				require.NotNil(t, report.CheckpointSize)
				return
			}
			require.Equal(t, []Kind{KindCheckpoint}, kinds(report))
			require.Equal(t, c.field, report.Findings[0].Field)
		})
	}
	t.Run("another key", func(t *testing.T) {
		report := auditFile(t, path, AuditOptions{Checkpoint: signed, Verifier: stranger})
		require.Equal(t, []Kind{KindCheckpoint, KindStoredCheckpoint}, kinds(report))
	})
	for _, options := range []AuditOptions{{Checkpoint: signed}, {Verifier: verifier}} {
		_, err := Audit(ctx, open(t, path, Options{ReadOnly: true}), options)
		require.Error(t, err)
	}
}

func mustRoot(t *testing.T, n int64) tlog.Hash {
	t.Helper()
	root, err := tlog.TreeHash(n, &edge{})
	require.NoError(t, err)
	return root
}

func TestParseCheckpoint(t *testing.T) {
	root := base64.StdEncoding.EncodeToString(make([]byte, 32))
	origin, at, err := parseCheckpoint("a\n12\n" + root + "\nextension\n")
	require.NoError(t, err)
	require.Equal(t, "a", origin)
	require.Equal(t, head{12, tlog.Hash{}}, at)
	for _, text := range []string{
		"", "a", "a\n1", "a\n1\n" + root, "\n1\n" + root + "\n", "a\n-1\n" + root + "\n", "a\n01\n" + root + "\n", "a\n+1\n" + root + "\n",
		"a\nx\n" + root + "\n", "a\n1\n" + root[1:] + "\n", "a\n1\n\n",
	} {
		_, _, err := parseCheckpoint(text)
		require.ErrorIs(t, err, errCheckpointForm, "%q", text)
	}
}

func TestAuditRecomputation(t *testing.T) {
	path := filled(t, 300)
	number := func(r *linepacev1.Record) int32 {
		opened, err := record.Open(r.GetPayload())
		require.NoError(t, err)
		require.Empty(t, r.GetJws())
		require.Equal(t, record.Digest(r.GetPayload()), r.GetDigest())
		return opened.Plan.Setpoints[0].GetCount()
	}
	recompute := func(_ context.Context, r *linepacev1.Record) (*linepacev1.VerifyResponse, error) {
		switch number(r) {
		case 7:
			return &linepacev1.VerifyResponse{
				Outcome:     linepacev1.VerifyResponse_DIFFERS,
				Differences: []*linepacev1.VerifyResponse_Difference{{Field: "setpoints[0].count", Recorded: "7", Recomputed: "8"}},
			}, nil
		case 200:
			return &linepacev1.VerifyResponse{Outcome: linepacev1.VerifyResponse_NOT_RECOMPUTABLE, UnknownFormulas: []string{"motor-speed/9"}}, nil
		case 290:
			return &linepacev1.VerifyResponse{Outcome: linepacev1.VerifyResponse_BAD_SIGNATURE}, nil
		}
		return &linepacev1.VerifyResponse{Outcome: linepacev1.VerifyResponse_SAME}, nil
	}
	report := auditFile(t, path, AuditOptions{Recompute: recompute})
	require.Equal(t, int64(297), report.Recomputed)
	index := func(n int64) *int64 { return &n }
	require.Equal(t, []Finding{
		{Kind: KindRecomputation, Index: index(7), Field: "setpoints[0].count", Expected: "8", Found: "7"},
		{Kind: KindNotRecomputable, Index: index(200), Field: "formulas", Expected: "formulas that this build knows", Found: "motor-speed/9"},
		{Kind: KindRecomputation, Index: index(290), Expected: "SAME", Found: "BAD_SIGNATURE"},
	}, report.Findings)

	gone := errors.New("gone")
	_, err := Audit(context.Background(), open(t, path, Options{ReadOnly: true}), AuditOptions{
		Recompute: func(context.Context, *linepacev1.Record) (*linepacev1.VerifyResponse, error) { return nil, gone },
	})
	require.ErrorIs(t, err, gone)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = Audit(ctx, open(t, path, Options{ReadOnly: true}), AuditOptions{})
	require.ErrorIs(t, err, context.Canceled)
}

// A report stays small however much is wrong.
func TestAuditOmits(t *testing.T) {
	path := filled(t, 700)
	edit(t, path, "UPDATE entry SET batch = 'x', recipe = 'y'")
	report := auditFile(t, path, AuditOptions{})
	require.Len(t, report.Findings, MaxFindings)
	require.Equal(t, int64(400), report.Omitted)
}

// Wherever a byte of the file is changed, the log is refused, or the audit finds
// something, or the byte means nothing and every record is still there.
func TestFlippedBytes(t *testing.T) {
	const n = 12
	original, err := os.ReadFile(filled(t, n))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "log")
	refused, found, meaningless := 0, 0, 0
	for at := 0; at < len(original); at += 211 {
		changed := bytes.Clone(original)
		changed[at] ^= 0x41
		require.NoError(t, os.WriteFile(path, changed, 0o644))
		log, err := Open(context.Background(), path, Options{ReadOnly: true})
		if err != nil {
			requireOurs(t, err)
			refused++
			continue
		}
		report, err := Audit(context.Background(), log, AuditOptions{Keys: testKeys(t)})
		require.NoError(t, err, "byte %d", at)
		if report.Clean() {
			for i := range n {
				got, err := log.Get(context.Background(), int64(i))
				require.NoError(t, err)
				require.True(t, proto.Equal(sample(t, i), got))
			}
			meaningless++
		} else {
			found++
		}
		require.NoError(t, log.Close())
	}
	t.Logf("of %d changed bytes %d were refused, %d found, %d meant nothing", refused+found+meaningless, refused, found, meaningless)
	require.Positive(t, found)
}

func requireOurs(t *testing.T, err error) {
	t.Helper()
	require.True(t, errors.As(err, new(*NotALogError)) || errors.As(err, new(*DamagedError)) || errors.As(err, new(*VersionError)) ||
		errors.As(err, new(*ReadOnlyError)), "%T: %v", err, err)
}
