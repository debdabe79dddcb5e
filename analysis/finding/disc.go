package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
)

// tapped lists the strings whose taps have a level.
func tapped(r *result.Results) []result.String {
	var out []result.String
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.LevelDBFS.Known() {
			out = append(out, s)
		}
	}
	return out
}

// besideOthers is a quantity of string s less the median of the other
// strings' medians: unlike the mean of all, it does not move with the fault
// it is meant to show. The interval is the string's own.
func besideOthers(r *result.Results, s result.String, of func(result.String) *result.Quantity) (result.Quantity, bool) {
	own := of(s)
	var others []float64
	for _, o := range r.Strings {
		if q := of(o); o.Number != s.Number && q != nil && q.Known() && !isDead(o) {
			others = append(others, q.Estimate.Median)
		}
	}
	if own == nil || !own.Known() || len(others) == 0 {
		return result.Quantity{}, false
	}
	mid := medianOf(others)
	est := *own.Estimate
	est.Median -= mid
	if iv := est.Interval; iv != nil {
		moved := *iv
		moved.Low, moved.High = iv.Low-mid, iv.High-mid
		est.Interval = &moved
	}
	return result.Quantity{Estimate: &est}, true
}

func tapLevel(s result.String) *result.Quantity {
	if s.Tap == nil {
		return nil
	}
	return &s.Tap.LevelDBFS
}

func tapTreble(s result.String) *result.Quantity {
	if s.Tap == nil || s.Tap.Response == nil {
		return nil
	}
	return &s.Tap.Response.HighDB
}

func isDead(s result.String) bool { return s.Tap != nil && s.Tap.ThroughBody }

// silentPickup: no string's taps rise above the noise. One jack cannot say
// which disc shorts the others.
func silentPickup(r *result.Results) []result.Finding {
	taken, heard := 0, 0
	for _, s := range r.Strings {
		if s.Tap == nil {
			continue
		}
		taken++
		if s.Tap.SNRDB.Known() && s.Tap.SNRDB.Estimate.Median > 10 && !isDead(s) {
			heard++
		}
	}
	if taken == 0 || heard > 0 {
		return nil
	}
	return []result.Finding{{
		ID: "whole pickup silent", Severity: result.SeverityStop, About: "pickup",
		Title:    "No disc is heard directly",
		Evidence: []result.Evidence{fact("Taps on %d strings were recorded; none stands 10 dB above the noise as a direct, early tap.", taken)},
		Causes:   []string{"a short across the output: one shorted disc or a whisker of solder silences all of them", "open hot lead or jack", "lead or input: wrong channel, muted, not plugged in"},
		Next: []string{
			"Tap with another cable and input.",
			"Measure resistance across the jack, unplugged: a healthy parallel pickup reads open; near zero is a short.",
			"Unsolder one disc at a time until the others come back: the last one removed is the shorted one.",
		},
	}}
}

// dead: the tap is heard late, weak and dull, through the bridge only.
func dead(r *result.Results) []result.Finding {
	if len(silentPickup(r)) > 0 {
		return nil
	}
	var out []result.Finding
	for _, s := range r.Strings {
		if !isDead(s) {
			continue
		}
		f := result.Finding{
			ID: "disc dead", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
			Title:  fmt.Sprintf("The disc of %s gives nothing of its own", stringName(s)),
			Causes: []string{"open lead or cold joint at this disc", "lead broken at the disc's edge", "cracked disc"},
			Next: []string{
				"Wiggle this disc's leads while tapping: if it wakes up, resolder the joint (ventilate; the iron is hot; keep the disc cool).",
				"Measure this disc's capacitance at its leads: a few to some tens of nF is alive, near 0 is an open lead or a crack.",
				"Replace the disc while it is still unglued.",
			},
		}
		if beside, ok := besideOthers(r, s, tapLevel); ok {
			f.Evidence = append(f.Evidence, fact("Its taps are %s beside the other strings, and late and dull, as heard through the bridge.",
				said(beside, "dB", 1)))
		} else {
			f.Evidence = append(f.Evidence, fact("Its taps arrive late, weak and dull, as heard through the bridge."))
		}
		out = append(out, f)
	}
	return out
}

