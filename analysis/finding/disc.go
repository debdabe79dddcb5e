package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
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
// it is meant to show. The interval counts the others' own uncertainty.
func besideOthers(r *result.Results, s result.String, of func(result.String) *result.Quantity) (result.Quantity, bool) {
	own := of(s)
	var others, errors []float64
	for _, o := range r.Strings {
		if q := of(o); o.Number != s.Number && q != nil && q.Known() && !isDead(o) {
			others = append(others, q.Estimate.Median)
			errors = append(errors, standardError(*q))
		}
	}
	if own == nil || !own.Known() || len(others) == 0 {
		return result.Quantity{}, false
	}
	mid := stats.Median(others)
	est := *own.Estimate
	est.Median -= mid
	if iv := est.Interval; iv != nil {
		moved := *iv
		moved.Low, moved.High = iv.Low-mid, iv.High-mid
		est.Interval = &moved
	}
	return widened(result.Quantity{Estimate: &est}, ofMedian(errors)), true
}

func standardError(q result.Quantity) float64 {
	if q.Estimate == nil || q.Estimate.Interval == nil {
		return 0
	}
	return q.Estimate.Interval.SE()
}

// ofMedian is the standard error of the median of values with these:
// that of normal values has 1.25 times the standard error of their mean.
func ofMedian(errors []float64) float64 {
	sum := 0.0
	for _, e := range errors {
		sum += e * e
	}
	m, factor := float64(len(errors)), 1.25
	if len(errors) < 3 {
		factor = 1
	}
	return factor * math.Sqrt(sum) / m
}

// widened adds an independent standard error to q's interval, by squares.
func widened(q result.Quantity, se float64) result.Quantity {
	est := *q.Estimate
	if est.Interval == nil || se == 0 {
		return q
	}
	iv := *est.Interval
	half := stats.Normal(iv.Coverage) * se
	iv.Low = est.Median - math.Hypot(est.Median-iv.Low, half)
	iv.High = est.Median + math.Hypot(iv.High-est.Median, half)
	est.Interval = &iv
	return result.Quantity{Estimate: &est, Values: q.Values, Reason: q.Reason}
}

// tapBeside is the tap level beside the others. Its interval counts how much
// one take differs from the next by the same hand, which taps of one take do
// not show.
func tapBeside(r *result.Results, s result.String) (result.Quantity, bool) {
	q, ok := besideOthers(r, s, tapLevel)
	if !ok {
		return q, false
	}
	inverse, others := 0.0, 0
	for _, o := range tapped(r) {
		if o.Number != s.Number && !isDead(o) {
			inverse, others = inverse+1/float64(max(1, len(o.Tap.Takes))), others+1
		}
	}
	variance := 1/float64(max(1, len(s.Tap.Takes))) + inverse/float64(others*others)
	return widened(q, limitOf(r, "take_spread_db").Value*math.Sqrt(variance)), true
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
	taken, heard, faint := unheardTaps(r), 0, 0
	for _, s := range r.Strings {
		if s.Tap == nil {
			continue
		}
		taken++
		switch snr := tapSNR(r, s); {
		case snr > silentSNRDB:
			heard++
		case snr > faintSNRDB && byRounding(r):
			faint++
		}
	}
	if taken == 0 || heard > 0 {
		return nil
	}
	f := result.Finding{
		ID: "whole pickup silent", Severity: result.SeverityStop, About: "pickup",
		Title:    "The whole pickup is silent",
		Evidence: []result.Evidence{fact("Taps on %d strings were recorded; on none does the median tap stand %d dB above the hiss.", taken, silentSNRDB)},
		Causes:   []string{"a short across the output: one shorted disc or a whisker of solder silences all of them", "open hot lead or jack", "lead or input: wrong channel, muted, not plugged in"},
		Next: []string{
			"Tap with another cable and input.",
			"Measure resistance across the jack, unplugged: a healthy parallel pickup reads open; near zero is a short.",
			"Unsolder one disc at a time until the others come back: the last one removed is the shorted one.",
		},
	}
	if faint > 0 {
		f.ID, f.Severity = "pickup nearly silent or gain far too low", result.SeverityRecheck
		f.Title = "The pickup is nearly silent, or the gain was far too low"
		f.Evidence = append(f.Evidence, fact("The hiss is no more than the rounding of the recording, so it tells nothing of the gain."))
		f.Causes = append([]string{"input gain far too low"}, f.Causes...)
		f.Next = append([]string{"Turn the input gain up until hiss is heard, and tap again, in 24 bits."}, f.Next...)
	}
	return []result.Finding{f}
}

// Taps nearer than silentSNRDB to the noise without its hum, and no higher
// than silentPeakDB, are as good as unheard; where the noise is the
// recording's rounding, those above faintSNRDB may only have been recorded
// with too little gain. Common practice, no source.
const (
	silentSNRDB  = 15
	faintSNRDB   = 6
	silentPeakDB = -50
)

