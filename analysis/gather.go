package analysis

import (
	"saddlewise/analysis/noise"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// gather orders what the takes gave by string.
func gather(r *result.Results, st *stage.Stage, takes []measured) {
	for _, p := range st.Problems {
		r.Problems = append(r.Problems, result.Problem{File: p.File, Text: p.Text})
	}
	r.Takes = make([]result.Take, len(takes))
	for i, m := range takes {
		r.Takes[i] = m.record
		if m.problem != "" {
			r.Problems = append(r.Problems, result.Problem{File: m.at.File, Text: m.problem})
		}
	}
	reference := noiseOf(takes)
	for number := 1; number <= st.StringCount(); number++ {
		r.Strings = append(r.Strings, gatherString(st, takes, number, reference))
	}
	setBalances(r.Strings)
	markThroughBridge(r.Strings)
	relatePolarities(r.Strings)
	setAgainstMedian(r.Strings)
	gatherQuiet(r, takes)
	gatherSweeps(r, takes)
}

func gatherString(st *stage.Stage, takes []measured, number int, reference *noiseReference) result.String {
	s := result.String{Number: number}
	target := st.Target(number)
	if target != nil {
		s.Note, s.TargetHz = target.Note, pointer(target.Hz)
	}
	if at := indexesOf(takes, number, func(m measured) bool { return m.taps != nil }); len(at) > 0 {
		s.Tap = tapOf(takes, at, reference)
		s.Tap.Response = tapResponse(takes, at, st.BandsPerOctave)
	}
	if at := indexesOf(takes, number, func(m measured) bool { return m.plucks != nil }); len(at) > 0 {
		s.Pluck = pluckOf(takes, at, target, st.A4Hz, reference)
	}
	if at := indexesOf(takes, number, func(m measured) bool { return m.tone != nil }); len(at) > 0 {
		s.Tone = toneOf(takes, at, st.Capture.ReferenceToneHz)
	}
	return s
}

func indexesOf(takes []measured, number int, has func(measured) bool) []int {
	var out []int
	for i, m := range takes {
		if m.at.String == number && has(m) {
			out = append(out, i)
		}
	}
	return out
}

// gatherQuiet lists silence without and with a hand; where none was recorded,
// the gaps between the events stand in, and say so.
func gatherQuiet(r *result.Results, takes []measured) {
	for _, hand := range []bool{false, true} {
		for i, m := range takes {
			if m.quiet != nil && m.at.Hand == hand {
				r.Quiet = append(r.Quiet, quietRecord(quietLabel(hand), i, hand, *m.quiet))
			}
		}
	}
	if len(r.Quiet) > 0 {
		return
	}
	var values []result.Value
	var at []int
	for i, m := range takes {
		if m.record.NoiseDBFS != nil && (m.taps != nil || m.plucks != nil) {
			values = append(values, result.Value{Take: i, Value: *m.record.NoiseDBFS})
			at = append(at, i)
		}
	}
	if len(values) > 0 {
		r.Quiet = append(r.Quiet, result.Quiet{
			Label: "gaps between events", Takes: at, FloorDBFS: summarize(values, ""), ThirdOctaves: []result.Band{}, OtherLines: []result.Line{},
		})
	}
}

func quietLabel(hand bool) string {
	if hand {
		return "quiet with hand"
	}
	return "quiet"
}

func quietRecord(label string, take int, hand bool, n noise.Noise) result.Quiet {
	q := result.Quiet{
		Label: label, Hand: hand, Takes: []int{take}, UpperHz: n.UpperHz, ExcludedShare: n.ExcludedShare,
		FloorDBFS: result.Quantity{Estimate: &n.FloorDBFS}, FloorADBFS: result.Quantity{Estimate: &n.FloorADBFS},
		Hum: humRecord(n.Hum), HumUntold: n.HumUntold, ThirdOctaves: []result.Band{}, OtherLines: []result.Line{},
	}
	q.WithoutHumDBFS = result.Quantity{Estimate: &stats.Estimate{Median: n.WithoutHumDBFS, N: n.FloorDBFS.N, Interval: n.WithoutHumInterval}}
	for _, b := range n.ThirdOctaves {
		q.ThirdOctaves = append(q.ThirdOctaves, result.Band{MidHz: b.Band.MidHz, LevelDB: b.LevelDBFS, N: 1})
	}
	for _, p := range n.PSD {
		q.PSD.Hz, q.PSD.DBFSPerHz = append(q.PSD.Hz, p.Hz), append(q.PSD.DBFSPerHz, p.DBFSPerHz)
	}
	for _, l := range n.Others {
		q.OtherLines = append(q.OtherLines, lineRecord(l))
	}
	return q
}

func humRecord(h *noise.Hum) *result.Hum {
	if h == nil {
		return nil
	}
	out := &result.Hum{
		MainsHz: h.MainsHz, MainsPlusMinusHz: h.SDHz, MainsNominal: h.NominalHz, Certain: h.Certain, TotalDBFS: h.TotalDBFS,
		OddDBFS: known(h.OddDBFS), EvenDBFS: known(h.EvenDBFS),
	}
	for _, l := range h.Lines {
		out.Lines = append(out.Lines, lineRecord(l))
	}
	return out
}

func lineRecord(l noise.Line) result.Line {
	return result.Line{Order: l.Order, Hz: l.Hz, LevelDBFS: l.LevelDBFS, AboveFloorDB: l.AboveFloorDB, PlusMinusDB: l.PlusMinusDB}
}

// known is a level, or nil for none.
func known(levelDB float64) *float64 {
	if levelDB <= signal.SilenceDB {
		return nil
	}
	return &levelDB
}

// describe turns what the folder says into the results' own words.
func describe(st *stage.Stage) result.Stage {
	s := result.Stage{
		Name: st.Name, Folder: st.Folder, Build: st.Build, Date: st.Date, NextStep: st.NextStep, Notes: st.Notes, Assumed: st.Assumptions,
		A4Hz: st.A4Hz, Tuning: []result.StringTarget{}, Limits: []result.Limit{},
		Capture: result.Capture(st.Capture),
	}
	for _, str := range st.Strings {
		s.Tuning = append(s.Tuning, result.StringTarget{Number: str.Number, Note: str.Note, Hz: str.Hz})
	}
	for _, l := range st.Limits {
		s.Limits = append(s.Limits, result.Limit(l))
	}
	p := st.Pickup
	s.Pickup = result.Pickup{Discs: p.Discs, Wiring: p.Wiring, DiscNF: p.DiscNF, CablePF: p.CablePF, InputPF: p.InputPF, InputOhm: p.InputOhm, Assumed: p.Assumed}
	s.Pickup.Prediction = predict(s.Pickup, st.Strings)
	return s
}
