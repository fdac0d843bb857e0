// Package record makes and reads records of plans: the canonical bytes of a
// request and its plan, their digest, and a detached signature over them. The
// format, and the steps by which a record is verified, are described in FORMAT.md.
//
// A record is made by [Payload], [Digest] and [Signer.Sign], and judged by
// [VerifySignature] and then [Open]: never read what has not been judged. What
// remains, recomputing the request, is for whoever has the calculation;
// [Differences] tells where two plans differ. [Leaf] is how a log keeps a record.
//
// Nothing here reads a clock, a file or a random number: the same request and plan
// have the same bytes everywhere and for ever. The signature of Ed25519 is
// deterministic too.
package record