// reversed: one disc against the majority, or two groups that tie.
func reversed(r *result.Results) []result.Finding {
	var against, groupA, groupB []result.String
	for _, s := range r.Strings {
		if s.Tap == nil {
			continue
		}
		switch s.Tap.Polarity.Relative {
		case "reversed":
			against = append(against, s)
		case "group A":
			groupA = append(groupA, s)
		case "group B":
			groupB = append(groupB, s)
		}
	}
	var out []result.Finding
	for _, s := range against {
		out = append(out, reversedDisc(s))
	}
	if len(groupA) > 0 && len(groupB) > 0 {
		out = append(out, result.Finding{
			ID: "discs in two groups", Severity: result.SeverityStop, About: "pickup", Strings: numbers(append(groupA, groupB...)),
			Title:    "The discs move in two groups, against each other",
			Evidence: []result.Evidence{fact("%s move one way first, %s the other.", upper(names(groupA)), names(groupB))},
			Causes:   []string{"leads swapped at the discs of one group; these recordings cannot say which group is meant to be the right one"},
			Next:     []string{"Swap the two leads of every disc in one of the groups, then tap again."},
		})
	}
	return append(out, undecided(r)...)
}

func reversedDisc(s result.String) result.Finding {
	v := s.Tap.Polarity
	total := v.Up + v.Down + v.Undecided
	return result.Finding{
		ID: "disc reversed", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
		Title:    fmt.Sprintf("The disc of %s is wired the wrong way round", stringName(s)),
		Evidence: []result.Evidence{fact("First motion against the other strings: %d of %d taps (up %d, down %d, undecided %d; sign test p = %s).", max(v.Up, v.Down), total, v.Up, v.Down, v.Undecided, num(v.P, 3))},
		Causes:   []string{"leads of this disc swapped", "disc set face down"},
		Next: []string{
			"Swap the two leads of this disc, then tap again.",
			"If it was set face down on purpose, swap its leads all the same: what the notes of two strings share would cancel.",
		},
	}
}

// undecided: taps were good, but which way they moved cannot be told.
func undecided(r *result.Results) []result.Finding {
	var unsure []result.String
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.Polarity.Relative == "cannot tell" && !isDead(s) && len(r.Strings) > 1 && s.Tap.LevelDBFS.Known() {
			unsure = append(unsure, s)
		}
	}
	if len(unsure) == 0 || len(silentPickup(r)) > 0 {
		return nil
	}
	f := result.Finding{
		ID: "polarity cannot be told", Severity: result.SeverityRecheck, About: "pickup", Strings: numbers(unsure),
		Title:  fmt.Sprintf("Which way round the disc of %s is wired cannot be told", names(unsure)),
		Causes: []string{"taps too soft, or with something soft", "taps on different places", "a weak bond that lets the bridge's motion arrive first"},
		Next:   []string{"Tap straight down on this saddle with something small and hard, six times, and record again."},
	}
	for _, s := range unsure {
		v := s.Tap.Polarity
		words := fmt.Sprintf("%s: up %d, down %d, undecided %d.", upper(stringName(s)), v.Up, v.Down, v.Undecided)
		f.Evidence = append(f.Evidence, fact("%s", words))
	}
	return []result.Finding{f}
}

// unbalanced: a string outside the balance limit, told apart by its treble.
func unbalanced(r *result.Results) []result.Finding {
	limit := limitOf(r, "balance_db")
	var out []result.Finding
	for _, s := range tapped(r) {
		beside, ok := besideOthers(r, s, tapLevel)
		if !ok || isDead(s) || math.IsInf(limit.Value, 1) {
			continue
		}
		if where := below(beside, -limit.Value); where == beyond || where == straddles {
			out = append(out, weakDisc(r, s, beside, limit, where))
		}
		if where := above(beside, limit.Value); where == beyond || where == straddles {
			out = append(out, loudDisc(s, beside, limit, where))
		}
	}
	return out
}

