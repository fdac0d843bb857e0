package main

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/client/report"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// The picture of a transition shows every piece of the answer, as what it is, and
// crosses those that are out of tolerance.
func TestPictureOfATransition(t *testing.T) {
	for _, name := range []string{"transition.zone", "transition.dryer"} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "picture.svg")
			var stdout, stderr bytes.Buffer
			args := []string{"calc", "transition", "--json", "--picture", file, "testdata/calc/" + name + ".yaml"}
			require.Equal(t, exitOK, run(context.Background(), args, strings.NewReader(""), &stdout, &stderr), stderr.String())
			svg, err := os.ReadFile(file)
			require.NoError(t, err)
			golden := "testdata/calc/" + name + ".svg"
			if *update {
				require.NoError(t, os.WriteFile(golden, svg, 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), string(svg))

			var answer struct {
				Policies []struct {
					Pieces []struct{ Incoming, OutOfTolerance bool }
				}
			}
			require.NoError(t, json.Unmarshal(stdout.Bytes(), &answer))
			outgoing, incoming, crossed := 2, 2, 2 // those of the legend
			for _, p := range answer.Policies {
				for _, piece := range p.Pieces {
					if piece.Incoming {
						incoming++
					} else {
						outgoing++
					}
					if piece.OutOfTolerance {
						crossed++
					}
				}
			}
			drawn := shapes(t, svg)
			require.Equal(t, outgoing, drawn["circle o"])
			require.Equal(t, incoming, drawn["rect i"])
			require.Equal(t, crossed, drawn["path x"])
			require.Greater(t, outgoing+incoming, 40)
		})
	}
}

// shapes counts the elements of an SVG by name and class.
func shapes(t *testing.T, svg []byte) map[string]int {
	t.Helper()
	count := map[string]int{}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return count
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			class := ""
			for _, a := range e.Attr {
				require.NotContains(t, a.Value, "NaN")
				require.NotContains(t, a.Value, "Inf")
				if a.Name.Local == "class" {
					class = a.Value
				}
			}
			count[e.Name.Local+" "+class]++
		}
	}
}

func TestPictureNeedsPieces(t *testing.T) {
	err := report.TransitionPicture(io.Discard, &linepacev1.TransitionRequest{}, &linepacev1.TransitionResponse{})
	require.ErrorIs(t, err, report.ErrNoPieces)
}
