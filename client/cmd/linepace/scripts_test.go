package main

import (
	"bytes"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"os"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/record"
)

// Commands of the scripts that make what must be caught.

// alter replaces the first place of a text in a file by another of its length.
func alter(ts *testscript.TestScript, _ bool, args []string) {
	path, from, to := ts.MkAbs(args[0]), []byte(args[1]), []byte(args[2])
	data, err := os.ReadFile(path)
	ts.Check(err)
	if len(from) != len(to) || !bytes.Contains(data, from) {
		ts.Fatalf("no %q in %s, or another length", from, path)
	}
	ts.Check(os.WriteFile(path, bytes.Replace(data, from, to, 1), 0o666))
}

// copyFile copies a binary file, which cp of the scripts takes as text.
func copyFile(ts *testscript.TestScript, _ bool, args []string) {
	data, err := os.ReadFile(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), data, 0o666))
}

// sqlite runs a statement on a data base, made where there is none.
func sqlite(ts *testscript.TestScript, _ bool, args []string) {
	db, err := sql.Open("sqlite", ts.MkAbs(args[0]))
	ts.Check(err)
	_, err = db.Exec(args[1])
	ts.Check(err)
	_, err = db.Exec("PRAGMA wal_checkpoint(TRUNCATE)")
	ts.Check(err)
	ts.Check(db.Close())
}

// same holds that stdout begins as a file does, up to the block of the record.
func same(ts *testscript.TestScript, _ bool, args []string) {
	sheet := func(text string) string { return text[:strings.Index(text+"\nRECORD\n", "\nRECORD\n")] }
	got, want := sheet(ts.ReadFile("stdout")), sheet(ts.ReadFile(args[0]))
	if got != want {
		ts.Fatalf("got:\n%s\nwant:\n%s", got, want)
	}
}

// member writes a member of a JSON object to a file: a text without its quotes, and
// with -base64 what it stands for.
func member(ts *testscript.TestScript, _ bool, args []string) {
	coded := args[0] == "-base64"
	if coded {
		args = args[1:]
	}
	var object map[string]json.RawMessage
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &object))
	value := []byte(object[args[1]])
	if len(value) > 0 && value[0] == '"' {
		var text string
		ts.Check(json.Unmarshal(value, &text))
		value = []byte(text)
	}
	if coded {
		var err error
		value, err = base64.StdEncoding.DecodeString(string(value))
		ts.Check(err)
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[2]), value, 0o666))
}

// forge makes another record of one, unsigned, with one thing changed.
func forge(ts *testscript.TestScript, _ bool, args []string) {
	rec := &linepacev1.Record{}
	ts.Check(codec.Unmarshal([]byte(ts.ReadFile(args[0])), rec))
	payload, err := record.Open(rec.GetPayload())
	ts.Check(err)
	replace := func(from, to string) []byte { return bytes.Replace(rec.GetPayload(), []byte(from), []byte(to), 1) }
	forged := rec.GetPayload()
	switch args[2] {
	case "count":
		payload.Plan.Setpoints[0].Count = proto.Int32(4321)
		forged, err = record.Payload(payload.Request, payload.Plan, payload.Formulas)
	case "request":
		payload.Request.Line.Drives[0].Motor.MaxRpm = -1
		forged, err = record.Payload(payload.Request, payload.Plan, payload.Formulas)
	case "formula":
		forged, err = record.Payload(payload.Request, payload.Plan, append(payload.Formulas, "motor-speed/999"))
	case "version":
		forged = replace(`"version":1}`, `"version":2}`)
	case "kind":
		forged = replace(`"kind":"linepace.plan"`, `"kind":"linepace.scale"`)
	case "trailing":
		forged = append(bytes.Clone(forged), '\n')
	case "twice":
		forged = replace(`"kind":`, `"kind":"linepace.plan","kind":`)
	case "spelling":
		forged = replace(`,"kind"`, `, "kind"`)
	case "digest", "second":
	default:
		ts.Fatalf("forge what? %s", args[2])
	}
	ts.Check(err)
	if args[2] != "digest" && args[2] != "second" && bytes.Equal(forged, rec.GetPayload()) {
		ts.Fatalf("nothing was changed")
	}
	out := recordOf("", forged)
	if args[2] == "digest" {
		out.Digest = strings.Repeat("0", 64)
	}
	path := ts.MkAbs(args[1])
	if args[2] == "second" {
		out = rec // with its signature
	}
	ts.Check(writeRecord(path, out))
	if args[2] == "second" { // object after it
		ts.Check(os.WriteFile(path, append([]byte(ts.ReadFile(args[1])), "{}\n"...), 0o666))
	}
}
