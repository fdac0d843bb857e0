// Package chart draws what an assessment of a drive says over time, for the screen and
// for print.
package chart

import (
	"bytes"
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// Size of a chart: A4 across, less its margins.
const (
	Width  = 26 * vg.Centimeter
	Height = 16 * vg.Centimeter
	// DotsPerInch of a PNG.
	DotsPerInch = 150

	margin = 4 * vg.Millimeter
	beside = 6.5 * vg.Centimeter // where the legend stands, so that it covers nothing
)

// Format is how a chart is written.
type Format int

// Formats.
const (
	SVG Format = iota
	PNG
)

// ErrNoReadings is returned where an answer has fewer than two readings to draw.
var ErrNoReadings = errors.New("the answer has fewer than two readings to draw")

// Colours that people with any colour vision tell apart (Okabe and Ito 2008). Shapes and
// dashes say the same, so that the chart can be printed in black.
var (
	blue      = color.RGBA{0x00, 0x72, 0xB2, 0xFF}
	vermilion = color.RGBA{0xD5, 0x5E, 0x00, 0xFF}
	green     = color.RGBA{0x00, 0x9E, 0x73, 0xFF}
	grey      = color.RGBA{0x70, 0x70, 0x70, 0xFF}
	inBand    = color.RGBA{0xEE, 0xF3, 0xEE, 0xFF}
	ahead     = color.RGBA{0xFA, 0xDC, 0xC3, 0xFF}
)

// Drift draws the readings of an assessment over their dates with the tolerance, the
// moving average and its limits, the alarms, the trend and where it leads. It needs the
// request for the times of its observations. Errors: [ErrNoReadings], and w's own.
func Drift(w io.Writer, format Format, req *linepacev1.AssessRequest, resp *linepacev1.AssessResponse) error {
	if len(resp.GetSeries()) < 2 {
		return ErrNoReadings
	}
	d := drawing{req: req, resp: resp, plot: plot.New(), legend: plot.NewLegend()}
	d.plot.BackgroundColor = nil
	d.frame()
	d.tolerance()
	d.forecast()
	d.events()
	d.readings()
	d.averages()
	d.alarms()
	d.trend()
	if d.err != nil {
		return d.err
	}
	var canvas interface {
		vg.CanvasSizer
		io.WriterTo
	} = vgsvg.New(Width, Height)
	if format == PNG {
		canvas = vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(Width, Height), vgimg.UseDPI(DotsPerInch))}
	}
	paper := draw.New(canvas)
	paper.FillPolygon(color.White, []vg.Point{{X: 0, Y: 0}, {X: Width, Y: 0}, {X: Width, Y: Height}, {X: 0, Y: Height}})
	page := draw.Crop(paper, margin, -margin, margin, -margin)
	d.plot.Draw(draw.Crop(page, 0, -beside, 0, 0))
	d.legend.Draw(draw.Crop(page, Width-2*margin-beside+1.5*margin, 0, 0, -2*vg.Centimeter))
	var out bytes.Buffer
	if _, err := canvas.WriteTo(&out); err != nil {
		return err
	}
	_, err := w.Write(out.Bytes())
	return err
}

type drawing struct {
	req         *linepacev1.AssessRequest
	resp        *linepacev1.AssessResponse
	plot        *plot.Plot
	legend      plot.Legend
	first, last float64 // of the readings, seconds since 1970
	err         error
}

