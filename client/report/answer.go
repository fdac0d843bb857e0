package report

import (
	"io"
	"strings"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// answer is the text of a single calculation: a heading, rows, then what the user
// must know, how each number was found, and the cautions.
type answer struct{ page }

// rows writes rows below a heading, as [Block] does.
func (a *answer) rows(heading string, rows ...Row) {
	Block(a, heading, rows...) // a page takes everything
}

// checks lists what the user must know.
func (a *answer) checks(checks []*linepacev1.Check) {
	if len(checks) > 0 {
		a.rows("WHAT TO KNOW", CheckRows(checks)...)
	}
}

// driveChecks lists what the user must know about several drives, each by its name.
func (a *answer) driveChecks(checks []*linepacev1.Check) {
	rows := CheckRows(checks)
	for i, check := range checks {
		if check.GetDriveId() != "" {
			rows[i].Text = check.GetDriveId() + ": " + rows[i].Text
		}
	}
	if len(rows) > 0 {
		a.rows("WHAT TO KNOW", rows...)
	}
}

// CheckRows tells checks in rows of a block.
func CheckRows(checks []*linepacev1.Check) []Row {
	var rows []Row
	for _, check := range checks {
		rows = append(rows, Row{Label: strings.ToLower(check.GetSeverity().String()), Text: check.GetMessage()})
	}
	return rows
}

// working writes how each number was found.
func (a *answer) working(steps []*linepacev1.Step) {
	if len(steps) == 0 {
		return
	}
	a.line("HOW EACH NUMBER WAS FOUND")
	for _, step := range steps {
		a.step(step)
	}
	a.blank()
}

// end writes the cautions, and then all of it to w.
func (a *answer) end(w io.Writer) error {
	a.cautions()
	_, err := io.WriteString(w, a.String())
	return err
}
