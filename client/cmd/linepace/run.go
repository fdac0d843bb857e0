package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"linepace.example/proto/refusal"
)

// What goes where: data to stdout; "linepace: error: ..." for each thing that is
// wrong and "linepace: hint: ..." to stderr.

// Exit codes, as the help tells them.
const (
	exitOK          = 0
	exitNotRunnable = 1
	exitInput       = 2
	exitServer      = 3
)

const exitHelp = `Exit codes:
  0  done; a plan is runnable
  1  the plan is not runnable; its sheet is printed all the same
  2  wrong usage or input, or output that cannot be written
  3  the server cannot be reached or fails`

// errNotRunnable ends a command whose plan was found and may not run.
var errNotRunnable = errors.New("the plan is not runnable: load nothing from it")

// run carries out one command line and returns its exit code.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitOK
	}
	tell(stderr, err)
	return exitCode(err)
}

func newRoot() *cobra.Command {
	server := &serverFlags{}
	root := &cobra.Command{
		Use:           "linepace",
		Short:         "Plan the changeover of a process line",
		Long:          "Linepace computes what each drive of a process line is to be given for a product.\nIt commands no machine.\n\n" + exitHelp,
		SilenceErrors: true, // told by run
		SilenceUsage:  true,
	}
	root.PersistentFlags().StringVar(&server.address, "server", "", "`address` of a Linepace server, such as 127.0.0.1:7071; without it the calculation runs in this process")
	root.PersistentFlags().BoolVar(&server.plaintext, "plaintext", false, "talk to the server without TLS, as always to one on this machine")
	root.AddCommand(newPlan(server), newUnits(server))
	return root
}

// tell writes an error, all its violations, and what may help.
func tell(stderr io.Writer, err error) {
	say := func(kind, text string) { fmt.Fprintf(stderr, "linepace: %s: %s\n", kind, text) }
	violations := refusal.Violations(err)
	for _, v := range violations {
		if v.Path == "" {
			say("error", v.Text)
		} else {
			say("error", v.Path+": "+v.Text)
		}
	}
	if len(violations) == 0 {
		say("error", message(err))
	}
	var hinted *hintedError
	if errors.As(err, &hinted) {
		say("hint", hinted.hint)
	}
}

// message returns what to say of err: of a status its message alone.
func message(err error) string {
	var call interface{ GRPCStatus() *status.Status }
	if errors.As(err, &call) {
		return call.GRPCStatus().Message()
	}
	return strings.TrimSpace(err.Error()) // of YAML it ends in a blank line
}

func exitCode(err error) int {
	switch {
	case errors.Is(err, errNotRunnable):
		return exitNotRunnable
	case isCall(err):
		return callExitCode(status.Code(err))
	}
	return exitInput
}

// isCall reports whether err is the end of a call and not of reading or writing.
func isCall(err error) bool {
	var call interface{ GRPCStatus() *status.Status }
	return errors.As(err, &call)
}

// callExitCode tells what the caller can mend from what only the server's side can.
func callExitCode(code codes.Code) int {
	switch code {
	case codes.InvalidArgument, codes.ResourceExhausted:
		return exitInput
	}
	return exitServer
}

// hintedError is an error with a sentence on what to do about it.
type hintedError struct {
	error
	hint string
}

func (e *hintedError) Unwrap() error { return e.error }
