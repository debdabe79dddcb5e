package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// fewEvents asks for more where an interval is missing, or is not yet one of
// 95 %.
func fewEvents(r *result.Results) []result.Finding {
	f := result.Finding{
		ID: "too few events", Severity: result.SeverityNote, About: "capture",
		Title: "Too few taps for an interval of 95 %",
		Next:  []string{"Record six or more single taps a string, in two short takes rather than one long one."},
	}
	for _, s := range r.Strings {
		n := 0
		if s.Tap != nil {
			n = count(s.Tap.LevelDBFS)
		}
		if s.Tap == nil || n >= 6 {
			continue
		}
		if n < 3 {
			f.Severity, f.Title = result.SeverityRecheck, "Too few taps for an honest interval"
		}
		f.Strings = append(f.Strings, s.Number)
		f.Evidence = append(f.Evidence, fact("%s: %d usable taps; three are the least, six make a 95 %% interval.", upper(stringName(s)), n))
	}
	if len(f.Strings) == 0 || len(silentPickup(r)) > 0 {
		return nil
	}
	return []result.Finding{f}
}

func count(q result.Quantity) int {
	if q.Estimate == nil {
		return 0
	}
	return q.Estimate.N
}

func doubleHits(r *result.Results) []result.Finding {
	f := result.Finding{
		ID: "double hits", Severity: result.SeverityNote, About: "capture",
		Title:  "Many taps are double hits",
		Causes: []string{"a bouncing tool or a tense finger"},
		Next:   []string{"Drop a light ball or an eraser from a fixed height and catch it, or let the finger fall and lift it at once."},
	}
	for _, s := range r.Strings {
		if t := s.Tap; t != nil && t.DoubleHits > 1 && 3*t.DoubleHits > len(t.Events) {
			f.Strings = append(f.Strings, s.Number)
			f.Evidence = append(f.Evidence, fact("%s: %d of %d taps touched twice and were left out of level and response.",
				upper(stringName(s)), t.DoubleHits, len(t.Events)))
		}
	}
	if len(f.Strings) == 0 {
		return nil
	}
	return []result.Finding{f}
}

// takesDisagree notices that two takes of one string differ by more than the
// taps inside each: hand, position, or a joint that comes and goes.
func takesDisagree(r *result.Results) []result.Finding {
	var out []result.Finding
	limit := limitOf(r, "takes_db")
	for _, s := range r.Strings {
		if s.Tap == nil {
			continue
		}
		low, high, n := takeMedians(s.Tap.LevelDBFS)
		if n < 2 || high-low <= limit.Value {
			continue
		}
		out = append(out, result.Finding{
			ID: "takes disagree", Severity: result.SeverityNote, About: "capture", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s: the takes differ more than taps usually do", upper(stringName(s))),
			Evidence: []result.Evidence{against(limit, "Medians of %d takes lie %s dB apart", n, num(high-low, 1))},
			Causes:   []string{"another place or tool was tapped", "input gain moved between the takes", "a joint or bond that comes and goes"},
			Next:     []string{"Record both again with the same tool on the same spot; if they still differ, flex the lead while tapping."},
		})
	}
	return out
}

func takeMedians(q result.Quantity) (low, high float64, takes int) {
	groups := map[int][]float64{}
	for _, v := range q.Values {
		groups[v.Take] = append(groups[v.Take], v.Value)
	}
	low, high = math.Inf(1), math.Inf(-1)
	for _, g := range groups {
		if len(g) < 3 {
			continue
		}
		m := stats.Median(g)
		low, high = math.Min(low, m), math.Max(high, m)
		takes++
	}
	return low, high, takes
}

// missingTests says which question no recording answers.
func missingTests(r *result.Results) []result.Finding {
	tried := map[int]bool{}
	quiet := false
	for _, k := range r.Takes {
		quiet = quiet || k.Test == "quiet" && k.Facts != nil
		if k.Test == "tap" && k.Facts != nil {
			tried[k.String] = true
		}
	}
	var out []result.Finding
	if len(tried) < max(len(r.Strings), 1) {
		f := result.Finding{
			ID: "taps missing", Severity: result.SeverityRecheck, About: "capture",
			Title:    "Not every string was tapped",
			Evidence: []result.Evidence{fact("%d of %d strings were tapped; only taps show whether a disc is alive and the right way round.", len(tried), len(r.Strings))},
			Next:     []string{"Record tap-N.wav for every string, six or more single taps each."},
		}
		for _, s := range r.Strings {
			if !tried[s.Number] {
				f.Strings = append(f.Strings, s.Number)
			}
		}
		out = append(out, f)
	}
	if !quiet {
		out = append(out, result.Finding{
			ID: "quiet take missing", Severity: result.SeverityNote, About: "capture",
			Title: "No take of silence was recorded",
			Next:  []string{"Record quiet.wav: ten seconds, nothing touched, gain as for the taps; and quiet-hand.wav with a hand on the ground."},
		})
	}
	return out
}
