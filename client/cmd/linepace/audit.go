package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"linepace.example/client/batchlog"
	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/server"
)

// auditFlags say what an auditor brings along.
type auditFlags struct {
	log, keys           string
	checkpoint, logKeys string
	json                bool
}

func newAudit() *cobra.Command {
	f := &auditFlags{}
	c := &cobra.Command{
		Use:   "audit --log FILE",
		Short: "Audit a batch log: tree, signatures, plans, index",
		Long: `Audit a batch log: build its tree again from its leaves, judge every signature by
the pinned keys, compute every plan again, and hold all else in the file against
that. Nothing is written, and no server is needed.

Without --keys no signature is judged. Without a checkpoint that was kept away
from the log it cannot be seen that the last entries were cut off, or that the
file is an old copy; linepace checkpoint makes one.

` + exitHelp,
		Example: `  linepace audit --log line-2.db --keys works.keys.json --checkpoint line-2.checkpoint --checkpoint-key line-2-log.keys.json`,
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return f.run(c.Context(), c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	addLogFlag(c, &f.log, "`file` of the batch log")
	addKeysFlag(c, &f.keys)
	flags := c.Flags()
	flags.StringVar(&f.checkpoint, "checkpoint", "", "`file` of a checkpoint of the log that was kept elsewhere")
	flags.StringVar(&f.logKeys, "checkpoint-key", "", "`file` of the public key that signs the log's checkpoints, as keygen prints it")
	flags.BoolVar(&f.json, "json", false, "print the report as JSON")
	c.MarkFlagsRequiredTogether("checkpoint", "checkpoint-key")
	return c
}

func (f *auditFlags) run(ctx context.Context, stdout, stderr io.Writer) error {
	log, err := openLog(ctx, f.log)
	if err != nil {
		return err
	}
	defer log.Close()
	options, err := f.options(log, stderr)
	if err != nil {
		return err
	}
	found, err := batchlog.Audit(ctx, log, options)
	if err != nil {
		return explainLog(err)
	}
	if f.json {
		err = json.NewEncoder(stdout).Encode(found)
	} else {
		err = f.print(stdout, found)
	}
	if err != nil {
		return err
	}
	return clean(found)
}

func (f *auditFlags) options(log *batchlog.Log, stderr io.Writer) (o batchlog.AuditOptions, err error) {
	if o.Keys, err = readKeys(f.keys); err != nil {
		return o, err
	}
	if f.checkpoint != "" {
		if o.Checkpoint, err = os.ReadFile(f.checkpoint); err != nil {
			return o, err
		}
		if o.Verifier, err = noteVerifier(log.Origin(), f.logKeys); err != nil {
			return o, err
		}
	}
	s, err := server.New(server.Config{Log: faultLog(stderr)})
	if err != nil {
		return o, err
	}
	o.Recompute = recompute(s.Records())
	return o, nil
}

// recompute verifies records by a service in this process, without a connection
// between. A request that the service refuses is no plan that it can give.
func recompute(service linepacev1.RecordServiceServer) func(context.Context, *linepacev1.Record) (*linepacev1.VerifyResponse, error) {
	return func(ctx context.Context, rec *linepacev1.Record) (*linepacev1.VerifyResponse, error) {
		resp, err := service.Verify(ctx, &linepacev1.VerifyRequest{Record: rec})
		if status.Code(err) != codes.InvalidArgument {
			return resp, err
		}
		return &linepacev1.VerifyResponse{
			Outcome: linepacev1.VerifyResponse_DIFFERS,
			Differences: []*linepacev1.VerifyResponse_Difference{{
				Field: "request", Recorded: "one that is refused: " + refused(err).Error(), Recomputed: "a request that can be planned",
			}},
		}, nil
	}
}

// clean ends an audit: nil where it holds nothing against the log.
func clean(found *batchlog.Report) error {
	if found.Clean() {
		return nil
	}
	n := int64(len(found.Findings)) + found.Omitted
	tampered := func(f batchlog.Finding) bool { return f.Kind != batchlog.KindNotRecomputable }
	if found.Omitted == 0 && !slices.ContainsFunc(found.Findings, tampered) {
		return &notGood{exitUnknown, "the log rests on formulas that this build does not know, which is not tampering; audit it with a build that knows them"}
	}
	return &notGood{exitNotGood, fmt.Sprintf("the log is not clean: the audit found %d things", n)}
}

func (f *auditFlags) print(stdout io.Writer, found *batchlog.Report) error {
	verdict := "CLEAN"
	if !found.Clean() {
		verdict = fmt.Sprintf("NOT CLEAN, %d found", int64(len(found.Findings))+found.Omitted)
	}
	signatures := "not judged, since no keys are pinned (--keys)"
	if found.SignaturesJudged {
		signatures = fmt.Sprintf("%d of %d good, by pinned keys", found.Signatures, found.Entries)
	}
	kept := "none given (--checkpoint): that the last entries were cut off, or that this is an old copy, cannot be seen"
	if found.CheckpointSize != nil {
		kept = fmt.Sprintf("one that covers the first %d entries", *found.CheckpointSize)
	}
	err := report.Block(stdout, "AUDIT of "+f.log,
		report.Row{Label: "VERDICT", Text: verdict},
		report.Row{Label: "log", Text: fmt.Sprintf("%s, format %s, made by %s", found.Origin, found.FormatVersion, found.CreatedBy)},
		report.Row{Label: "entries", Text: fmt.Sprintf("%d, of which %d are re-plans of a request", found.Entries, found.Replans)},
		report.Row{Label: "root", Text: found.Root},
		report.Row{Label: "signatures", Text: signatures},
		report.Row{Label: "recomputed", Text: fmt.Sprintf("%d of %d give the same plan", found.Recomputed, found.Entries)},
		report.Row{Label: "checkpoint", Text: kept},
	)
	if err != nil || found.Clean() {
		return err
	}
	return report.Block(stdout, "WHAT WAS FOUND", findings(found)...)
}

func findings(found *batchlog.Report) []report.Row {
	var rows []report.Row
	for i, finding := range found.Findings {
		rows = append(rows, report.Row{Mark: fmt.Sprint(i + 1), Text: finding.String()})
	}
	if found.Omitted > 0 {
		rows = append(rows, report.Row{Mark: "...", Text: fmt.Sprintf("and %d more", found.Omitted)})
	}
	return rows
}
