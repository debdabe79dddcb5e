// Package finding says what the results mean for the maker: what is wrong,
// how sure that is, what to try next, and whether the next irreversible step
// may be taken.
//
// Rules read results only, never samples, and reason from physics: a dead
// disc is heard late, weak and dull through the bridge; a bad bond loses
// treble first; hum that a hand on the ground lowers is an electric field.
// Each limit is a setting, shown beside the number it judges; its default is
// common practice, no source. An interval that straddles a limit asks for
// more events instead of condemning the pickup, and a recording that cannot
// be trusted is said to be so before anything is said about the pickup.
package finding

import (
	"cmp"
	"slices"

	"saddlewise/analysis/result"
)

// rule looks at one question and says what it finds.
type rule func(r *result.Results) []result.Finding

// Rules in order: the recording first, because a bad recording imitates a bad
// pickup.
var (
	captureRules = []rule{
		unusable, clipped, tooQuiet, offset, gated, ridden, dropOuts, channels, fewBits, cutOff, misnamed, swapped, wrongRate,
		fewEvents, doubleHits, takesDisagree, humInOneTake, missingTests,
	}
	pickupRules = []rule{
		silentPickup, dead, unheard, reversed, unbalanced, dull, resonant, intermittent,
		hum, hiss, lowLoss,
		outOfTune, clock, shortSustain, distorted, rattle,
	}
)

// Judge fills in the findings, most severe first, and the verdict.
func Judge(r *result.Results) {
	r.Findings = []result.Finding{}
	for _, look := range captureRules {
		r.Findings = append(r.Findings, look(r)...)
	}
	good := trusted(r)
	for _, look := range pickupRules {
		r.Findings = append(r.Findings, look(good)...)
	}
	soften(r)
	slices.SortStableFunc(r.Findings, func(a, b result.Finding) int {
		return cmp.Compare(rank(a.Severity), rank(b.Severity))
	})
	for i := range r.Findings {
		if f := &r.Findings[i]; f.Severity != result.SeverityNote {
			f.HoldsUp = r.Stage.NextStep
		}
	}
	r.Verdict = verdict(r)
}

func rank(s result.Severity) int {
	return slices.Index([]result.Severity{result.SeverityStop, result.SeverityRecheck, result.SeverityNote}, s)
}
