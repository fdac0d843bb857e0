package server

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"linepace.example/core/drift"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

// A state token is base64url without padding of
//
//	version (1 byte) | key id (8) | watch | HMAC-SHA-256 of all before (32)
//
// where watch holds set-up and state in a fixed order: numbers as eight bytes, most
// significant first, a float by its bits; a unit as its length and its symbol. The
// same watch gives the same token, on every server that has the key.
const (
	stateVersion = 1
	keyIDBytes   = 8
	stateHead    = 1 + keyIDBytes
)

// minStateKey is the length that RFC 2104 asks of a key of HMAC: that of the hash.
const minStateKey = sha256.Size

// StateKey authenticates the states of watches.
type StateKey struct {
	key []byte
	id  [keyIDBytes]byte
}

// NewStateKey returns a key of secret bytes, 32 or more.
func NewStateKey(secret []byte) (*StateKey, error) {
	if len(secret) < minStateKey {
		return nil, fmt.Errorf("a state key has %d bytes or more, and this has %d", minStateKey, len(secret))
	}
	k := &StateKey{key: append([]byte(nil), secret...)}
	copy(k.id[:], k.sum([]byte("linepace state key"))) // tells keys apart and tells nothing of them
	return k, nil
}

func (k *StateKey) sum(data []byte) []byte {
	h := hmac.New(sha256.New, k.key)
	h.Write(data)
	return h.Sum(nil)
}

// seal returns the token of a watch.
func (k *StateKey) seal(t *tracking) string {
	c := coder{data: append([]byte{stateVersion}, k.id[:]...)}
	c.tracking(t)
	return base64.RawURLEncoding.EncodeToString(append(c.data, k.sum(c.data)...))
}

// stateError says why a token is refused.
type stateError struct {
	reason fault.Reason
	text   string
}

func (e *stateError) Error() string { return e.text }

// open returns the watch of a token that seal made. Errors: *stateError.
func (k *StateKey) open(token string) (*tracking, error) {
	data, err := base64.RawURLEncoding.Strict().DecodeString(token)
	switch {
	case err != nil:
		return nil, &stateError{fault.Malformed, "is damaged: it is not the base64url text of an answer before; give that as it was"}
	case len(data) < stateHead+sha256.Size:
		return nil, &stateError{fault.Malformed, "is truncated: it is shorter than any state; give that of the answer before as it was"}
	case data[0] != stateVersion:
		return nil, &stateError{fault.Malformed, fmt.Sprintf("has the version %d, and this server knows %d; begin anew without a state", data[0], stateVersion)}
	case string(data[1:stateHead]) != string(k.id[:]):
		return nil, &stateError{fault.NotGenuine, "is foreign: it was made under another key; servers that answer for each other need the same --state-key"}
	}
	body, sum := data[:len(data)-sha256.Size], data[len(data)-sha256.Size:]
	if !hmac.Equal(sum, k.sum(body)) {
		return nil, &stateError{fault.NotGenuine, "is not what a server made: it was changed, cut short or forged; give that of the answer before as it was"}
	}
	c, t := coder{data: body[stateHead:], reading: true}, &tracking{key: k}
	c.tracking(t)
	if c.failed || len(c.data) > 0 || t.watch.Check() != nil {
		return nil, fmt.Errorf("a state of version %d that was authenticated does not have its form", stateVersion)
	}
	return t, nil
}

// coder writes values to data, or reads them from it, so that both have one order.
type coder struct {
	data    []byte
	reading bool
	failed  bool
}

func (c *coder) tracking(t *tracking) {
	c.setup(&t.watchSetup)
	c.state(&t.watchState)
}

func (c *coder) setup(s *watchSetup) {
	w := &s.watch
	c.floats(&w.Model.PerTurn, &w.Model.SlipFlow, &w.Charts.CUSUM.K, &w.Charts.CUSUM.H, &w.Charts.CUSUM.HeadStart,
		&w.Charts.EWMA.Lambda, &w.Charts.EWMA.Width, &w.Sigma, &s.density, &s.kFactor.Value)
	c.integers(&w.Baseline)
	wear := int64(w.Wear)
	c.integers(&wear)
	w.Wear = drift.Wear(wear)
	c.unit(&s.rateUnit)
	c.unit(&s.kFactor.Unit)
}

func (c *coder) state(s *watchState) {
	c.time(&s.start)
	c.time(&s.last)
	c.flags(&s.begun, &s.seen, &s.pending)
	c.integers(&s.readings, &s.gaps)
	w := &s.watched
	p, l := &w.Percents, &w.Trend
	c.integers(&p.Count, &l.Count)
	c.floats(&w.X, &p.Mean, &p.Squares, &p.Neighbours, &p.First, &p.Last, &p.Min, &p.Max, &w.Counting, &w.Target, &w.Sigma,
		&w.CUSUM.High, &w.CUSUM.Low, &w.EWMA.Average, &w.EWMA.Variance, &w.EWMA.UpperSide, &w.EWMA.LowerSide,
		&l.Weights, &l.XMean, &l.YMean, &l.XX, &l.XY, &l.YY, &l.SSE)
	high, low, sums, average := int64(w.CUSUM.HighRun), int64(w.CUSUM.LowRun), int64(w.CUSUM.Alarm), int64(w.EWMA.Alarm)
	c.integers(&high, &low, &sums, &average)
	w.CUSUM.HighRun, w.CUSUM.LowRun = int(high), int(low)
	w.CUSUM.Alarm, w.EWMA.Alarm = drift.Alarm(sums), drift.Alarm(average)
}

func (c *coder) integers(all ...*int64) {
	for _, x := range all {
		bits := uint64(*x)
		c.bits(&bits)
		*x = int64(bits)
	}
}

func (c *coder) floats(all ...*float64) {
	for _, x := range all {
		bits := math.Float64bits(*x)
		c.bits(&bits)
		*x = math.Float64frombits(bits)
	}
}

func (c *coder) flags(all ...*bool) {
	for _, x := range all {
		bits := uint64(0)
		if *x {
			bits = 1
		}
		c.bits(&bits)
		*x = bits == 1
	}
}

// time keeps an instant to the nanosecond, and not the zone that it was told in.
func (c *coder) time(t *time.Time) {
	seconds, nanos := t.Unix(), int64(t.Nanosecond())
	c.integers(&seconds, &nanos)
	if c.reading {
		*t = time.Unix(seconds, nanos).UTC()
	}
}

func (c *coder) unit(u **units.Unit) {
	symbol := ""
	if *u != nil {
		symbol = (*u).Symbol()
	}
	length := int64(len(symbol))
	c.integers(&length)
	if !c.reading {
		c.data = append(c.data, symbol...)
		return
	}
	if length < 0 || length > int64(len(c.data)) {
		c.failed = true
		return
	}
	symbol, c.data = string(c.data[:length]), c.data[length:]
	if symbol == "" {
		return
	}
	var err error
	if *u, err = units.Parse(symbol); err != nil {
		c.failed = true
	}
}

func (c *coder) bits(x *uint64) {
	switch {
	case !c.reading:
		c.data = binary.BigEndian.AppendUint64(c.data, *x)
	case len(c.data) < 8:
		c.failed = true
	default:
		*x, c.data = binary.BigEndian.Uint64(c.data), c.data[8:]
	}
}
