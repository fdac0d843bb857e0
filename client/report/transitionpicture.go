package report

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"io"
	"math"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// The picture of a transition, in pixels of the SVG: a row for each policy, one time
// axis below them all, so that what happens when can be compared down the page.
const (
	pictureWidth = 860.0
	plotLeft     = 78.0
	plotRight    = 842.0
	plotTop      = 78.0
	rowHeight    = 128.0
	rowPitch     = 172.0 // with its title above and some room
)

// Colours that people with any colour vision tell apart (Okabe and Ito 2008). Shapes and
// dashes say the same, so that the picture can be printed in black.
const (
	outgoingColour = "#0072B2"
	incomingColour = "#D55E00"
)

// ErrNoPieces is returned where an answer lists no pieces to draw.
var ErrNoPieces = errors.New("the answer lists no pieces: ask with includePieces")

// TransitionPicture draws the time of each piece over the change of speed as an SVG, for
// each policy: the pieces that were on the belt as rings, those that come after as filled
// squares, those out of tolerance crossed, over the bands of what they ought to get. It
// needs an answer with its pieces, else [ErrNoPieces]. Other errors are w's own.
func TransitionPicture(w io.Writer, req *linepacev1.TransitionRequest, resp *linepacev1.TransitionResponse) error {
	p := picture{req: req, resp: resp}
	if !p.fit() {
		return ErrNoPieces
	}
	p.head()
	for i, policy := range resp.GetPolicies() {
		p.row(plotTop+float64(i)*rowPitch, policy)
	}
	p.timeAxis()
	p.printf("</svg>\n")
	_, err := w.Write(p.Bytes())
	return err
}

type picture struct {
	bytes.Buffer
	req          *linepacev1.TransitionRequest
	resp         *linepacev1.TransitionResponse
	x, y         axis
	top          float64 // of the row that is drawn
	unit         string
	marked, many bool
}

// axis maps values to pixels.
type axis struct {
	low, high   float64
	first, last float64 // pixels
}

func (a axis) at(v float64) float64 {
	return a.first + (v-a.low)/(a.high-a.low)*(a.last-a.first)
}

// ticks returns round values along the axis, no more than about n of them.
func (a axis) ticks(n float64) (values []float64) {
	raw := (a.high - a.low) / n
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, by := range []float64{1, 2, 5, 10} {
		if step*by >= raw {
			step *= by
			break
		}
	}
	for k := math.Ceil(a.low / step); k*step <= a.high; k++ {
		values = append(values, k*step)
	}
	return values
}

// fit sets the axes so that all pieces and bands lie within.
func (p *picture) fit() bool {
	p.unit = p.resp.GetOutgoingTarget().GetUnit()
	tolerance := p.req.GetTolerancePercent() / 100
	least, most := math.Inf(1), math.Inf(-1)
	first, last := 0.0, p.req.GetRamp().GetValue()
	for _, target := range []float64{p.resp.GetOutgoingTarget().GetValue(), p.resp.GetIncomingTarget().GetValue()} {
		least, most = min(least, target*(1-tolerance)), max(most, target*(1+tolerance))
	}
	pieces := 0
	for _, policy := range p.resp.GetPolicies() {
		for _, piece := range policy.GetPieces() {
			least, most = min(least, piece.GetTime().GetValue()), max(most, piece.GetTime().GetValue())
			first, last = min(first, piece.GetEnters().GetValue()), max(last, piece.GetEnters().GetValue())
		}
		pieces = max(pieces, len(policy.GetPieces()))
		last = max(last, policy.GetFeedStopped().GetValue())
	}
	if pieces == 0 {
		return false
	}
	p.many = pieces > 120
	room, aside := max((most-least)*0.12, most*1e-6), max((last-first)*0.02, 1e-9)
	p.x = axis{first - aside, last + aside, plotLeft, plotRight}
	p.y = axis{least - room, most + room, rowHeight, 0}
	return true
}

func (p *picture) printf(format string, args ...any) { fmt.Fprintf(p, format, args...) }

func (p *picture) text(x, y float64, class, s string) {
	p.printf("<text x=\"%.1f\" y=\"%.1f\" class=\"%s\">%s</text>\n", x, y, class, html.EscapeString(Clean(s)))
}

func (p *picture) height() float64 { return plotTop + float64(len(p.resp.GetPolicies()))*rowPitch + 32 }

