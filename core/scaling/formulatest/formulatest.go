// Package formulatest evaluates the formulas of a working, for tests that hold
// each step's result against its inputs. It uses Go's own expression parser, so
// that nothing of the calculation judges itself.
package formulatest

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"strconv"

	"linepace.example/core/exact"
	"linepace.example/core/scaling"
)

// Evaluate computes a step's formula from its inputs and returns it with the
// step's result, both in base units. It fails where the formula names what is not
// an input, leaves an input out, or cannot be read.
func Evaluate(step scaling.Step) (got, want float64, err error) {
	values := map[string]float64{"pi": math.Pi}
	for _, in := range step.Inputs {
		values[in.Name] = in.Value.Base(new(exact.Calc)).Float()
	}
	expression, err := parser.ParseExpr(step.Formula)
	if err != nil {
		return 0, 0, fmt.Errorf("formula %q: %w", step.Formula, err)
	}
	e := evaluation{values: values, used: map[string]bool{"pi": true}}
	got = e.value(expression)
	for name := range values {
		if !e.used[name] {
			e.fail("does not use its input %s", name)
		}
	}
	if e.err != nil {
		return 0, 0, fmt.Errorf("formula %q %w", step.Formula, e.err)
	}
	return got, step.Result.Base(new(exact.Calc)).Float(), nil
}

type evaluation struct {
	values map[string]float64
	used   map[string]bool
	err    error
}

func (e *evaluation) fail(format string, args ...any) float64 {
	if e.err == nil {
		e.err = fmt.Errorf(format, args...)
	}
	return math.NaN()
}

func (e *evaluation) value(x ast.Expr) float64 {
	switch x := x.(type) {
	case *ast.BasicLit:
		v, err := strconv.ParseFloat(x.Value, 64)
		if err != nil {
			return e.fail("has the literal %s", x.Value)
		}
		return v
	case *ast.Ident:
		v, known := e.values[x.Name]
		if !known {
			return e.fail("names %s, which is not among its inputs", x.Name)
		}
		e.used[x.Name] = true
		return v
	case *ast.ParenExpr:
		return e.value(x.X)
	case *ast.CallExpr:
		return e.call(x)
	case *ast.BinaryExpr:
		return e.binary(x.Op, e.value(x.X), e.value(x.Y))
	}
	return e.fail("has a %T", x)
}

func (e *evaluation) binary(op token.Token, a, b float64) float64 {
	switch op {
	case token.ADD:
		return a + b
	case token.SUB:
		return a - b
	case token.MUL:
		return a * b
	case token.QUO:
		return a / b
	}
	return e.fail("has the operator %s", op)
}

func (e *evaluation) call(x *ast.CallExpr) float64 {
	name, _ := x.Fun.(*ast.Ident)
	if name == nil || len(x.Args) == 0 {
		return e.fail("has a call without name or arguments")
	}
	out := e.value(x.Args[0])
	for _, arg := range x.Args[1:] {
		switch name.Name {
		case "max":
			out = max(out, e.value(arg))
		case "min":
			out = min(out, e.value(arg))
		}
	}
	switch name.Name {
	case "round":
		return math.Round(out)
	case "floor":
		return math.Floor(out)
	case "ceil":
		return math.Ceil(out)
	case "pow10":
		return math.Pow(10, out)
	case "log10":
		return math.Log10(out)
	case "log":
		return math.Log(out)
	case "sqrt":
		return math.Sqrt(out)
	case "max", "min":
		return out
	}
	return e.fail("has the function %s", name.Name)
}
