package report

import (
	"fmt"
	"io"
	"strconv"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// mostParts bounds the parts of a dose that are listed.
const mostParts = 200

// Dose writes the equivalent time of a temperature profile, with its caution. The error
// is w's own.
func Dose(w io.Writer, req *linepacev1.DoseRequest, resp *linepacev1.DoseResponse) error {
	var a answer
	a.rows("THERMAL DOSE",
		Row{Label: "equivalent", Text: fmt.Sprintf("%s at %s", Quantity(resp.GetEquivalentTime()), temperatureText(req.GetReference()))},
		Row{Label: "z", Text: temperatureText(resp.GetZ()) + ", a difference"})
	a.doses(resp.GetParts(), func(i int) string {
		if steps := req.GetSteps(); i < len(steps) {
			return fmt.Sprintf("%s at %s", Quantity(steps[i].GetTime()), temperatureText(steps[i].GetTemperature()))
		}
		if points := req.GetPoints(); i+1 < len(points) {
			return fmt.Sprintf("%s at %s to %s at %s", Quantity(points[i].GetTime()), temperatureText(points[i].GetTemperature()),
				Quantity(points[i+1].GetTime()), temperatureText(points[i+1].GetTemperature()))
		}
		return ""
	})
	a.checks(resp.GetChecks())
	a.working(resp.GetWorking())
	return a.end(w)
}

// doses lists what each part gives; what says which it is.
func (p *page) doses(parts []*linepacev1.ExposureDose, what func(i int) string) {
	for i, part := range parts[:min(len(parts), mostParts)] {
		p.labelled(strconv.Itoa(i+1), fmt.Sprintf("%s: rate %s, gives %s", what(i), Number(part.GetLethalRate()), Quantity(part.GetEquivalentTime())))
	}
	if more := len(parts) - mostParts; more > 0 {
		p.labelled("", fmt.Sprintf("and %d more", more))
	}
	p.blank()
}

func temperatureText(t *linepacev1.Temperature) string {
	return Number(t.GetValue()) + " " + t.GetUnit()
}

// dose tells the dose of a dwell.
func (p *page) dose(req *linepacev1.DwellRequest, resp *linepacev1.DwellResponse) {
	d := resp.GetThermalDose()
	if d == nil {
		return
	}
	p.line("THERMAL DOSE")
	p.labelled("equivalent", fmt.Sprintf("%s at %s", Quantity(d.GetEquivalentTime()), temperatureText(req.GetThermalDose().GetReference())))
	zones := req.GetThermalDose().GetZones()
	p.doses(d.GetZones(), func(i int) string {
		if i >= len(zones) {
			return ""
		}
		return fmt.Sprintf("%s of %s at %s", zones[i].GetId(), zones[i].GetSectionId(), temperatureText(zones[i].GetTemperature()))
	})
}
