package codec

import "strings"

// near returns the field name that a wrong key most likely means: one that
// differs in case and underscores alone, else the first of those at the least
// edit distance, at most 2. It returns the empty string where there is none.
func (t *table) near(key string) string {
	const longest, farthest = 64, 2
	if len(key) > longest {
		return ""
	}
	key = fold(key)
	best, least := "", farthest+1
	for _, f := range t.declared {
		name := fold(f.name)
		// A name that keeps none of its letters is another name.
		if d := distance(key, name); d < least && d < min(len(key), len(name)) {
			best, least = f.name, d
		}
	}
	return best
}

func fold(name string) string {
	return strings.ToLower(strings.ReplaceAll(name, "_", ""))
}

// distance returns how many bytes must be added, dropped or replaced to turn a
// into b (Levenshtein's distance).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replaced := diagonal
			if a[i] != b[j] {
				replaced++
			}
			diagonal = row[j+1]
			row[j+1] = min(replaced, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
