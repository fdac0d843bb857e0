package requestid

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

func TestOf(t *testing.T) {
	for _, id := range []string{"a", "B-2291", "shift_2.change-7", strings.Repeat("x", 64)} {
		require.Equal(t, id, Of(id))
	}
	seen := map[string]bool{}
	for _, bad := range []string{"", strings.Repeat("x", 65), "a b", "a\nb", "a\"b", "ä", "a/b", "\x00"} {
		made := Of(bad)
		require.NotEqual(t, bad, made)
		require.True(t, valid(made), "%q was made for %q", made, bad)
		require.False(t, seen[made], "%q was made twice", made)
		seen[made] = true
	}
}

func TestAttach(t *testing.T) {
	s := Attach(status.New(codes.InvalidArgument, "no"), "B-2291")
	require.Equal(t, "B-2291", In(s.Err()))
	require.Equal(t, codes.InvalidArgument, s.Code())
	require.Empty(t, In(status.Error(codes.InvalidArgument, "no")))
}
