package report

import (
	"fmt"
	"strings"

	"saddlewise/analysis/result"
)

// sections ties measures to the figure that shows them, in reading order.
var sections = []struct {
	title   string
	figures []string
	tests   []string
}{
	{"Balance", []string{"balance"}, nil},
	{"Taps", []string{"taps", "response"}, []string{"tap"}},
	{"Plucks", []string{"spectrum", "decay"}, []string{"pluck"}},
	{"Reference tone", nil, []string{"tone"}},
	{"Silence", []string{"noise"}, []string{"quiet", "quiet with hand", "gaps between events"}},
	{"Sweep", []string{"sweep"}, []string{"sweep"}},
}

func writeEvidence(b *strings.Builder, r *result.Results, figures []figure) {
	rows := r.Rows()
	b.WriteString("## Evidence\n\n")
	for _, s := range sections {
		pictures := pick(figures, s.figures)
		table := measureTable(rows, s.tests)
		if len(pictures) == 0 && table == "" {
			continue
		}
		fmt.Fprintf(b, "### %s\n\n", s.title)
		for _, f := range pictures {
			fmt.Fprintf(b, "![%s](%s.png)\n\n%s\n\n", escape(f.title+". "+f.caption), f.name, escape(f.caption))
		}
		if table != "" {
			b.WriteString(table + "\n")
		}
	}
}

func pick(figures []figure, names []string) []figure {
	var out []figure
	for _, name := range names {
		for _, f := range figures {
			if f.name == name {
				out = append(out, f)
			}
		}
	}
	return out
}

// measureTable lists every quantity of the given tests with interval, count
// and what limits it.
func measureTable(rows []result.Row, tests []string) string {
	t := table{
		head:  []string{"string", "measure", "median", "interval", "n", "remark"},
		right: []bool{false, false, true, true, true, false},
	}
	for _, test := range tests {
		for _, row := range rows {
			if row.Test == test {
				t.add(measureCells(row)...)
			}
		}
	}
	if len(t.rows) == 0 {
		return ""
	}
	return t.String()
}

func measureCells(row result.Row) []string {
	name := "all"
	if row.String > 0 {
		name = stringName(result.String{Number: row.String, Note: row.Note})
	}
	cells := []string{name, row.Measure, "—", "", "", row.Quantity.Reason}
	est := row.Quantity.Estimate
	if est == nil {
		return cells
	}
	digits := digitsOf(row.Unit, est.Median)
	cells[2] = strings.TrimSpace(plain(est.Median, digits) + " " + unitWords(row.Unit))
	cells[4] = fmt.Sprint(est.N)
	if iv := est.Interval; iv != nil {
		cells[3] = fmt.Sprintf("%s to %s", plain(iv.Low, digits), plain(iv.High, digits))
		if c := roundTo(100*iv.Coverage, 1); c != 95 {
			cells[3] += fmt.Sprintf(" (%s %%)", trim(c))
		}
	}
	return cells
}

// digitsOf is how many decimals a number in unit deserves.
func digitsOf(unit string, v float64) int {
	switch unit {
	case "Hz":
		return 3
	case "s", "ms":
		return 2
	case "1":
		return 6
	case "ppm":
		return 0
	default:
		return 1
	}
}

func unitWords(unit string) string {
	if unit == "1" {
		return ""
	}
	return unit
}
