package statistics

import (
	"fmt"
	"math"
)

// TooFewError says that a method needs more values than it was given.
type TooFewError struct {
	Method string // such as "a straight line"
	Have   int
	Need   int    // the least count
	Of     string // what is counted, such as "points"
}

func (e *TooFewError) Error() string {
	return fmt.Sprintf("%s needs at least %d %s, not %d", e.Method, e.Need, e.Of, e.Have)
}

// DomainError says that a number is outside what a method is defined for.
type DomainError struct {
	Name  string // the argument
	Index int    // its place in a list, or -1
	Value float64
	Want  string // what would be right
}

func (e *DomainError) Error() string {
	if e.Index >= 0 {
		return fmt.Sprintf("%s[%d] is %v: %s", e.Name, e.Index, e.Value, e.Want)
	}
	return fmt.Sprintf("%s is %v: %s", e.Name, e.Value, e.Want)
}

// LengthError says that lists that belong together differ in length.
type LengthError struct {
	First, Second string
	Have, Want    int // lengths of the second and of the first
}

func (e *LengthError) Error() string {
	return fmt.Sprintf("%s has %d values and %s %d: they must be as many", e.First, e.Want, e.Second, e.Have)
}

// NoSpreadError says that all values of an argument are equal, so that a method
// that divides by their spread has no answer.
type NoSpreadError struct{ Name string }

func (e *NoSpreadError) Error() string {
	return fmt.Sprintf("%s has the same value throughout: at least two different ones are needed", e.Name)
}

// maxMagnitude bounds values, so that sums of their squares neither overflow nor
// lose digits to underflow.
const maxMagnitude = 1e140

// checkValues finds the first value that is not a number of usable size.
func checkValues(name string, x []float64) error {
	for i, v := range x {
		if !(math.Abs(v) <= maxMagnitude) {
			return &DomainError{Name: name, Index: i, Value: v, Want: "it must be a finite number of magnitude at most 1e140"}
		}
	}
	return nil
}

// checkPositive finds the first value that is not above zero.
func checkPositive(name string, x []float64) error {
	for i, v := range x {
		if !(v > 1e-140 && v <= maxMagnitude) {
			return &DomainError{Name: name, Index: i, Value: v, Want: "it must be above 1e-140 and at most 1e140"}
		}
	}
	return nil
}

func checkLength(first string, x []float64, second string, y []float64) error {
	if len(x) != len(y) {
		return &LengthError{First: first, Second: second, Want: len(x), Have: len(y)}
	}
	return nil
}

// firstError returns the first error that is not nil.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
