package batchlog

import (
	"fmt"
	"strings"
)

// Kind says what a finding is about.
type Kind string

// Kinds of findings.
const (
	// KindFile: the data base finds its own structure damaged or altered.
	KindFile Kind = "file"
	// KindMissing: the log has no entry of this index, though it has later ones or its head counts it.
	KindMissing Kind = "missing-entry"
	// KindSurplus: the log has an entry beyond its head, or one before the first.
	KindSurplus Kind = "surplus-entry"
	// KindRecord: a leaf holds no record, or one of an unknown kind or version, or not in canonical form.
	KindRecord Kind = "record"
	// KindSignature: a record is not signed, or not by a pinned key, or its signature belongs to other bytes.
	KindSignature Kind = "signature"
	// KindIndex: what stands beside a leaf is not what the leaf says.
	KindIndex Kind = "index"
	// KindHash: a stored hash is not that of the leaves.
	KindHash Kind = "hash"
	// KindHead: the head is not that of the leaves.
	KindHead Kind = "head"
	// KindStoredCheckpoint: a checkpoint kept in the log itself does not fit the leaves.
	KindStoredCheckpoint Kind = "stored-checkpoint"
	// KindCheckpoint: the checkpoint that the auditor kept does not fit the leaves:
	// something that it covers was removed or changed.
	KindCheckpoint Kind = "checkpoint"
	// KindRecomputation: recomputing a record's request gives another plan.
	KindRecomputation Kind = "recomputation"
	// KindNotRecomputable: a record rests on formulas that this build does not know. That is not tampering.
	KindNotRecomputable Kind = "not-recomputable"
)

// Finding is one thing that an audit holds against a log.
type Finding struct {
	Kind Kind `json:"kind"`
	// Index is the entry, or nil where it is not about one.
	Index *int64 `json:"index,omitempty"`
	// Field is what of the entry or the log: a column, a hash, a field of the plan.
	Field    string `json:"field,omitempty"`
	Expected string `json:"expected"`
	Found    string `json:"found"`
}

// String returns a finding as a line of text.
func (f Finding) String() string {
	var s strings.Builder
	s.WriteString(string(f.Kind))
	if f.Index != nil {
		fmt.Fprintf(&s, ", entry %d", *f.Index)
	}
	if f.Field != "" {
		s.WriteString(", " + f.Field)
	}
	return s.String() + ": expected " + f.Expected + ", found " + f.Found
}

// MaxFindings is how many findings a report lists.
const MaxFindings = 1000

// Report is what an audit found.
type Report struct {
	Origin        string `json:"origin"`
	FormatVersion string `json:"formatVersion"`
	CreatedBy     string `json:"createdBy"`
	// Entries is the number of leaves read; Root is the hash over them, in base64.
	Entries int64  `json:"entries"`
	Root    string `json:"root"`
	// Signatures is the number of signatures that were found good; without pinned
	// keys none is judged.
	Signatures       int64 `json:"signatures"`
	SignaturesJudged bool  `json:"signaturesJudged"`
	// Recomputed is the number of records whose recomputation gave the same plan.
	Recomputed    int64 `json:"recomputed"`
	Recomputation bool  `json:"recomputation"`
	// CheckpointSize is how many entries the kept checkpoint covers, or nil where
	// none was given; then a removal of the last entries, and an old copy, cannot be seen.
	CheckpointSize *int64 `json:"checkpointSize,omitempty"`
	// Replans is the number of entries with the request of an earlier entry and
	// another plan.
	Replans int64 `json:"replans"`
	// Findings lists the first MaxFindings; Omitted counts the others.
	Findings []Finding `json:"findings"`
	Omitted  int64     `json:"omitted"`
}

// Clean tells that the audit holds nothing against the log.
func (r *Report) Clean() bool { return len(r.Findings) == 0 }

func (r *Report) add(findings ...Finding) {
	room := min(MaxFindings-len(r.Findings), len(findings))
	r.Findings = append(r.Findings, findings[:room]...)
	r.Omitted += int64(len(findings) - room)
}
