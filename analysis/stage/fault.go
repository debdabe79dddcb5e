package stage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// FileError is everything that is wrong with one TOML file.
type FileError struct {
	File   string // with its folder's name
	Faults []Fault
}

// Fault is one thing wrong: line from 1, 0 where it has none.
type Fault struct {
	Line int
	Key  string // with its section; empty where the line is no key
	Text string // what is wrong, what to do
}

// Error gives one line a fault.
func (e *FileError) Error() string {
	lines := make([]string, len(e.Faults))
	for i, f := range e.Faults {
		at := e.File
		if f.Line > 0 {
			at = fmt.Sprintf("%s, line %d", e.File, f.Line)
		}
		lines[i] = at + ": " + f.Text
	}
	return strings.Join(lines, "\n")
}

// fileError is nil where nothing is wrong.
func fileError(file string, faults []Fault) error {
	if len(faults) == 0 {
		return nil
	}
	slices.SortStableFunc(faults, func(a, b Fault) int { return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Key, b.Key)) })
	return &FileError{file, faults}
}

// unknown is a key that no section knows.
func unknown(line int, section, name string) Fault {
	where := ""
	if section != "" {
		where = " in [" + section + "]"
	}
	return Fault{line, joined(section, name), fmt.Sprintf("unknown key %q%s%s", name, where, suggestion(section, name))}
}

// suggestion names the nearest known key, of another section if it stands
// there, or lists what is known.
func suggestion(section, name string) string {
	known := namesIn(section)
	if best := nearest(name, known); best != "" {
		return fmt.Sprintf("; did you mean %q?", best)
	}
	for _, k := range keys() {
		if in, short, deep := strings.Cut(k.path, "."); deep && short == strings.ToLower(name) {
			return fmt.Sprintf("; it belongs in [%s]", in)
		} else if !deep && in == strings.ToLower(name) {
			return "; it belongs above the first [section]"
		}
	}
	slices.Sort(known)
	return "; known here: " + strings.Join(known, ", ")
}

// nearest is the known word within about a third of name's letters; empty
// where there is none.
func nearest(name string, known []string) string {
	best, least := "", len(name)/3+2
	for _, k := range known {
		if d := editDistance(strings.ToLower(name), strings.ToLower(k)); d < least {
			best, least = k, d
		}
	}
	return best
}

// editDistance counts the letters to put in, take out, change or swap with
// their neighbour (optimal string alignment).
func editDistance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}

func joined(section, name string) string {
	if section == "" {
		return name
	}
	return section + "." + name
}
