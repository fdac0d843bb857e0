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

	"linepace.example/client/report"
	"linepace.example/proto/refusal"
)

// What goes where: data to stdout; "linepace: error: ..." for each thing that is
// wrong and "linepace: hint: ..." to stderr.

// Exit codes, as the help tells them.
const (
	exitOK          = 0
	exitNotGood     = 1
	exitInput       = 2
	exitUnreachable = 3
	exitUnknown     = 4
)

const exitHelp = `Exit codes:
  0  done, and what was asked holds
  1  a plan is not runnable, a record does not hold, or a log is not clean; the
     answer is printed all the same
  2  wrong usage or input, or output that cannot be written
  3  the server or the log file cannot be reached, or fails
  4  a record or log of a version, or on formulas, that this build does not know`

// notGood ends a command whose answer was printed and is not a good one.
type notGood struct {
	code int
	text string
}

func (e *notGood) Error() string { return e.text }

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
	root := &cobra.Command{
		Use:   "linepace",
		Short: "Plan the changeover of a process line, and keep the records of its plans",
		Long: `Linepace computes what each drive of a process line is to be given for a product,
and keeps the records of plans in a batch log in which any later change shows.
It commands no machine.

` + exitHelp,
		SilenceErrors: true, // told by run
		SilenceUsage:  true,
	}
	root.AddCommand(
		newCheck(), newPlan(), newCommission(), newCalc(), newUnits(),
		newLog(), newList(), newShow(), newExport(), newVerify(), newAudit(), newCheckpoint(), newKeygen(),
	)
	return root
}

// tell writes an error, all its violations, and what may help.
func tell(stderr io.Writer, err error) {
	say := func(kind, text string) { fmt.Fprintf(stderr, "linepace: %s: %s\n", kind, report.Clean(text)) }
	for _, fault := range faultsOf(err) {
		say("error", fault)
	}
	var hinted *hintedError
	if errors.As(err, &hinted) {
		say("hint", hinted.hint)
	}
}

// faultsOf lists everything that an error says is wrong.
func faultsOf(err error) []string {
	var placed *faultsError
	if errors.As(err, &placed) {
		return placed.faults
	}
	var faults []string
	for _, v := range refusal.Violations(err) {
		faults = append(faults, (*document)(nil).placed(v, ""))
	}
	if len(faults) == 0 {
		faults = append(faults, message(err))
	}
	return faults
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
	var answer *notGood
	switch {
	case errors.As(err, &answer):
		return answer.code
	case isUnknownVersion(err):
		return exitUnknown
	case isCall(err):
		return callExitCode(status.Code(err))
	}
	return logExitCode(err)
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
	return exitUnreachable
}

// hintedError is an error with a sentence on what to do about it.
type hintedError struct {
	error
	hint string
}

func (e *hintedError) Unwrap() error { return e.error }
