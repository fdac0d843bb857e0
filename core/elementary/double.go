package elementary

// double is the unevaluated sum hi + lo of two float64 with |lo| at most half an
// ulp of hi, which gives about 106 bits. The algorithms are Dekker's and Knuth's
// (T. J. Dekker, A floating-point technique for extending the available
// precision, Numer. Math. 18, 1971); none needs a fused multiply-add.
type double struct{ hi, lo float64 }

// quickSum returns a + b exactly, for |a| >= |b| or a = 0.
func quickSum(a, b float64) double {
	s := a + b
	return double{s, b - (s - a)}
}

// sum returns a + b exactly.
func sum(a, b float64) double {
	s := a + b
	t := s - a
	return double{s, (a - (s - t)) + (b - t)}
}

// halves splits a into two numbers of 26 bits; |a| < 2^996.
func halves(a float64) (hi, lo float64) {
	t := float64(a * (1<<27 + 1))
	hi = t - (t - a)
	return hi, a - hi
}

// product returns a * b exactly where no part of it underflows.
func product(a, b float64) double {
	p := float64(a * b)
	ah, al := halves(a)
	bh, bl := halves(b)
	e := float64(ah*bh) - p
	e += float64(ah * bl)
	e += float64(al * bh)
	e += float64(al * bl)
	return double{p, e}
}

// plus returns a + b within 2^-104 of the greater of |a|, |b| and the result.
func (a double) plus(b double) double {
	s := sum(a.hi, b.hi)
	t := sum(a.lo, b.lo)
	s = quickSum(s.hi, s.lo+t.hi)
	return quickSum(s.hi, s.lo+t.lo)
}

// times returns a * b within 2^-102 of the result.
func (a double) times(b double) double {
	p := product(a.hi, b.hi)
	return quickSum(p.hi, p.lo+(float64(a.hi*b.lo)+float64(a.lo*b.hi)))
}

// over returns a / b within 2^-101 of the result.
func (a double) over(b float64) double {
	q := a.hi / b
	p := product(q, b)
	return quickSum(q, ((a.hi-p.hi)-p.lo+a.lo)/b)
}

// half returns a/2, exactly. (The compiler multiplies by 1/2, and would fuse that.)
func (a double) half() double { return double{float64(a.hi / 2), float64(a.lo / 2)} }

// negative returns -a, exactly.
func (a double) negative() double { return double{-a.hi, -a.lo} }

// TwoSum returns the rounded sum of a and b and what rounding took off it: s + e = a + b
// exactly, where nothing overflows.
func TwoSum(a, b float64) (s, e float64) {
	d := sum(a, b)
	return d.hi, d.lo
}

// TwoProduct returns the rounded product of a and b and what rounding took off it:
// p + e = a b exactly, for |a| and |b| below 2^996 where nothing overflows and the product is 0
// or above 2^-960.
func TwoProduct(a, b float64) (p, e float64) {
	d := product(a, b)
	return d.hi, d.lo
}
