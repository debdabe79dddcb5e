package report

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"saddlewise/analysis/result"
)

// WriteTrend puts trend.md, its pictures, trend.json and trend.csv into dir,
// and what else is asked for.
func WriteTrend(ctx context.Context, t *result.Trend, dir string, extra ...Format) error {
	figures := trendFigures(t)
	return document{
		name: "trend", title: t.Build, words: trendMarkdown(t, figures), figures: figures,
		data: []output{encoding("trend.json", t, TrendJSON), encoding("trend.csv", t, trendCSV)},
	}.write(ctx, dir, extra)
}

// TrendJSON encodes the trend as trend.json holds it.
func TrendJSON(t *result.Trend) ([]byte, error) { return encoded(t, "trend") }

func trendCSV(t *result.Trend) ([]byte, error) {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	rows := [][]string{{"stage", "date", "string", "note", "test", "measure", "unit", "median", "low", "high", "coverage", "n", "shift", "shift_low", "shift_high", "verdict", "explained"}}
	for i, stage := range t.Stages {
		for _, s := range t.Series {
			p := s.Points[i]
			if p.Estimate == nil {
				continue
			}
			row := []string{stage.Name, stage.Date, "", s.Note, s.Test, s.Measure, s.Unit, number(p.Estimate.Median), "", "", "", strconv.Itoa(p.Estimate.N), "", "", "", p.Verdict, p.Explained}
			if s.String > 0 {
				row[2] = strconv.Itoa(s.String)
			}
			if iv := p.Estimate.Interval; iv != nil {
				row[8], row[9], row[10] = number(iv.Low), number(iv.High), number(iv.Coverage)
			}
			if p.Shift != nil {
				row[12] = number(*p.Shift)
			}
			if p.Interval != nil {
				row[13], row[14] = number(p.Interval.Low), number(p.Interval.High)
			}
			rows = append(rows, row)
		}
	}
	var buf bytes.Buffer
	if err := csv.NewWriter(&buf).WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write CSV: %w", err)
	}
	return buf.Bytes(), nil
}

func trendMarkdown(t *result.Trend, figures []figure) []byte {
	var b strings.Builder
	title := t.Build
	if title == "" {
		title = "Build"
	}
	fmt.Fprintf(&b, "# %s: %s\n\n", escape(title), counted(len(t.Stages), "stage"))
	for i, s := range t.Stages {
		writeTrendStage(&b, i, s)
	}
	for _, n := range t.Notes {
		fmt.Fprintf(&b, "> %s\n\n", escape(n))
	}
	for _, f := range figures {
		fmt.Fprintf(&b, "![%s](%s.png)\n\n%s\n\n", escape(f.title), f.name, escape(f.caption))
	}
	writeTrendTable(&b, t)
	fmt.Fprintf(&b, "Made by %s.\n", escape(t.Tool))
	return []byte(b.String())
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func writeTrendStage(b *strings.Builder, i int, s result.TrendStage) {
	fmt.Fprintf(b, "%d. **%s**", i+1, escape(s.Name))
	if s.Date != "" {
		fmt.Fprintf(b, ", %s", escape(s.Date))
	}
	fmt.Fprintf(b, ": %s. %s", s.Verdict, escape(s.Judged))
	if s.Earlier {
		b.WriteString(" (Read from its earlier report.)")
	}
	b.WriteString("\n")
	if s.Since != "" {
		fmt.Fprintf(b, "   %s\n", escape(s.Since))
	}
	for _, w := range s.Warnings {
		fmt.Fprintf(b, "\n   Mind: %s\n", escape(w))
	}
	if len(s.Details) > 0 {
		b.WriteString("\n")
	}
	for _, d := range s.Details {
		fmt.Fprintf(b, "   - %s\n", escape(d))
	}
	b.WriteString("\n")
}

// trendColumns is how many strings stand side by side, so that a table stays
// readable as plain text.
const trendColumns = 3

// writeTrendTable has a table for each measure: stages down, strings across.
func writeTrendTable(b *strings.Builder, t *result.Trend) {
	b.WriteString("## Every measure\n\n▲ rose and ▼ fell since the stage before, beyond chance among all questions asked of the two. " +
		"Levels in dBFS hang on the hand and the input gain; balance hangs on neither.\n\n")
	var order []string
	families := map[string][]result.Series{}
	for _, s := range t.Series {
		key := s.Test + " " + s.Measure
		if s.String == 0 {
			key = s.Test
		}
		if families[key] == nil {
			order = append(order, key)
		}
		families[key] = append(families[key], s)
	}
	for _, key := range order {
		family := families[key]
		fmt.Fprintf(b, "### %s, %s\n\n", escape(capital(key)), family[0].Unit)
		for len(family) > 0 {
			n := min(trendColumns, len(family))
			b.WriteString(trendTable(t, family[:n]) + "\n")
			family = family[n:]
		}
	}
}

func trendTable(t *result.Trend, family []result.Series) string {
	tab := table{head: []string{"stage"}, right: []bool{false}}
	for _, s := range family {
		name := seriesName(s)
		if s.String == 0 {
			name = s.Measure
		}
		tab.head, tab.right = append(tab.head, escape(name)), append(tab.right, true)
	}
	for i, stage := range t.Stages {
		cells := []string{stage.Name}
		for _, s := range family {
			cells = append(cells, pointCell(s.Points[i], changeDigits(s.Unit)))
		}
		tab.add(cells...)
	}
	return tab.String()
}

func seriesName(s result.Series) string {
	if s.String == 0 {
		return "all"
	}
	return stringName(result.String{Number: s.String, Note: s.Note})
}

func pointCell(p result.TrendPoint, digits int) string {
	if p.Estimate == nil {
		return "—"
	}
	cell := plain(p.Estimate.Median, digits)
	if iv := p.Estimate.Interval; iv != nil {
		cell += fmt.Sprintf(" (%s to %s)", plain(iv.Low, digits), plain(iv.High, digits))
	}
	return cell + pointMark(p)
}

func pointMark(p result.TrendPoint) string {
	switch {
	case !p.Real():
		return ""
	case p.Verdict == result.Rose:
		return " ▲"
	}
	return " ▼"
}

// TrendSummary is what the terminal shows, in at most 80 columns.
func TrendSummary(t *result.Trend, p Paint) string {
	var b strings.Builder
	for _, s := range t.Stages {
		head := s.Name + ": " + string(s.Verdict)
		if s.Date != "" {
			head = s.Date + "  " + head
		}
		if s.Earlier {
			head += " (read from its earlier report)"
		}
		b.WriteString(p.bold(clip(head, terminalColumns)) + "\n")
		if s.Since != "" {
			b.WriteString(wrapped(s.Since, "  ", terminalColumns-2))
		}
	}
	for _, n := range t.Notes {
		b.WriteString(wrapped(n, "", terminalColumns))
	}
	return b.String()
}
