package batchlog

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/transparency-dev/merkle/compact"
	"github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"golang.org/x/mod/sumdb/tlog"
)

// vectors are published values; testdata/merkle/README.md names the source.
type vectors struct {
	Leaves    []string `json:"leaf_inputs_hex"`
	Roots     []string `json:"roots_by_size_0_to_6"`
	Inclusion []struct {
		Index, Size int64
		Proof       []string
	}
	Consistency []struct {
		Size1, Size2 int64
		Proof        []string
	}
}

func readVectors(t *testing.T) vectors {
	t.Helper()
	text, err := os.ReadFile("testdata/merkle/rfc6962.json")
	require.NoError(t, err)
	var v vectors
	require.NoError(t, json.Unmarshal(text, &v))
	require.Len(t, v.Leaves, 8)
	require.Len(t, v.Roots, 7)
	require.NotEmpty(t, v.Inclusion)
	require.NotEmpty(t, v.Consistency)
	return v
}

// appendLeaves puts leaves that are no records into a log, past Append's checks.
func appendLeaves(t *testing.T, log *Log, leaves ...[]byte) {
	t.Helper()
	for _, leaf := range leaves {
		digest := sha256.Sum256(leaf)
		w := &waiting{row: &row{digest: digest, requestDigest: digest, drives: "[]"}, done: make(chan outcome, 1)}
		w.row.setLeaf(leaf)
		_, err := log.put(context.Background(), w)
		require.NoError(t, err)
	}
}

func unhex(t *testing.T, texts ...string) [][]byte {
	t.Helper()
	var out [][]byte
	for _, text := range texts {
		b, err := hex.DecodeString(text)
		require.NoError(t, err)
		out = append(out, b)
	}
	return out
}

func bytesOf[H ~[]tlog.Hash](hashes H) [][]byte {
	var out [][]byte
	for _, h := range hashes {
		out = append(out, h[:])
	}
	return out
}

func rootOf(t *testing.T, log *Log) []byte {
	t.Helper()
	var h head
	require.NoError(t, log.store.view(context.Background(), func(r reader) (err error) {
		h, err = r.head()
		return err
	}))
	return h.root[:]
}

func TestPublishedTree(t *testing.T) {
	v := readVectors(t)
	log := open(t, newPath(t), Options{})
	leaves := unhex(t, v.Leaves...)
	require.Equal(t, v.Roots[0], hex.EncodeToString(rootOf(t, log)))
	for i, leaf := range leaves {
		appendLeaves(t, log, leaf)
		if size := i + 1; size < len(v.Roots) {
			require.Equal(t, v.Roots[size], hex.EncodeToString(rootOf(t, log)), "size %d", size)
		}
	}
	ctx := context.Background()
	for _, c := range v.Inclusion {
		got, root, err := log.InclusionProof(ctx, c.Index, c.Size)
		require.NoError(t, err)
		require.Equal(t, unhex(t, c.Proof...), bytesOf(got), "entry %d of %d", c.Index, c.Size)
		if int(c.Size) < len(v.Roots) {
			require.Equal(t, v.Roots[c.Size], hex.EncodeToString(root[:]))
		}
	}
	for _, c := range v.Consistency {
		got, err := log.ConsistencyProof(ctx, c.Size1, c.Size2)
		require.NoError(t, err)
		require.Equal(t, unhex(t, c.Proof...), bytesOf(got), "%d in %d", c.Size1, c.Size2)
	}
}

// Second opinion: the hashes and the verifiers of github.com/transparency-dev/merkle.
func TestTreeSecondOpinion(t *testing.T) {
	const size = 33
	ctx := context.Background()
	log := open(t, newPath(t), Options{})
	appendSamples(t, log, 0, size)
	factory := compact.RangeFactory{Hash: rfc6962.DefaultHasher.HashChildren}
	other := factory.NewEmptyRange(0)
	roots := [][]byte{rfc6962.DefaultHasher.EmptyRoot()}
	var leaves [][]byte
	for i := range size {
		row, err := rowOf(sample(t, i))
		require.NoError(t, err)
		leaves = append(leaves, rfc6962.DefaultHasher.HashLeaf(row.leaf))
		require.NoError(t, other.Append(leaves[i], nil))
		root, err := other.GetRootHash(nil)
		require.NoError(t, err)
		roots = append(roots, root)
	}
	require.Equal(t, roots[size], rootOf(t, log))
	for to := 1; to <= size; to++ {
		for n := range to {
			got, root, err := log.InclusionProof(ctx, int64(n), int64(to))
			require.NoError(t, err)
			require.Equal(t, roots[to], root[:])
			require.NoError(t, proof.VerifyInclusion(rfc6962.DefaultHasher, uint64(n), uint64(to), leaves[n], bytesOf(got), root[:]))
			require.Error(t, proof.VerifyInclusion(rfc6962.DefaultHasher, uint64(n), uint64(to), leaves[(n+1)%size], bytesOf(got), root[:]))
		}
		for from := 0; from <= to; from++ {
			got, err := log.ConsistencyProof(ctx, int64(from), int64(to))
			require.NoError(t, err)
			require.NoError(t, proof.VerifyConsistency(rfc6962.DefaultHasher, uint64(from), uint64(to), bytesOf(got), roots[from], roots[to]))
			if from > 0 && from < to {
				require.Error(t, proof.VerifyConsistency(rfc6962.DefaultHasher, uint64(from), uint64(to), bytesOf(got), roots[from-1], roots[to]))
			}
		}
	}
}

func TestProofsOutOfRange(t *testing.T) {
	ctx := context.Background()
	log := open(t, newPath(t), Options{})
	appendSamples(t, log, 0, 4)
	for _, c := range [][2]int64{{0, 0}, {0, 5}, {4, 4}, {-1, 4}, {0, -1}} {
		_, _, err := log.InclusionProof(ctx, c[0], c[1])
		var none *NoEntryError
		require.ErrorAs(t, err, &none, "entry %d of %d", c[0], c[1])
	}
	for _, c := range [][2]int64{{0, 5}, {4, 3}, {-1, 4}, {0, -1}} {
		_, err := log.ConsistencyProof(ctx, c[0], c[1])
		var none *NoEntryError
		require.ErrorAs(t, err, &none, "%d in %d", c[0], c[1])
	}
}

// The edge and a tree with every hash stored agree at each size.
func TestEdge(t *testing.T) {
	tree := &edge{}
	var stored []tlog.Hash
	all := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		var out []tlog.Hash
		for _, i := range indexes {
			out = append(out, stored[i])
		}
		return out, nil
	})
	for n := int64(0); n < 300; n++ {
		want, err := tlog.StoredHashes(n, []byte{byte(n), byte(n >> 8)}, all)
		require.NoError(t, err)
		got, err := tree.add(tlog.RecordHash([]byte{byte(n), byte(n >> 8)}))
		require.NoError(t, err)
		require.Equal(t, want, got)
		stored = append(stored, got...)
		wantRoot, err := tlog.TreeHash(n+1, all)
		require.NoError(t, err)
		root, err := tree.root()
		require.NoError(t, err)
		require.Equal(t, wantRoot, root)
		read, err := readEdge(head{n + 1, root}, all)
		require.NoError(t, err)
		again, err := read.root()
		require.NoError(t, err)
		require.Equal(t, root, again)
	}
	_, err := readEdge(head{300, tlog.Hash{}}, all)
	var damaged *DamagedError
	require.ErrorAs(t, err, &damaged)
}
