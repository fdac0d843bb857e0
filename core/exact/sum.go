package exact

import "math/big"

// Sum returns term(0) + ... + term(n-1), added in that order.
//
// In exact mode the terms are brought to their least common denominator, so that a
// sum of a thousand decimals, whose denominators are powers of ten, stays as short
// as its longest term.
func (c *Calc) Sum(n int, term func(i int) Num) Num {
	total := Num{}
	if !c.exact {
		for i := range n {
			total = total.Add(term(i))
		}
		return total
	}
	sum := realZero
	for i := range n {
		t := term(i)
		total = total.Add(t.float())
		sum = sum.addOverLeast(t.x)
	}
	num, den := reduce(sum.num, sum.den)
	return total.with(&Real{num: num, den: den})
}

// addOverLeast is add over the least common denominator. Where a denominator is a
// polynomial in pi that is not looked for.
func (a *Real) addOverLeast(b *Real) *Real {
	if len(a.den) != 1 || len(b.den) != 1 {
		return a.add(b)
	}
	common := new(big.Int).GCD(nil, nil, new(big.Int).Abs(a.den[0]), new(big.Int).Abs(b.den[0]))
	ofA := poly{new(big.Int).Quo(b.den[0], common)}
	ofB := poly{new(big.Int).Quo(a.den[0], common)}
	return &Real{num: a.num.mul(ofA).add(b.num.mul(ofB)), den: a.den.mul(ofA)}
}
