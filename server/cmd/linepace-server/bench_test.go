package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

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
	data, err := os.ReadFile(os.Getenv(nullAnswer))
	answer := &linepacev1.PlanResponse{}
	if err == nil {
		err = proto.Unmarshal(data, answer)
	}
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

// side is a server process under measurement.
type side struct {
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
	answer, err := linepacev1.NewChangeoverServiceClient(dial(b, planning.addresses["grpc"])).Plan(b.Context(), request)
	require.NoError(b, err)
	file := filepath.Join(b.TempDir(), "answer")
	data, err := proto.Marshal(answer)
	require.NoError(b, err)
	require.NoError(b, os.WriteFile(file, data, 0o600))
	b.Setenv(nullAnswer, file)
	null, nullCmd := startItself(b, asNullServer)

	b.Run("grpc", func(b *testing.B) {
		over := func(p *process) func() {
			client := linepacev1.NewChangeoverServiceClient(dial(b, p.addresses["grpc"]))
			return func() {
				_, err := client.Plan(b.Context(), request)
				require.NoError(b, err)
			}
		}
		compare(b, &side{pid: planningCmd.Process.Pid, call: over(planning)}, &side{pid: nullCmd.Process.Pid, call: over(null)})
		b.ReportMetric(float64(proto.Size(request)), "request-bytes")
		b.ReportMetric(float64(proto.Size(answer)), "response-bytes")
	})
	b.Run("json", func(b *testing.B) {
		var length int
		over := func(p *process) func() {
			return func() { length = post(b, "http://"+p.addresses["http"]+"/v1/changeovers:plan", body) }
		}
		compare(b, &side{pid: planningCmd.Process.Pid, call: over(planning)}, &side{pid: nullCmd.Process.Pid, call: over(null)})
		b.ReportMetric(float64(len(body)), "request-bytes")
		b.ReportMetric(float64(length), "response-bytes")
	})
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

// compare measures both sides in turns of some calls each.
func compare(b *testing.B, plan, null *side) {
	const turn = 50
	for _, s := range []*side{plan, null} {
		for range turn { // connects, and fills caches
			s.call()
		}
		s.cpu0 = processorTime(b, s.pid)
	}
	for b.Loop() {
		plan.measure(turn)
		null.measure(turn)
	}
	for _, s := range []*side{plan, null} {
		s.cpu = processorTime(b, s.pid) - s.cpu0
	}
	b.ReportMetric(0, "ns/op") // an op is a turn of both
	b.ReportMetric(plan.perCall(plan.wall), "plan-ns/call")
	b.ReportMetric(null.perCall(null.wall), "null-ns/call")
	b.ReportMetric(float64(plan.wall)/float64(null.wall), "time-ratio")
	if null.cpu > 0 {
		b.ReportMetric(plan.perCall(plan.cpu), "plan-cpu-ns/call")
		b.ReportMetric(null.perCall(null.cpu), "null-cpu-ns/call")
		b.ReportMetric(float64(plan.cpu)/float64(null.cpu), "cpu-ratio")
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
