package report

import (
	"fmt"
	"strings"

	"saddlewise/analysis/result"
)

// sections ties each test's table to the figures that show it, in reading
// order.
var sections = []struct {
	title   string
	figures []string
	table   func(*result.Results) *evidence
}{
	{"Balance", []string{"balance"}, nil},
	{"Taps", []string{"taps", "response"}, tapEvidence},
	{"Plucks", []string{"spectrum", "decay"}, pluckEvidence},
	{"Reference tone", nil, toneEvidence},
	{"Silence", []string{"noise"}, quietEvidence},
	{"Sweep", []string{"sweep"}, sweepEvidence},
}

func writeEvidence(b *strings.Builder, r *result.Results, figures []figure) {
	b.WriteString("## Evidence\n\n")
	for _, s := range sections {
		pictures := pick(figures, s.figures)
		var table string
		if s.table != nil {
			table = s.table(r).String()
		}
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
	b.WriteString("All measures, one a row: [results.csv](results.csv). Curves and single events: [results.json](results.json).\n\n")
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
