package report

import (
	"strconv"
	"strings"
	"unicode"

	"github.com/jedib0t/go-pretty/v6/text"

	linepacev1 "linepace.example/proto/linepace/v1"
)

const (
	// columns is the widest line of a sheet; 100 fit on a page in landscape and
	// on most terminals.
	columns = 98
	// labelColumns is the width of the labels on the left, with their indent.
	labelColumns = 16
	// markColumns is the width of a mark such as E1 or a drive's number.
	markColumns = 4
)

// page collects lines of text.
type page struct{ strings.Builder }

func (p *page) blank() { p.WriteByte('\n') }

func (p *page) line(s string) { p.WriteString(strings.TrimRight(s, " ") + "\n") }

// labelled writes a label and its text, wrapped under itself; nothing without text.
func (p *page) labelled(label, s string) {
	if s != "" {
		p.wrapped(strings.Repeat(" ", markColumns)+label, labelColumns, s)
	}
}

// hanging writes a mark and its text, wrapped under itself.
func (p *page) hanging(mark, s string) { p.wrapped(mark, markColumns, s) }

func (p *page) wrapped(label string, indent int, s string) {
	lead := label + strings.Repeat(" ", max(1, indent-len(label)))
	for part := range strings.SplitSeq(text.WrapSoft(Clean(s), columns-indent), "\n") {
		p.line(lead + part)
		lead = strings.Repeat(" ", indent)
	}
}

// Clean makes text from outside harmless on a terminal and keeps it on its line:
// white space becomes a blank, and a control character, a change of writing
// direction and whatever else does not print becomes a visible escape.
func Clean(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case unicode.IsSpace(r):
			b.WriteByte(' ')
		default:
			escape := strconv.QuoteRuneToASCII(r)
			b.WriteString(escape[1 : len(escape)-1])
		}
	}
	return b.String()
}

// Quantity writes a quantity for reading.
func Quantity(q *linepacev1.Quantity) string { return Number(q.GetValue()) + " " + q.GetUnit() }

// Number writes x for reading, with six significant digits.
func Number(x float64) string { return significant(x, 6) }

// significant writes x with that many significant digits, more where they stand
// before the point, none that are zero at the end.
func significant(x float64, digits int) string {
	rounded := strconv.FormatFloat(x, 'e', digits-1, 64)
	exponent, err := strconv.Atoi(rounded[strings.IndexByte(rounded, 'e')+1:])
	if err != nil || exponent < -6 || exponent > 14 {
		return strconv.FormatFloat(x, 'g', digits, 64) // too small or large to read in full, NaN, Inf
	}
	s := strconv.FormatFloat(x, 'f', max(0, digits-1-exponent), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// percent writes a signed percentage with the given decimals.
func percent(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimLeft(s, "-") + " %" // nothing to sign
	}
	if x > 0 {
		s = "+" + s
	}
	return s + " %"
}
