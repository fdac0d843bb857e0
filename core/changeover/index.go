package changeover

import (
	"slices"

	"linepace.example/core/scaling"
)

// index finds items by their id. Short lists are searched in place, which needs
// no memory and is faster than a map there.
type index[T any] struct {
	items   []T
	id      func(*T) string
	at      map[string]int // nil for a short list
	repeats bool           // two items have one id
}

const searchInPlace = 16

func newIndex[T any](items []T, id func(*T) string) index[T] {
	x := index[T]{items: items, id: id}
	if len(items) <= searchInPlace {
		var ids [searchInPlace]string
		for i := range items {
			ids[i] = id(&items[i])
			x.repeats = x.repeats || slices.Contains(ids[:i], ids[i])
		}
		return x
	}
	x.at = make(map[string]int, len(items))
	for i := len(items) - 1; i >= 0; i-- { // so that the first of one id stays
		x.at[id(&items[i])] = i
	}
	x.repeats = len(x.at) < len(items)
	return x
}

// find returns the first item with the id, or -1.
func (x *index[T]) find(id string) int {
	if x.at != nil {
		if i, ok := x.at[id]; ok {
			return i
		}
		return -1
	}
	for i := range x.items {
		if x.id(&x.items[i]) == id {
			return i
		}
	}
	return -1
}

// findNear is find where the item is probably the one at guess: a product mostly
// names drives in the line's order.
func (x *index[T]) findNear(guess int, id string) int {
	if !x.repeats && guess >= 0 && guess < len(x.items) && x.id(&x.items[guess]) == id {
		return guess
	}
	return x.find(id)
}

// lineIndex finds the parts of a line.
type lineIndex struct {
	drives   index[scaling.Drive]
	sections index[scaling.Section]
	moves    []int32 // by drive: the only section that it moves, or noSection, or severalSections
}

const (
	noSection = -1 - iota
	severalSections
)

func newLineIndex(line *Line) lineIndex {
	x := lineIndex{
		drives:   newIndex(line.Drives, func(d *scaling.Drive) string { return d.ID }),
		sections: newIndex(line.Sections, func(s *scaling.Section) string { return s.ID }),
		moves:    make([]int32, len(line.Drives)),
	}
	for i := range x.moves {
		x.moves[i] = noSection
	}
	for k := range line.Sections {
		drive := x.drives.find(line.Sections[k].DriveID)
		switch {
		case drive < 0:
		case x.moves[drive] == noSection:
			x.moves[drive] = int32(k)
		default:
			x.moves[drive] = severalSections
		}
	}
	return x
}
