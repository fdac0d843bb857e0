package record

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// openByWriting is Open as FORMAT.md states it: read strictly, write again, compare.
func openByWriting(payload []byte) error {
	p := &linepacev1.RecordPayload{}
	if err := codec.Unmarshal(payload, p); err != nil {
		return explain(payload, err)
	}
	if err := known(p.Kind, strconv.Itoa(int(p.Version))); err != nil {
		return err
	}
	if p.Request == nil || p.Plan == nil {
		return &MalformedError{errors.New("it needs a request and a plan")}
	}
	written, err := Payload(p.Request, p.Plan, p.Formulas)
	switch {
	case err != nil:
		return &MalformedError{err}
	case bytes.Equal(payload, written):
		return nil
	case bytes.HasPrefix(payload, written):
		return &TrailingBytesError{len(written)}
	}
	return &NotCanonicalError{firstDifference(written, payload)}
}

// tokens are what a payload is changed by: bytes of JSON, and parts of a record
// that are sound by themselves and do not belong.
var tokens = []string{
	"0", "1", "9", "-", ".", "e", "E", "+", ",", ":", "{", "}", "[", "]", `"`, `\`, " ", "\n", "\t", "\x00", "a", "é", "\xc3",
	"0.0", "-0", "1e0", ".0", "00", "e+1", `\u0061`, `\/`, `\n`, `\u000a`, `\"`, `""`, "[]", "{}", "null", "true", "false",
	`"includeRecord":true,`, `"includeWorking":true,`, `"message":"well",`, `"record":{},`, `"working":[{}],`, `"description":"",`,
	`"baseRpm":0,`, `"formulas":["b/1","a/1"],`, `"formulas":["a/1","b/1"],`, `"checks":[{"message":"well"}],`, `"setpoints":[],`,
}

// What Open judges while it reads is what writing again would judge, with the
// same error at the same byte: on the kept records and on records with every field
// of the contract, each as it is and changed at one or two places.
func TestOpenJudgesAsWritingAgain(t *testing.T) {
	kept, err := filepath.Glob(filepath.Join(vectors, "v1", "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, kept)
	var payloads [][]byte
	for _, file := range kept {
		payload, err := os.ReadFile(file)
		require.NoError(t, err)
		payloads = append(payloads, payload)
	}
	for turn := range 6 {
		req, resp := whole(turn)
		payload, err := Payload(req, resp, []string{"a/1", "ratio/1"})
		require.NoError(t, err)
		payloads = append(payloads, payload)
		// With all that a payload leaves out.
		payload, err = codec.AppendCanonical(nil, &linepacev1.RecordPayload{Kind: Kind, Version: Version, Request: req, Plan: resp})
		require.NoError(t, err)
		payloads = append(payloads, payload)
	}
	random := rand.New(rand.NewPCG(8785, 1))
	outcomes := map[string]int{}
	for _, payload := range payloads {
		for i := range 400 {
			text := bytes.Clone(payload)
			for range min(i, 1+random.IntN(2)) { // the first one stays as it is
				token := tokens[random.IntN(len(tokens))]
				at := random.IntN(len(text) + 1)
				end := min(at+random.IntN(3), len(text))
				text = append(append(bytes.Clone(text[:at]), token...), text[end:]...)
			}
			want := openByWriting(text)
			p, err := Open(text)
			require.Equal(t, want, err, "%s", text)
			require.Equal(t, want == nil, p != nil)
			index, err := OpenIndex(text)
			require.Equal(t, want, err, "%s", text)
			require.Equal(t, want == nil, index != nil)
			if want == nil {
				requireFiled(t, p, index)
			}
			outcomes[outcomeOf(err)]++
		}
	}
	for _, outcome := range []string{"opened", "not canonical", "otherwise refused"} {
		require.Greater(t, outcomes[outcome], 100, "%v", outcomes)
	}
}

// requireFiled compares what a log reads with the whole record.
func requireFiled(t *testing.T, whole, index *linepacev1.RecordPayload) {
	t.Helper()
	want := proto.CloneOf(whole)
	var drives []*linepacev1.Drive
	for _, drive := range want.Request.GetLine().GetDrives() {
		drives = append(drives, &linepacev1.Drive{Id: drive.Id})
	}
	if want.Request.Line != nil {
		want.Request.Line = &linepacev1.Line{Drives: drives}
	}
	for _, product := range []**linepacev1.Product{&want.Request.Product, &want.Request.Running} {
		if *product != nil {
			*product = &linepacev1.Product{Id: (*product).Id}
		}
	}
	want.Plan = &linepacev1.PlanResponse{}
	require.True(t, proto.Equal(want, index), "%v\n%v", want, index)
}

func outcomeOf(err error) string {
	var canonical *NotCanonicalError
	switch {
	case err == nil:
		return "opened"
	case errors.As(err, &canonical):
		return "not canonical"
	}
	return "otherwise refused"
}