// frame sets the axes: all readings and the tolerance fit, and so does the forecast where
// it is not much later than the readings.
func (d *drawing) frame() {
	p, series := d.plot, d.resp.GetSeries()
	d.first, d.last = seconds(series[0].GetTime()), seconds(series[len(series)-1].GetTime())
	span := d.last - d.first
	p.X.Min, p.X.Max = d.first-0.02*span, d.last+0.1*span
	if f := d.toTolerance(); d.resp.GetTrend().GetSignificant() && !f.GetReached() && !f.GetNever() {
		for _, at := range []string{f.GetTime(), f.GetLatest()} {
			if at != "" {
				p.X.Max = max(p.X.Max, min(seconds(at)+0.05*span, d.last+0.75*span))
			}
		}
	}
	low, high := -d.req.GetTolerancePercent(), d.req.GetTolerancePercent()
	for _, each := range series {
		low, high = min(low, each.GetPercent()), max(high, each.GetPercent())
	}
	p.Y.Min, p.Y.Max = low-0.12*(high-low), high+0.12*(high-low)
	p.Title.Text = "Delivery against the commissioned model"
	if id := d.req.GetDrive().GetId(); id != "" {
		p.Title.Text = id + ": delivery against its commissioned model"
	}
	p.Title.TextStyle.Font.Size = vg.Points(14)
	p.X.Label.Text, p.Y.Label.Text = "date (UTC)", "change of delivery, %"
	p.X.Tick.Marker = calendar{}
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Label.TextStyle.Font.Size, axis.Tick.Label.Font.Size = vg.Points(12), vg.Points(10)
		axis.Padding = 0
	}
	d.legend.Top, d.legend.Left = true, true
	d.legend.TextStyle.Font.Size, d.legend.Padding, d.legend.ThumbnailWidth = vg.Points(10), vg.Points(4), vg.Points(28)
}

// add adds what was made without an error.
func (d *drawing) add(name string, made plot.Plotter, err error) {
	if err != nil {
		d.err = errors.Join(d.err, err)
		return
	}
	d.plot.Add(made)
	if thumb, ok := made.(plot.Thumbnailer); ok && name != "" {
		d.legend.Add(name, thumb)
	}
}

func (d *drawing) line(name string, xys plotter.XYs, width float64, c color.Color, dashes ...vg.Length) {
	if len(xys) < 2 {
		return
	}
	line, err := plotter.NewLine(xys)
	if err == nil {
		line.LineStyle = draw.LineStyle{Width: vg.Points(width), Color: c, Dashes: dashes}
	}
	d.add(name, line, err)
}

func (d *drawing) area(name string, xys plotter.XYs, c color.Color) {
	area, err := plotter.NewPolygon(xys)
	if err == nil {
		area.Color, area.LineStyle.Width = c, 0
	}
	d.add(name, area, err)
}

func (d *drawing) marks(name string, xys plotter.XYs, shape draw.GlyphDrawer, size float64, c color.Color) {
	if len(xys) == 0 {
		return
	}
	marks, err := plotter.NewScatter(xys)
	if err == nil {
		marks.GlyphStyle = draw.GlyphStyle{Shape: shape, Radius: vg.Points(size), Color: c}
	}
	d.add(name, marks, err)
}

func (d *drawing) tolerance() {
	t, from, to := d.req.GetTolerancePercent(), d.plot.X.Min, d.plot.X.Max
	d.area("", plotter.XYs{{X: from, Y: -t}, {X: to, Y: -t}, {X: to, Y: t}, {X: from, Y: t}}, inBand)
	d.line(fmt.Sprintf("tolerance, %g %% either way", t), plotter.XYs{{X: from, Y: t}, {X: to, Y: t}}, 1.5, color.Black)
	d.line("", plotter.XYs{{X: from, Y: -t}, {X: to, Y: -t}}, 1.5, color.Black)
	d.line("", plotter.XYs{{X: from, Y: 0}, {X: to, Y: 0}}, 0.5, grey)
}

func (d *drawing) readings() {
	var xys plotter.XYs
	for _, each := range d.resp.GetSeries() {
		xys = append(xys, plotter.XY{X: seconds(each.GetTime()), Y: each.GetPercent()})
	}
	d.marks("reading", xys, draw.RingGlyph{}, 1.8, grey)
}

// events draws when something was done, where the charts begin anew.
func (d *drawing) events() {
	name := "service or another change"
	for _, index := range d.begins() {
		if x, known := d.when(index); known {
			d.line(name, plotter.XYs{{X: x, Y: d.plot.Y.Min}, {X: x, Y: d.plot.Y.Max}}, 1, color.Black, vg.Points(1), vg.Points(3))
			name = ""
		}
	}
}

