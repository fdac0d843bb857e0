package units

import (
	"slices"
	"strconv"
	"strings"
)

// SyntaxError reports text outside the grammar.
type SyntaxError struct {
	Text   string // what was read, shortened where it is too long
	Reason string // what is wrong and what would be right
}

func (e *SyntaxError) Error() string { return "unit " + quote(e.Text) + ": " + e.Reason }

// AmbiguousError reports a symbol that means different units in different plants.
type AmbiguousError struct {
	Text    string   // the whole unit
	Symbol  string   // the symbol in it
	Reason  string   // what the symbol may mean
	Instead []string // the unambiguous symbols, at least one
}

func (e *AmbiguousError) Error() string {
	return about(e.Text, e.Symbol) + " can be read in more than one way (" + e.Reason + "); write " + anyOf(e.Instead)
}

// UnknownError reports a symbol that is not in the table.
type UnknownError struct {
	Text        string   // the whole unit
	Symbol      string   // the symbol in it
	Reason      string   // why a known symbol is not taken, or empty
	Suggestions []string // what may have been meant; may be empty
}

func (e *UnknownError) Error() string {
	message := about(e.Text, e.Symbol) + " is not a known unit symbol"
	if e.Reason != "" {
		message = about(e.Text, e.Symbol) + " is not taken: " + e.Reason
	}
	if len(e.Suggestions) > 0 {
		return message + "; did you mean " + anyOf(e.Suggestions) + "?"
	}
	return message + "; symbols are case sensitive, and the unit list has them all"
}

func about(text, symbol string) string {
	if text == symbol {
		return "unit " + quote(text)
	}
	return "unit " + quote(text) + ": " + quote(symbol)
}

func anyOf(symbols []string) string {
	if len(symbols) == 1 {
		return symbols[0]
	}
	last := len(symbols) - 1
	return strings.Join(symbols[:last], ", ") + " or " + symbols[last]
}

func quote(s string) string { return strconv.Quote(s) }

// refused is a symbol or a whole unit that is deliberately not taken.
type refused struct {
	symbols []string // in lower case
	reason  string   // for an ambiguous one: what it may mean
	instead []string
}

// ambiguous symbols mean different things in different plants.
var ambiguous = []refused{
	{[]string{"ton", "tons", "tn"}, "1000 kg, 2000 lb or 2240 lb", []string{"t", "ston", "lton"}},
	{[]string{"tph"}, "tonnes, short tons or long tons per hour", []string{"t/h", "ston/h", "lton/h"}},
	{[]string{"cwt"}, "100 lb or 112 lb", []string{"lb", "kg"}},
	{[]string{"gal", "gals", "gallon", "gallons"}, "US or imperial", []string{"gal_us", "gal_imp"}},
	{[]string{"gpm"}, "US gallons, imperial gallons or grams per minute", []string{"gal_us/min", "gal_imp/min", "g/min"}},
	{[]string{"gph"}, "US gallons, imperial gallons or grams per hour", []string{"gal_us/h", "gal_imp/h", "g/h"}},
	{[]string{"qt", "qts", "quart", "quarts"}, "US or imperial", []string{"qt_us", "qt_imp"}},
	{[]string{"pt", "pts", "pint", "pints"}, "US or imperial", []string{"pt_us", "pt_imp"}},
	{[]string{"fl_oz", "floz", "foz"}, "US or imperial", []string{"fl_oz_us", "fl_oz_imp"}},
	{[]string{"bbl", "barrel", "barrels"}, "barrels differ between trades and countries", []string{"bbl_us", "gal_us", "L"}},
	{[]string{"bu", "bushel", "bushels"}, "US or imperial", []string{"bu_us", "L"}},
	{[]string{"gr"}, "grain or gram", []string{"grain", "g"}},
	{[]string{"cfm", "acfm", "scfm"}, "cubic feet per minute as they flow or at standard conditions", []string{"ft3/min"}},
	{[]string{"cfh", "scfh"}, "cubic feet per hour as they flow or at standard conditions", []string{"ft3/h"}},
	{[]string{"ccm"}, "cubic centimetres or cubic centimetres per minute", []string{"cm3", "cm3/min"}},
	{[]string{"ppm"}, "parts per million or pieces per minute", []string{"pc/min", "%"}},
	{[]string{"pph"}, "pounds or pieces per hour", []string{"lb/h", "pc/h"}},
	{[]string{"pps"}, "pulses or pieces per second", []string{"pulse/s", "pc/s"}},
	{[]string{"ppr"}, "pulses or pieces per turn", []string{"pulse/r", "pc/r"}},
	{[]string{"ppl"}, "pulses or pounds per length or litre", []string{"pulse/L", "pulse/m"}},
	{[]string{"mps"}, "metres or miles per second", []string{"m/s", "mi/h"}},
	{[]string{"cps"}, "cycles, counts or pieces per second", []string{"Hz", "pulse/s", "pc/s"}},
	{[]string{"cpm"}, "cycles, counts or pieces per minute", []string{"/min", "pulse/min", "pc/min"}},
	{[]string{"bpm", "upm", "spm"}, "it depends on what is counted", []string{"pc/min", "r/min"}},
	{[]string{"mt"}, "metric ton or another", []string{"t"}},
}

