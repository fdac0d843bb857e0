package units

import (
	"math/big"
	"strings"
	"unicode"
	"unicode/utf8"
)

const (
	// maxLength is in bytes; the longest listed unit has 14.
	maxLength = 64
	// maxExponent bounds each base dimension's exponent in a whole unit.
	maxExponent = 9
)

// Factors stay so far from the ends of the float64 range that products of
// several quantities cannot overflow or underflow.
var (
	maxFactor = new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(30), nil))
	minFactor = new(big.Rat).Inv(maxFactor)
)

// Parse returns the unit that symbol stands for. Errors: *[UnknownError] for a
// symbol outside the table, *[AmbiguousError] for one that differs between
// plants, *[SyntaxError] for text outside the grammar or over 64 bytes. Units in
// common use cost one map lookup and no allocation.
func Parse(symbol string) (*Unit, error) {
	if u := registered.units[symbol]; u != nil {
		return u, nil
	}
	return registered.parse(symbol)
}

// MustParse is [Parse] for constants; it panics where Parse has an error.
func MustParse(symbol string) *Unit {
	u, err := Parse(symbol)
	if err != nil {
		panic("core/units: internal error: " + err.Error())
	}
	return u
}

func (r *registry) parse(text string) (*Unit, error) {
	if err := checkText(text); err != nil {
		return nil, err
	}
	// A whole text can be ambiguous though its parts are not, and the other way
	// round, so the whole is looked at first.
	if err := refusal(text, text); err != nil {
		return nil, err
	}
	p := parser{registry: r, text: text, rest: text, ratio: big.NewRat(1, 1)}
	if err := p.unit(); err != nil {
		return nil, err
	}
	dim, ok := p.dimension()
	if !ok {
		return nil, &SyntaxError{text, "an exponent is beyond 9 in all"}
	}
	if p.ratio.Cmp(maxFactor) > 0 || p.ratio.Cmp(minFactor) < 0 {
		return nil, &SyntaxError{text, "its factor to SI units is outside 1e-30 to 1e30"}
	}
	return newUnit(text, dim, p.ratio), nil
}

func checkText(text string) error {
	switch {
	case text == "":
		return &SyntaxError{text, "it is empty; write a unit such as m/min, or 1 for a plain number"}
	case len(text) > maxLength:
		return &SyntaxError{cut(text), "it is longer than 64 bytes"}
	case !utf8.ValidString(text):
		return &SyntaxError{strings.ToValidUTF8(text, "\uFFFD"), "it is not valid UTF-8"}
	case strings.ContainsFunc(text, unicode.IsSpace):
		return &SyntaxError{text, "it contains a space; write units without spaces, such as m/min"}
	case strings.Contains(text, "%"):
		return &SyntaxError{text, "% stands only by itself"}
	}
	return nil
}

// cut shortens text for a message, at a rune's start.
func cut(text string) string {
	return strings.ToValidUTF8(text[:maxLength], "") + "…"
}

// parser reads one unit by the grammar of the package comment.
type parser struct {
	*registry
	text, rest string
	ratio      *big.Rat
	exponents  [7]int
}

func (p *parser) unit() error {
	if p.rest == "1" {
		p.rest = ""
	} else if strings.HasPrefix(p.rest, "1/") {
		p.rest = p.rest[1:]
	}
	if p.rest != "" && !strings.HasPrefix(p.rest, "/") {
		if err := p.product(); err != nil {
			return err
		}
	}
	for p.rest != "" {
		if !p.take("/") {
			return p.unexpected()
		}
		if err := p.factor(true); err != nil {
			return err
		}
	}
	return nil
}

func (p *parser) product() error {
	for {
		if err := p.factor(false); err != nil {
			return err
		}
		if !p.take(".") && !p.take("·") {
			return nil
		}
	}
}

func (p *parser) take(token string) bool {
	rest, ok := strings.CutPrefix(p.rest, token)
	p.rest = rest
	return ok
}

