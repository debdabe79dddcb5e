package report

import (
	"fmt"
	"strings"

	"saddlewise/analysis/result"
)

// sections ties each test's table to the figures that show it, and to what
// words add to both, in reading order.
var sections = []struct {
	title   string
	figures []string
	table   func(*result.Results) *evidence
	words   func(*result.Results) string
}{
	{"Balance", []string{"balance"}, nil, nil},
	{"Taps", []string{"taps", "response"}, tapEvidence, responseWords},
	{"Plucks", []string{"spectrum", "decay"}, pluckEvidence, nil},
	{"Reference tone", nil, toneEvidence, nil},
	{"Silence", []string{"noise"}, quietEvidence, nil},
	{"Sweep", []string{"sweep"}, sweepEvidence, sweepWords},
	{"Input", []string{"load"}, nil, inputWords},
}

func writeEvidence(b *strings.Builder, r *result.Results, figures []figure) {
	b.WriteString("## Evidence\n\n")
	for _, s := range sections {
		pictures := pick(figures, s.figures)
		var table string
		if s.table != nil {
			table = s.table(r).String()
		}
		var words string
		if s.words != nil {
			words = s.words(r)
		}
		if len(pictures) == 0 && table+words == "" {
			continue
		}
		fmt.Fprintf(b, "### %s\n\n", s.title)
		for _, f := range pictures {
			fmt.Fprintf(b, "![%s](%s.png)\n\n%s\n\n", escape(f.title+". "+f.caption), f.name, escape(f.caption))
		}
		if table != "" {
			b.WriteString(table + "\n")
		}
		b.WriteString(words)
	}
	b.WriteString("All measures, one a row: [results.csv](results.csv). Curves and single events: [results.json](results.json).\n\n")
}

func pick(figures []figure, names []string) []figure {
	var out []figure
	for _, name := range names {
		for _, f := range figures {
			if f.name == name || strings.HasPrefix(f.name, name+"-") {
				out = append(out, f)
			}
		}
	}
	return out
}
