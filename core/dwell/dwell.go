// Package dwell relates the speed of belts to the time that pieces spend on them:
// at one speed, over several sections in series, and while the speed changes.
//
// Base units are those of [units.Quantity.Base]: metres and minutes.
package dwell

import (
	"linepace.example/core/exact"
	"linepace.example/core/units"
)

// Meaning says what a time in a section is counted for.
type Meaning uint8

// Meanings. Position is that of the leading edge, so with a piece of length p in
// a section of length L
//
//	Point       counts from 0 to L: one point of the piece, from entrance to exit
//	WholePiece  counts from p to L: while the piece is wholly inside
//	AnyPart     counts from 0 to L + p: while any part of the piece is inside
const (
	NoMeaning Meaning = iota
	Point
	WholePiece
	AnyPart
	leadingEdge // of a piece, from entrance to exit; not to be asked for
)

// Piece is the piece that a time is counted for. A nil Unit of Length means that
// no length is given, which only Point allows.
type Piece struct {
	Length  units.Quantity
	Meaning Meaning
}

// begins returns the position of the leading edge at which counting begins.
func (p *Piece) begins(c *exact.Calc) exact.Num {
	if p.Meaning == WholePiece {
		return p.Length.Base(c)
	}
	return c.Int(0)
}

// way returns the distance that a piece travels while its time in a section of
// that length is counted: L, L - p or L + p.
func (p *Piece) way(c *exact.Calc, length exact.Num) exact.Num {
	switch p.Meaning {
	case WholePiece:
		return length.Sub(p.Length.Base(c))
	case AnyPart:
		return length.Add(p.Length.Base(c))
	}
	return length
}

// size returns the length of the piece, zero where none is given.
func (p *Piece) size(c *exact.Calc) exact.Num {
	if p.Length.Unit == nil {
		return c.Int(0)
	}
	return p.Length.Base(c)
}