func (p *picture) head() {
	title := fmt.Sprintf("Time of each piece; speed from %s to %s in %s", Quantity(p.req.GetFrom()), Quantity(p.req.GetTo()), Quantity(p.req.GetRamp()))
	p.printf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" role="img" aria-labelledby="title" font-family="sans-serif" font-size="12">
<title id="title">%s</title>
<style>
.h{font-size:15px;font-weight:bold}.p{font-size:13px;font-weight:bold}.n{text-anchor:end}.m{text-anchor:middle}.s{font-size:11px}.e{font-size:11px;text-anchor:end}
.o{fill:none;stroke:%s;stroke-width:1.6}.i{fill:%s}.x{fill:none;stroke:#000;stroke-width:1.4}
.bo{fill:%s;fill-opacity:.14}.bi{fill:%s;fill-opacity:.14}.to{stroke:%s;stroke-dasharray:7 3}.ti{stroke:%s}
.a{stroke:#000;fill:none}.g{stroke:#000;stroke-opacity:.13}.r{stroke:#000;stroke-dasharray:2 3}
</style>
<defs><pattern id="stop" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="7" height="7" fill="#fff"/><line x1="0" y1="0" x2="0" y2="7" stroke="#000" stroke-width="2.4"/></pattern></defs>
<rect width="100%%" height="100%%" fill="#fff"/>
`, pictureWidth, p.height(), pictureWidth, p.height(), html.EscapeString(Clean(title)),
		outgoingColour, incomingColour, outgoingColour, incomingColour, outgoingColour, incomingColour)
	p.text(plotLeft, 24, "h", title)
	p.legend()
	p.marked = true // what the legend shows is drawn at full size
}

func (p *picture) legend() {
	const y = 46.0
	p.ring(plotLeft+5, y-4)
	p.text(plotLeft+14, y, "", "outgoing piece")
	p.square(plotLeft+120, y-4)
	p.text(plotLeft+129, y, "", "incoming piece")
	p.ring(plotLeft+236, y-4)
	p.cross(plotLeft+236, y-4)
	p.square(plotLeft+250, y-4)
	p.cross(plotLeft+250, y-4)
	p.text(plotLeft+261, y, "", "out of tolerance")
	p.printf("<rect x=\"%.1f\" y=\"%.1f\" width=\"24\" height=\"10\" fill=\"url(#stop)\" stroke=\"#000\"/>\n", plotLeft+370, y-9)
	p.text(plotLeft+400, y, "", "feed stopped")
	p.printf("<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"r\"/>\n", plotLeft+490, y-4, plotLeft+514, y-4)
	p.text(plotLeft+520, y, "", "ramp begins, ends")
	p.printf("<rect x=\"%.1f\" y=\"%.1f\" width=\"24\" height=\"10\" class=\"bo\"/><rect x=\"%.1f\" y=\"%.1f\" width=\"24\" height=\"10\" class=\"bi\"/>\n", plotLeft+640, y-9, plotLeft+664, y-9)
	p.text(plotLeft+694, y, "", "tolerance")
}

// row draws one policy below its title.
func (p *picture) row(top float64, policy *linepacev1.TransitionResponse_Policy) {
	p.top = top + 22
	p.text(plotLeft, p.top-7, "p", rowTitle(policy))
	p.grid()
	if !policy.GetPossible() {
		p.text((plotLeft+plotRight)/2, p.top+rowHeight/2, "m", "No stop of the feed keeps every piece in tolerance: outgoing pieces leave it that are on the belt already.")
		return
	}
	p.bands()
	p.stopAndRamp(policy)
	for i, piece := range policy.GetPieces() {
		p.piece(i, len(policy.GetPieces()), piece)
	}
}

func rowTitle(policy *linepacev1.TransitionResponse_Policy) string {
	name := policyName(policy.GetPolicy())
	title := strings.ToUpper(name[:1]) + name[1:]
	if !policy.GetPossible() {
		return title
	}
	feed := "feed stopped for " + Quantity(policy.GetFeedStopped())
	if policy.GetFeedStopped().GetValue() == 0 {
		feed = "feed runs on"
	}
	return fmt.Sprintf("%s: %s; out of tolerance %d outgoing, %d incoming", title, feed, policy.GetOutgoingOutOfTolerance(), policy.GetIncomingOutOfTolerance())
}

// grid draws the frame of a row with its values.
func (p *picture) grid() {
	for _, v := range p.y.ticks(5) {
		y := p.top + p.y.at(v)
		p.printf("<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"g\"/>\n", plotLeft, y, plotRight, y)
		p.text(plotLeft-6, y+4, "n", Number(v))
	}
	for _, v := range p.x.ticks(10) {
		x := p.x.at(v)
		p.printf("<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"g\"/>\n", x, p.top, x, p.top+rowHeight)
	}
	p.printf("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"a\"/>\n", plotLeft, p.top, plotRight-plotLeft, rowHeight)
	p.printf("<text transform=\"translate(20 %.1f) rotate(-90)\" class=\"m\">time inside, %s</text>\n", p.top+rowHeight/2, html.EscapeString(Clean(p.unit)))
}

// bands draws what pieces ought to get: outgoing before time 0, incoming after it.
func (p *picture) bands() {
	zero := p.x.at(0)
	p.band("bo", "to", plotLeft, zero, p.resp.GetOutgoingTarget().GetValue())
	p.band("bi", "ti", zero, plotRight, p.resp.GetIncomingTarget().GetValue())
}

func (p *picture) band(fill, line string, from, to, target float64) {
	tolerance := p.req.GetTolerancePercent() / 100
	high, low := p.top+p.y.at(target*(1+tolerance)), p.top+p.y.at(target*(1-tolerance))
	p.printf("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\" class=\"%s\"/>\n", from, high, to-from, max(low-high, 0), fill)
	y := p.top + p.y.at(target)
	p.printf("<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"%s\"/>\n", from, y, to, y, line)
}

// stopAndRamp draws when the feed is stopped and when the speed changes. To run clear
// comes before the ramp.
func (p *picture) stopAndRamp(policy *linepacev1.TransitionResponse_Policy) {
	stopped, ramp := policy.GetFeedStopped().GetValue(), p.req.GetRamp().GetValue()
	begins := 0.0
	if policy.GetPolicy() == linepacev1.TransitionResponse_Policy_CLEAR_FIRST {
		begins = stopped - ramp
	}
	for _, t := range []float64{begins, begins + ramp} {
		p.printf("<line x1=\"%.1f\" y1=\"%.1f\" x2=\"%.1f\" y2=\"%.1f\" class=\"r\"/>\n", p.x.at(t), p.top, p.x.at(t), p.top+rowHeight)
	}
	if stopped > 0 {
		p.printf("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"9\" fill=\"url(#stop)\" stroke=\"#000\"/>\n", p.x.at(0), p.top+rowHeight-9, p.x.at(stopped)-p.x.at(0))
	}
}

// piece draws one piece. Of very many, every one out of tolerance is crossed only where
// crosses can be told apart.
func (p *picture) piece(i, of int, piece *linepacev1.TransitionResponse_PieceTime) {
	x, y := p.x.at(piece.GetEnters().GetValue()), p.top+p.y.at(piece.GetTime().GetValue())
	if piece.GetIncoming() {
		p.square(x, y)
	} else {
		p.ring(x, y)
	}
	if piece.GetOutOfTolerance() && i%max(of/120, 1) == 0 {
		p.cross(x, y)
	}
}

func (p *picture) ring(x, y float64) {
	r := 3.8
	if p.many && p.marked {
		r = 2
	}
	p.printf("<circle cx=\"%.1f\" cy=\"%.1f\" r=\"%.1f\" class=\"o\"/>\n", x, y, r)
}

func (p *picture) square(x, y float64) {
	side := 7.0
	if p.many && p.marked {
		side = 4
	}
	p.printf("<rect x=\"%.1f\" y=\"%.1f\" width=\"%.0f\" height=\"%.0f\" class=\"i\"/>\n", x-side/2, y-side/2, side, side)
}

func (p *picture) cross(x, y float64) {
	p.printf("<path d=\"M%.1f %.1fl10 10m0 -10l-10 10\" class=\"x\"/>\n", x-5, y-5)
}

// timeAxis draws the axis of all rows below the last.
func (p *picture) timeAxis() {
	y := p.top + rowHeight
	for _, v := range p.x.ticks(10) {
		p.text(p.x.at(v), y+16, "m", Number(v))
	}
	p.text((plotLeft+plotRight)/2, y+34, "m", fmt.Sprintf("time of entry, %s; the change begins at 0", p.unit))
}
