package finding

import (
	"slices"

	"saddlewise/analysis/result"
)

// leansOnLevel are the findings that a recording with wrong levels imitates.
var leansOnLevel = []string{"disc weak", "disc weak and dull", "disc loud", "discs differ", "disc dull", "strange resonance"}

// soften keeps a bad recording from condemning a pickup: what rests on levels
// from takes that are clipped, levelled or gated is to be recorded again, not
// mended.
func soften(r *result.Results) {
	for i := range r.Findings {
		f := &r.Findings[i]
		if f.Severity != result.SeverityStop || !slices.Contains(leansOnLevel, f.ID) {
			continue
		}
		if why := spoiled(r, f.Strings); why != "" {
			f.Severity = result.SeverityRecheck
			f.Evidence = append(f.Evidence, fact("The taps it rests on are %s: record them again before believing it.", why))
		}
	}
}

// spoiled says what is wrong with the levels of these strings' taps; empty
// for nothing.
func spoiled(r *result.Results, strs []int) string {
	for _, k := range r.Takes {
		if k.Test != "tap" || k.Facts == nil || !contains(strs, k.String) {
			continue
		}
		switch {
		case isClipped(k.Facts):
			return "clipped"
		case k.Facts.GainRidingSure:
			return "recorded with a gain that moves"
		case isGated(k):
			return "cut by a gate"
		}
	}
	return ""
}
