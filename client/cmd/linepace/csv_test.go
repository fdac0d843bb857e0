package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// longFileOf returns a file of n rows a minute apart, one of them changed.
func longFileOf(n, changed int, amount string) string {
	var text strings.Builder
	text.WriteString("at,turns,weighed\n")
	start := time.Date(2026, 3, 1, 6, 0, 0, 0, time.UTC)
	for i := range n {
		weighed := fmt.Sprint(1000 + (i*7919%13-6)/3)
		if i == changed {
			weighed = amount
		}
		fmt.Fprintf(&text, "%s,100,%s\n", start.Add(time.Duration(i)*time.Minute).Format(time.RFC3339), weighed)
	}
	return text.String()
}

// A file of more rows than one call takes goes over a stream, and its rows are counted
// through, also where one of them is refused.
func TestLongFiles(t *testing.T) {
	request := filepath.Join(t.TempDir(), "rest.yaml")
	require.NoError(t, os.WriteFile(request, []byte("commissioned: {perTurn: {value: 10, unit: g/r}}\ntolerancePercent: 2\nsigma: {given: 0.2}\n"), 0o644))
	assess := func(text string) (code int, stdout, stderr string) {
		var out, errs bytes.Buffer
		args := []string{"calc", "assess", "--csv", "-", "--time", "at", "--turns", "turns", "--amount", "weighed g", "--fixed-gate", "1 min", request}
		code = run(context.Background(), args, strings.NewReader(text), &out, &errs)
		return code, out.String(), errs.String()
	}
	for _, n := range []int{mostRows, 2*mostRows + 5} {
		code, stdout, stderr := assess(longFileOf(n, -1, ""))
		require.Equal(t, exitOK, code, stderr)
		require.Contains(t, stdout, fmt.Sprintf("readings    %d readings", n))
	}
	for _, row := range []int{7, mostRows - 1, mostRows, mostRows + 1, 2*mostRows + 3} {
		code, stdout, stderr := assess(longFileOf(2*mostRows+5, row, "-3"))
		require.Equal(t, exitInput, code)
		require.Empty(t, stdout)
		require.Contains(t, stderr, fmt.Sprintf("standard input:%d: column \"weighed\" ", row+2))
	}
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
