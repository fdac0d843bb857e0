package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"linepace.example/client"
	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
	"linepace.example/proto/refusal"
)

// verifyFlags say by what to verify.
type verifyFlags struct {
	server serverFlags
	keys   string
	json   bool
}

func newVerify() *cobra.Command {
	f := &verifyFlags{}
	c := &cobra.Command{
		Use:   "verify RECORD",
		Short: "Verify a record: its bytes, its signature, and its plan by computing it again",
		Long: `Verify a record that plan --record or export wrote: its bytes, its signature, and
its plan by computing it again. No server and no log is needed.

Without --keys the signature is not judged: then a good record shows that its plan
follows from its request, and not who made it. With --keys the record must be
signed by one of them, and is not read otherwise.

` + exitHelp,
		Example: `  linepace verify record.json --keys works.keys.json`,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return f.run(c.Context(), &input{stdin: c.InOrStdin()}, args[0], c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	f.server.add(c)
	addKeysFlag(c, &f.keys)
	c.Flags().BoolVar(&f.json, "json", false, "print the answer as JSON")
	return c
}

func addKeysFlag(c *cobra.Command, path *string) {
	c.Flags().StringVar(path, "keys", "", "`file` of the pinned keys that sign records, a JSON Web Key Set as GET /v1/keys answers")
	must(c.MarkFlagFilename("keys", "json"))
}

func (f *verifyFlags) run(ctx context.Context, in *input, path string, stdout, stderr io.Writer) error {
	keys, err := readKeys(f.keys)
	if err != nil {
		return err
	}
	rec, err := readRecord(in, path)
	if err != nil {
		return err
	}
	c, end, err := f.server.connect(stderr)
	if err != nil {
		return err
	}
	defer end()
	sign := judge(rec, keys)
	resp, err := verify(ctx, c, rec, sign)
	if err != nil {
		return f.server.explain(err)
	}
	if f.json {
		err = printJSON(stdout, resp)
	} else {
		err = printVerified(stdout, "RECORD "+path, nil, resp, sign)
	}
	if err != nil {
		return err
	}
	return holds(resp, sign)
}

// verify follows the steps of proto/record/FORMAT.md. The signature has been
// judged: where that is the end, the payload is not read.
func verify(ctx context.Context, c *client.Client, rec *linepacev1.Record, s signature) (*linepacev1.VerifyResponse, error) {
	if given, digest := rec.GetDigest(), record.Digest(rec.GetPayload()); given != "" && given != digest {
		return nil, &notGood{exitNotGood, "the digest is " + given + ", and that of the payload is " + digest + ": they do not belong together"}
	}
	resp := &linepacev1.VerifyResponse{Digest: record.Digest(rec.GetPayload())}
	switch {
	case s.state == linepacev1.VerifyResponse_BAD:
		resp.Outcome = linepacev1.VerifyResponse_BAD_SIGNATURE
	case s.state == linepacev1.VerifyResponse_KEY_UNKNOWN && s.err != nil:
		resp.Outcome = linepacev1.VerifyResponse_UNKNOWN_KEY
	case s.state == linepacev1.VerifyResponse_SIGNATURE_UNSPECIFIED:
		return nil, &notGood{exitNotGood, s.err.Error()}
	default:
		answer, err := c.Verify(ctx, &linepacev1.VerifyRequest{Record: recordOf("", rec.GetPayload())})
		if err != nil {
			return nil, refused(err)
		}
		resp = answer
	}
	resp.Signature, resp.KeyId, resp.Build = s.state, s.keyID, s.build
	return resp, nil
}

// refused tells a record that is none, or of another version, from a call that failed.
func refused(err error) error {
	if status.Code(err) != codes.InvalidArgument {
		return err
	}
	code := exitNotGood
	var texts []string
	for _, v := range refusal.Violations(err) {
		texts = append(texts, v.Text)
		if v.Reason == "UNKNOWN_KIND" || v.Reason == "UNKNOWN_VERSION" {
			code = exitUnknown
		}
	}
	return &notGood{code, strings.Join(texts, "; ")}
}

// holds ends a verification: nil where the record holds.
func holds(resp *linepacev1.VerifyResponse, s signature) error {
	switch {
	case s.err != nil:
		return &notGood{exitNotGood, s.err.Error()}
	case resp.GetOutcome() == linepacev1.VerifyResponse_NOT_RECOMPUTABLE:
		return &hintedError{
			&notGood{exitUnknown, "the record rests on formulas that this build does not know: " + strings.Join(resp.GetUnknownFormulas(), ", ")},
			"that is not tampering: verify it with a build that knows them",
		}
	case resp.GetOutcome() != linepacev1.VerifyResponse_SAME:
		return &notGood{exitNotGood, "computing the record's request again gives another plan"}
	}
	return nil
}

// recomputedText says what computing a record again gave.
func recomputedText(resp *linepacev1.VerifyResponse) string {
	switch resp.GetOutcome() {
	case linepacev1.VerifyResponse_SAME:
		return "the same plan, byte by byte"
	case linepacev1.VerifyResponse_DIFFERS:
		return "ANOTHER PLAN, see below"
	case linepacev1.VerifyResponse_NOT_RECOMPUTABLE:
		return "not by this build, which does not know " + strings.Join(resp.GetUnknownFormulas(), ", ")
	}
	return "no: bytes that are not by a pinned key are not read"
}

// printVerified prints what is known of a record, after the rows that are given.
func printVerified(stdout io.Writer, heading string, rows []report.Row, resp *linepacev1.VerifyResponse, s signature) error {
	rows = append(rows, recordRows(resp.GetDigest(), s.text)...)
	rows = append(rows, report.Row{Label: "recomputed", Text: recomputedText(resp)})
	if err := report.Block(stdout, heading, rows...); err != nil || len(resp.GetDifferences()) == 0 {
		return err
	}
	var differences []report.Row
	for i, d := range resp.GetDifferences() {
		differences = append(differences, report.Row{Mark: fmt.Sprint(i + 1),
			Text: fmt.Sprintf("%s: recorded %s, recomputed %s", d.GetField(), orNothing(d.GetRecorded()), orNothing(d.GetRecomputed()))})
	}
	return report.Block(stdout, "WHAT DIFFERS", differences...)
}

func orNothing(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}
