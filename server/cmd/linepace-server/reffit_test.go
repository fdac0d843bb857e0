package main

import (
	"encoding/json"
	"math/big"
	"strconv"
)

// refLine is the least-squares line through a drive's references, in SI units per
// second and r/min, by the normal equations in rational numbers.
type refLine struct {
	slope, intercept *big.Rat
	offset           bool     // whether it has an intercept
	meanSpeed        *big.Rat // weighted
	first, low, high *big.Rat // speeds
	codes            map[string]bool
}

// fitReferences fits the line of the contract's comments on Drive.references: with an
// offset for a pump at two or more different speeds, weighted by 1/u^2 where every one
// states its uncertainty.
func fitReferences(d *jsonDrive) *refLine {
	l := &refLine{codes: map[string]bool{}}
	type point struct{ x, y, w, u *big.Rat }
	var points []point
	stated, distinct := 0, false
	for _, r := range d.References {
		p := point{x: num(r.MotorRpm).rational(), y: r.Value.si().rational()}
		if r.UncertaintyPercent != "" {
			stated++
			p.u = new(big.Rat).Mul(p.y, percent(r.UncertaintyPercent).rational())
		}
		points = append(points, p)
		distinct = distinct || p.x.Cmp(points[0].x) != 0
		if l.low == nil || p.x.Cmp(l.low) < 0 {
			l.low = p.x
		}
		if l.high == nil || p.x.Cmp(l.high) > 0 {
			l.high = p.x
		}
	}
	l.first = points[0].x
	l.offset = distinct && d.Delivery != nil && d.Delivery.Pump != nil
	mul := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }
	sub := func(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
	var s, sx, sy, sxx, sxy big.Rat
	for i := range points {
		p := &points[i]
		p.w = big.NewRat(1, 1)
		if stated == len(points) && len(points) > 1 {
			p.w = d.References[i].weight(d.References[0])
		}
		s.Add(&s, p.w)
		sx.Add(&sx, mul(p.w, p.x))
		sy.Add(&sy, mul(p.w, p.y))
		sxx.Add(&sxx, mul(p.w, mul(p.x, p.x)))
		sxy.Add(&sxy, mul(p.w, mul(p.x, p.y)))
	}
	l.meanSpeed = new(big.Rat).Quo(&sx, &s)
	if l.offset {
		det := sub(mul(&s, &sxx), mul(&sx, &sx))
		l.slope = new(big.Rat).Quo(sub(mul(&s, &sxy), mul(&sx, &sy)), det)
		l.intercept = new(big.Rat).Quo(sub(mul(&sxx, &sy), mul(&sx, &sxy)), det)
	} else {
		l.slope, l.intercept = new(big.Rat).Quo(&sxy, &sxx), new(big.Rat)
	}
	l.codes["SLIP_FLOW_NEGATIVE"] = l.intercept.Sign() > 0
	l.codes["REFERENCES_UNWEIGHTED"] = stated > 0 && stated < len(points)
	for i, p := range points {
		for _, q := range points[:i] {
			if p.u == nil || q.u == nil || l.offset && p.x.Cmp(q.x) != 0 {
				continue
			}
			perTurn := func(v *big.Rat, of point) *big.Rat { return new(big.Rat).Quo(v, of.x) }
			off := sub(perTurn(p.y, p), perTurn(q.y, q))
			explained := new(big.Rat).Add(mul(perTurn(p.u, p), perTurn(p.u, p)), mul(perTurn(q.u, q), perTurn(q.u, q)))
			if mul(off, off).Cmp(explained) > 0 {
				l.codes["REFERENCES_CONTRADICT"] = true
			}
		}
	}
	return l
}

// base is a process rate per minute as a double: times the whole numerator of its
// unit's factor, then over the whole denominator, or times the factor where these are
// no doubles.
func (q jsonQuantity) base() float64 {
	si, _ := refUnit(q.Unit)
	factor := new(big.Rat).Mul(si.rational(), big.NewRat(60, 1))
	value, _ := num(q.Value).rational().Float64()
	above, exactly := new(big.Rat).SetInt(factor.Num()).Float64()
	below, alsoExactly := new(big.Rat).SetInt(factor.Denom()).Float64()
	if exactly && alsoExactly {
		return value * above / below
	}
	whole, _ := factor.Float64()
	return value * whole
}

// uncertainty is that of a reference as a double, expanded, per minute.
func (r jsonReference) uncertainty() float64 {
	share, _ := num(r.UncertaintyPercent).rational().Float64()
	return r.Value.base() * share / 100
}

// weight is 1/u^2 relative to the first, as the double that the record's formula says.
func (r jsonReference) weight(first jsonReference) *big.Rat {
	ratio := first.uncertainty() / r.uncertainty()
	return decimal(json.Number(strconv.FormatFloat(ratio*ratio, 'g', -1, 64)))
}

// far tells whether a speed is more than 1.5 times away from a calibrated one.
func far(speed, below, above piNumber) bool {
	times := fraction(3, 2)
	return above.mul(times).less(speed) || speed.mul(times).less(below)
}
