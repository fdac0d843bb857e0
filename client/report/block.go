package report

import "io"

// Row is a text with its label, of at most 11 characters, or with a mark of at
// most 3 that starts at the margin.
type Row struct{ Label, Mark, Text string }

// Block writes a heading and rows below it, wrapped and made harmless as on a
// sheet, and a blank line. A row without text is left out, and so is an empty heading.
func Block(w io.Writer, heading string, rows ...Row) error {
	var p page
	if heading != "" {
		p.line(Clean(heading))
	}
	for _, r := range rows {
		switch {
		case r.Text == "":
		case r.Mark != "":
			p.hanging(r.Mark, r.Text)
		default:
			p.labelled(r.Label, r.Text)
		}
	}
	p.blank()
	_, err := io.WriteString(w, p.String())
	return err
}
