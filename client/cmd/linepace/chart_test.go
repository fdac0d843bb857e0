package main

import (
	"bytes"
	"context"
	"image/color"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"linepace.example/client/chart"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// chartOf draws the answer to a request in testdata/calc.
func chartOf(t *testing.T, request, format string) []byte {
	t.Helper()
	file := filepath.Join(t.TempDir(), "chart"+format)
	var stdout, stderr bytes.Buffer
	args := []string{"calc", "assess", "--chart", file, "testdata/calc/" + request + ".yaml"}
	require.Equal(t, exitOK, run(context.Background(), args, strings.NewReader(""), &stdout, &stderr), stderr.String())
	drawn, err := os.ReadFile(file)
	require.NoError(t, err)
	return drawn
}

// The chart of a worn pump shows each reading, tolerance, average with limits, alarms,
// trend and forecast, each told in the legend.
func TestChartOfAWornPump(t *testing.T) {
	svg := chartOf(t, "assess.worn-pump", ".svg")
	const golden = "testdata/calc/assess.worn-pump.svg"
	if *update {
		require.NoError(t, os.WriteFile(golden, svg, 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), string(svg))
	shapes(t, svg) // is XML, and every number is finite
	for _, text := range []string{
		"glaze-pump: delivery against its commissioned model", "change of delivery, %", "date (UTC)", "2026-03-01",
		"tolerance, 3 % either way", "reading", "moving average (EWMA)", "its limits, to the first alarm",
		"first alarm of the CUSUM", "first alarm of the EWMA", "trend", "where it leads", "forecast, 95 % confidence",
	} {
		require.Contains(t, string(svg), ">"+text+"<")
	}
}

// What was not found is not drawn.
func TestChartOfNothing(t *testing.T) {
	svg := string(chartOf(t, "assess.nothing", ".svg"))
	require.Contains(t, svg, ">reading<")
	for _, absent := range []string{"first alarm of", "where it leads", "forecast", "service"} {
		require.NotContains(t, svg, absent)
	}
}

func TestChartAsPNG(t *testing.T) {
	picture, err := png.Decode(bytes.NewReader(chartOf(t, "assess.step", ".png")))
	require.NoError(t, err)
	require.InDelta(t, chart.Width.Dots(chart.DotsPerInch), picture.Bounds().Dx(), 1)
	require.InDelta(t, chart.Height.Dots(chart.DotsPerInch), picture.Bounds().Dy(), 1)
	inks := map[color.Color]bool{}
	for x := range picture.Bounds().Dx() {
		for y := range picture.Bounds().Dy() {
			inks[picture.At(x, y)] = true
		}
	}
	require.True(t, inks[color.RGBA{0xD5, 0x5E, 0x00, 0xFF}], "an alarm is drawn")
	require.True(t, inks[color.RGBA{0xFF, 0xFF, 0xFF, 0xFF}], "on white paper")
}

func TestChartNeedsReadings(t *testing.T) {
	require.ErrorIs(t, chart.Drift(io.Discard, chart.SVG, &linepacev1.AssessRequest{}, &linepacev1.AssessResponse{}), chart.ErrNoReadings)
}
