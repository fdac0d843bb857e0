package units

// symbolRow defines one symbol of the grammar: value times the unit of, which
// an earlier row defines. Values are exact; the non-metric ones are those of the
// definitions that UCUM essence v2.2 (2024-06-17) cites.
type symbolRow struct {
	symbol, name, value, of, ucum, rec20 string
}

// symbolRows is in the order in which examples and suggestions name units. Rec
// 20 codes come from the published list where testdata/units/ucum_factors.csv
// has the row; the others are from memory of the same list.
var symbolRows = []symbolRow{
	{"m", "metre", "1", "m", "m", "MTR"},
	{"mm", "millimetre", "1/1000", "m", "mm", "MMT"},
	{"ft", "foot", "0.3048", "m", "[ft_i]", "FOT"},
	{"in", "inch", "1/12", "ft", "[in_i]", "INH"},
	{"cm", "centimetre", "1/100", "m", "cm", "CMT"},
	{"dm", "decimetre", "1/10", "m", "dm", "DMT"},
	{"um", "micrometre", "1/1000000", "m", "um", "4H"},
	{"km", "kilometre", "1000", "m", "km", "KMT"},
	{"yd", "yard", "3", "ft", "[yd_i]", "YRD"},
	{"mi", "mile", "5280", "ft", "[mi_i]", "SMI"},
	{"mil", "thousandth of an inch", "1/1000", "in", "[mil_i]", "77"},
	{"ft_us", "US survey foot", "1200/3937", "m", "[ft_us]", "M51"},

	{"s", "second", "1", "s", "s", "SEC"},
	{"min", "minute", "60", "s", "min", "MIN"},
	{"h", "hour", "60", "min", "h", "HUR"},
	{"d", "day", "24", "h", "d", "DAY"},
	{"wk", "week", "7", "d", "wk", "WEE"},
	{"ms", "millisecond", "1/1000", "s", "ms", "C26"},

	{"kg", "kilogram", "1", "kg", "kg", "KGM"},
	{"g", "gram", "1/1000", "kg", "g", "GRM"},
	{"mg", "milligram", "1/1000", "g", "mg", "MGM"},
	{"t", "tonne", "1000", "kg", "t", "TNE"},
	{"lb", "pound", "0.45359237", "kg", "[lb_av]", "LBR"},
	{"oz", "ounce", "1/16", "lb", "[oz_av]", "ONZ"},
	{"grain", "grain", "1/7000", "lb", "[gr]", "GRN"},
	{"ston", "short ton", "2000", "lb", "[ston_av]", "STN"},
	{"lton", "long ton", "2240", "lb", "[lton_av]", "LTN"},

	{"L", "litre", "1", "dm3", "L", "LTR"},
	{"mL", "millilitre", "1/1000", "L", "mL", "MLT"},
	{"cL", "centilitre", "1/100", "L", "cL", "CLT"},
	{"dL", "decilitre", "1/10", "L", "dL", "DLT"},
	{"hL", "hectolitre", "100", "L", "hL", "HLT"},
	{"gal_us", "US gallon", "231", "in3", "[gal_us]", "GLL"},
	{"gal_imp", "imperial gallon", "4.54609", "L", "[gal_br]", "GLI"},
	{"qt_us", "US liquid quart", "1/4", "gal_us", "[qt_us]", "QTL"},
	{"pt_us", "US liquid pint", "1/8", "gal_us", "[pt_us]", "PTL"},
	{"fl_oz_us", "US fluid ounce", "1/128", "gal_us", "[foz_us]", "OZA"},
	{"qt_imp", "imperial quart", "1/4", "gal_imp", "[qt_br]", "QTI"},
	{"pt_imp", "imperial pint", "1/8", "gal_imp", "[pt_br]", "PTI"},
	{"fl_oz_imp", "imperial fluid ounce", "1/160", "gal_imp", "[foz_br]", "OZI"},
	{"bbl_us", "US petroleum barrel", "42", "gal_us", "[bbl_us]", "BLL"},
	{"bu_us", "US bushel", "2150.42", "in3", "[bu_us]", "BUA"},

	{"r", "turn", "1", "r", "{rev}", "M44"},
	{"deg", "degree of angle", "1/360", "r", "deg", "DD"},
	{"pc", "piece", "1", "pc", "{pc}", "H87"},
	{"pulse", "pulse", "1", "pulse", "{pulse}", ""},
	{"Hz", "hertz", "1", "1/s", "Hz", "HTZ"},
	{"kHz", "kilohertz", "1000", "Hz", "kHz", "KHZ"},
	{"MHz", "megahertz", "1000000", "Hz", "MHz", "MHZ"},
	{"K", "kelvin, as a difference", "1", "K", "K", "KEL"},
}

