package gateway

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"go.uber.org/zap"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	"linepace.example/proto/codec"
	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

// ServerUnreachable is the reason of the ErrorInfo, code UNAVAILABLE, when the
// gateway cannot reach the server that computes.
const ServerUnreachable = "SERVER_UNREACHABLE"

func violation(path, reason, text string) *status.Status {
	return refusal.Invalid([]refusal.Violation{{Path: path, Reason: reason, Text: text}})
}

func internal(w http.ResponseWriter) *status.Status {
	return refusal.New(codes.Internal, refusal.InternalFault,
		"the gateway failed at this request, which is its own fault; its log tells more under request id "+w.Header().Get(requestid.Header))
}

// handleError answers what a service or a generated handler returned.
func (g *gateway) handleError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	var wrong codec.Errors
	if b, ok := r.Body.(*body); ok && errors.As(b.wrong, &wrong) {
		g.refuse(w, r, refusal.Invalid(refusal.Most(unexplained(wrong, refusal.Violations(err)))), 0)
		return
	}
	s := explain(err)
	if s == nil {
		g.log.Error("internal fault", zap.String("request_id", w.Header().Get(requestid.Header)), zap.Error(err))
		s = internal(w)
	}
	g.refuse(w, r, s, 0)
}

// unexplained lists what is wrong with a request as JSON, and then what the service
// finds wrong with the part that could be read, unless the first explains it: it
// speaks of the same field, of something inside it, or misses what was in it.
func unexplained(wrong, found []refusal.Violation) []refusal.Violation {
	all := slices.Clone(wrong)
	for _, v := range found {
		if !slices.ContainsFunc(wrong, func(w refusal.Violation) bool {
			return v.Path == w.Path || inside(v.Path, w.Path) || v.Reason == "REQUIRED" && inside(w.Path, v.Path)
		}) {
			all = append(all, v)
		}
	}
	return all
}

// inside reports whether the field at path is inside the one at outer.
func inside(path, outer string) bool {
	rest, ok := strings.CutPrefix(path, outer)
	return ok && (outer == "" || strings.HasPrefix(rest, ".") || strings.HasPrefix(rest, "["))
}

// explain returns the status for err: as it is where a service refused, in our
// words where gRPC itself failed, and nil for what should not happen.
func explain(err error) *status.Status {
	s, ok := status.FromError(err)
	switch {
	case ok && refusal.Reason(err) != "":
		return s
	case s.Code() == codes.Unavailable:
		return refusal.New(codes.Unavailable, ServerUnreachable,
			"the server that computes cannot be reached from this gateway; nothing was computed, try again later")
	case s.Code() == codes.DeadlineExceeded:
		return refusal.New(codes.DeadlineExceeded, refusal.DeadlinePassed, "the server that computes did not answer in time")
	case s.Code() == codes.Canceled:
		return refusal.New(codes.Canceled, refusal.Cancelled, "the caller gave up")
	case s.Code() == codes.ResourceExhausted:
		return refusal.New(codes.ResourceExhausted, refusal.RequestTooLarge, "request or answer is larger than the server that computes takes or sends")
	case s.Code() == codes.Unimplemented:
		return refusal.New(codes.Unimplemented, refusal.NoSuchMethod, "the server that computes is of another version and does not have this call")
	}
	return nil
}

// handleRoutingError answers a request that no handler takes.
func (g *gateway) handleRoutingError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	if code == http.StatusMethodNotAllowed {
		g.refuseMethod(w, r, g.allowed(r.URL.Path))
		return
	}
	known := make([]string, len(g.routes))
	for i, route := range g.routes {
		known[i] = route.method + " " + route.path
	}
	g.refuse(w, r, refusal.New(codes.NotFound, refusal.NoSuchMethod,
		"there is no such path; there are "+strings.Join(known, ", ")), http.StatusNotFound)
}

func (g *gateway) refuseMethod(w http.ResponseWriter, r *http.Request, allow string) {
	w.Header().Set("Allow", allow)
	g.refuse(w, r, refusal.New(codes.Unimplemented, refusal.WrongHTTPMethod, "this path takes "+allow+" only"), http.StatusMethodNotAllowed)
}

// refuse writes s as google.rpc.Status, with the given HTTP status or, where that
// is 0, the one that belongs to its code. A refusal of the gateway itself gets the
// request id and a line in the log; a service has seen to both.
func (g *gateway) refuse(w http.ResponseWriter, r *http.Request, s *status.Status, code int) {
	if code == 0 {
		code = httpCode(s)
	}
	if requestid.In(s.Err()) == "" {
		id := w.Header().Get(requestid.Header)
		s = requestid.Attach(s, id)
		g.log.Info("refused", zap.String("request_id", id), zap.String("http_method", r.Method), zap.String("path", r.URL.Path),
			zap.Stringer("code", s.Code()), zap.String("reason", refusal.Reason(s.Err())), zap.Int("http_code", code))
	}
	w.Header().Set("Content-Type", marshaler{}.ContentType(nil))
	w.WriteHeader(code)
	_, _ = w.Write(statusJSON(s)) // a caller who is gone needs no answer
}

func httpCode(s *status.Status) int {
	if refusal.Reason(s.Err()) == refusal.RequestTooLarge {
		return http.StatusRequestEntityTooLarge
	}
	return runtime.HTTPStatusFromCode(s.Code())
}

// statusJSON writes a status. Its details are of type Any, which the codec does
// not take; protojson varies its white space at random, which is removed.
func statusJSON(s *status.Status) []byte {
	loose, err := protojson.Marshal(s.Proto())
	var out bytes.Buffer
	if err == nil {
		err = json.Compact(&out, loose)
	}
	if err != nil {
		return []byte(`{"code":13,"message":"the refusal could not be written"}`)
	}
	return out.Bytes()
}
