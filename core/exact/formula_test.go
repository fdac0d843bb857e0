package exact_test

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"

	"linepace.example/core/exact"
)

// A formula is written in postfix: numbers push themselves, operators take the
// top of the stack. It is evaluated by the package under test and, from the same
// text, by two general-purpose arithmetics: math/big's Float and Rat.
type formula []step

type step struct {
	op    op
	value float64 // of a decimal
	whole int64   // of an integer
}

type op byte

const (
	decimal op = iota
	integer
	pi
	add
	subtract
	multiply
	divide
	negate
)

func dec(v float64) formula { return formula{{op: decimal, value: v}} }
func whole(v int64) formula { return formula{{op: integer, whole: v}} }
func circle() formula       { return formula{{op: pi}} }

func (f formula) with(g formula, o op) formula {
	out := make(formula, 0, len(f)+len(g)+1)
	return append(append(append(out, f...), g...), step{op: o})
}

func (f formula) plus(g formula) formula  { return f.with(g, add) }
func (f formula) minus(g formula) formula { return f.with(g, subtract) }
func (f formula) times(g formula) formula { return f.with(g, multiply) }
func (f formula) over(g formula) formula  { return f.with(g, divide) }

var symbols = map[op]string{pi: "pi", add: "+", subtract: "-", multiply: "*", divide: "/", negate: "neg"}

func (f formula) String() string {
	words := make([]string, len(f))
	for i, s := range f {
		switch s.op {
		case decimal:
			words[i] = strconv.FormatFloat(s.value, 'g', -1, 64)
		case integer:
			words[i] = "#" + strconv.FormatInt(s.whole, 10)
		default:
			words[i] = symbols[s.op]
		}
	}
	return strings.Join(words, " ")
}

// parseFormula reads what String writes.
func parseFormula(text string) (formula, error) {
	var f formula
words:
	for _, word := range strings.Fields(text) {
		for o, symbol := range symbols {
			if word == symbol {
				f = append(f, step{op: o})
				continue words
			}
		}
		if digits, ok := strings.CutPrefix(word, "#"); ok {
			v, err := strconv.ParseInt(digits, 10, 64)
			if err != nil {
				return nil, err
			}
			f = append(f, step{op: integer, whole: v})
			continue
		}
		v, err := strconv.ParseFloat(word, 64)
		if err != nil {
			return nil, err
		}
		f = append(f, step{op: decimal, value: v})
	}
	return f, nil
}

// eval runs f by the package under test.
func (f formula) eval(c *exact.Calc) exact.Num {
	var room [24]exact.Num
	stack := room[:0]
	for _, s := range f {
		top := len(stack) - 1
		switch s.op {
		case decimal:
			stack = append(stack, c.Dec(s.value))
		case integer:
			stack = append(stack, c.Int(s.whole))
		case pi:
			stack = append(stack, c.Pi())
		case negate:
			stack[top] = stack[top].Neg()
		default:
			a, b := stack[top-1], stack[top]
			stack = stack[:top]
			switch s.op {
			case add:
				stack[top-1] = a.Add(b)
			case subtract:
				stack[top-1] = a.Sub(b)
			case multiply:
				stack[top-1] = a.Mul(b)
			case divide:
				stack[top-1] = a.Quo(b)
			}
		}
	}
	return stack[0]
}

// publishedPi is pi to 200 decimals, OEIS A000796 from memory, every digit found
// again with the Chudnovsky series in Python integers.
const publishedPi = "3.14159265358979323846264338327950288419716939937510582097494459230781640628620899862803482534211706798214808651328230664709384460955058223172535940812848111745028410270193852110555964462294895493038196"

// referee evaluates formulas with big.Float. Its error stays below 2^-(precision-20)
// relative to the largest intermediate value. It is not for concurrent use.
type referee struct {
	precision uint
	pi        *big.Float
	stack     []*big.Float
	scratch   *big.Float
}

func newReferee(precision uint) *referee {
	r := &referee{precision: precision}
	for range 24 {
		r.stack = append(r.stack, r.float())
	}
	r.pi, r.scratch = r.float(), r.float()
	if _, ok := r.pi.SetString(publishedPi); !ok {
		panic("pi")
	}
	return r
}

func (r *referee) float() *big.Float { return new(big.Float).SetPrec(r.precision) }

// eval returns the value of f; it is valid until the next eval.
func (r *referee) eval(f formula) *big.Float {
	n := 0
	for _, s := range f {
		switch s.op {
		case decimal:
			if _, ok := r.stack[n].SetString(strconv.FormatFloat(s.value, 'g', -1, 64)); !ok {
				panic(s.value)
			}
			n++
		case integer:
			r.stack[n].SetInt64(s.whole)
			n++
		case pi:
			r.stack[n].Set(r.pi)
			n++
		case negate:
			r.stack[n-1].Neg(r.stack[n-1])
		default:
			a, b := r.stack[n-2], r.stack[n-1]
			n--
			switch s.op {
			case add:
				a.Add(a, b)
			case subtract:
				a.Sub(a, b)
			case multiply:
				a.Mul(a, b)
			case divide:
				a.Quo(a, b)
			}
		}
	}
	return r.stack[0]
}

// rational returns the value of f as a fraction where pi cancels: any two
// stand-ins for pi then give the same value.
func (f formula) rational() (*big.Rat, error) {
	a, b := f.withPi(big.NewRat(22, 7)), f.withPi(big.NewRat(25, 8))
	if a.Cmp(b) != 0 {
		return nil, fmt.Errorf("pi does not cancel in %s", f)
	}
	return a, nil
}

func (f formula) withPi(standIn *big.Rat) *big.Rat {
	var stack []*big.Rat
	for _, s := range f {
		top := len(stack) - 1
		switch s.op {
		case decimal:
			r, ok := new(big.Rat).SetString(strconv.FormatFloat(s.value, 'g', -1, 64))
			if !ok {
				panic(s.value)
			}
			stack = append(stack, r)
		case integer:
			stack = append(stack, new(big.Rat).SetInt64(s.whole))
		case pi:
			stack = append(stack, standIn)
		case negate:
			stack[top] = new(big.Rat).Neg(stack[top])
		default:
			a, b := stack[top-1], stack[top]
			out := new(big.Rat)
			stack = append(stack[:top-1], out)
			switch s.op {
			case add:
				out.Add(a, b)
			case subtract:
				out.Sub(a, b)
			case multiply:
				out.Mul(a, b)
			case divide:
				out.Quo(a, b)
			}
		}
	}
	return stack[0]
}