// begins returns the observations before which something was done.
func (d *drawing) begins() (out []int32) {
	for i, each := range d.req.GetObservations() {
		if each.GetEvent() != linepacev1.Observation_EVENT_UNSPECIFIED {
			out = append(out, int32(i))
		}
	}
	for _, event := range d.req.GetColumns().GetEvents() {
		out = append(out, event.GetRow())
	}
	slices.Sort(out)
	return out
}

// firsts returns the first alarm of a chart, and the first after each event. Those that
// follow tell nothing new.
func (d *drawing) firsts(c *linepacev1.AssessResponse_Chart) (out []*linepacev1.AssessResponse_Alarm) {
	begins := append([]int32{0}, d.begins()...)
	stretch := func(index int32) int {
		i, found := slices.BinarySearch(begins, index)
		if found {
			return i
		}
		return i - 1
	}
	last := -1
	for _, alarm := range c.GetAlarms() {
		if at := stretch(alarm.GetIndex()); at != last {
			out, last = append(out, alarm), at
		}
	}
	return out
}

// averages draws the moving average and its limits up to its first alarm: after that it
// begins anew again and again and follows the readings no more. An event ends that.
func (d *drawing) averages() {
	name, limits := "moving average (EWMA)", "its limits, to the first alarm"
	points, begins := d.resp.GetEwma().GetPoints(), append(d.begins(), math.MaxInt32)
	ends := d.firsts(d.resp.GetEwma())
	var average, low, high plotter.XYs
	flush := func() {
		if len(average) > 1 {
			d.line(name, average, 1.4, blue)
			d.line(limits, low, 1.2, blue, vg.Points(5), vg.Points(3))
			d.line("", high, 1.2, blue, vg.Points(5), vg.Points(3))
			name, limits = "", ""
		}
		average, low, high = nil, nil, nil
	}
	for silent := false; len(points) > 0; points = points[1:] {
		index := points[0].GetIndex()
		for index >= begins[0] {
			begins, silent = begins[1:], false
			flush()
		}
		x, known := d.when(index)
		if silent || !known {
			continue
		}
		average = append(average, plotter.XY{X: x, Y: points[0].GetValue()})
		low = append(low, plotter.XY{X: x, Y: points[0].GetLow()})
		high = append(high, plotter.XY{X: x, Y: points[0].GetHigh()})
		for len(ends) > 0 && ends[0].GetIndex() <= index {
			ends, silent = ends[1:], true
		}
	}
	flush()
}

// alarms marks the readings at which a chart alarmed first.
func (d *drawing) alarms() {
	for _, chart := range []struct {
		name  string
		of    *linepacev1.AssessResponse_Chart
		shape draw.GlyphDrawer
		size  float64 // so that both are seen where they fall together
		color color.Color
	}{
		{"first alarm of the CUSUM", d.resp.GetCusum(), draw.PyramidGlyph{}, 7, vermilion},
		{"first alarm of the EWMA", d.resp.GetEwma(), draw.BoxGlyph{}, 2.8, color.Black},
	} {
		var xys plotter.XYs
		for _, alarm := range d.firsts(chart.of) {
			xys = append(xys, plotter.XY{X: seconds(alarm.GetTime()), Y: d.near(alarm.GetIndex())})
		}
		d.marks(chart.name, xys, chart.shape, chart.size, chart.color)
	}
}

// near returns the reading that is drawn next to an observation.
func (d *drawing) near(index int32) float64 {
	series := d.resp.GetSeries()
	i, _ := slices.BinarySearchFunc(series, index, func(p *linepacev1.AssessResponse_Point, index int32) int {
		return int(p.GetIndex()) - int(index)
	})
	return series[min(i, len(series)-1)].GetPercent()
}

// slope is the trend in percent a second, from the loss by the percentage that its limit
// stands for; false where there is none that chance does not explain.
func (d *drawing) slope() (float64, bool) {
	f, t := d.toTolerance(), d.resp.GetTrend()
	if !t.GetSignificant() || f.GetLoss().GetValue() == 0 {
		return 0, false
	}
	hours := 1.0
	if duty := d.req.GetDuty(); duty != nil {
		hours = duty.GetHoursPerDay() / 24
	}
	perLoss := -d.req.GetTolerancePercent() / math.Abs(f.GetLoss().GetValue())
	return perLoss * t.GetPer_1000Hours().GetValue() / 1000 * hours / 3600, true
}

