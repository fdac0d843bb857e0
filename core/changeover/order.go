package changeover

import (
	"slices"
	"strings"

	"linepace.example/core/fault"
)

// longestChain bounds how many drives may follow each other in a row, so that no
// request makes exact evaluation of a chain unbounded. Real chains of rolls have
// some twenty.
const longestChain = 256

// order returns the drives that have a job with leaders before their followers,
// otherwise in the line's order. A ring of followers is a fault at one demand of the ring.
func (p *planner) order(faults *fault.List) []int32 {
	const (
		unseen = iota
		onTheWay
		placed
	)
	state := make([]uint8, len(p.jobs))
	out := make([]int32, 0, len(p.jobs))
	for start := range p.jobs {
		if p.jobs[start] == noJob {
			continue // a blend by itself leaves drives alone
		}
		done := len(out)
		i := int32(start)
		for i >= 0 && state[i] == unseen {
			state[i] = onTheWay
			out = append(out, i)
			i = p.jobs[i].leader
		}
		way := out[done:]
		if i >= 0 && state[i] == onTheWay {
			p.addCycle(way, i, faults)
		}
		for _, k := range way {
			state[k] = placed
		}
		slices.Reverse(way) // leaders first
	}
	p.checkChains(out, faults)
	return out
}

// checkChains adds a fault at the first drive of each chain that is too long.
func (p *planner) checkChains(order []int32, faults *fault.List) {
	for _, i := range order {
		j := &p.jobs[i]
		if j.leader < 0 {
			continue
		}
		j.depth = p.jobs[j.leader].depth + 1
		if j.depth == longestChain && p.speaks(j) {
			p.addFollowed(i, fault.TooMany, faults, "makes a chain of more than %d drives that follow each other", longestChain)
		}
	}
}

func (p *planner) addCycle(way []int32, back int32, faults *fault.List) {
	first := 0
	for way[first] != back {
		first++
	}
	names := make([]string, 0, len(way)+1)
	for _, i := range append(way[first:len(way):len(way)], back) {
		names = append(names, p.line.Drives[i].ID)
	}
	p.addFollowed(back, fault.Cycle, faults, "closes a ring of drives that follow each other (%s); one of them needs a rate or a dwell", strings.Join(names, " -> "))
}

// speaks reports whether the job is the one of all that follow by the same field
// that names a fault there: the components of a blend have one leader.
func (p *planner) speaks(j *job) bool {
	if j.blend < 0 {
		return true
	}
	b := &p.product.Blends[j.blend]
	first := 0
	if b.leads(0) {
		first = 1
	}
	return int(j.component) == first
}

// addFollowed adds a fault at the leaderId of drive i's demand or blend.
func (p *planner) addFollowed(i int32, r fault.Reason, faults *fault.List, format string, args ...any) {
	j := &p.jobs[i]
	at := p.fields.blend(int(j.blend))
	if j.demand >= 0 {
		demand := p.fields.demands.Index(int(j.demand))
		at = demand.Field(kindFields[p.product.Demands[j.demand].Kind])
	}
	leader := at.Field("leaderId")
	faults.Add(&leader, r, format, args...)
}
