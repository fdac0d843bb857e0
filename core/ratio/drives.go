package ratio

import (
	"math"

	"linepace.example/core/fault"
	"linepace.example/core/scaling"
)

// findDrive returns the first drive with the id, or -1.
func findDrive(drives []scaling.Drive, id string) int {
	for i := range drives {
		if drives[i].ID == id {
			return i
		}
	}
	return -1
}

// validateDrives adds everything that is wrong with the drives of a request, whose
// list has path p.
func validateDrives(drives []scaling.Drive, p *fault.Path, faults *fault.List) {
	for i := range drives {
		at := p.Index(i)
		scaling.Validate(&drives[i], &at, faults)
		if first := findDrive(drives, drives[i].ID); first != i && drives[i].ID != "" {
			id := at.Field("id")
			faults.Add(&id, fault.Duplicate, "%q is also the id of %s[%d]; give each its own", drives[i].ID, p, first)
		}
	}
}

// smallest is the least magnitude beside zero of a plain number that is taken, so
// that no product leaves the domain of exact.Num.
const smallest = 1e-12

// within demands a number from low to high. of says what it counts.
func within(x float64, p *fault.Path, low, high float64, of string, faults *fault.List) bool {
	switch {
	case x != 0 && math.Abs(x) < smallest:
		faults.Add(p, fault.OutOfRange, "is %v, too small to mean anything; the least magnitude beside 0 is %v", x, smallest)
	case x >= low && x <= high:
		return true
	default:
		faults.Add(p, fault.OutOfRange, "is %v; it must be %v to %v %s", x, low, high, of)
	}
	return false
}