// byRounding tells whether the background is what rounding makes: a step of
// 2^(1-bits) of full scale has the noise step/sqrt(12), re a full-scale sine
// -(6.02 bits + 1.76) dB; dither of two steps adds 4.8 dB (Lipshitz,
// Wannamaker & Vanderkooy 1992).
func byRounding(r *result.Results) bool {
	for _, k := range r.Takes {
		if k.Facts == nil || k.NoiseDBFS == nil || k.Facts.BitsUsed == 0 || k.Facts.Dead {
			continue
		}
		floor := *k.NoiseDBFS
		if open, _ := quietest(r); open != nil && open.WithoutHumDBFS.Known() {
			floor = open.WithoutHumDBFS.Estimate.Median
		}
		return floor < -(6.02*float64(k.Facts.BitsUsed)+1.76)+4.8+3
	}
	return false
}

// tapSNR is by how much a string's taps stand out; infinite where they are
// surely heard. Hum is no measure of that: a pickup that hums loudly is not
// silent.
func tapSNR(r *result.Results, s result.String) float64 {
	level := s.Tap.LevelDBFS
	switch {
	case !level.Known() && len(s.Tap.Events) > 0 && s.Tap.DoubleHits == len(s.Tap.Events):
		return math.Inf(1)
	case !level.Known():
		return math.Inf(-1)
	case s.Tap.PeakDB.Known() && s.Tap.PeakDB.Estimate.Median > silentPeakDB:
		return math.Inf(1)
	}
	if open, _ := quietest(r); open != nil && open.WithoutHumDBFS.Known() {
		return level.Estimate.Median - open.WithoutHumDBFS.Estimate.Median
	}
	if s.Tap.SNRDB.Known() {
		return s.Tap.SNRDB.Estimate.Median
	}
	return math.Inf(-1)
}

// unheardTaps counts the strings whose only tap takes hold nothing that
// stands out.
func unheardTaps(r *result.Results) int {
	strs := map[int]bool{}
	for _, k := range r.Takes {
		if k.Test == "tap" && k.Problem != "" && k.Facts != nil {
			strs[k.String] = true
		}
	}
	for _, s := range r.Strings {
		if s.Tap != nil {
			delete(strs, s.Number)
		}
	}
	return len(strs)
}

// Tap levels beside the others from which a string has hardly a voice of its
// own: the bridge carries about as much. Common practice, no source.
const (
	deadBelowDB  = -15
	mayBeDeadDB  = -8
	openLeadText = "an open lead or cold joint: then only the other discs hear it, through the bridge"
)

// dead: the tap is heard weak and late, through the bridge only. Where it is
// not weaker than a bad bond makes it, the two cannot be told apart.
func dead(r *result.Results) []result.Finding {
	if len(silentPickup(r)) > 0 {
		return nil
	}
	var out []result.Finding
	for _, s := range r.Strings {
		if isDead(s) && len(drops(r, s)) == 0 {
			out = append(out, deadDisc(r, s))
		}
	}
	return out
}

func deadDisc(r *result.Results, s result.String) result.Finding {
	f := result.Finding{
		ID: "disc dead", Severity: result.SeverityStop, About: "pickup", Strings: []int{s.Number},
		Title:  fmt.Sprintf("The disc of %s gives nothing of its own", stringName(s)),
		Causes: []string{"open lead or cold joint at this disc", "lead broken at the disc's edge", "cracked disc", "the saddle does not touch the disc"},
		Next: []string{
			"Wiggle this disc's leads while tapping: if it wakes up, resolder the joint (ventilate; the iron is hot; keep the disc cool).",
			"Measure this disc's capacitance at its leads: a few to some tens of nF is alive, near 0 is an open lead or a crack.",
			"Replace the disc while it is still unglued.",
		},
	}
	beside, ok := tapBeside(r, s)
	if !ok {
		f.Evidence = append(f.Evidence, fact("Its taps arrive late, weak and dull, as heard through the bridge."))
		return f
	}
	f.Evidence = append(f.Evidence, fact("Its taps are %s beside the other strings, as heard through the bridge.", said(beside, "dB", 1)))
	if beside.Estimate.Median > deadBelowDB {
		f.ID = "disc dead or badly bonded"
		f.Title = fmt.Sprintf("The disc of %s gives little or nothing of its own: dead, or badly bonded", stringName(s))
		f.Causes = append(f.Causes, "a weak bond between disc and saddle, which sounds the same in one jack")
	}
	return f
}