// toTolerance returns the forecast of leaving the tolerance, or nil.
func (d *drawing) toTolerance() *linepacev1.AssessResponse_Forecast {
	for _, f := range d.resp.GetForecasts() {
		if f.GetWhat() == linepacev1.AssessResponse_Forecast_TOLERANCE_LEFT {
			return f
		}
	}
	return nil
}

// trend draws the line of least squares: what it was fitted to, and dashed where it leads.
func (d *drawing) trend() {
	slope, ok := d.slope()
	if !ok {
		return
	}
	from := d.first
	if c := d.resp.GetChange(); c.GetKind() == linepacev1.AssessResponse_Change_RAMP {
		from = seconds(c.GetTime())
	} else if series, current := d.resp.GetSeries(), d.resp.GetSummary(); len(series) == int(current.GetReadingCount()) {
		from = seconds(series[len(series)-int(current.GetCurrentCount())].GetTime())
	}
	now := d.resp.GetNow().GetChangePercent()
	at := func(x float64) plotter.XY { return plotter.XY{X: x, Y: now + slope*(x-d.last)} }
	end := d.plot.X.Max
	for _, y := range []float64{d.plot.Y.Min, d.plot.Y.Max} { // where it leaves the frame
		if x := d.last + (y-now)/slope; x > d.last {
			end = min(end, x)
		}
	}
	d.line("trend", plotter.XYs{at(from), at(d.last)}, 2.2, green)
	d.line("where it leads", plotter.XYs{at(d.last), at(end)}, 2.2, green, vg.Points(8), vg.Points(4))
}

// forecast draws the band in which the trend leads to the tolerance.
func (d *drawing) forecast() {
	f := d.toTolerance()
	if _, ok := d.slope(); !ok || f.GetReached() || f.GetNever() || f.GetEarliest() == "" {
		return
	}
	level := d.req.GetTolerancePercent()
	if d.resp.GetNow().GetChangePercent() < 0 {
		level = -level
	}
	now, u := d.resp.GetNow().GetChangePercent(), d.resp.GetNow().GetUncertaintyPercent()
	side := math.Copysign(u, level)
	end := d.plot.X.Max
	latest := plotter.XY{X: end, Y: now - side}
	if f.GetLatest() != "" {
		latest = toward(plotter.XY{X: d.last, Y: now - side}, plotter.XY{X: seconds(f.GetLatest()), Y: level}, end)
	}
	earliest := toward(plotter.XY{X: d.last, Y: now + side}, plotter.XY{X: seconds(f.GetEarliest()), Y: level}, end)
	band := plotter.XYs{{X: d.last, Y: now + side}, earliest}
	if earliest.X < end && latest.X >= end {
		band = append(band, plotter.XY{X: end, Y: level})
	}
	d.area("forecast, 95 % confidence", append(band, latest, plotter.XY{X: d.last, Y: now - side}), ahead)
}

// toward returns to, or where the line from from to it leaves the frame.
func toward(from, to plotter.XY, end float64) plotter.XY {
	if to.X <= end {
		return to
	}
	return plotter.XY{X: end, Y: from.Y + (to.Y-from.Y)*(end-from.X)/(to.X-from.X)}
}

// when returns the time of an observation of the request.
func (d *drawing) when(index int32) (float64, bool) {
	i := int(index)
	if rows := d.req.GetObservations(); i < len(rows) {
		return seconds(rows[i].GetTime()), true
	}
	if column := d.req.GetColumns().GetSeconds(); i < len(column) {
		return seconds(d.req.GetColumns().GetStart()) + column[i], true
	}
	return 0, false
}

// seconds reads a time of the service, seconds since 1970.
func seconds(rfc3339 string) float64 {
	t, err := time.Parse(time.RFC3339, rfc3339)
	if err != nil {
		return math.NaN() // plot tells it
	}
	return float64(t.UnixMilli()) / 1000
}
