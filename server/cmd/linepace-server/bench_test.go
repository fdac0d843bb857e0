package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"linepace.example/gateway/daemon"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/server"
)

// Environment of a null server: a file with the answer that it gives to every
// request.
const nullAnswer = "LINEPACE_TEST_NULL_ANSWER"

// nullPlan answers without planning.
type nullPlan struct {
	linepacev1.UnimplementedChangeoverServiceServer
	answer *linepacev1.PlanResponse
}

func (n nullPlan) Plan(context.Context, *linepacev1.PlanRequest) (*linepacev1.PlanResponse, error) {
	return n.answer, nil
}

// runNull is the command with a null handler behind the same chain.
func runNull() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	answer, err := readNullAnswer()
	if err == nil {
		daemon.TuneGC()
		o := options{grpc: "127.0.0.1:0", http: "127.0.0.1:0"}
		err = serve(ctx, o, server.Config{Log: daemon.NewLog(os.Stderr), Changeover: nullPlan{answer: answer}}, os.Stdout)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func readNullAnswer() (*linepacev1.PlanResponse, error) {
	data, err := os.ReadFile(os.Getenv(nullAnswer))
	if err != nil {
		return nil, err
	}
	answer := &linepacev1.PlanResponse{}
	return answer, proto.Unmarshal(data, answer)
}

// runPlain answers the same JSON as runNull as a plain program would: by net/http,
// protojson and protovalidate, without limits, log or a chain.
func runPlain() int {
	answer, err := readNullAnswer()
	var validator protovalidate.Validator
	if err == nil {
		validator, err = protovalidate.New(protovalidate.WithMessages(&linepacev1.PlanRequest{}), protovalidate.WithDisableLazy())
	}
	var listener net.Listener
	if err == nil {
		listener, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	daemon.TuneGC()
	fmt.Println("http", listener.Addr())
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	s := &http.Server{Handler: plainPlan(validator, answer)}
	go s.Serve(listener)
	<-ctx.Done()
	s.Close()
	return 0
}

func plainPlan(validator protovalidate.Validator, answer proto.Message) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		request := &linepacev1.PlanRequest{}
		if err == nil {
			err = protojson.Unmarshal(body, request)
		}
		if err == nil {
			err = validator.Validate(request)
		}
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		data, err := protojson.MarshalOptions{EmitUnpopulated: true}.Marshal(answer)
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.Write(data)
	}
}

// side is a server process under measurement.
type side struct {
	name      string
	pid       int
	call      func()
	calls     int
	wall      time.Duration
	cpu, cpu0 time.Duration
}

func (s *side) measure(calls int) {
	start := time.Now()
	for range calls {
		s.call()
	}
	s.wall += time.Since(start)
	s.calls += calls
}

func (s *side) perCall(d time.Duration) float64 { return float64(d.Nanoseconds()) / float64(s.calls) }

// BenchmarkPlan plans twelve drives, against a null handler behind the same chain
// with the same messages. The two take turns, since a machine's speed drifts; both
// are processes of their own, so that their processor time is that of the server
// alone. The ratio of processor times is the one that is budgeted, at 1.15.
func BenchmarkPlan(b *testing.B) {
	row := row{Base: "roof-tiles"}
	body := row.payload(b)
	request := &linepacev1.PlanRequest{}
	require.NoError(b, protojson.Unmarshal(body, request))

	planning, planningCmd := startItself(b, asServer)
	answer := setNullAnswer(b, planning, request)
	null, nullCmd := startItself(b, asNullServer)

	b.Run("grpc", func(b *testing.B) {
		over := func(p *process) func() {
			client := linepacev1.NewChangeoverServiceClient(dial(b, p.addresses["grpc"]))
			return func() {
				_, err := client.Plan(b.Context(), request)
				require.NoError(b, err)
			}
		}
		compare(b, &side{name: "plan", pid: planningCmd.Process.Pid, call: over(planning)}, &side{name: "null", pid: nullCmd.Process.Pid, call: over(null)})
		b.ReportMetric(float64(proto.Size(request)), "request-bytes")
		b.ReportMetric(float64(proto.Size(answer)), "response-bytes")
	})
	b.Run("json", func(b *testing.B) {
		var length int
		over := func(p *process) func() {
			return func() { length = post(b, "http://"+p.addresses["http"]+"/v1/changeovers:plan", body) }
		}
		compare(b, &side{name: "plan", pid: planningCmd.Process.Pid, call: over(planning)}, &side{name: "null", pid: nullCmd.Process.Pid, call: over(null)})
		b.ReportMetric(float64(len(body)), "request-bytes")
		b.ReportMetric(float64(length), "response-bytes")
	})
}

