package server

import (
	"context"
	"strconv"
	"strings"

	"linepace.example/core/units"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// unitService lists the units that quantities may have.
type unitService struct {
	linepacev1.UnimplementedUnitServiceServer
}

func (unitService) List(context.Context, *linepacev1.ListRequest) (*linepacev1.ListResponse, error) {
	table := units.Table()
	out := &linepacev1.ListResponse{Units: make([]*linepacev1.Unit, len(table))}
	for i, u := range table {
		out.Units[i] = &linepacev1.Unit{
			Symbol: u.Symbol, Name: u.Name, Quantity: u.Quantity, Factor: u.Factor,
			BaseUnit: baseUnit(units.MustParse(u.Symbol).Dimension()), UcumCode: u.UCUM, UneceCode: u.Rec20,
		}
	}
	return out, nil
}

// baseUnit writes the unit to which the factor leads, such as m3/s, as the
// grammar of package units reads it.
func baseUnit(d units.Dimension) string {
	var above []string
	below := ""
	for _, b := range []struct {
		symbol   string
		exponent int8
	}{{"pulse", d.Pulse}, {"pc", d.Piece}, {"kg", d.Mass}, {"m", d.Length}, {"r", d.Turn}, {"K", d.Temperature}, {"s", d.Time}} {
		if b.exponent > 0 {
			above = append(above, power(b.symbol, b.exponent))
		}
		if b.exponent < 0 {
			below += "/" + power(b.symbol, -b.exponent)
		}
	}
	if len(above) == 0 {
		above = []string{"1"}
	}
	return strings.Join(above, ".") + below
}

func power(symbol string, exponent int8) string {
	if exponent == 1 {
		return symbol
	}
	return symbol + strconv.Itoa(int(exponent))
}
