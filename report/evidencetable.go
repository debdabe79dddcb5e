package report

import (
	"fmt"
	"slices"
	"strings"

	"saddlewise/analysis/result"
)

// measure is one column of an evidence table.
type measure struct {
	name   string
	unit   string
	digits int
	signed bool
	floor  float64 // below 0: values there stand for anything below it
}

// evidence is one test's table: a row a string, a column a measure, each cell
// "median (low to high)", and below it what limits the numbers.
type evidence struct {
	first    string // heading of the first column
	measures []measure
	extra    string // heading of a last column of words; may be empty
	rows     []evidenceRow
}

type evidenceRow struct {
	name   string
	values []result.Quantity
	extra  string
}

// String is the table as Markdown, empty without rows.
func (e *evidence) String() string {
	if len(e.rows) == 0 {
		return ""
	}
	used := e.usedColumns()
	t := table{head: []string{e.first}, right: []bool{false}}
	for _, k := range used {
		t.head = append(t.head, strings.TrimSpace(e.measures[k].name+" "+e.measures[k].unit))
		t.right = append(t.right, true)
	}
	t.head, t.right = append(t.head, "n"), append(t.right, true)
	if e.extra != "" {
		t.head, t.right = append(t.head, e.extra), append(t.right, false)
	}
	for _, row := range e.rows {
		t.add(e.cells(row, used)...)
	}
	text := t.String()
	for _, note := range e.notes(used) {
		text += "\n" + note + "\n"
	}
	return text
}

// usedColumns are the measures that any row has something to say about.
func (e *evidence) usedColumns() []int {
	var used []int
	for k := range e.measures {
		if slices.ContainsFunc(e.rows, func(r evidenceRow) bool {
			return r.values[k].Known() || r.values[k].Reason != ""
		}) {
			used = append(used, k)
		}
	}
	return used
}

func (e *evidence) cells(row evidenceRow, used []int) []string {
	cells := []string{row.name}
	n := row.count()
	for _, k := range used {
		cells = append(cells, e.measures[k].cell(row.values[k], n))
	}
	return append(cells, fmt.Sprint(n), row.extra)
}

// count is how many events the row's measures rest on at most.
func (row evidenceRow) count() int {
	n := 0
	for _, q := range row.values {
		if q.Known() {
			n = max(n, q.Estimate.N)
		}
	}
	return n
}

// cell is "−1.2 (−1.5 to −0.9)", with its own count where that is not n.
func (m measure) cell(q result.Quantity, n int) string {
	est := q.Estimate
	switch {
	case est == nil && q.Reason == "":
		return ""
	case est == nil || !finite(est.Median):
		return "—"
	}
	var inside []string
	if iv := est.Interval; iv != nil && !m.atFloor(iv.High) {
		inside = append(inside, m.number(iv.Low)+" to "+m.number(iv.High))
	}
	if est.N != n {
		inside = append(inside, fmt.Sprintf("n %d", est.N))
	}
	text := m.number(est.Median)
	if len(inside) > 0 {
		text += " (" + strings.Join(inside, ", ") + ")"
	}
	return text
}

// atFloor tells a value that stands for anything below.
func (m measure) atFloor(v float64) bool { return m.floor < 0 && v <= m.floor }

func (m measure) number(v float64) string {
	if m.atFloor(v) {
		return "below " + plain(m.floor, m.digits)
	}
	if m.signed {
		return signed(v, m.digits)
	}
	return plain(v, m.digits)
}

// notes say which intervals hold less or more than 95 %, and why values are
// missing.
func (e *evidence) notes(used []int) []string {
	var notes []string
	if text := e.coverageNote(used); text != "" {
		notes = append(notes, text)
	}
	var reasons grouped
	for _, row := range e.rows {
		for _, k := range used {
			if q := row.values[k]; !q.Known() && q.Reason != "" {
				reasons.add(q.Reason, e.measures[k].name+" of "+row.name)
			}
		}
	}
	for i, reason := range reasons.keys {
		notes = append(notes, fmt.Sprintf("A dash for %s: %s.", escape(listWords(reasons.items[i])), escape(strings.TrimSuffix(reason, "."))))
	}
	return notes
}

func (e *evidence) coverageNote(used []int) string {
	var by grouped
	for _, k := range used {
		for _, row := range e.rows {
			if !row.values[k].Known() {
				continue
			}
			if text := coverageWords(row.values[k]); text != "" {
				by.add(text, e.measures[k].name)
			}
		}
	}
	if len(by.keys) == 0 {
		return "Intervals hold the true median with 95 % probability."
	}
	var parts []string
	for i, text := range by.keys {
		parts = append(parts, fmt.Sprintf("%s (%s)", text, escape(listWords(by.items[i]))))
	}
	return "Intervals hold the true median with 95 % probability, except: " + strings.Join(parts, "; ") + "."
}

// coverageWords is empty for an interval that holds 95 %.
func coverageWords(q result.Quantity) string {
	est := q.Estimate
	if est.Interval == nil {
		return fmt.Sprintf("n = %d gives no interval", est.N)
	}
	percent := roundTo(100*est.Interval.Coverage, 1)
	if percent == 95 {
		return ""
	}
	return fmt.Sprintf("n = %d holds %s %%", est.N, trim(percent))
}

// grouped collects items under keys, both in order of first appearance and
// once each.
type grouped struct {
	keys  []string
	items [][]string
}

func (g *grouped) add(key, item string) {
	i := slices.Index(g.keys, key)
	if i < 0 {
		g.keys, g.items = append(g.keys, key), append(g.items, nil)
		i = len(g.keys) - 1
	}
	if !slices.Contains(g.items[i], item) {
		g.items[i] = append(g.items[i], item)
	}
}
