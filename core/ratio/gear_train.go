package ratio

import (
	"cmp"
	"slices"

	"linepace.example/core/exact"
	"linepace.example/core/fault"
	"linepace.example/core/fraction"
	"linepace.example/core/scaling"
)

// findTrain finds the change gears whose ratio is nearest to the target, among all
// that the bounds allow: for each product of driven teeth the two products of
// driving teeth next to it. Of trains with equal ratios it takes the one with the
// fewest teeth, and of the pairs with one product the two most alike.
//
// Formula: change-gears/1.
func (g *Gear) findTrain(out *GearFraction, faults *fault.List) {
	products := teethProducts(g.ChangeGears)
	least := fraction.Pair{Numerator: products[0].product, Denominator: products[len(products)-1].product}
	greatest := fraction.Pair{Numerator: least.Denominator, Denominator: least.Numerator}
	if g.beyond(least, greatest) {
		at := fault.Root("changeGears")
		low, high := float64(least.Numerator)/float64(least.Denominator), float64(greatest.Numerator)/float64(greatest.Denominator)
		faults.Add(&at, fault.OutOfRange, "reach ratios from %v to %v, and %v is wanted; widen the range of teeth or allow another stage", low, high, out.Ratio)
		return
	}
	best, bestTeeth := [2]teethProduct{}, int32(0)
	for _, driven := range products {
		for _, driver := range g.nextTo(products, driven.product) {
			teeth := driver.teeth() + driven.teeth()
			order := -1 // the first one
			if bestTeeth > 0 {
				order = fraction.Nearer(fraction.Proportional, g.target, fraction.Pair{Numerator: driver.product, Denominator: driven.product},
					fraction.Pair{Numerator: best[0].product, Denominator: best[1].product})
			}
			if order < 0 || order == 0 && teeth < bestTeeth {
				best, bestTeeth = [2]teethProduct{driver, driven}, teeth
			}
		}
	}
	for i := range best[0].of[:g.ChangeGears.Stages] {
		out.Train = append(out.Train, TeethPair{DriverTeeth: best[0].of[i], DrivenTeeth: best[1].of[i]})
	}
	out.TrainPPM = fraction.Pair{Numerator: best[0].product, Denominator: best[1].product}.ErrorPPM(fraction.Proportional, g.target)
}

// beyond reports whether the target lies at half of the least ratio or below it, or at
// twice the greatest or above it, as [fraction.Best] has it for its bounds.
func (g *Gear) beyond(least, greatest fraction.Pair) bool {
	return scaling.Certain(func(c *exact.Calc) bool {
		t, two := g.target(c), c.Int(2)
		return c.Cmp(t.Mul(two), least.Value(c, fraction.Proportional)) <= 0 ||
			c.Cmp(t, greatest.Value(c, fraction.Proportional).Mul(two)) >= 0
	})
}

// nextTo returns the products of driving teeth next to either side of target * driven.
func (g *Gear) nextTo(products []teethProduct, driven int64) []teethProduct {
	whole := scaling.Certain(func(c *exact.Calc) int64 { n, _ := c.Floor(g.target(c).Mul(c.Int(driven))); return n })
	i, _ := slices.BinarySearchFunc(products, whole+1, func(p teethProduct, n int64) int { return cmp.Compare(p.product, n) })
	return products[max(i-1, 0):min(i+1, len(products))]
}

// teethProduct is a product of the teeth of one or two gears.
type teethProduct struct {
	product int64
	of      [2]int32 // the second is 0 for one stage
}

func (p teethProduct) teeth() int32 { return p.of[0] + p.of[1] }

// teethProducts lists the products that the bounds allow, rising, each once.
func teethProducts(b *ChangeGears) (out []teethProduct) {
	for first := b.MinTeeth; first <= b.MaxTeeth; first++ {
		if b.Stages == 1 {
			out = append(out, teethProduct{int64(first), [2]int32{first, 0}})
			continue
		}
		for second := first; second <= b.MaxTeeth; second++ {
			out = append(out, teethProduct{int64(first) * int64(second), [2]int32{first, second}})
		}
	}
	slices.SortFunc(out, func(p, q teethProduct) int {
		return cmp.Or(cmp.Compare(p.product, q.product), cmp.Compare(p.of[1]-p.of[0], q.of[1]-q.of[0]))
	})
	return slices.CompactFunc(out, func(p, q teethProduct) bool { return p.product == q.product })
}