// BenchmarkGateway answers a plan without planning, by the gateway in process
// against plain net/http with protojson and protovalidate. The ratio of processor
// times is budgeted at 0.5.
func BenchmarkGateway(b *testing.B) {
	row := row{Base: "roof-tiles"}
	body := row.payload(b)
	request := &linepacev1.PlanRequest{}
	require.NoError(b, protojson.Unmarshal(body, request))
	planning, _ := startItself(b, asServer)
	setNullAnswer(b, planning, request)
	ours, oursCmd := startItself(b, asNullServer)
	plainCmd := exec.Command(os.Args[0])
	plainCmd.Env = append(os.Environ(), asPlainServer+"=1")
	plain := startProcess(b, plainCmd, 1)

	var length int
	over := func(p *process) func() {
		return func() { length = post(b, "http://"+p.addresses["http"]+"/v1/changeovers:plan", body) }
	}
	compare(b, &side{name: "gateway", pid: oursCmd.Process.Pid, call: over(ours)}, &side{name: "plain", pid: plainCmd.Process.Pid, call: over(plain)})
	b.ReportMetric(float64(len(body)), "request-bytes")
	b.ReportMetric(float64(length), "response-bytes")
}

// setNullAnswer has the servers without a plan answer what a planning one does.
func setNullAnswer(b *testing.B, planning *process, request *linepacev1.PlanRequest) *linepacev1.PlanResponse {
	answer, err := linepacev1.NewChangeoverServiceClient(dial(b, planning.addresses["grpc"])).Plan(b.Context(), request)
	require.NoError(b, err)
	data, err := proto.Marshal(answer)
	require.NoError(b, err)
	file := filepath.Join(b.TempDir(), "answer")
	require.NoError(b, os.WriteFile(file, data, 0o600))
	b.Setenv(nullAnswer, file)
	return answer
}

func post(b *testing.B, url string, body []byte) int {
	res, err := http.Post(url, "application/json", bytes.NewReader(body))
	require.NoError(b, err)
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	require.NoError(b, err)
	require.Equal(b, http.StatusOK, res.StatusCode)
	return len(data)
}

// compare measures two sides in turns of some calls each.
func compare(b *testing.B, one, two *side) {
	const turn = 50
	for _, s := range []*side{one, two} {
		for range turn { // connects, and fills caches
			s.call()
		}
		s.cpu0 = processorTime(b, s.pid)
	}
	for b.Loop() {
		one.measure(turn)
		two.measure(turn)
	}
	b.ReportMetric(0, "ns/op") // an op is a turn of both
	for _, s := range []*side{one, two} {
		s.cpu = processorTime(b, s.pid) - s.cpu0
		b.ReportMetric(s.perCall(s.wall), s.name+"-ns/call")
		b.ReportMetric(s.perCall(s.cpu), s.name+"-cpu-ns/call")
	}
	b.ReportMetric(float64(one.wall)/float64(two.wall), "time-ratio")
	if two.cpu > 0 {
		b.ReportMetric(float64(one.cpu)/float64(two.cpu), "cpu-ratio")
	}
}

// processorTime returns what a process has used, or 0 where the system does not
// tell (it does on Linux, in ticks of 10 ms).
func processorTime(b *testing.B, pid int) time.Duration {
	b.Helper()
	stat, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	if err != nil {
		return 0
	}
	_, afterName, _ := strings.Cut(string(stat), ") ")
	fields := strings.Fields(afterName)
	var ticks int
	for _, field := range fields[11:13] { // utime, stime: proc(5)
		n, err := strconv.Atoi(field)
		require.NoError(b, err)
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}
