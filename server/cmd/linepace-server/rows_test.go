package main

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// conformance is the folder of the rows; its README says what they may hold.
var conformance = filepath.Join("..", "..", "..", "testdata", "conformance")

type row struct {
	Name         string            `json:"name"`
	Why          string            `json:"why"`
	Path         string            `json:"path"`
	Method       string            `json:"method"`
	Base         string            `json:"base"`
	Change       map[string]any    `json:"change"`
	Repeat       map[string]int    `json:"repeat"`
	Body         json.RawMessage   `json:"body"`
	Text         *string           `json:"text"`
	Hex          string            `json:"hex"`
	Fill         int               `json:"fill"`
	Query        string            `json:"query"`
	Header       map[string]string `json:"header"`
	UnknownField *struct {
		At     string `json:"at"`
		Number int    `json:"number"`
	} `json:"unknownField"`
	Transports []string `json:"transports"`
	Want       want     `json:"want"`
}

type want struct {
	OK         bool           `json:"ok"`
	Fields     map[string]any `json:"fields"`
	Code       string         `json:"code"`
	HTTP       int            `json:"http"`
	Reason     string         `json:"reason"`
	Violations [][2]string    `json:"violations"`
	Text       string         `json:"text"`
}

// readRows reads every row of the folder.
func readRows(t testing.TB) []row {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(conformance, "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files, "no rows in %s", conformance)
	var all []row
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		var rows []row
		decodeJSON(t, data, &rows)
		require.NotEmpty(t, rows, file)
		for i := range rows {
			rows[i].setDefaults()
		}
		all = append(all, rows...)
	}
	return all
}

func (r *row) setDefaults() {
	if r.Path == "" {
		r.Path = "/v1/changeovers:plan"
	}
	if r.Method == "" {
		r.Method = http.MethodPost
	}
	if r.Transports == nil {
		r.Transports = []string{"grpc", "json", "remote"}
	}
}

// decodeJSON keeps numbers as they are written: -0 matters here.
func decodeJSON(t testing.TB, data []byte, v any) {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	d.DisallowUnknownFields()
	require.NoError(t, d.Decode(v), "%s", data)
}

// payload returns the body of the row's request.
func (r *row) payload(t testing.TB) []byte {
	t.Helper()
	switch {
	case r.Text != nil:
		return []byte(*r.Text)
	case r.Hex != "":
		data, err := hex.DecodeString(r.Hex)
		require.NoError(t, err)
		return data
	case r.Fill > 0:
		return []byte(`{"line": {"description": "` + strings.Repeat("x", r.Fill) + `"}}`)
	case r.Method == http.MethodGet:
		return nil
	}
	var body any
	if r.Base == "" {
		decodeJSON(t, r.Body, &body)
	} else {
		data, err := os.ReadFile(filepath.Join(conformance, "base", r.Base+".json"))
		require.NoError(t, err)
		decodeJSON(t, data, &body)
	}
	for path, value := range r.Change {
		body = change(t, body, path, func(any) any { return value })
	}
	for path, n := range r.Repeat {
		body = change(t, body, path, func(list any) any {
			items, ok := list.([]any)
			require.True(t, ok && len(items) == 1, "%s is not a list of one", path)
			return repeat(items[0], n)
		})
	}
	data, err := json.Marshal(body)
	require.NoError(t, err)
	return data
}

func repeat(item any, n int) []any {
	items := make([]any, n)
	for i := range items {
		items[i] = item
	}
	return items
}

var pathSteps = regexp.MustCompile(`[^.\[\]]+`)

// change replaces the value at a path such as line.drives[0].motor; the index
// after the last appends, and nil removes.
func change(t testing.TB, at any, path string, by func(any) any) any {
	t.Helper()
	return changeSteps(t, at, pathSteps.FindAllString(path, -1), by)
}

func changeSteps(t testing.TB, at any, steps []string, by func(any) any) any {
	t.Helper()
	if len(steps) == 0 {
		return by(at)
	}
	switch at := at.(type) {
	case map[string]any:
		if value := changeSteps(t, at[steps[0]], steps[1:], by); value != nil {
			at[steps[0]] = value
		} else {
			delete(at, steps[0])
		}
		return at
	case []any:
		i, err := strconv.Atoi(steps[0])
		require.NoError(t, err)
		require.LessOrEqual(t, i, len(at), "the list ends before %s", steps[0])
		if i == len(at) {
			return append(at, changeSteps(t, nil, steps[1:], by))
		}
		if at[i] = changeSteps(t, at[i], steps[1:], by); at[i] == nil {
			return append(at[:i], at[i+1:]...)
		}
		return at
	}
	require.Fail(t, "no such path", "%T has no %s", at, steps[0])
	return nil
}

// message returns the row's request for gRPC.
func (r *row) message(t testing.TB, m proto.Message) proto.Message {
	t.Helper()
	if data := r.payload(t); len(data) > 0 {
		require.NoError(t, protojson.Unmarshal(data, m), "the row's transports leave out grpc where protojson cannot read it")
	}
	if u := r.UnknownField; u != nil {
		at := messageAt(t, m.ProtoReflect(), pathSteps.FindAllString(u.At, -1))
		at.SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, protowire.Number(u.Number), protowire.VarintType), 1))
	}
	return m
}

func messageAt(t testing.TB, m protoreflect.Message, steps []string) protoreflect.Message {
	t.Helper()
	if len(steps) == 0 {
		return m
	}
	field := m.Descriptor().Fields().ByJSONName(steps[0])
	require.NotNil(t, field, steps[0])
	if !field.IsList() {
		return messageAt(t, m.Mutable(field).Message(), steps[1:])
	}
	i, err := strconv.Atoi(steps[1])
	require.NoError(t, err)
	return messageAt(t, m.Mutable(field).List().Get(i).Message(), steps[2:])
}

// requireFields demands that got holds what want holds.
func requireFields(t testing.TB, path string, want, got any) {
	t.Helper()
	switch want := want.(type) {
	case map[string]any:
		if list, ok := got.([]any); ok {
			got = byName(t, list)
		}
		object, ok := got.(map[string]any)
		require.True(t, ok, "%s is %v", path, got)
		for name, value := range want {
			require.Contains(t, object, name, "in %s", path)
			requireFields(t, path+"."+name, value, object[name])
		}
	case []any:
		list, ok := got.([]any)
		require.True(t, ok && len(list) >= len(want), "%s is %v", path, got)
		for i, value := range want {
			requireFields(t, fmt.Sprintf("%s[%d]", path, i), value, list[i])
		}
	case json.Number:
		require.Equal(t, toFloat(t, want), toFloat(t, got), path)
	default:
		require.Equal(t, want, got, path)
	}
}

// byName returns the items of a list by what names them.
func byName(t testing.TB, list []any) map[string]any {
	t.Helper()
	out := map[string]any{}
	for _, item := range list {
		object, ok := item.(map[string]any)
		require.True(t, ok)
		for _, name := range []string{"driveId", "policy", "id"} {
			if object[name] != nil {
				out[fmt.Sprint(object[name])] = object
				break
			}
		}
	}
	return out
}

func toFloat(t testing.TB, v any) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(fmt.Sprint(v), 64)
	require.NoError(t, err)
	return x
}
