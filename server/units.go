package server

import (
	"context"

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
			BaseUnit: units.MustParse(u.Symbol).Dimension().BaseUnit(), UcumCode: u.UCUM, UneceCode: u.Rec20,
		}
	}
	return out, nil
}
