package report

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// lookups finds what the request says of a drive by the drive's id.
type lookups struct {
	drives     map[string]*linepacev1.Drive
	asked      map[string]string // in words, beside the demanded value
	dry        map[string]bool   // part of a blend whose total counts dry mass
	tolerances map[string]*linepacev1.Tolerance
}

func lookUp(req *linepacev1.PlanRequest) lookups {
	l := lookups{
		drives:     map[string]*linepacev1.Drive{},
		asked:      map[string]string{},
		dry:        map[string]bool{},
		tolerances: map[string]*linepacev1.Tolerance{},
	}
	for _, drive := range req.GetLine().GetDrives() {
		l.drives[drive.GetId()] = drive
	}
	for _, demand := range req.GetProduct().GetDemands() {
		l.asked[demand.GetDriveId()] = demandText(demand)
		l.tolerances[demand.GetDriveId()] = demand.GetTolerance()
	}
	for _, blend := range req.GetProduct().GetBlends() {
		for _, component := range blend.GetComponents() {
			if _, own := l.asked[component.GetDriveId()]; own {
				continue // a leader that has a demand of its own
			}
			l.asked[component.GetDriveId()] = componentText(blend, component)
			l.dry[component.GetDriveId()] = blend.GetTotalBasis() == linepacev1.Blend_DRY
			l.tolerances[component.GetDriveId()] = component.GetTolerance()
		}
	}
	return l
}

// demandText says in words what the demanded value follows from; a rate needs none.
func demandText(d *linepacev1.Demand) string {
	switch kind := d.GetKind().(type) {
	case *linepacev1.Demand_Dwell:
		return boundText(kind.Dwell) + dwellWhere(kind.Dwell)
	case *linepacev1.Demand_Ratio:
		return ratioText(kind.Ratio)
	case *linepacev1.Demand_Dose:
		return fmt.Sprintf("%s for each %s of %s", Quantity(kind.Dose.GetAmount()), Quantity(kind.Dose.GetPer()), kind.Dose.GetLeaderId())
	case *linepacev1.Demand_LengthPerPiece:
		return fmt.Sprintf("%s for each piece, following %s",
			Quantity(kind.LengthPerPiece.GetLength()), kind.LengthPerPiece.GetLeaderId())
	}
	return ""
}

func ratioText(r *linepacev1.Ratio) string {
	what := "process rate"
	if r.GetBasis() == linepacev1.Ratio_MOTOR_SPEED {
		what = "motor speed"
	}
	return fmt.Sprintf("%s %% of the %s of %s", Number(r.GetPercent()), what, r.GetLeaderId())
}

// componentText says which part of which total a component is.
func componentText(b *linepacev1.Blend, c *linepacev1.Blend_Component) string {
	share := "the balance"
	if _, ok := c.GetShare().(*linepacev1.Blend_Component_SharePercent); ok {
		share = Number(c.GetSharePercent()) + " %"
	}
	blend := "the blend"
	if b.GetId() != "" {
		blend = "blend " + b.GetId()
	}
	switch {
	case b.GetLeaderId() == "":
		return fmt.Sprintf("%s of %s (%s %s)", share, blend, Quantity(b.GetTotal()), countedText(b))
	case b.GetLeaderId() == c.GetDriveId():
		return fmt.Sprintf("leader of %s, %s of it %s", blend, share, countedText(b))
	}
	return fmt.Sprintf("%s of %s %s, following %s", share, blend, countedText(b), b.GetLeaderId())
}

// fitPath finds the demand or blend that a path speaks of.
var fitPath = regexp.MustCompile(`^product\.(demands|blends)\[(\d+)\]`)

// fitField says in words where a value that would fit belongs.
func (s *sheet) fitField(path string) string {
	switch path {
	case "blend.total":
		return " as the blend's total"
	case "blend.leaderRate":
		return " as the rate of the blend's leader"
	}
	match := fitPath.FindStringSubmatch(path)
	if match == nil {
		return ""
	}
	i, err := strconv.Atoi(match[2])
	demands, blends := s.req.GetProduct().GetDemands(), s.req.GetProduct().GetBlends()
	switch {
	case err != nil:
		return ""
	case match[1] == "demands" && i < len(demands):
		return fmt.Sprintf(" for %s (%s)", demands[i].GetDriveId(), path)
	case match[1] == "blends" && i < len(blends) && strings.HasSuffix(path, ".leaderRate"):
		return fmt.Sprintf(" as the rate of the leader of blend %s (%s)", blends[i].GetId(), path)
	case match[1] == "blends" && i < len(blends):
		return fmt.Sprintf(" as the total of blend %s (%s)", blends[i].GetId(), path)
	}
	return ""
}
