package gateway

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"go.uber.org/zap"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/refusal"
	"linepace.example/proto/requestid"
)

const (
	// MaxMessageBytes bounds a request body, and the answer of a remote server.
	MaxMessageBytes = 16 << 20

	// callTime bounds a call as seen from here; the server's own bound of 30
	// seconds answers first, unless it is out of reach.
	callTime = 35 * time.Second

	methodOverride = "X-Http-Method-Override"
)

// ServeHTTP sees to what is the same for every path, and hands the request on.
func (g *gateway) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	id := requestid.Of(r.Header.Get(requestid.Header))
	w.Header().Set(requestid.Header, id)
	defer g.recoverPanic(w, r)
	switch encoding := r.Header.Get("Content-Encoding"); {
	case r.URL.Path == "/healthz":
		g.serveHealth(w, r)
	case r.Header.Get(methodOverride) != "":
		g.refuse(w, r, violation("", "MALFORMED", "the header X-HTTP-Method-Override is not taken; send the request with the method itself"), 0)
	case encoding != "" && encoding != "identity":
		g.refuse(w, r, violation("", "MALFORMED", "the body has Content-Encoding "+strconv.Quote(encoding)+"; send it as plain JSON, uncompressed"),
			http.StatusUnsupportedMediaType)
	default:
		g.mux.ServeHTTP(w, inner(r, id))
	}
}

// inner returns the request with the one header that the mux and the services
// are to see. Whatever the Content-Type says, the body is read as JSON.
func inner(r *http.Request, id string) *http.Request {
	out := r.WithContext(r.Context())
	out.Header = http.Header{http.CanonicalHeaderKey(requestid.Header): {id}}
	if r.Method == http.MethodHead {
		out.Method = http.MethodGet // net/http leaves out the answer's body
	}
	return out
}

// recoverPanic answers a panic as an internal fault, where it still can.
func (g *gateway) recoverPanic(w http.ResponseWriter, r *http.Request) {
	p := recover()
	if p == nil {
		return
	}
	if p == http.ErrAbortHandler {
		panic(p)
	}
	g.log.Error("panic", zap.String("request_id", w.Header().Get(requestid.Header)), zap.Any("panic", p), zap.ByteString("stack", debug.Stack()))
	g.refuse(w, r, internal(w), 0)
}

// serveHealth tells a balancer whether to send requests here.
func (g *gateway) serveHealth(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		g.refuseMethod(w, r, "GET, HEAD")
		return
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err := g.ready(r.Context()); err != nil {
		w.WriteHeader(http.StatusServiceUnavailable)
		_, _ = io.WriteString(w, err.Error()+"\n")
		return
	}
	_, _ = io.WriteString(w, "ok\n")
}

// admit lets a request through to the handler of its path: one without query,
// with a body that has been read whole where the path takes one.
func (g *gateway) admit(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, params map[string]string) {
		if s := refuseQuery(r.URL.RawQuery); s != nil {
			g.refuse(w, r, s, 0)
			return
		}
		data, s := readBody(w, r)
		if s == nil && r.Method == http.MethodGet && len(data) > 0 {
			s = violation("", "MALFORMED", "a GET takes no body; send none")
		}
		if s != nil {
			g.refuse(w, r, s, 0)
			return
		}
		ctx, cancel := context.WithTimeout(r.Context(), callTime)
		defer cancel()
		read := &body{data: data}
		r = r.WithContext(context.WithValue(ctx, bodyKey{}, read))
		r.Body = read
		next(w, r, params)
	}
}

// refuseQuery refuses every query parameter: no call of the contract has one.
func refuseQuery(raw string) *status.Status {
	if raw == "" {
		return nil
	}
	query, err := url.ParseQuery(raw)
	if err != nil {
		return violation("", "MALFORMED", "the query cannot be read; calls take no query parameters")
	}
	var found []refusal.Violation
	for name := range query {
		found = append(found, refusal.Violation{Path: name, Reason: "UNKNOWN_FIELD", Text: "calls take no query parameters; write it into the body"})
	}
	slices.SortFunc(found, func(a, b refusal.Violation) int { return strings.Compare(a.Path, b.Path) })
	return refusal.Invalid(refusal.Most(found))
}

// readBody returns the body, or the refusal of one that is too large or does not
// arrive.
func readBody(w http.ResponseWriter, r *http.Request) ([]byte, *status.Status) {
	if r.ContentLength > MaxMessageBytes {
		w.Header().Set("Connection", "close") // else net/http reads on to reach the next request
		return nil, tooLarge(strconv.FormatInt(r.ContentLength, 10) + " bytes")
	}
	var data bytes.Buffer
	if r.ContentLength > 0 {
		data.Grow(int(min(r.ContentLength, 64<<10)) + bytes.MinRead) // the length is only claimed
	}
	var over *http.MaxBytesError
	switch _, err := data.ReadFrom(http.MaxBytesReader(w, r.Body, MaxMessageBytes)); {
	case errors.As(err, &over):
		return nil, tooLarge("more bytes than that")
	case err != nil:
		return nil, refusal.New(codes.Canceled, refusal.Cancelled, "the body did not arrive whole")
	}
	return data.Bytes(), nil
}

func tooLarge(length string) *status.Status {
	return refusal.New(codes.ResourceExhausted, refusal.RequestTooLarge,
		"the body may have up to "+strconv.Itoa(MaxMessageBytes)+" bytes; this one has "+length)
}

// body is a request body that has been read whole. It keeps what the codec found
// wrong with it: the generated handlers hand on only a text.
type body struct {
	data  []byte
	wrong error // what is wrong with the data as JSON
}

// bodyKey finds the request's body in the context of its answer.
type bodyKey struct{}

// refuseWrong keeps an answer to a request of which only a part could be read.
func refuseWrong(ctx context.Context, _ http.ResponseWriter, _ proto.Message) error {
	if b, ok := ctx.Value(bodyKey{}).(*body); ok {
		return b.wrong
	}
	return nil
}

func (*body) Read([]byte) (int, error) { return 0, io.EOF }
func (*body) Close() error             { return nil }
