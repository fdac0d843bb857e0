package units

import (
	"maps"
	"math/big"
	"strings"
)

// listed is a row of the table, composed.
type listed struct {
	*Unit
	name, ucum, rec20 string
}

// registry holds every unit that is known without parsing. It is built once and
// only read afterwards, so that it needs no lock and cannot be made to grow.
type registry struct {
	symbols map[string]*Unit // symbols of the grammar, all spellings
	units   map[string]*Unit // whole units, all spellings
	rows    []listed
}

var registered = newRegistry()

func newRegistry() *registry {
	r := &registry{symbols: map[string]*Unit{}, units: map[string]*Unit{}}
	r.addBases()
	names, codes := map[string]string{}, map[string]string{}
	for _, row := range symbolRows {
		names[row.symbol], codes[row.symbol] = row.name, row.ucum
		r.rows = append(r.rows, listed{r.addSymbol(row), row.name, row.ucum, row.rec20})
	}
	for _, s := range spellings {
		r.symbols[s[0]] = r.symbols[s[1]].respelled(s[0])
	}
	maps.Copy(r.units, r.symbols)
	r.units["1"] = newUnit("1", Plain, big.NewRat(1, 1))
	r.units["%"] = newUnit("%", Plain, big.NewRat(1, 100))
	for _, row := range unitRows {
		if row.name == "" {
			row.name, row.ucum = compose(row.symbol, names, " per "), compose(row.symbol, codes, "/")
		}
		names[row.symbol], codes[row.symbol] = row.name, row.ucum
		u := r.intern(row.symbol)
		if isOneBracket(row.ucum) { // [cft_i] is a symbol to UCUM
			r.symbols[row.ucum] = u.respelled(row.ucum)
		}
		r.units[row.ucum] = u.respelled(row.ucum)
		r.rows = append(r.rows, listed{u, row.name, row.ucum, row.rec20})
	}
	r.addCompounds()
	return r
}

func (u *Unit) respelled(symbol string) *Unit {
	if symbol == u.symbol {
		return u
	}
	other := *u
	other.symbol = symbol
	return &other
}

func (r *registry) addBases() {
	for _, b := range []struct {
		symbol string
		dim    Dimension
	}{
		{"m", LengthDim}, {"kg", MassDim}, {"s", TimeDim}, {"r", TurnDim},
		{"pc", PieceDim}, {"pulse", PulseDim}, {"K", TemperatureDim},
	} {
		r.symbols[b.symbol] = newUnit(b.symbol, b.dim, big.NewRat(1, 1))
	}
}

func (r *registry) addSymbol(row symbolRow) *Unit {
	of := r.mustParse(row.of)
	value, ok := new(big.Rat).SetString(row.value)
	if !ok {
		panic("core/units: internal error: value of " + row.symbol)
	}
	u := newUnit(row.symbol, of.dim, value.Mul(value, of.ratio))
	r.symbols[row.symbol] = u
	r.symbols[row.ucum] = u.respelled(row.ucum)
	return u
}

func (r *registry) mustParse(symbol string) *Unit {
	u, err := r.parse(symbol)
	if err != nil {
		panic("core/units: internal error: " + err.Error())
	}
	return u
}

// compose replaces the parts of a quotient by what the map has for them.
func compose(symbol string, words map[string]string, per string) string {
	parts := strings.Split(symbol, "/")
	for i, part := range parts {
		parts[i] = words[part]
	}
	return strings.Join(parts, per)
}

func isOneBracket(code string) bool {
	return strings.HasPrefix(code, "[") && strings.Index(code, "]") == len(code)-1
}

var superscripts = strings.NewReplacer("2", "²", "3", "³")

// intern makes a unit, and its spelling with superscripts, known as a whole.
func (r *registry) intern(symbol string) *Unit {
	u := r.units[symbol]
	if u == nil {
		u = r.mustParse(symbol)
		r.units[symbol] = u
	}
	if raised := superscripts.Replace(symbol); raised != symbol {
		r.units[raised] = u.respelled(raised)
	}
	return u
}

// addCompounds interns the quotients that delivery, flow, density and sensors
// are written in, also where they are too many to list.
func (r *registry) addCompounds() {
	for _, row := range r.rows {
		switch row.dim {
		case LengthDim, VolumeDim, MassDim, PieceDim, TurnDim, PulseDim:
		default:
			continue
		}
		for _, per := range []string{"s", "min", "h", "d", "r", "pc"} {
			r.intern(row.symbol + "/" + per)
		}
		for _, other := range r.rows {
			if other.dim == VolumeDim && (row.dim == MassDim || row.dim == PulseDim) {
				r.intern(row.symbol + "/" + other.symbol)
			}
		}
	}
	for _, frequency := range []string{"1/s", "1/min", "1/h", "/d", "1/d"} {
		r.intern(frequency)
	}
}