func weakDisc(r *result.Results, s result.String, beside result.Quantity, limit result.Limit, where side) result.Finding {
	treble, known := besideOthers(r, s, tapTreble)
	dullLimit := limitOf(r, "dull_db")
	f := result.Finding{
		ID: "disc weak", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
		Title:    fmt.Sprintf("%s is too quiet beside the others", upper(stringName(s))),
		Evidence: []result.Evidence{judged("Tap level beside the median of the other strings: "+said(beside, "dB", 1), beside, "dB", limit)},
		Causes:   []string{"the saddle does not press on the disc: fit, height, or break angle of the string", "weak bond between disc and saddle"},
		Next:     []string{"Tap again a few millimetres aside: a level that depends on the spot points to the fit.", "Press the saddle down with a finger while tapping: if it gets louder, improve the fit or the break angle."},
	}
	if known && below(treble, -dullLimit.Value) == beyond {
		f.ID = "disc weak and dull"
		f.Title = fmt.Sprintf("%s is too quiet and dull: its bond looks weak", upper(stringName(s)))
		f.Evidence = append(f.Evidence, judged("Treble beside the median of the other strings: "+said(treble, "dB", 1), treble, "dB", dullLimit))
		f.Causes = []string{"weak or partial bond between disc and saddle: treble is lost first", "something soft between disc and saddle", "cracked disc"}
		f.Next = []string{"Press the disc against the saddle with a clamp or putty and tap again: if it wakes up, bond it anew.", "Clean both faces, bond again in a thin hard layer under light pressure."}
	}
	return softened(f, beside, -limit.Value, where)
}

func loudDisc(s result.String, beside result.Quantity, limit result.Limit, where side) result.Finding {
	return softened(result.Finding{
		ID: "disc loud", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
		Title:    fmt.Sprintf("%s is too loud beside the others", upper(stringName(s))),
		Evidence: []result.Evidence{judged("Tap level beside the median of the other strings: "+said(beside, "dB", 1), beside, "dB", limit)},
		Causes:   []string{"this saddle was tapped harder", "this saddle presses harder on its disc than the others", "a larger or different disc"},
		Next:     []string{"Tap all saddles again with the same ball from the same height.", "If it stays, lower this saddle or raise the others before anything is glued."},
	}, beside, limit.Value, where)
}

// softened turns a finding whose interval straddles its limit into a request
// for more events.
func softened(f result.Finding, q result.Quantity, limit float64, where side) result.Finding {
	if where == straddles {
		f.Severity = result.SeverityRecheck
		f.Title += ", perhaps"
		f.Next = append([]string{settle(q, limit, "taps")}, f.Next...)
	}
	return f
}

// dull: level is fine, treble is not.
func dull(r *result.Results) []result.Finding {
	limit, balance := limitOf(r, "dull_db"), limitOf(r, "balance_db")
	var out []result.Finding
	for _, s := range tapped(r) {
		treble, ok := besideOthers(r, s, tapTreble)
		level, ok2 := besideOthers(r, s, tapLevel)
		if !ok || !ok2 || isDead(s) || below(treble, -limit.Value) != beyond || below(level, -balance.Value) >= straddles {
			continue
		}
		out = append(out, result.Finding{
			ID: "disc dull", Severity: result.SeverityRecheck, About: "pickup", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s hears less treble than the others", upper(stringName(s))),
			Evidence: []result.Evidence{judged("Treble beside the median of the other strings: "+said(treble, "dB", 1), treble, "dB", limit)},
			Causes:   []string{"a weak or thick bond", "a softer thing or finger tapped this saddle"},
			Next:     []string{"Tap all saddles again with the same hard, light object.", "Press the disc against its saddle while tapping: if treble comes back, bond it anew."},
		})
	}
	return out
}

// intermittent: some taps of a string are far weaker than its others.
func intermittent(r *result.Results) []result.Finding {
	limit := limitOf(r, "intermittent_db")
	var out []result.Finding
	for _, s := range tapped(r) {
		values := make([]float64, 0, len(s.Tap.LevelDBFS.Values))
		for _, v := range s.Tap.LevelDBFS.Values {
			values = append(values, v.Value)
		}
		mid, weak := medianOf(values), 0
		for _, v := range values {
			if v < mid-limit.Value {
				weak++
			}
		}
		if weak == 0 || isDead(s) || len(values) < 4 {
			continue
		}
		out = append(out, result.Finding{
			ID: "intermittent joint", Severity: result.SeverityRecheck, About: "pickup", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s drops out in some taps", upper(stringName(s))),
			Evidence: []result.Evidence{fact("%d of %d taps lie more than %s dB below this string's median.", weak, len(values), num(limit.Value, 0))},
			Causes:   []string{"a joint or lead that opens now and then", "a missed tap"},
			Next:     []string{"Flex this disc's leads while tapping: if the level jumps, resolder the joint before it is buried.", "If no flexing changes it, record the taps again."},
		})
	}
	return out
}
