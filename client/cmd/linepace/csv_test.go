package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// As many rows as one call takes become columns of the request, each by its number; of
// one more the error says what to do.
func TestLongFiles(t *testing.T) {
	var text bytes.Buffer
	text.WriteString("at,turns,weighed\n")
	start := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	row := func(i int) {
		fmt.Fprintf(&text, "%s,100,%d\n", start.Add(time.Duration(i)*time.Minute).Format(time.RFC3339), 1000+i%7)
	}
	for i := range mostRows {
		row(i)
	}
	read := func() (*linepacev1.AssessRequest, error) {
		req := &linepacev1.AssessRequest{}
		f := csvFlags{file: "-", time: "at", layout: "rfc3339", turns: "turns", amount: "weighed g", fixedGate: "1 min"}
		return req, f.read(&input{stdin: bytes.NewReader(text.Bytes())}, req, io.Discard)
	}
	req, err := read()
	require.NoError(t, err)
	require.Len(t, req.GetColumns().GetSeconds(), mostRows)
	require.Equal(t, 60.0*(mostRows-1), req.GetColumns().GetSeconds()[mostRows-1])
	require.Equal(t, 1000+float64((mostRows-1)%7), req.GetColumns().GetAmounts()[mostRows-1])
	row(mostRows)
	_, err = read()
	require.ErrorContains(t, err, "more than 100000 observations")
}

// However wrong a file is, the error stays of a length that can be read.
func TestRowFaultsAreBounded(t *testing.T) {
	f := csvFlags{file: "-", time: "at", layout: "rfc3339", turns: "turns", amount: "weighed g", fixedGate: "1 min"}
	err := f.read(&input{stdin: strings.NewReader("at,turns,weighed\n" + strings.Repeat("now,many,much\n", 1000))}, &linepacev1.AssessRequest{}, io.Discard)
	var all *faultsError
	require.ErrorAs(t, err, &all)
	require.Len(t, all.faults, mostRowFaults+1)
	require.Equal(t, "standard input: 2980 more faults like these", all.faults[mostRowFaults])
}
