package changeover

// index finds items by their id. Short lists are searched in place, which needs
// no memory and is faster than a map there.
type index struct {
	n  int
	id func(i int) string
	at map[string]int
}

const searchInPlace = 16

func newIndex(n int, id func(i int) string) index {
	x := index{n: n, id: id}
	if n <= searchInPlace {
		return x
	}
	x.at = make(map[string]int, n)
	for i := range n {
		if _, seen := x.at[id(i)]; !seen {
			x.at[id(i)] = i
		}
	}
	return x
}

// find returns the first item with the id, or -1.
func (x *index) find(id string) int {
	if x.at != nil {
		if i, ok := x.at[id]; ok {
			return i
		}
		return -1
	}
	for i := range x.n {
		if x.id(i) == id {
			return i
		}
	}
	return -1
}
