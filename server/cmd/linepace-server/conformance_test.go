package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/rpc/code"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"linepace.example/proto/codec"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

// outcome is what a transport answered.
type outcome struct {
	err      error  // the status, if it refused
	http     int    // where it is HTTP
	response []byte // as the codec writes it, if it did not refuse
}

// transports answers a row over one transport each.
type transports struct {
	conn         *grpc.ClientConn
	json, remote string // base URLs
}

// The same request gets the same code, reason, paths and answer on every
// transport.
func TestConformance(t *testing.T) {
	key := filepath.Join(t.TempDir(), "state.key")
	require.NoError(t, os.WriteFile(key, []byte(strings.Repeat("7e", 32)), 0o600))
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0", "--state-key", key)
	gateway := startGateway(t, server.addresses["grpc"])
	over := transports{
		conn:   dial(t, server.addresses["grpc"]),
		json:   "http://" + server.addresses["http"],
		remote: "http://" + gateway.addresses["http"],
	}
	names := map[string]bool{}
	for _, r := range readRows(t) {
		require.False(t, names[r.Name], "two rows are called %q", r.Name)
		names[r.Name] = true
		t.Run(r.Name, func(t *testing.T) { over.check(t, &r) })
	}
	require.Zero(t, gateway.stop(), gateway.log.String())
	require.Zero(t, server.stop(), server.log.String())
	for _, log := range []*buffer{server.log, gateway.log} {
		for line := range strings.Lines(log.String()) {
			if strings.Contains(line, `"level":"error"`) {
				t.Error("failed at what should not fail: ", line)
			}
		}
	}
}

func (over transports) check(t *testing.T, r *row) {
	outcomes := map[string]outcome{}
	for _, name := range r.Transports {
		var o outcome
		switch name {
		case "grpc":
			o = over.overGRPC(t, r)
		case "json":
			o = overHTTP(t, r, over.json)
		case "remote":
			o = overHTTP(t, r, over.remote)
		default:
			require.Fail(t, "no such transport", name)
		}
		outcomes[name] = o
		if r.Want.OK {
			checkAnswer(t, name, r, o)
		} else {
			checkRefusal(t, name, r, o)
		}
	}
	if r.Want.OK {
		first := outcomes[r.Transports[0]].response
		for name, o := range outcomes {
			require.Equal(t, string(first), string(o.response), "%s answers otherwise", name)
		}
		return
	}
	// Over gRPC the codec has not read the request, so the words may differ.
	require.Equal(t, refusal.Violations(outcomes["json"].err), refusal.Violations(outcomes["remote"].err))
}

func checkAnswer(t *testing.T, transport string, r *row, o outcome) {
	t.Helper()
	require.NoError(t, o.err, transport)
	var got any
	decodeJSON(t, o.response, &got)
	requireFields(t, transport, any(r.Want.Fields), got)
}

func checkRefusal(t *testing.T, transport string, r *row, o outcome) {
	t.Helper()
	require.Error(t, o.err, "%s answers %s", transport, o.response)
	wanted := codes.Code(code.Code_value[r.Want.Code])
	require.NotEqual(t, codes.OK, wanted, "the row has no such code: %s", r.Want.Code)
	require.Equal(t, wanted, status.Code(o.err), "%s: %v", transport, o.err)
	require.Equal(t, r.Want.Reason, refusal.Reason(o.err), transport)
	var got [][2]string
	for _, v := range refusal.Violations(o.err) {
		got = append(got, [2]string{v.Path, v.Reason})
		require.NotEmpty(t, v.Text)
	}
	require.Equal(t, r.Want.Violations, got, "%s: %v", transport, o.err)
	require.Contains(t, o.err.Error(), r.Want.Text, transport)
	if o.http != 0 {
		httpWanted := r.Want.HTTP
		if httpWanted == 0 {
			httpWanted = runtime.HTTPStatusFromCode(wanted)
		}
		require.Equal(t, httpWanted, o.http, transport)
	}
}

