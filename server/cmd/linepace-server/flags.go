package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
)

// Addresses are on the loopback interface unless the caller asks for more: there
// is no authentication yet.
const (
	defaultGRPC = "127.0.0.1:7071"
	defaultHTTP = "127.0.0.1:8071"
)

const help = `linepace-server computes setpoints for the drives of a process line.

  --grpc ADDRESS  answer gRPC calls there (default ` + defaultGRPC + `)
  --http ADDRESS  answer HTTP calls with JSON there (default ` + defaultHTTP + `);
                  empty: gRPC only
  --signing-key FILE
                  sign the records of plans with the Ed25519 key in FILE: PEM,
                  PKCS #8, not encrypted, and no one but its owner may read it;
                  without it records are not signed
  --state-key FILE
                  authenticate the states of Track with the secret in FILE: 32
                  random bytes or more in hexadecimal digits, and no one but its
                  owner may read it; servers that answer for each other have the
                  same one; without it there is no Track. To make one:
                  (umask 077; od -An -tx1 -N32 /dev/urandom > FILE)
  --version       print the version and exit
  --help          print this and exit

Port 0 takes any free port. Once it listens it prints a line for each address to
standard output, such as "grpc 127.0.0.1:7071"; the log goes to standard error.
SIGTERM and SIGINT end it when the calls in flight are answered.

Exit codes:
  0  ended by a signal, and every call was answered
  1  cannot listen, cannot use a key, or a call had to be cut off
  2  wrong usage
`

type options struct {
	grpc, http    string
	signingKey    string // a file; empty: none
	stateKey      string // likewise
	help, version bool
}

func parse(args []string) (options, error) {
	var o options
	flags := flag.NewFlagSet("linepace-server", flag.ContinueOnError)
	flags.SetOutput(io.Discard) // run tells what is wrong, in one form
	flags.StringVar(&o.grpc, "grpc", defaultGRPC, "")
	flags.StringVar(&o.http, "http", defaultHTTP, "")
	flags.StringVar(&o.signingKey, "signing-key", "", "")
	flags.StringVar(&o.stateKey, "state-key", "", "")
	flags.BoolVar(&o.version, "version", false, "")
	err := flags.Parse(args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return options{help: true}, nil
	case err != nil:
		return o, err
	case flags.NArg() > 0:
		return o, fmt.Errorf("unexpected argument %q", flags.Arg(0))
	case o.grpc == "":
		return o, errors.New("--grpc needs an address such as " + defaultGRPC)
	}
	return o, nil
}
