package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"linepace.example/client"
	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// showFlags say what to show and how.
type showFlags struct {
	log, keys     string
	working, json bool
}

func newShow() *cobra.Command {
	f := &showFlags{}
	c := &cobra.Command{
		Use:   "show --log FILE ENTRY",
		Short: "Print the sheet of an entry of a batch log again",
		Long: `Print the sheet of an entry of a batch log again, with what is known of its record.

A record holds numbers, and no wording: that comes from computing the plan again.
Where that gives another plan, the sheet shows the recorded one, without wording.

` + exitHelp,
		Example: `  linepace show --log line-2.db 17 --keys works.keys.json`,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return f.run(c.Context(), args[0], c.OutOrStdout(), c.ErrOrStderr())
		},
	}
	addLogFlag(c, &f.log, "`file` of the batch log")
	addKeysFlag(c, &f.keys)
	c.Flags().BoolVar(&f.working, "working", false, "show how each number was found")
	c.Flags().BoolVar(&f.json, "json", false, "print the record and what is known of it as JSON")
	return c
}

func (f *showFlags) run(ctx context.Context, number string, stdout, stderr io.Writer) error {
	keys, err := readKeys(f.keys)
	if err != nil {
		return err
	}
	log, n, err := openEntry(ctx, f.log, number)
	if err != nil {
		return err
	}
	defer log.Close()
	rec, err := log.Get(ctx, n)
	if err != nil {
		return explainLog(err)
	}
	c, end, err := (&serverFlags{}).inProcess(stderr)
	if err != nil {
		return err
	}
	defer end()
	sign := judge(rec, keys)
	resp, err := verify(ctx, c, rec, sign)
	if err != nil {
		return err
	}
	if f.json {
		err = printShown(stdout, n, rec, resp)
	} else {
		err = f.print(ctx, stdout, c, n, rec, resp, sign)
	}
	if err != nil {
		return err
	}
	return holds(resp, sign)
}

// printShown prints an entry as JSON. The payload is JSON already.
func printShown(stdout io.Writer, n int64, rec *linepacev1.Record, resp *linepacev1.VerifyResponse) error {
	shown := struct {
		Index     int64           `json:"index"`
		Digest    string          `json:"digest"`
		Signature string          `json:"signature"`
		KeyID     string          `json:"keyId"`
		Build     string          `json:"build"`
		Outcome   string          `json:"outcome"`
		Payload   json.RawMessage `json:"payload,omitempty"`
	}{n, resp.GetDigest(), resp.GetSignature().String(), resp.GetKeyId(), resp.GetBuild(), resp.GetOutcome().String(), nil}
	if wasRead(resp) {
		shown.Payload = rec.GetPayload()
	}
	return json.NewEncoder(stdout).Encode(shown)
}

// wasRead reports whether the payload could be read.
func wasRead(resp *linepacev1.VerifyResponse) bool {
	switch resp.GetOutcome() {
	case linepacev1.VerifyResponse_BAD_SIGNATURE, linepacev1.VerifyResponse_UNKNOWN_KEY:
		return false
	}
	return true
}

func (f *showFlags) print(ctx context.Context, stdout io.Writer, c *client.Client, n int64, rec *linepacev1.Record, resp *linepacev1.VerifyResponse, s signature) error {
	if wasRead(resp) {
		payload, err := record.Open(rec.GetPayload())
		if err != nil {
			return err
		}
		plan, err := f.plan(ctx, c, payload, resp)
		if err != nil {
			return err
		}
		if err := report.Sheet(stdout, payload.GetRequest(), plan); err != nil {
			return err
		}
	}
	entry := report.Row{Label: "log", Text: fmt.Sprintf("%s: entry %d", f.log, n)}
	return printVerified(stdout, "RECORD", []report.Row{entry}, resp, s)
}

// plan returns the plan with its wording where computing it gives the same, and
// otherwise the recorded one with the codes of its checks.
func (f *showFlags) plan(ctx context.Context, c *client.Client, payload *linepacev1.RecordPayload, resp *linepacev1.VerifyResponse) (*linepacev1.PlanResponse, error) {
	if resp.GetOutcome() == linepacev1.VerifyResponse_SAME {
		req := proto.CloneOf(payload.GetRequest())
		req.IncludeWorking = f.working
		return c.Plan(ctx, req)
	}
	for _, check := range payload.GetPlan().GetChecks() {
		check.Message = check.GetCode().String()
	}
	return payload.GetPlan(), nil
}
