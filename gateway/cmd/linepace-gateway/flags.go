package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
)

const (
	defaultServer = "127.0.0.1:7071"
	defaultHTTP   = "127.0.0.1:8071"
)

const help = `linepace-gateway answers HTTP calls with JSON by calling a Linepace server.

  --server ADDRESS  the server's gRPC address (default ` + defaultServer + `),
                    called without TLS: keep it on the same machine or network
  --http ADDRESS    answer HTTP calls there (default ` + defaultHTTP + `)
  --version         print the version and exit
  --help            print this and exit

Port 0 takes any free port. Once it listens it prints the address to standard
output, such as "http 127.0.0.1:8071"; the log goes to standard error. SIGTERM
and SIGINT end it when the calls in flight are answered.

Exit codes:
  0  ended by a signal, and every call was answered
  1  cannot listen, or a call had to be cut off
  2  wrong usage
`

type options struct {
	server, http  string
	help, version bool
}

func parse(args []string) (options, error) {
	var o options
	flags := flag.NewFlagSet("linepace-gateway", flag.ContinueOnError)
	flags.SetOutput(io.Discard) // run tells what is wrong, in one form
	flags.StringVar(&o.server, "server", defaultServer, "")
	flags.StringVar(&o.http, "http", defaultHTTP, "")
	flags.BoolVar(&o.version, "version", false, "")
	err := flags.Parse(args)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return options{help: true}, nil
	case err != nil:
		return o, err
	case flags.NArg() > 0:
		return o, fmt.Errorf("unexpected argument %q", flags.Arg(0))
	case o.server == "":
		return o, errors.New("--server needs an address such as " + defaultServer)
	case o.http == "":
		return o, errors.New("--http needs an address such as " + defaultHTTP)
	}
	return o, nil
}