func (p *parser) unexpected() error {
	first, _ := utf8.DecodeRuneInString(p.rest)
	switch {
	case first == '.' || first == '·':
		return &SyntaxError{p.text, "a product after a division can be read in two ways; write each divisor after its own /, such as kg/h/m"}
	case first == '*' || first == '×':
		return &SyntaxError{p.text, "write a product with a point, such as m.s-1"}
	case first == '(' || first == ')':
		return &SyntaxError{p.text, "parentheses are not taken; write each divisor after its own /, such as kg/h/m"}
	case unicode.IsDigit(first) || first == '+' || first == '-' || first == '^':
		return &SyntaxError{p.text, "numbers stand only as powers of one digit after a symbol, such as m3 or s-1"}
	}
	return &SyntaxError{p.text, "unexpected " + quote(p.rest) + "; write a unit such as m/min or kg/m3"}
}

func (p *parser) factor(dividing bool) error {
	name := p.symbol()
	if name == "" {
		if p.rest == "" {
			return &SyntaxError{p.text, "a symbol is missing at the end"}
		}
		return p.unexpected()
	}
	u := p.symbols[name]
	if u == nil {
		return p.unknown(name)
	}
	power, err := p.exponent()
	if err != nil {
		return err
	}
	if dividing {
		if power < 0 {
			return &SyntaxError{p.text, "a negative power after / can be read in two ways; write the symbol before the /"}
		}
		power = -power
	}
	p.multiply(u, power)
	return nil
}

// symbol takes letters and underscores, or one bracketed UCUM code.
func (p *parser) symbol() string {
	end := strings.IndexFunc(p.rest, func(c rune) bool { return !isSymbolRune(c) })
	if closing, ok := map[byte]string{'[': "]", '{': "}"}[firstByte(p.rest)]; ok {
		end = strings.Index(p.rest, closing) + 1
	} else if end < 0 {
		end = len(p.rest)
	}
	name := p.rest[:end]
	p.rest = p.rest[end:]
	return name
}

func firstByte(s string) byte {
	if s == "" {
		return 0
	}
	return s[0]
}

// isSymbolRune includes marks that no symbol has, so that °C and 5" are reported
// as unknown symbols rather than as stray characters.
func isSymbolRune(c rune) bool {
	return unicode.IsLetter(c) || c == '_' || c == '°' || c == '\'' || c == '"' || c == '#' || c == '$'
}

var rawExponents = strings.NewReplacer("⁻", "-", "¹", "1", "²", "2", "³", "3", "⁴", "4", "⁵", "5", "⁶", "6", "⁷", "7", "⁸", "8", "⁹", "9")

func (p *parser) exponent() (int, error) {
	end := strings.IndexFunc(p.rest, func(c rune) bool { return !strings.ContainsRune("^+-0123456789⁻⁰¹²³⁴⁵⁶⁷⁸⁹", c) })
	if end < 0 {
		end = len(p.rest)
	}
	if end == 0 {
		return 1, nil
	}
	raw := p.rest[:end]
	digits := rawExponents.Replace(raw)
	if digits == raw {
		digits = strings.TrimPrefix(raw, "^")
	}
	sign := 1
	if rest, ok := strings.CutPrefix(digits, "-"); ok {
		sign, digits = -1, rest
	} else if digits == raw || raw[0] == '^' {
		digits = strings.TrimPrefix(digits, "+")
	}
	if len(digits) != 1 || digits < "1" || digits > "9" {
		return 0, &SyntaxError{p.text, quote(raw) + " is no power; write one digit 1 to 9, such as m3 or s-1"}
	}
	p.rest = p.rest[end:]
	return sign * int(digits[0]-'0'), nil
}

func (p *parser) multiply(u *Unit, power int) {
	d := u.dim
	for i, e := range [7]int8{d.Length, d.Mass, d.Time, d.Turn, d.Piece, d.Pulse, d.Temperature} {
		p.exponents[i] += power * int(e)
	}
	ratio := u.ratio
	if power < 0 {
		ratio, power = new(big.Rat).Inv(ratio), -power
	}
	for range power {
		p.ratio.Mul(p.ratio, ratio)
	}
}

func (p *parser) dimension() (Dimension, bool) {
	for _, e := range p.exponents {
		if e > maxExponent || e < -maxExponent {
			return Dimension{}, false
		}
	}
	e := p.exponents
	return Dimension{
		Length: int8(e[0]), Mass: int8(e[1]), Time: int8(e[2]), Turn: int8(e[3]),
		Piece: int8(e[4]), Pulse: int8(e[5]), Temperature: int8(e[6]),
	}, true
}
