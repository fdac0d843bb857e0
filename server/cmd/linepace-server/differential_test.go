package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	fullPlans    = 3000
	mostReported = 15
)

// Random lines and products go to the service as JSON, and every number of the
// answer is held against a reference that computes without rounding.
func TestDifferential(t *testing.T) {
	server := startServer(t, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	d := &differ{T: t, base: "http://" + server.addresses["http"], found: map[string]int{}}
	var next atomic.Uint64
	var wait sync.WaitGroup
	for range 2 {
		wait.Go(func() {
			for seed := next.Add(1); seed <= differentialPlans && d.wrong.Load() < mostReported; seed = next.Add(1) {
				d.check(seed)
			}
		})
	}
	wait.Wait()
	if !t.Failed() {
		requireFound(t, d.found)
	}
}

// differ posts requests and collects what is found.
type differ struct {
	*testing.T
	base  string
	mu    sync.Mutex
	found map[string]int // cases by feature
	wrong atomic.Int64
}

func (d *differ) report(format string, args ...any) {
	if d.wrong.Add(1) <= mostReported {
		d.Errorf(format, args...)
	}
}

// post reports a refusal and then returns false.
func (d *differ) post(path string, body []byte, answer any) bool {
	res, err := http.Post(d.base+path, "application/json", bytes.NewReader(body))
	require.NoError(d, err)
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	require.NoError(d, err)
	if res.StatusCode != http.StatusOK {
		d.report("%s refuses a valid request: %s\n%s\n%s", path, res.Status, text, body)
		return false
	}
	require.NoError(d, json.Unmarshal(text, answer), "%s", text)
	return true
}

// check makes the plan of a seed, has it planned, and asks about one drive by itself.
func (d *differ) check(seed uint64) {
	g := newGenerator(seed)
	text, err := json.Marshal(g.build())
	require.NoError(d, err)
	c := &comparison{found: map[string]int{}}
	reference := readPlan(d, text)
	c.features(reference)
	answer := &jsonPlanAnswer{}
	if d.post("/v1/changeovers:plan", text, answer) {
		c.plan(reference, answer)
		d.tryFit(c, reference, text, answer)
	}
	d.alone(c, reference, g.Rand)
	d.mu.Lock()
	defer d.mu.Unlock()
	for name, n := range c.found {
		d.found[name] += n
	}
	for _, difference := range c.differences {
		d.report("plan %d: %s", seed, difference)
	}
}

func readPlan(t require.TestingT, text []byte) *refPlan {
	plan := &jsonPlan{}
	require.NoError(t, json.Unmarshal(text, plan))
	return newRefPlan(plan)
}

// tryFit plans again with each value that is offered for a drive out of range, and
// compares the first of those plans number by number.
func (d *differ) tryFit(c *comparison, reference *refPlan, text []byte, answer *jsonPlanAnswer) {
	compared := false
	for _, check := range answer.Checks {
		c.drive, c.asked = check.DriveID, reference.asks(check.DriveID)
		switch blocked := reference.setpoints[check.DriveID].blocked; {
		case blocked == "" || check.Code != blocked || blocked == "LEADER_HAS_NO_SETPOINT":
			continue
		case check.Fit == nil:
			c.found["fit: none offered"]++
			if fit := d.findFit(reference, text, check.DriveID); fit != "" {
				c.differs("fit", "none", "such as "+fit)
			}
			continue
		}
		again := &jsonPlanAnswer{}
		mended := setQuantity(d, text, check.FitField, check.Fit)
		if !d.post("/v1/changeovers:plan", mended, again) {
			continue
		}
		c.found["fit: offered for "+indices.ReplaceAllString(check.FitField, "[]")]++
		if slices.ContainsFunc(again.Checks, func(k jsonCheck) bool { return k.DriveID == check.DriveID && k.Severity == "ERROR" }) {
			c.differs("fit", check.FitField+" = "+string(check.Fit.Value)+" "+check.Fit.Unit, "a value with which the drive runs")
		}
		if !compared {
			c.plan(readPlan(d, mended), again)
			compared = true
		}
	}
}

// findFit looks near the limit for a value with which a drive would run, in the
// request's field that its demand hangs on.
func (d *differ) findFit(p *refPlan, text []byte, drive string) string {
	head := drive
	for p.demands[head] != nil && p.demands[head].leader() != "" {
		head = p.demands[head].leader()
	}
	field, asked := "product.blends[0].total", p.Product.Demands[0].Rate
	if p.demands[head] == nil {
		asked = &p.Product.Blends[0].Total
	}
	for i, demand := range p.Product.Demands {
		if demand.DriveID == head && demand.Rate != nil {
			field, asked = fmt.Sprintf("product.demands[%d].rate", i), demand.Rate
		} else if demand.DriveID == head {
			field, asked = fmt.Sprintf("product.demands[%d].dwell.time", i), &demand.Dwell.Time
		}
	}
	s := p.setpoints[drive]
	times := s.limit.rpm.div(s.rpm.abs())
	if asked.dim() == dimTime {
		times = one().div(times)
	}
	for _, inwards := range []int64{0, 1, -1, 30, -30, 300, -300, 3000, -3000} {
		value := num(asked.Value).mul(times).mul(fraction(1000000+inwards, 1000000)).float64()
		q := &jsonQuantity{json.Number(strconv.FormatFloat(value, 'g', 6, 64)), asked.Unit}
		if readPlan(d, setQuantity(d, text, field, q)).setpoints[drive].runs() {
			return fmt.Sprint(field, " = ", *q)
		}
	}
	return ""
}

var indices = regexp.MustCompile(`\[\d+\]`)

// setQuantity replaces the quantity at a path such as product.demands[3].rate.
func setQuantity(t require.TestingT, text []byte, path string, q *jsonQuantity) []byte {
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	var root any
	require.NoError(t, decoder.Decode(&root))
	at := root
	for part := range strings.SplitSeq(strings.NewReplacer("[", ".", "]", "").Replace(path), ".") {
		if i, err := strconv.Atoi(part); err == nil {
			at = at.([]any)[i]
		} else {
			at = at.(map[string]any)[part]
		}
		require.NotNil(t, at, path)
	}
	quantity := at.(map[string]any)
	require.Contains(t, quantity, "unit", path)
	quantity["value"], quantity["unit"] = q.Value, q.Unit
	out, err := json.Marshal(root)
	require.NoError(t, err)
	return out
}
