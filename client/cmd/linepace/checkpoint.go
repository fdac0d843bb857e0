package main

import (
	"context"
	"encoding/json"
	"io"

	"github.com/spf13/cobra"

	"linepace.example/client/batchlog"
	"linepace.example/proto/record/keyfile"
)

func newCheckpoint() *cobra.Command {
	path, key, asJSON := "", "", false
	c := &cobra.Command{
		Use:   "checkpoint --log FILE --key FILE",
		Short: "Sign the state of a batch log, to be kept elsewhere",
		Long: `Sign the state of a batch log under the log's own key, and print the signed note
(C2SP tlog-checkpoint). Keep it away from the log: audit --checkpoint then shows
any removal or change of what the log holds now. With --json the note stands in an
object, in the field note, beside what it says.

` + exitHelp,
		Example: `  linepace checkpoint --log line-2.db --key line-2-log.pem > line-2.checkpoint`,
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return checkpoint(c.Context(), path, key, asJSON, c.OutOrStdout())
		},
	}
	addLogFlag(c, &path, "`file` of the batch log")
	c.Flags().StringVar(&key, "key", "", "`file` of the log's own private key, as keygen makes it")
	must(c.MarkFlagFilename("key", "pem"))
	must(c.MarkFlagRequired("key"))
	c.Flags().BoolVar(&asJSON, "json", false, "print the note, and what it says, as JSON")
	return c
}

func checkpoint(ctx context.Context, path, keyPath string, asJSON bool, stdout io.Writer) error {
	key, err := keyfile.Read(keyPath)
	if err != nil {
		return err
	}
	log, err := openLogToSign(ctx, path)
	if err != nil {
		return err
	}
	defer log.Close()
	signer, err := noteSigner(log.Origin(), key)
	if err != nil {
		return err
	}
	signed, err := log.Checkpoint(ctx, signer)
	if err != nil {
		return explainLog(err)
	}
	if asJSON {
		return json.NewEncoder(stdout).Encode(checkpointJSON{path, log.Origin(), signed.Size, signed.Root.String(), string(signed.Note)})
	}
	_, err = stdout.Write(signed.Note)
	return err
}

// checkpointJSON is a checkpoint as JSON.
type checkpointJSON struct {
	File   string `json:"file"` // of the log
	Origin string `json:"origin"`
	Size   int64  `json:"size"`
	Root   string `json:"root"` // base64
	Note   string `json:"note"` // to be kept
}

// openLogToSign opens a log to write in, and makes none where there is none.
func openLogToSign(ctx context.Context, path string) (*batchlog.Log, error) {
	present, err := openLog(ctx, path)
	if err != nil {
		return nil, err
	}
	if err := present.Close(); err != nil {
		return nil, err
	}
	log, err := batchlog.Open(ctx, path, batchlog.Options{})
	return log, explainLog(err)
}
