package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCommissioningSheets(t *testing.T) {
	const demo = "../../../testdata/rooftile/"
	for name, args := range map[string][]string{
		"kiln-and-glaze": {"--line", demo + "line.yaml", "--product", demo + "product-b.yaml", "--drive", "kiln-rollers", "--drive", "glaze-pump"},
		"odd":            {"--line", "testdata/commission/odd-line.yaml"},
	} {
		t.Run(name, func(t *testing.T) {
			stdout := commission(t, exitOK, args...)
			golden := "testdata/commission/" + name + ".txt"
			if *update {
				require.NoError(t, os.WriteFile(golden, []byte(stdout), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			require.Equal(t, string(want), stdout)
			requirePrintable(t, stdout)
		})
	}
}

func commission(t *testing.T, code int, args ...string) string {
	t.Helper()
	var stdout, stderr bytes.Buffer
	got := run(context.Background(), append([]string{"commission"}, args...), strings.NewReader(""), &stdout, &stderr)
	require.Equal(t, code, got, stderr.String())
	return stdout.String() + stderr.String()
}

// The points lie within what the drive can run, in its order, and each is the same as
// JSON.
func TestCommissioningPoints(t *testing.T) {
	const demo = "../../../testdata/rooftile/"
	var out struct {
		Drives []struct {
			DriveID string
			Points  []struct {
				Point  string
				Answer struct {
					Verdict  string
					Setpoint struct{ AchievedRPM float64 }
				}
			}
		}
	}
	require.NoError(t, json.Unmarshal([]byte(commission(t, exitOK, "--json", "--line", demo+"line.yaml", "--product", demo+"product-b.yaml")), &out))
	require.Len(t, out.Drives, 11)
	for _, d := range out.Drives {
		require.Len(t, d.Points, 3)
		last := 0.0
		for i, name := range []string{"low", "set", "high"} {
			require.Equal(t, name, d.Points[i].Point)
			require.NotEqual(t, "NOT_RUNNABLE", d.Points[i].Answer.Verdict, d.DriveID)
			rpm := d.Points[i].Answer.Setpoint.AchievedRPM
			require.Greater(t, rpm, last, d.DriveID)
			last = rpm
		}
	}
}

func TestCommissioningRefuses(t *testing.T) {
	require.Contains(t, commission(t, exitInput, "--line", "testdata/commission/odd-line.yaml", "--drive", "none"), `has no drive "none"`)
	require.Contains(t, commission(t, exitInput, "--line", "testdata/commission/none.yaml"), "no such file")
}
