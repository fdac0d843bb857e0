package main

import (
	"encoding/json"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// FuzzParse holds that a document is read as the service would read it: JSON gives
// what the codec gives, what was read is written and read again without a change,
// and a fault has a place within the text.
func FuzzParse(f *testing.F) {
	f.Add([]byte("id: a\ndrives:\n  - id: b # c\n    motor: {minRpm: 90, maxRpm: 1.5e3}\n    transmission: [gearbox: {ratio: 40.15, exact: true}]\n"))
	f.Add([]byte(`{"id": "a", "drives": [{"id": "\ud83d\ude00", "motor": {"minRpm": 1e2}}]}`))
	f.Add([]byte("id: &a x\ndrives:\n  - {id: *a, motor: {minRpm: +5., maxRpm: 0x10}}\n"))
	f.Add([]byte("a: &a [*a, *a]\n? [b]\n: c\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		got := &linepacev1.Line{}
		_, err := parse("f", text, got)
		if json.Valid(text) {
			want := &linepacev1.Line{}
			require.Equal(t, codec.Unmarshal(text, want) == nil, err == nil)
			require.True(t, err != nil || proto.Equal(want, got))
		}
		if err != nil {
			placesWithin(t, text, err)
			return
		}
		written, err := codec.Append(nil, got)
		require.NoError(t, err)
		again := &linepacev1.Line{}
		_, err = parse("g", written, again)
		require.NoError(t, err)
		require.True(t, proto.Equal(got, again))
	})
}

var place = regexp.MustCompile(`^f:(\d+):(\d+): `)

func placesWithin(t *testing.T, text []byte, err error) {
	t.Helper()
	for _, fault := range faultsOf(err) {
		if match := place.FindStringSubmatch(fault); match != nil {
			line, err := strconv.Atoi(match[1])
			require.NoError(t, err)
			require.LessOrEqual(t, line, 1+strings.Count(strings.ReplaceAll(string(text), "\r", "\n"), "\n"))
		}
	}
}
