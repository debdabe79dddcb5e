package finding

import (
	"slices"

	"saddlewise/analysis/result"
)

// trusted is r without what faults of the recording imitate: measures of takes
// that hold something else than their names say, what a gate or a moving gain
// makes of decay, and the distortion that clipping makes. The rules on pickup
// and instrument see only this.
func trusted(r *result.Results) *result.Results {
	out := *r
	out.Strings = slices.Clone(r.Strings)
	for i := range out.Strings {
		trustString(r, &out.Strings[i])
	}
	out.Quiet = slices.DeleteFunc(slices.Clone(r.Quiet), func(q result.Quiet) bool {
		return anyTake(r, q.Takes, func(k result.Take) bool { return k.Test == "quiet" && isMisnamed(r, k) })
	})
	return &out
}

func trustString(r *result.Results, s *result.String) {
	other := func(k result.Take) bool { return isMisnamed(r, k) }
	if s.Tap != nil && anyTake(r, s.Tap.Takes, other) {
		s.Tap = nil
	}
	if s.Pluck != nil && anyTake(r, s.Pluck.Takes, other) {
		s.Pluck = nil
	}
	if s.Tone != nil && anyTake(r, s.Tone.Takes, other) {
		s.Tone = nil
	}
	if s.Pluck != nil && anyTake(r, s.Pluck.Takes, distorts) {
		pluck := *s.Pluck
		pluck.RattleDB = result.Quantity{Reason: "the recording is distorted"}
		if anyTake(r, s.Pluck.Takes, bends) {
			pluck.T60S = result.Quantity{Reason: "the recorder changes the decay"}
		}
		s.Pluck = &pluck
	}
	if s.Tone != nil && anyTake(r, s.Tone.Takes, distorts) {
		tone := *s.Tone
		tone.THDDB = result.Quantity{Reason: "the recording is distorted"}
		s.Tone = &tone
	}
}

// anyTake tells whether test holds of one of the takes.
func anyTake(r *result.Results, takes []int, test func(result.Take) bool) bool {
	for _, i := range takes {
		if i >= 0 && i < len(r.Takes) && r.Takes[i].Facts != nil && test(r.Takes[i]) {
			return true
		}
	}
	return false
}

// bends tells whether the recorder made its own envelope.
func bends(k result.Take) bool { return isGated(k) || isSunk(k) || k.Facts.GainRidingSure }

// distorts tells whether the recording makes frequencies of its own.
func distorts(k result.Take) bool { return isClipped(k.Facts) || k.Facts.Steps > 0 || bends(k) }

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
		if k.Test != "tap" || k.Facts == nil || !slices.Contains(strs, k.String) {
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
