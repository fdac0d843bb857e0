package codec

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
)

func TestUnmarshalPart(t *testing.T) {
	read := func(text string) (*linepacev1.PlanRequest, bool, error) {
		m := new(linepacev1.PlanRequest)
		part, err := UnmarshalPart([]byte(text), m)
		return m, part, err
	}
	m, part, err := read(`{"line":{"id":"a","drives":[{"id":"x"}]}}`)
	require.NoError(t, err)
	require.False(t, part)
	require.Equal(t, "x", m.Line.Drives[0].Id)

	m, part, err = read(`{"line":{"id":3,"odd":[1,{}],"drives":[{"id":7,"motor":{"maxRpm":"NaN","minRpm":1e999}},{"id":"y"}]},"includeWorking":true}`)
	require.Len(t, err, 5)
	require.True(t, part)
	require.Equal(t, []string{"", "", "y"}, []string{m.Line.Id, m.Line.Drives[0].Id, m.Line.Drives[1].Id})
	require.True(t, math.IsNaN(m.Line.Drives[0].Motor.MaxRpm))
	require.True(t, math.IsInf(m.Line.Drives[0].Motor.MinRpm, 1))
	require.True(t, m.IncludeWorking)

	for _, text := range []string{
		`{"line":{"drives":[3,{"id":"y"}]}}`,    // y would stand in the first place
		`{"line":{"drives":[null,{"id":"y"}]}}`, // likewise
		`{"line":{"id":3}`, ``, `[]`, `{"line":{"id":3}} x`,
	} {
		m, part, err = read(text)
		require.Error(t, err, text)
		require.False(t, part, text)
		require.True(t, proto.Equal(new(linepacev1.PlanRequest), m), text)
	}
}
