package refusal

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMost(t *testing.T) {
	many := make([]Violation, MaxViolations+7)
	for i := range many {
		many[i].Path = string(rune('a' + i%26))
	}
	require.Equal(t, many[:MaxViolations], Most(many[:MaxViolations]), "what fits stays")

	most := Most(many)
	require.Len(t, most, MaxViolations+1)
	require.Equal(t, many[:MaxViolations], most[:MaxViolations])
	require.Contains(t, most[MaxViolations].Text, "7 further violations")
	require.Empty(t, many[MaxViolations].Text, "the argument is not written to")
}
