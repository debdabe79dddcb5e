package finding

import (
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// unbalanced judges each live string's tap level beside the others: the worst
// first, which then no longer counts among the others that the rest are held
// against. Of two that are left nobody can tell which is the odd one.
func unbalanced(r *result.Results) []result.Finding {
	limit := limitOf(r, "balance_db")
	if math.IsInf(limit.Value, 1) || len(silentPickup(r)) > 0 {
		return nil
	}
	rest := *r
	rest.Strings = slices.DeleteFunc(living(r), func(s result.String) bool { return rings(r, s) || len(drops(r, s)) > 0 })
	var out []result.Finding
	for len(rest.Strings) > 2 {
		i, beside, where := worst(&rest, limit)
		if i < 0 {
			return out
		}
		if s := rest.Strings[i]; beside.Estimate.Median < 0 {
			out = append(out, weakDisc(r, s, beside, limit, where))
		} else {
			out = append(out, loudDisc(s, beside, limit, where))
		}
		rest.Strings = slices.Delete(slices.Clone(rest.Strings), i, i+1)
	}
	if len(rest.Strings) == 2 {
		out = append(out, differ(&rest, rest.Strings, limit)...)
	}
	return out
}

// handDB is what one tap or two may be off by, when there is no interval: three
// times the 2 dB by which one hand's taps spread (common practice, no source).
const handDB = 6

// worst is the string farthest beyond the limit; -1 for none. Of a weak and a
// loud one that are equally far it is the weak: bonds fail, discs do not grow.
func worst(r *result.Results, limit result.Limit) (at int, beside result.Quantity, where side) {
	at = -1
	farthest := 0.0
	for i, s := range r.Strings {
		q, ok := tapBeside(r, s)
		if !ok {
			continue
		}
		sign := math.Copysign(1, q.Estimate.Median)
		far, side := sign*q.Estimate.Median, above(q, limit.Value)
		if sign < 0 {
			far, side = far+0.5, below(q, -limit.Value)
		}
		if q.Estimate.Interval == nil && far < limit.Value+handDB {
			continue
		}
		if side < straddles || far <= farthest || sign < 0 && cancelled(s, q, limit) || denied(r, s, sign, limit, side) {
			continue
		}
		at, beside, where, farthest = i, q, side, far
	}
	return at, beside, where
}

// living lists the tapped strings with a voice of their own.
func living(r *result.Results) []result.String {
	var out []result.String
	for _, s := range tapped(r) {
		if !isDead(s) {
			out = append(out, s)
		}
	}
	return out
}

// cancelled: what the others hear of a reversed disc's tap takes some of its
// own away.
func cancelled(s result.String, beside result.Quantity, limit result.Limit) bool {
	return s.Tap.Polarity.Relative == "reversed" && beside.Estimate.Median > -limit.Value-3
}

// denied: taps alone leave it open, and plucks or tones, which feel the same
// disc, show nothing of the kind: then it was the hand.
func denied(r *result.Results, s result.String, sign float64, limit result.Limit, where side) bool {
	if where != straddles {
		return false
	}
	no := false
	for _, of := range []func(result.String) *result.Quantity{pluckLevel, toneLevel} {
		q, ok := besideOthers(r, s, of)
		if !ok {
			continue
		}
		switch v := sign * q.Estimate.Median; {
		case v > limit.Value:
			return false
		case v < limit.Value/2:
			no = true
		}
	}
	return no
}

func pluckLevel(s result.String) *result.Quantity {
	if s.Pluck == nil {
		return nil
	}
	return &s.Pluck.LevelDBFS
}

func toneLevel(s result.String) *result.Quantity {
	if s.Tone == nil {
		return nil
	}
	return &s.Tone.LevelDBFS
}

// differ: of two discs, nobody can tell which is the odd one.
func differ(r *result.Results, two []result.String, limit result.Limit) []result.Finding {
	beside, ok := tapBeside(r, two[0])
	if !ok {
		return nil
	}
	size := beside
	if beside.Estimate.Median < 0 {
		size = negated(beside)
	}
	where := above(size, limit.Value)
	if where < straddles || denied(r, two[0], math.Copysign(1, beside.Estimate.Median), limit, where) {
		return nil
	}
	return []result.Finding{softened(result.Finding{
		ID: "discs differ", Severity: result.SeverityStop, About: "pickup", Strings: numbers(two),
		Title:    "The two discs are not equally loud",
		Evidence: []result.Evidence{judged(fmt.Sprintf("Tap level of %s beside %s: %s", stringName(two[0]), stringName(two[1]), said(beside, "dB", 1)), beside, "dB", limit)},
		Causes:   []string{"the quieter one is poorly pressed or bonded, or its lead is open", "one was tapped harder"},
		Next:     []string{"Tap both again with the same ball from the same height.", "Press the quieter saddle down while tapping: if it gets louder, improve its fit."},
	}, size, limit.Value, where, "taps")}
}

func weakDisc(r *result.Results, s result.String, beside result.Quantity, limit result.Limit, where side) result.Finding {
	f := result.Finding{
		ID: "disc weak", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
		Title:    fmt.Sprintf("%s is too quiet beside the others", upper(stringName(s))),
		Evidence: []result.Evidence{judged("Tap level beside the median of the other strings: "+said(beside, "dB", 1), beside, "dB", limit)},
		Causes:   []string{"the saddle does not press on the disc: fit, height, or break angle of the string", "weak bond between disc and saddle"},
		Next:     []string{"Tap again a few millimetres aside: a level that depends on the spot points to the fit.", "Press the saddle down with a finger while tapping: if it gets louder, improve the fit or the break angle."},
	}
	treble, known := besideOthers(r, s, tapTreble)
	if dullLimit := limitOf(r, "dull_db"); known && treble.Estimate.Median < -dullLimit.Value {
		f.ID = "disc weak and dull"
		f.Title = fmt.Sprintf("%s is too quiet and dull: its bond looks weak", upper(stringName(s)))
		f.Evidence = append(f.Evidence, judged("Treble beside the median of the other strings: "+said(treble, "dB", 1), treble, "dB", dullLimit))
		f.Causes = []string{"weak or partial bond between disc and saddle: treble is lost first", "something soft between disc and saddle", "cracked disc"}
		f.Next = []string{"Press the disc against the saddle with a clamp or putty and tap again: if it wakes up, bond it anew.", "Clean both faces, bond again in a thin hard layer under light pressure."}
	}
	if beside.Estimate.Median < mayBeDeadDB {
		f.Causes = append(f.Causes, openLeadText)
		f.Next = append(f.Next, "Measure this disc's capacitance at its leads: near 0 is an open lead or a crack.")
	}
	return softened(f, beside, -limit.Value, where, "taps")
}

func loudDisc(s result.String, beside result.Quantity, limit result.Limit, where side) result.Finding {
	return softened(result.Finding{
		ID: "disc loud", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
		Title:    fmt.Sprintf("%s is too loud beside the others", upper(stringName(s))),
		Evidence: []result.Evidence{judged("Tap level beside the median of the other strings: "+said(beside, "dB", 1), beside, "dB", limit)},
		Causes:   []string{"this saddle was tapped harder", "this saddle presses harder on its disc than the others", "a larger or different disc"},
		Next:     []string{"Tap all saddles again with the same ball from the same height.", "If it stays, lower this saddle or raise the others before anything is glued."},
	}, beside, limit.Value, where, "taps")
}

// dull: level is fine, treble is not. A softer tap sounds the same, so the
// limit is wide, and a fork's clang mode that comes through in full denies it.
func dull(r *result.Results) []result.Finding {
	limit := limitOf(r, "dull_alone_db")
	loud := map[int]bool{}
	for _, f := range unbalanced(r) {
		for _, n := range f.Strings {
			loud[n] = true
		}
	}
	var out []result.Finding
	for _, s := range living(r) {
		treble, ok := besideOthers(r, s, tapTreble)
		where := below(treble, -limit.Value)
		if !ok || loud[s.Number] || where < straddles || treble.Estimate.Interval == nil || clangDenies(r, s) {
			continue
		}
		out = append(out, softened(result.Finding{
			ID: "disc dull", Severity: result.SeverityRecheck, About: "pickup", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s hears less treble than the others", upper(stringName(s))),
			Evidence: []result.Evidence{judged("Treble (1 to 4 kHz) beside the median of the other strings: "+said(treble, "dB", 1), treble, "dB", limit)},
			Causes:   []string{"a weak or thick bond", "a softer thing or finger tapped this saddle"},
			Next:     []string{"Tap all saddles again with the same hard, light object.", "Press the disc against its saddle while tapping: if treble comes back, bond it anew."},
		}, treble, -limit.Value, where, "taps"))
	}
	return out
}

// clangDenies: the fork's clang mode lies where the treble should be missing.
func clangDenies(r *result.Results, s result.String) bool {
	if s.Tone == nil || s.Tone.ClangDB == nil {
		return false
	}
	var others []float64
	for _, o := range r.Strings {
		if o.Number != s.Number && o.Tone != nil && o.Tone.ClangDB != nil {
			others = append(others, *o.Tone.ClangDB)
		}
	}
	return len(others) > 0 && *s.Tone.ClangDB > stats.Median(others)-3
}
