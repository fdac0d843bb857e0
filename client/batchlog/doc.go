// Package batchlog keeps the records of plans on the client's side: an
// append-only store in one file, in which any later change shows.
//
//	log, err := batchlog.Open(ctx, "line-2.batchlog", batchlog.Options{})
//	if err != nil {
//		return err
//	}
//	defer log.Close()
//	result, err := log.Append(ctx, response.GetRecord())
//
// # What is kept
//
// An entry is a record's leaf: its detached signature, a newline, and the
// payload as it was signed. Over the leaves stands a Merkle tree with the
// hashing of RFC 6962 (SHA-256, 0x00 before a leaf, 0x01 before a node). What
// stands beside a leaf (batch, product, drives and so on) is an index for
// queries: Audit derives it from the leaf again and compares.
//
// # What an append promises
//
// When Append returns an index, the record is on the disk and in the tree.
// Appending is idempotent by the payload's digest, so that whoever does not
// know how an append ended appends again. Records that wait at the same time
// share one transaction.
//
// # What an audit can show
//
// Without a kept checkpoint, Audit shows a leaf that was changed, removed,
// added, swapped or moved by anyone who did not also rebuild the tree and the
// head; a leaf that was changed by anyone without the signing key, as long as
// keys are pinned; and any difference between the leaves, the stored hashes, the
// head and the index. It cannot show that the last entries were cut off
// consistently, that the file is an old copy, or that the whole log was built
// anew from records that are each genuine. A checkpoint that the auditor kept
// elsewhere shows these too, for everything that it covers.
package batchlog
