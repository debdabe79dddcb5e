package analysis

import (
	"saddlewise/analysis/result"
)

// Follow lines up the stages of a build, each compared with the one before.
// The stages come in order; earlier tells which were read from a report.
func Follow(stages []*result.Results, earlier []bool, tool string) *result.Trend {
	t := &result.Trend{
		SchemaVersion: result.SchemaVersion, Tool: tool, Stages: []result.TrendStage{}, Series: []result.Series{}, Notes: []string{},
	}
	at := map[seriesKey]int{}
	for i, r := range stages {
		if r.Stage.Build != "" {
			t.Build = r.Stage.Build
		}
		s := result.TrendStage{ComparedStage: sideOf(r), Judged: r.Verdict.Sentence, Earlier: earlier[i]}
		for _, row := range compared(r) {
			place(t, at, row, len(stages)).Points[i].Estimate = row.Quantity.Estimate
		}
		if i > 0 {
			c := Compare(stages[i-1], r, tool)
			s.Since, s.Details, s.Warnings = c.Sentence, c.Details, c.Warnings
			for _, ch := range c.Changes {
				if k, ok := at[seriesKey{ch.String, ch.Test, ch.Measure}]; ok {
					p := &t.Series[k].Points[i]
					p.Shift, p.Interval, p.Verdict, p.Survives, p.Explained = ch.Shift, ch.Interval, ch.Verdict, ch.Survives, ch.Explained
				}
			}
		}
		t.Stages = append(t.Stages, s)
	}
	return t
}

type seriesKey struct {
	str           int
	test, measure string
}

// place is the series of row, made where it is new.
func place(t *result.Trend, at map[seriesKey]int, row result.Row, stages int) *result.Series {
	key := seriesKey{row.String, row.Test, row.Measure}
	i, ok := at[key]
	if !ok {
		i = len(t.Series)
		at[key] = i
		t.Series = append(t.Series, result.Series{
			String: row.String, Note: row.Note, Test: row.Test, Measure: row.Measure, Unit: row.Unit, Points: make([]result.TrendPoint, stages),
		})
	}
	return &t.Series[i]
}