func (over transports) overGRPC(t *testing.T, r *row) outcome {
	t.Helper()
	method := methodOf(t, r.Path)
	request := r.message(t, newMessage(t, method.Input()))
	response := newMessage(t, method.Output())
	name := "/" + string(method.Parent().FullName()) + "/" + string(method.Name())
	ctx := metadata.AppendToOutgoingContext(t.Context(), requestid.Header, "row")
	var header metadata.MD
	if err := over.conn.Invoke(ctx, name, request, response, grpc.Header(&header)); err != nil {
		if refusal.Reason(err) != "" { // not by gRPC itself
			require.Equal(t, "row", requestid.In(err))
			require.Equal(t, []string{"row"}, header.Get(requestid.Header))
		}
		return outcome{err: err}
	}
	data, err := codec.Append(nil, response)
	require.NoError(t, err)
	return outcome{response: data}
}

func overHTTP(t *testing.T, r *row, url string) outcome {
	t.Helper()
	url += r.Path
	if r.Query != "" {
		url += "?" + r.Query
	}
	req, err := http.NewRequestWithContext(t.Context(), r.Method, url, bytes.NewReader(r.payload(t)))
	require.NoError(t, err)
	req.Header.Set(requestid.Header, "row")
	for name, value := range r.Header {
		req.Header.Set(name, value)
	}
	res, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, "application/json; charset=utf-8", res.Header.Get("Content-Type"))
	require.Equal(t, []string{"row"}, res.Header.Values(requestid.Header))
	if res.StatusCode == http.StatusOK {
		return outcome{response: data}
	}
	s := &spb.Status{}
	require.NoError(t, protojson.Unmarshal(data, s), "%s", data)
	require.Equal(t, "row", requestid.In(status.ErrorProto(s)))
	return outcome{err: status.ErrorProto(s), http: res.StatusCode}
}

// methodOf returns the method that has the path.
func methodOf(t testing.TB, path string) (found protoreflect.MethodDescriptor) {
	t.Helper()
	protoregistry.GlobalFiles.RangeFilesByPackage("linepace.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				rule, _ := proto.GetExtension(methods.Get(j).Options(), annotations.E_Http).(*annotations.HttpRule)
				if rule.GetPost()+rule.GetGet() == path {
					found = methods.Get(j)
				}
			}
		}
		return found == nil
	})
	require.NotNil(t, found, "no method has the path %s", path)
	return found
}

func newMessage(t testing.TB, d protoreflect.MessageDescriptor) proto.Message {
	t.Helper()
	typ, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	require.NoError(t, err)
	return typ.New().Interface()
}

// Every reason that a calculation can give is shown by some row.
func TestRowsShowEveryReason(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), filepath.Join("..", "..", "..", "core", "fault", "fault.go"), nil, 0)
	require.NoError(t, err)
	var reasons []string
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) == 0 {
			return true
		}
		if typ, ok := spec.Type.(*ast.Ident); ok && typ.Name == "Reason" {
			reason, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			require.NoError(t, err)
			reasons = append(reasons, reason)
		}
		return true
	})
	require.Greater(t, len(reasons), 15)
	shown := map[string]bool{}
	paths := map[string]bool{}
	for _, r := range readRows(t) {
		paths[r.Path] = paths[r.Path] || r.Want.OK && slices.Contains(r.Transports, "grpc")
		for _, v := range r.Want.Violations {
			shown[v[1]] = true
		}
	}
	for _, reason := range reasons {
		require.True(t, shown[reason], "no row shows the reason %s", reason)
	}
	for _, path := range []string{"/v1/scaling:scale", "/v1/scaling:setpoint", "/v1/scaling:diagnose", "/v1/scaling:checkReading", "/v1/changeovers:plan", "/v1/records:verify", "/v1/keys", "/v1/units"} {
		require.True(t, paths[path], "no row shows an answer of %s", path)
	}
	require.False(t, strings.HasPrefix(conformance, "/"))
}