// otherwise are spellings with one meaning that the table writes differently.
var otherwise = []refused{
	{[]string{"rpm", "revs/min", "rev/min"}, "", []string{"r/min"}},
	{[]string{"rps", "rev/s"}, "", []string{"r/s"}},
	{[]string{"rev", "revs", "revolution", "revolutions", "turn", "turns", "rot"}, "", []string{"r"}},
	{[]string{"lpm", "slpm"}, "", []string{"L/min"}},
	{[]string{"lph"}, "", []string{"L/h"}},
	{[]string{"fpm"}, "", []string{"ft/min"}},
	{[]string{"fps"}, "", []string{"ft/s"}},
	{[]string{"ipm"}, "", []string{"in/min"}},
	{[]string{"ips"}, "", []string{"in/s"}},
	{[]string{"ypm"}, "", []string{"yd/min"}},
	{[]string{"mpm"}, "", []string{"m/min"}},
	{[]string{"mph"}, "", []string{"mi/h"}},
	{[]string{"kph", "kmh"}, "", []string{"km/h"}},
	{[]string{"kgh"}, "", []string{"kg/h"}},
	{[]string{"sec", "secs", "second", "seconds"}, "", []string{"s"}},
	{[]string{"mins", "minute", "minutes"}, "", []string{"min"}},
	{[]string{"hr", "hrs", "hour", "hours"}, "", []string{"h"}},
	{[]string{"day", "days"}, "", []string{"d"}},
	{[]string{"week", "weeks"}, "", []string{"wk"}},
	{[]string{"msec"}, "", []string{"ms"}},
	{[]string{"meter", "meters", "metre", "metres", "mtr"}, "", []string{"m"}},
	{[]string{"micron", "microns", "mic"}, "", []string{"um"}},
	{[]string{"inch", "inches", "\""}, "", []string{"in"}},
	{[]string{"foot", "feet", "'"}, "", []string{"ft"}},
	{[]string{"yard", "yards", "yds"}, "", []string{"yd"}},
	{[]string{"mile", "miles"}, "", []string{"mi"}},
	{[]string{"thou", "mils"}, "", []string{"mil"}},
	{[]string{"kgs", "kilo", "kilos", "kilogram", "kilograms"}, "", []string{"kg"}},
	{[]string{"gram", "grams", "gm", "gms"}, "", []string{"g"}},
	{[]string{"tonne", "tonnes"}, "", []string{"t"}},
	{[]string{"lbs", "lbm", "pound", "pounds", "#"}, "", []string{"lb"}},
	{[]string{"ounce", "ounces", "ozs"}, "", []string{"oz"}},
	{[]string{"grains"}, "", []string{"grain"}},
	{[]string{"liter", "liters", "litre", "litres", "ltr"}, "", []string{"L"}},
	{[]string{"cc"}, "", []string{"cm3", "mL"}},
	{[]string{"cu_in", "cuin"}, "", []string{"in3"}},
	{[]string{"cu_ft", "cuft"}, "", []string{"ft3"}},
	{[]string{"cbm"}, "", []string{"m3"}},
	{[]string{"pcs", "piece", "pieces", "ea", "each", "item", "items"}, "", []string{"pc"}},
	{[]string{"pulses", "imp", "impulse", "impulses", "count", "counts"}, "", []string{"pulse"}},
	{[]string{"hertz"}, "", []string{"Hz"}},
	{[]string{"percent", "pct"}, "", []string{"%"}},
	{[]string{"degree", "degrees", "°"}, "", []string{"deg"}},
	{[]string{"rad", "radian", "radians"}, "its factor to the turn is irrational", []string{"r", "deg"}},
	{[]string{"cel", "degc", "°c", "celsius", "[degf]", "degf", "°f", "fahrenheit", "c", "f", "[degr]", "degr"},
		"temperatures are taken as differences only", []string{"K"}},
}

// refusal returns the error for a symbol that is refused on purpose, or nil.
func refusal(text, symbol string) error {
	lower := strings.ToLower(symbol)
	for _, row := range ambiguous {
		if slices.Contains(row.symbols, lower) {
			return &AmbiguousError{text, symbol, row.reason, slices.Clone(row.instead)}
		}
	}
	for _, row := range otherwise {
		if slices.Contains(row.symbols, lower) {
			return &UnknownError{text, symbol, row.reason, slices.Clone(row.instead)}
		}
	}
	return nil
}

func (p *parser) unknown(symbol string) error {
	if err := refusal(p.text, symbol); err != nil {
		return err
	}
	return &UnknownError{Text: p.text, Symbol: symbol, Suggestions: near(symbol)}
}

// maxSuggestions is what a message can carry and still help.
const maxSuggestions = 3

// near returns the table symbols that differ from symbol by letter case alone,
// or else by few edits, the nearest first and in table order among equals.
func near(symbol string) []string {
	var byDistance [3][]string
	limit := min(2, len(symbol)/2) // a single letter is near to every other one
	for _, row := range symbolRows {
		if strings.EqualFold(symbol, row.symbol) {
			byDistance[0] = append(byDistance[0], row.symbol)
		} else if d := editDistance(symbol, row.symbol); d <= limit {
			byDistance[d] = append(byDistance[d], row.symbol)
		}
	}
	found := byDistance[0]
	if len(found) == 0 {
		found = append(byDistance[1], byDistance[2]...)
	}
	return found[:min(len(found), maxSuggestions)]
}

// editDistance counts insertions, deletions and replacements of bytes between a
// and b (Wagner and Fischer 1974).
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replace := diagonal
			if a[i] != b[j] {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
