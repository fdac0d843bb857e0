package fraction_test

import (
	"testing"

	. "linepace.example/core/fraction"
)

func BenchmarkBest(b *testing.B) {
	for name, f := range map[string]func() (Pair, error){
		"quotient": func() (Pair, error) { return Best(Proportional, e, terms(65535, 65535)) },
		"of pi":    func() (Pair, error) { return Best(Proportional, pi, terms(MaxTerm, MaxTerm)) },
		"product":  func() (Pair, error) { return Best(Reciprocal, Decimal(76394.37), terms(9999, 9999)) },
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := f(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
