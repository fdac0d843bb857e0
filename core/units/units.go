// Package units reads the units in which plants write their quantities and
// converts values to and from SI base units without losing a digit.
//
// A unit is a product or quotient of table symbols with whole powers, such as
// m/min, kg/m3, mL/r or lb/ft3:
//
//	unit     = "1" | "%" | [ "1" ] divisors | product [ divisors ] .
//	product  = factor { ( "." | "·" ) factor } .
//	divisors = "/" factor { "/" factor } .
//	factor   = symbol [ exponent ] .
//	exponent = [ "^" ] [ "+" | "-" ] digit | [ "⁻" ] superscript .
//	digit    = "1" … "9" .    superscript = "¹" … "⁹" .
//
// a/b/c means a/(b.c). A product after a division (a/b.c) is refused, because
// half of its readers multiply by c and the other half divide, and so is a
// negative exponent there (a/b-1). Symbols are case sensitive and contain no
// spaces. [Table] lists them; the UCUM code of each is accepted as well
// ([ft_i]/min, {rev}/min, m.s-1). This is no UCUM reader: where a symbol of the
// table collides with a prefixed UCUM code (ft, pc), the trade's meaning holds.
//
// Turns, pieces and pulses are base dimensions of their own, beside length,
// mass and time: r/min is turns per time and never silently 0.1047 rad/s or
// 1/60 Hz. Hz, 1/s, /min and 1/min are bare frequencies without a statement of
// what is counted; their factor is that of r/s and r/min, their dimension is
// not. The radian is not taken, since its factor to the turn is irrational.
// Temperatures are taken as differences only, in K.
//
// Symbols that mean different things in different plants (gal, ton, cfm) are
// refused with the unambiguous ones named.
//
// Every factor is an exact rational. Sources: UCUM essence v2.2 (2024-06-17)
// and UNECE Recommendation 20, both of which restate the definitions of the
// international yard and pound (1959: 1 yd = 0.9144 m, 1 lb = 0.45359237 kg),
// the US gallon (231 in3) and the imperial gallon (4.54609 L).
package units

import (
	"math/big"

	"linepace.example/core/exact"
)

// Unit is a unit as written: its text, its dimension and its exact factor to SI
// base units. Units are immutable; two spellings of one unit are two Units with
// equal dimension and factor.
type Unit struct {
	symbol     string
	dim        Dimension
	ratio      *big.Rat
	factor     *exact.Constant
	si, minute terms
}

func newUnit(symbol string, dim Dimension, ratio *big.Rat) *Unit {
	return &Unit{
		symbol: symbol,
		dim:    dim,
		ratio:  ratio,
		factor: exact.NewConstant(ratio),
		si:     newTerms(ratio),
		minute: newTerms(new(big.Rat).Mul(ratio, minutePower(dim.Time))),
	}
}

// minutePower turns a factor to units with time in seconds into one to units with
// time in minutes: 60^-time.
func minutePower(time int8) *big.Rat {
	sixty := new(big.Int).Exp(big.NewInt(60), big.NewInt(int64(max(time, -time))), nil)
	power := new(big.Rat).SetInt(sixty)
	if time > 0 {
		power.Inv(power)
	}
	return power
}

// terms is a factor as numerator and denominator, each nil where it is one. They
// are applied one by one because whole numbers are free of error, which the
// factor 1/60 is not. Where one of them is not a float64 integer, num is the
// factor itself and den is nil.
type terms struct{ num, den *exact.Constant }

func newTerms(ratio *big.Rat) terms {
	if !isFloatInteger(ratio.Num()) || !isFloatInteger(ratio.Denom()) {
		return terms{num: exact.NewConstant(ratio)}
	}
	return terms{termConstant(ratio.Num()), termConstant(ratio.Denom())}
}

func (t terms) multiply(c *exact.Calc, n exact.Num) exact.Num {
	if t.num != nil {
		n = n.Mul(c.Const(t.num))
	}
	if t.den != nil {
		n = n.Quo(c.Const(t.den))
	}
	return n
}

func (t terms) divide(c *exact.Calc, n exact.Num) exact.Num {
	if t.den != nil {
		n = n.Mul(c.Const(t.den))
	}
	if t.num != nil {
		n = n.Quo(c.Const(t.num))
	}
	return n
}

func isFloatInteger(n *big.Int) bool { return n.BitLen() <= 53 }

func termConstant(n *big.Int) *exact.Constant {
	if n.IsInt64() && n.Int64() == 1 {
		return nil
	}
	return exact.NewConstant(new(big.Rat).SetInt(n))
}

// Symbol returns the text as it was written.
func (u *Unit) Symbol() string { return u.symbol }

// String returns Symbol.
func (u *Unit) String() string { return u.symbol }

// Dimension returns what the unit measures.
func (u *Unit) Dimension() Dimension { return u.dim }

// Factor returns the number that multiplies a value in this unit to give the
// value in SI base units (m, kg, s, K) and turns, pieces and pulses. Prefer
// [Quantity.SI], whose error bound is smaller.
func (u *Unit) Factor() *exact.Constant { return u.factor }

// Ratio returns the exact factor; the caller owns the copy.
func (u *Unit) Ratio() *big.Rat { return new(big.Rat).Set(u.ratio) }

// Quantity is a value with its unit. A nil Unit means that the quantity is
// absent; the methods then must not be called.
type Quantity struct {
	Value float64
	Unit  *Unit
}

// SI returns the quantity in SI base units. Value must be finite.
func (q Quantity) SI(c *exact.Calc) exact.Num { return q.Unit.si.multiply(c, c.Dec(q.Value)) }

// FromSI returns the value in unit u of n, which is in SI base units: the
// inverse of [Quantity.SI].
func FromSI(c *exact.Calc, n exact.Num, u *Unit) exact.Num { return u.si.divide(c, n) }

// Base returns the quantity in m, kg, min, turns, pieces and pulses. With the
// minute for the second the usual units of a drive (r/min, m/min, L/min up to a
// power of ten) have whole factors, so that most results are free of rounding.
// Value must be finite.
func (q Quantity) Base(c *exact.Calc) exact.Num { return q.Unit.minute.multiply(c, c.Dec(q.Value)) }

// FromBase returns the value in unit u of n, which is in the units of
// [Quantity.Base].
func FromBase(c *exact.Calc, n exact.Num, u *Unit) exact.Num { return u.minute.divide(c, n) }