// unheard: a string whose tap take holds nothing, while others are heard. A
// dead disc's taps are mostly heard through the bridge, so that nothing may
// have been tapped; its plucks or tone tell which.
func unheard(r *result.Results) []result.Finding {
	if len(silentPickup(r)) > 0 {
		return nil
	}
	var out []result.Finding
	for _, s := range r.Strings {
		f := result.Finding{About: "pickup", Strings: []int{s.Number}}
		for _, k := range r.Takes {
			if s.Tap == nil && k.Test == "tap" && k.String == s.Number && k.Facts != nil && k.Problem != "" && !k.Facts.Dead && !isMisnamed(r, k) {
				f.Takes = append(f.Takes, k.File)
				f.Evidence = append(f.Evidence, fact("%s", k.Problem))
			}
		}
		if len(f.Takes) > 0 {
			explainUnheard(r, s, &f)
			out = append(out, f)
		}
	}
	return out
}

func explainUnheard(r *result.Results, s result.String, f *result.Finding) {
	f.ID, f.Severity = "disc dead or not tapped", result.SeverityRecheck
	f.Title = fmt.Sprintf("Nothing is heard of taps on %s: its disc is dead, or nothing was tapped", stringName(s))
	f.Causes = []string{"nothing was tapped in this take, or another recording carries its name", "open lead or cold joint at this disc", "cracked disc"}
	f.Next = []string{"Tap it again; then wiggle this disc's leads while tapping.", "Measure this disc's capacitance at its leads: near 0 is an open lead or a crack."}
	words, beside := "", math.NaN()
	for _, of := range []func(result.String) *result.Quantity{pluckLevel, toneLevel} {
		if q, ok := besideOthers(r, s, of); ok {
			words, beside = said(q, "dB", 1), q.Estimate.Median
			break
		}
	}
	switch {
	case beside > mayBeDeadDB:
		f.ID, f.About = "take may be misnamed", "capture"
		f.Title = fmt.Sprintf("The tap take of %s holds no taps", stringName(s))
		f.Evidence = append(f.Evidence, fact("Its other takes are heard, %s beside the other strings, so its disc is alive.", words))
		f.Causes = f.Causes[:1]
		f.Next = []string{"Tap it again and save the take under this name."}
	case soundsOtherwise(r, s):
		f.ID, f.About = "take may be misnamed", "capture"
		f.Title = fmt.Sprintf("The tap take of %s holds sounds, but no taps", stringName(s))
		f.Causes = []string{"another recording carries its name", "handled, not tapped"}
		f.Next = []string{"Listen to it; rename it, or tap again and save the take under this name."}
	case beside < deadBelowDB || pluckUnheard(r, s):
		f.ID, f.Severity = "disc dead", result.SeverityStop
		f.Title = fmt.Sprintf("Neither taps nor other takes of %s are heard", stringName(s))
		f.Causes = f.Causes[1:]
		if words == "" {
			words = "not heard at all"
		}
		f.Evidence = append(f.Evidence, fact("Its other takes are %s beside the other strings.", words))
	}
}

// soundsOtherwise: its tap takes are about as loud as the other strings', but
// nothing in them is a tap.
func soundsOtherwise(r *result.Results, s result.String) bool {
	var own, others []float64
	for _, k := range r.Takes {
		switch {
		case k.Test != "tap" || k.Facts == nil || k.Facts.Dead:
		case k.String == s.Number && k.Contents != nil && k.Contents.Looks != "quiet":
			own = append(own, k.Facts.PeakDB)
		case k.String != s.Number && k.Problem == "":
			others = append(others, k.Facts.PeakDB)
		}
	}
	return len(own) > 0 && len(others) > 0 && stats.Median(own) > stats.Median(others)-20
}

// pluckUnheard: its plucks hold nothing either, while others' are heard.
func pluckUnheard(r *result.Results, s result.String) bool {
	own, others := false, false
	for _, k := range r.Takes {
		if k.Test == "pluck" && k.Facts != nil && !k.Facts.Dead {
			own = own || k.String == s.Number && k.Problem != ""
			others = others || k.String != s.Number && k.Problem == ""
		}
	}
	return own && others && s.Pluck == nil
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
		Evidence: []result.Evidence{fact("First motion against the other strings: %d of %d taps (up %d, down %d, undecided %d; sign test p %s).", max(v.Up, v.Down), total, v.Up, v.Down, v.Undecided, chance(v.P))},
		Causes:   []string{"leads of this disc swapped", "disc set face down"},
		Next: []string{
			"Swap the two leads of this disc, then tap again.",
			"If it was set face down on purpose, swap its leads all the same: what the notes of two strings share would cancel.",
		},
	}
}

// othersVoted tells whether another string's direction is known to compare
// with.
func othersVoted(r *result.Results, s result.String) bool {
	for _, o := range r.Strings {
		if o.Number != s.Number && o.Tap != nil && o.Tap.Polarity.Sign != 0 {
			return true
		}
	}
	return false
}

// undecided: taps were good, but which way they moved cannot be told.
func undecided(r *result.Results) []result.Finding {
	var unsure []result.String
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.Polarity.Relative == "cannot tell" && !isDead(s) && len(r.Strings) > 1 && count(s.Tap.LevelDBFS) >= 3 && othersVoted(r, s) {
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
