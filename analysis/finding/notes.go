package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// plucked lists the strings with a known pitch.
func plucked(r *result.Results) []result.String {
	var out []result.String
	for _, s := range r.Strings {
		if s.Pluck != nil && s.Pluck.Cents.Known() {
			out = append(out, s)
		}
	}
	return out
}

// rateRatios are the ratios that a wrong sample-rate header makes.
var rateRatios = []struct {
	words string
	ratio float64
}{
	{"48 kHz read as 44.1 kHz", 44.1 / 48.0}, {"44.1 kHz read as 48 kHz", 48 / 44.1},
	{"96 kHz read as 48 kHz", 0.5}, {"48 kHz read as 96 kHz", 2},
	{"88.2 kHz read as 44.1 kHz", 0.5}, {"44.1 kHz read as 88.2 kHz", 2},
}

// wrongRate: every pitch and the reference tone are off by one such ratio.
func wrongRate(r *result.Results) []result.Finding {
	var ratios []float64
	for _, s := range plucked(r) {
		if s.Pluck.TargetGiven && s.Pluck.TargetHz != nil && s.Pluck.F1Hz.Known() {
			ratios = append(ratios, s.Pluck.F1Hz.Estimate.Median / *s.Pluck.TargetHz)
		}
	}
	for _, s := range r.Strings {
		if s.Tone != nil && s.Tone.NominalHz != nil && s.Tone.Hz.Known() {
			ratios = append(ratios, s.Tone.Hz.Estimate.Median / *s.Tone.NominalHz)
		}
	}
	if len(ratios) < 2 {
		return nil
	}
	for _, known := range rateRatios {
		if allNear(ratios, known.ratio, 25) {
			return []result.Finding{{
				ID: "wrong sample rate", Severity: result.SeverityRecheck, About: "capture",
				Title:    "The sample rate in the files looks wrong",
				Evidence: []result.Evidence{fact("All %d pitches and tones are off by one ratio, %s: as %s.", len(ratios), num(stats.Median(ratios), 4), known.words)},
				Causes:   []string{"interface and recording program set to different rates", "file converted without resampling"},
				Next:     []string{"Set the same rate in the interface and the program and record again: levels hold, but pitch, sustain and response do not."},
			}}
		}
	}
	return nil
}

func allNear(ratios []float64, want, cents float64) bool {
	for _, v := range ratios {
		if math.Abs(1200*math.Log2(v/want)) > cents {
			return false
		}
	}
	return true
}

// outOfTune tells one string's tuning from an intonation reference that is
// off for all.
func outOfTune(r *result.Results) []result.Finding {
	if len(wrongRate(r)) > 0 {
		return nil
	}
	limit := limitOf(r, "tuning_cents")
	strs := plucked(r)
	var cents []float64
	for _, s := range strs {
		cents = append(cents, s.Pluck.Cents.Estimate.Median)
	}
	common := stats.Median(cents)
	if len(strs) >= 3 && math.Abs(common) > limit.Value && spread(cents) < limit.Value {
		return []result.Finding{{
			ID: "all strings off by the same", Severity: result.SeverityNote, About: "instrument",
			Title:    fmt.Sprintf("All strings are %s cents off, alike", num(common, 0)),
			Evidence: []result.Evidence{against(limit, "Median of %d strings %s cents", len(strs), num(common, 1))},
			Causes:   []string{"tuned to another reference pitch than a4_hz", "the sample clock is off: compare the reference tone"},
			Next:     []string{"Check a4_hz in build.toml, and the reference tone's offset in this report."},
		}}
	}
	f := result.Finding{
		ID: "out of tune", Severity: result.SeverityNote, About: "instrument",
		Title: "A string is out of tune", Causes: []string{"tuning slipped, new string", "wrong string named"},
		Next: []string{"Tune it and record the plucks again; levels and sustain hold all the same."},
	}
	for _, s := range strs {
		q := s.Pluck.Cents
		if _, other := soundsLike(r, s); other {
			continue // that is said of the take's name
		}
		if math.Abs(q.Estimate.Median) > limit.Value {
			f.Strings = append(f.Strings, s.Number)
			f.Evidence = append(f.Evidence, judged(upper(stringName(s))+": "+said(q, "cents", 1), q, "cents", limit))
			size := q
			if q.Estimate.Median < 0 {
				size = negated(q)
			}
			if above(size, limit.Value) == straddles {
				f.Next = append(f.Next, upper(stringName(s))+": "+lower(settle(size, limit.Value, "plucks")))
			}
		}
	}
	if len(f.Strings) == 0 {
		return nil
	}
	return []result.Finding{f}
}

func spread(values []float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	return high - low
}

