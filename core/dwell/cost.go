package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/units"
)

// Cost says what a stop of the feed and a piece out of tolerance cost, in one
// currency, so that policies compare.
type Cost struct {
	PerMinuteStopped float64
	PerPieceOut      float64
}

const mostCost = 1e9

func (k *Cost) validate(p *fault.Path, faults *fault.List) {
	at := p.Field("cost")
	for _, x := range []struct {
		field string
		value float64
	}{{"perMinuteStopped", k.PerMinuteStopped}, {"perPieceOut", k.PerPieceOut}} {
		if !(x.value == 0 || x.value >= leastBase && x.value <= mostCost) {
			field := at.Field(x.field)
			faults.Add(&field, fault.OutOfRange, "is %v; it must be 0 to %v in any one currency", x.value, mostCost)
		}
	}
	if k.PerMinuteStopped == 0 && k.PerPieceOut == 0 {
		faults.Add(&at, fault.Conflict, "costs nothing at all, so that no policy is better; give perMinuteStopped, perPieceOut or both")
	}
}

// of returns what a policy costs.
//
//	minutes that the feed is stopped * cost per minute + pieces out of tolerance * cost per piece
func (k *Cost) of(p *Policy) float64 {
	minutes := units.Quantity{Value: p.FeedStopped.Value, Unit: p.FeedStopped.Unit}.Base(new(exact.Calc)).Float()
	return float64(minutes*k.PerMinuteStopped) + float64(float64(p.OutgoingOut+p.IncomingOut)*k.PerPieceOut)
}

// weigh adds the costs of the policies of o and names the cheapest; of equal ones the
// first.
func (k *Cost) weigh(o *Outcome) {
	for i := range o.Policies {
		p := &o.Policies[i]
		if !p.Possible {
			continue
		}
		p.Cost = k.of(p)
		if o.Cheapest == NoPolicy || p.Cost < o.Policies[o.Cheapest-OnTheFly].Cost {
			o.Cheapest = p.Name
		}
	}
}