// spellings are further ways to write a symbol that cannot mean anything else.
var spellings = [][2]string{
	{"l", "L"}, {"ml", "mL"}, {"cl", "cL"}, {"dl", "dL"}, {"hl", "hL"},
	{"µm", "um"}, {"μm", "um"}, // U+00B5 and U+03BC
	{"{r}", "r"}, {"{turn}", "r"}, {"{pcs}", "pc"}, {"{piece}", "pc"},
}

// unitRow is a listed unit that the grammar composes. An empty ucum is composed
// from the UCUM codes of the parts; an empty name from their names.
type unitRow struct {
	symbol, rec20, name, ucum string
}

// unitRows lists the compounds that plants use; the first ones of a dimension
// serve as its examples. Rec 20 codes as for symbolRows.
var unitRows = []unitRow{
	{"1", "C62", "one", "1"},
	{"%", "P1", "percent", "%"},

	{"m2", "MTK", "square metre", "m2"},
	{"mm2", "MMK", "square millimetre", "mm2"},
	{"cm2", "CMK", "square centimetre", "cm2"},
	{"ft2", "FTK", "square foot", "[sft_i]"},
	{"in2", "INK", "square inch", "[sin_i]"},

	{"m3", "MTQ", "cubic metre", "m3"},
	{"cm3", "CMQ", "cubic centimetre", "cm3"},
	{"dm3", "DMQ", "cubic decimetre", "dm3"},
	{"mm3", "MMQ", "cubic millimetre", "mm3"},
	{"ft3", "FTQ", "cubic foot", "[cft_i]"},
	{"in3", "INQ", "cubic inch", "[cin_i]"},
	{"yd3", "YDQ", "cubic yard", "[cyd_i]"},

	{"m/min", "2X", "", ""},
	{"ft/min", "FR", "", ""},
	{"in/s", "IU", "", ""},
	{"mm/s", "C16", "", ""},
	{"m/s", "MTS", "", ""},
	{"m/h", "M60", "", ""},
	{"mm/min", "H81", "", ""},
	{"cm/s", "2M", "", ""},
	{"cm/min", "", "", ""},
	{"km/h", "KMH", "", ""},
	{"ft/s", "FS", "", ""},
	{"ft/h", "", "", ""},
	{"in/min", "M63", "", ""},
	{"yd/min", "M65", "", ""},
	{"mi/h", "HM", "", ""},
	{"m/s2", "MSK", "metre per second squared", "m/s2"},
	{"m/min/s", "", "", ""},
	{"ft/min/s", "", "", ""},

	{"r/min", "RPM", "", ""},
	{"r/s", "RPS", "", ""},
	{"deg/s", "E96", "", ""},
	{"r/min/s", "", "", ""},
	{"/min", "C94", "reciprocal minute", "/min"},
	{"/s", "C97", "reciprocal second", "/s"},
	{"/h", "", "reciprocal hour", "/h"},

	{"L/min", "L2", "", ""},
	{"gal_us/min", "G2", "", ""},
	{"gal_imp/min", "G3", "", ""},
	{"mL/min", "41", "", ""},
	{"L/h", "E32", "", ""},
	{"m3/h", "MQH", "", ""},
	{"L/s", "G51", "", ""},
	{"mL/h", "G55", "", ""},
	{"mL/s", "40", "", ""},
	{"m3/min", "G53", "", ""},
	{"m3/s", "MQS", "", ""},
	{"gal_us/h", "G50", "", ""},
	{"gal_imp/h", "", "", ""},
	{"ft3/min", "2L", "", ""},
	{"ft3/h", "2K", "", ""},
	{"fl_oz_us/min", "K11", "", ""},

	{"kg/h", "E93", "", ""},
	{"lb/h", "4U", "", ""},
	{"kg/min", "F31", "", ""},
	{"g/min", "F28", "", ""},
	{"t/h", "E18", "", ""},
	{"kg/s", "KGS", "", ""},
	{"g/s", "F26", "", ""},
	{"g/h", "F27", "", ""},
	{"lb/min", "K78", "", ""},
	{"oz/min", "L35", "", ""},
	{"ston/h", "", "", ""},
	{"lton/h", "", "", ""},

	{"pc/min", "", "", ""},
	{"pc/h", "", "", ""},
	{"pc/s", "", "", ""},
	{"pulse/s", "", "", ""},
	{"pulse/min", "", "", ""},

	{"mm/r", "", "", ""},
	{"m/r", "", "", ""},
	{"in/r", "", "", ""},
	{"ft/r", "", "", ""},
	{"mL/r", "", "", ""},
	{"L/r", "", "", ""},
	{"cm3/r", "", "", ""},
	{"in3/r", "", "", ""},
	{"gal_us/r", "", "", ""},
	{"g/r", "", "", ""},
	{"kg/r", "", "", ""},
	{"lb/r", "", "", ""},
	{"oz/r", "", "", ""},
	{"pc/r", "", "", ""},
	{"pulse/r", "", "", ""},

	{"kg/L", "B35", "", ""},
	{"kg/m3", "KMQ", "", ""},
	{"g/cm3", "23", "", ""},
	{"g/mL", "GJ", "", ""},
	{"lb/ft3", "87", "", ""},
	{"lb/gal_us", "GE", "", ""},
	{"t/m3", "D41", "", ""},
	{"g/L", "GL", "", ""},
	{"lb/gal_imp", "", "", ""},

	{"pulse/L", "", "", ""},
	{"pulse/mL", "", "", ""},
	{"pulse/m3", "", "", ""},
	{"pulse/gal_us", "", "", ""},
	{"pulse/gal_imp", "", "", ""},
	{"pulse/kg", "", "", ""},
	{"pulse/m", "", "", ""},
	{"pulse/mm", "", "", ""},
	{"pulse/ft", "", "", ""},

	{"g/m2", "GM", "", ""},
	{"kg/m2", "28", "", ""},
	{"kg/m", "KL", "", ""},
	{"g/m", "GF", "", ""},
	{"lb/ft", "P2", "", ""},
	{"mm/pc", "", "", ""},
	{"m/pc", "", "", ""},
	{"in/pc", "", "", ""},
	{"ft/pc", "", "", ""},
	{"pc/m", "", "", ""},
	{"pc/ft", "", "", ""},
	{"g/pc", "", "", ""},
	{"kg/pc", "", "", ""},
	{"lb/pc", "", "", ""},
	{"mL/pc", "", "", ""},
	{"L/pc", "", "", ""},
	{"s/pc", "", "", ""},
	{"min/pc", "", "", ""},
	{"s/m", "", "", ""},
	{"min/m", "", "", ""},
	{"s/ft", "", "", ""},
	{"min/ft", "", "", ""},
	{"s/r", "", "", ""},
	{"min/r", "", "", ""},
}

// Info describes one unit of the list. The list is not the limit of the grammar.
type Info struct {
	// Symbol is how to write the unit.
	Symbol string
	// Name is the English name in the singular.
	Name string
	// Quantity names what it measures: "speed"; where the quantity has no word
	// of its own, it equals Dimension.
	Quantity string
	// Dimension is the dimension in words: "length per time".
	Dimension string
	// Factor is the exact factor to SI base units, turns, pieces and pulses, as
	// "numerator/denominator" in lowest terms: "127/25000".
	Factor string
	// UCUM is the code of the Unified Code for Units of Measure.
	UCUM string
	// Rec20 is the common code of UNECE Recommendation 20, or empty.
	Rec20 string
}

// Table returns the listed units, symbols first, in a fixed order. The caller
// owns the slice.
func Table() []Info {
	out := make([]Info, len(registered.rows))
	for i, row := range registered.rows {
		quantity := quantityOf[row.dim]
		if quantity == "" {
			quantity = row.dim.String()
		}
		out[i] = Info{
			Symbol: row.symbol, Name: row.name, Quantity: quantity, Dimension: row.dim.String(),
			Factor: row.ratio.String(), UCUM: row.ucum, Rec20: row.rec20,
		}
	}
	return out
}