// clock: the reference tone is off nominal.
func clock(r *result.Results) []result.Finding {
	if len(wrongRate(r)) > 0 {
		return nil
	}
	limit := limitOf(r, "tone_cents")
	for _, s := range r.Strings {
		if s.Tone == nil || !s.Tone.Cents.Known() || math.Abs(s.Tone.Cents.Estimate.Median) <= limit.Value {
			continue
		}
		return []result.Finding{{
			ID: "reference tone off", Severity: result.SeverityNote, About: "capture", Strings: []int{s.Number},
			Title:    "The reference tone is off its nominal frequency",
			Evidence: []result.Evidence{judged("Tone at "+stringName(s)+": "+said(s.Tone.Cents, "cents", 2), s.Tone.Cents, "cents", limit)},
			Causes:   []string{"the fork is another one, or off by temperature or filing (steel: about −0.15 cents a degree C)", "sample clock off", "reference_tone_hz in stage.toml is not this tone"},
			Next:     []string{"Check the number on the fork against reference_tone_hz."},
		}}
	}
	return nil
}

// shortSustain: one string rings much shorter than the others.
func shortSustain(r *result.Results) []result.Finding {
	limit := limitOf(r, "t60_ratio")
	var out []result.Finding
	for _, s := range r.Strings {
		if s.Pluck == nil || !s.Pluck.T60S.Known() {
			continue
		}
		var others []float64
		for _, o := range r.Strings {
			if o.Number != s.Number && o.Pluck != nil && o.Pluck.T60S.Known() {
				others = append(others, o.Pluck.T60S.Estimate.Median)
			}
		}
		where := unknown
		if len(others) >= 2 {
			where = below(s.Pluck.T60S, limit.Value*stats.Median(others))
		}
		if where < straddles {
			continue
		}
		out = append(out, softened(result.Finding{
			ID: "short sustain", Severity: result.SeverityNote, About: "instrument", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s rings much shorter than the others", upper(stringName(s))),
			Evidence: []result.Evidence{against(limit, "T60 %s; median of the other strings %s s", said(s.Pluck.T60S, "s", 2), num(stats.Median(others), 2))},
			Causes:   []string{"loose or soft saddle or nut on this string", "old string", "the note lies on a resonance of the body"},
			Next:     []string{"Pluck the same string fretted or stopped one note higher: if it rings longer, it is a resonance, not the saddle.", "Check that the saddle sits firmly before it is glued."},
		}, s.Pluck.T60S, limit.Value*stats.Median(others), where, "plucks"))
	}
	return out
}

// distorted: the tone is less clean on one string than on its neighbours.
func distorted(r *result.Results) []result.Finding {
	limit := limitOf(r, "thd_rise_db")
	var out []result.Finding
	for _, s := range r.Strings {
		if s.Tone == nil {
			continue
		}
		rise, ok := besideOthers(r, s, func(o result.String) *result.Quantity {
			if o.Tone == nil {
				return nil
			}
			return &o.Tone.THDDB
		})
		if !ok || rise.Estimate.Median <= limit.Value || s.Tone.THDDB.Estimate.Median < -50 {
			continue
		}
		out = append(out, softened(result.Finding{
			ID: "tone distorted", Severity: result.SeverityRecheck, About: "pickup", Strings: []int{s.Number},
			Title:    fmt.Sprintf("The reference tone is distorted at %s", stringName(s)),
			Evidence: []result.Evidence{judged("THD beside the other strings: "+said(rise, "dB", 1)+", itself "+said(s.Tone.THDDB, "dB", 1), rise, "dB", limit)},
			Causes:   []string{"loose saddle", "cracked bond or disc that rattles against the saddle", "the fork touched something else"},
			Next:     []string{"Set the fork on again, pressing lightly, twice.", "Press the saddle while the tone sounds: if it cleans up, seat or bond it anew."},
		}, rise, limit.Value, above(rise, limit.Value), "strikes"))
	}
	return out
}

// rattle: energy between the partials on plucks of one string.
func rattle(r *result.Results) []result.Finding {
	limit := limitOf(r, "rattle_rise_db")
	var out []result.Finding
	for _, s := range r.Strings {
		rise, ok := besideOthers(r, s, func(o result.String) *result.Quantity {
			if o.Pluck == nil {
				return nil
			}
			return &o.Pluck.RattleDB
		})
		if !ok || rings(r, s) || above(rise, limit.Value) < straddles || s.Pluck.RattleDB.Estimate.Median < limitOf(r, "rattle_least_db").Value {
			continue
		}
		out = append(out, softened(result.Finding{
			ID: "rattle", Severity: result.SeverityRecheck, About: "instrument", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s buzzes", upper(stringName(s))),
			Evidence: []result.Evidence{judged("Energy between the partials beside the other strings: "+said(rise, "dB", 1), rise, "dB", limit)},
			Causes:   []string{"loose saddle or nut", "string touches something", "a disc or lead vibrates against the wood"},
			Next:     []string{"Press saddle, nut and leads one after another while plucking: what stops the buzz is its cause."},
		}, rise, limit.Value, above(rise, limit.Value), "plucks"))
	}
	return out
}
