package batchlog

import (
	"fmt"
	"math/bits"

	"golang.org/x/mod/sumdb/tlog"
)

// head is the state of a tree: how many leaves, and the hash over them.
type head struct {
	size int64
	root tlog.Hash
}

// edge is the right edge of a Merkle tree: all that is needed to add leaves and
// to tell the root. Its zero value is the empty tree.
type edge struct {
	size int64
	last [63]tlog.Hash // by level, the last complete subtree of 2^level leaves
}

// add puts a leaf at the end and returns the hashes to store from
// tlog.StoredHashIndex(0, size before) on.
func (e *edge) add(leaf tlog.Hash) ([]tlog.Hash, error) {
	hashes, err := e.with(leaf)
	if err == nil {
		e.take(hashes)
	}
	return hashes, err
}

// with returns the hashes of the subtrees that a leaf would complete.
func (e *edge) with(leaf tlog.Hash) ([]tlog.Hash, error) {
	return tlog.StoredHashesForRecordHash(e.size, leaf, e)
}

// take puts the leaf at the end that with has returned the hashes for.
func (e *edge) take(hashes []tlog.Hash) {
	copy(e.last[:], hashes)
	e.size++
}

// root returns the hash over all leaves.
func (e *edge) root() (tlog.Hash, error) {
	return tlog.TreeHash(e.size, e)
}

// ReadHashes makes an edge the reader that tlog wants. Both of its calls ask for
// complete subtrees of the edge only.
func (e *edge) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		level, n := tlog.SplitStoredHashIndex(index)
		if n != e.size>>level-1 {
			return nil, fmt.Errorf("batchlog: internal error: hash %d of level %d is not on the edge of %d leaves", n, level, e.size)
		}
		hashes[i] = e.last[level]
	}
	return hashes, nil
}

// readEdge reads the edge of the tree that a head names and holds it to the head.
func readEdge(h head, stored tlog.HashReader) (*edge, error) {
	levels := make([]int, 0, 63)
	indexes := make([]int64, 0, 63)
	for rest := h.size; rest != 0; rest &= rest - 1 {
		level := bits.TrailingZeros64(uint64(rest))
		levels = append(levels, level)
		indexes = append(indexes, tlog.StoredHashIndex(level, h.size>>level-1))
	}
	hashes, err := stored.ReadHashes(indexes)
	if err != nil {
		return nil, err
	}
	e := &edge{size: h.size}
	for i, level := range levels {
		e.last[level] = hashes[i]
	}
	root, err := e.root()
	if err != nil {
		return nil, err
	}
	if root != h.root {
		return nil, &DamagedError{Reason: fmt.Sprintf("the head's root is %v, the stored hashes give %v", h.root, root)}
	}
	return e, nil
}
