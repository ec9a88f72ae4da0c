package rules

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong, or doubtful, with a file, and where.
type Problem struct {
	File         string
	Line, Column int // from 1
	Text         string
	Right        string // what would be right, where the text does not say it
	Warning      bool   // doubtful: the file can be used as it is
}

// Error writes the problem as file:line:column: text.
func (p Problem) Error() string {
	s := fmt.Sprintf("%s:%d:%d: ", p.File, p.Line, p.Column)
	if p.Warning {
		s += "warning: "
	}
	s += p.Text
	if p.Right != "" {
		s += "; right would be: " + p.Right
	}
	return s
}

// Problems are all that is wrong with a file, in its order.
type Problems []Problem

// Error writes one problem a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// err returns the problems sorted by place, or nil.
func (ps Problems) err() error {
	if len(ps) == 0 {
		return nil
	}
	ps.Sort()
	return ps
}

// Sort sorts the problems by place.
func (ps Problems) Sort() {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		return cmp.Or(strings.Compare(a.File, b.File), a.Line-b.Line, a.Column-b.Column)
	})
}

// nearest returns the known word that is likest to the given one, or "".
func nearest(word string, known []string) string {
	best, at := "", len(word)/2+1
	for _, k := range known {
		if d := distance(word, k); d < at {
			best, at = k, d
		}
	}
	return best
}

// distance is the count of single-letter edits from a to b.
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			d := diagonal
			if a[i] != b[j] {
				d++
			}
			diagonal = row[j+1]
			row[j+1] = min(d, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// oneOf writes what would be right, to follow what is wrong: the likeliest word
// where there is one, else all; nothing if there are none or not all are known.
func oneOf(word string, known []string) string {
	n := nearest(word, known)
	switch {
	case n != "":
		return fmt.Sprintf("; did you mean %q?", n)
	case len(known) == 0 || slices.Contains(known, ""):
		return ""
	case len(known) > 12:
		return fmt.Sprintf("; there are %d to choose from, %q first", len(known), known[0])
	}
	return "; choose from: " + strings.Join(known, ", ")
}
