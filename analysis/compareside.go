package analysis

import (
	"fmt"
	"math"
	"strings"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// comparability says why the two stages may not be comparable, with the
// evidence.
func comparability(before, after *result.Results) []string {
	warnings := []string{}
	warn := func(format string, args ...any) { warnings = append(warnings, fmt.Sprintf(format, args...)) }
	if b, a := rates(before), rates(after); b != a {
		warn("The sample rates differ: %s against %s. Bands near the lower rate's half are not comparable.", b, a)
	}
	if b, a := channelsUsed(before), channelsUsed(after); b != a {
		warn("The channels differ: %s against %s; their gains may, too.", b, a)
	}
	if b, a := len(before.Strings), len(after.Strings); b != a {
		warn("There are %d strings before and %d after; only the common numbers are compared.", b, a)
	}
	if b, a := before.Stage.A4Hz, after.Stage.A4Hz; b > 0 && a > 0 && b != a {
		warn("The tuning differs: a' is %g Hz before and %g Hz after.", b, a)
	}
	for i := range min(len(before.Strings), len(after.Strings)) {
		b, a := before.Strings[i], after.Strings[i]
		if b.Note != a.Note {
			warn("String %d is tuned to %s before and %s after: pitch and sustain cannot be compared.", i+1, orNone(b.Note), orNone(a.Note))
			continue
		}
		if words := otherString(b, a); words != "" {
			warnings = append(warnings, words)
		}
	}
	if b, a := bandsOf(before), bandsOf(after); b > 0 && a > 0 && b != a {
		warn("The tap responses have %d bands an octave before and %d after, so they are not compared band by band; analyze both stages alike.", b, a)
	}
	return append(warnings, tapStyle(before, after)...)
}

// bandsOf is how many bands an octave the tap responses have; 0 for none.
func bandsOf(r *result.Results) int {
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.Response != nil {
			return s.Tap.Response.BandsPerOctave
		}
	}
	return 0
}

// otherStringRatio is from which ratio on two inharmonicities are of two
// strings: a string's own changes little with its age (common practice, no
// source).
const otherStringRatio = 1.3

// otherString tells from the inharmonicity that another string is on: it
// hangs on gauge, core and length, and neither on gain nor hand.
func otherString(before, after result.String) string {
	if before.Pluck == nil || after.Pluck == nil {
		return ""
	}
	b, a := before.Pluck.Inharmonicity.Estimate, after.Pluck.Inharmonicity.Estimate
	if b == nil || a == nil || b.Interval == nil || a.Interval == nil || b.Median <= 0 || a.Median <= 0 {
		return ""
	}
	apart := b.Interval.High < a.Interval.Low || a.Interval.High < b.Interval.Low
	if ratio := math.Max(a.Median/b.Median, b.Median/a.Median); !apart || ratio < otherStringRatio {
		return ""
	}
	return fmt.Sprintf("String %d may be another string: its inharmonicity B is %.2g before and %.2g after. Pluck level and sustain are the string's then, not the pickup's.", after.Number, b.Median, a.Median)
}

// Taps differ clearly in kind where they rise in less than otherRise or more
// than its inverse of the time, or all strings' sound above the middle moves
// together by otherHighDB (common practice, no source).
const (
	otherRise   = 1.5
	otherHighDB = 6
)

func tapStyle(before, after *result.Results) []string {
	b, a := riseOf(before), riseOf(after)
	if b > 0 && a > 0 && math.Max(a/b, b/a) > otherRise {
		return []string{fmt.Sprintf("The taps differ in kind: they rise in %.2f ms before and %.2f ms after. Tap levels and responses are not comparable; tap with the same thing.", b, a)}
	}
	if least := leastHighMove(before, after); math.Abs(least) > otherHighDB {
		return []string{fmt.Sprintf("The taps may differ in kind: on every string they carry at least %.0f dB %s high sound than before. Tap levels and responses are not comparable if so; tap with the same thing.", math.Abs(least), moreOrLess(least))}
	}
	return nil
}

func moreOrLess(db float64) string {
	if db > 0 {
		return "more"
	}
	return "less"
}

// leastHighMove is the least move of the high response over the strings, 0
// where they move to both sides or fewer than two are known.
func leastHighMove(before, after *result.Results) float64 {
	least, n := 0.0, 0
	for i := range min(len(before.Strings), len(after.Strings)) {
		b, a := before.Strings[i].Tap, after.Strings[i].Tap
		if b == nil || a == nil || b.Response == nil || a.Response == nil || !b.Response.HighDB.Known() || !a.Response.HighDB.Known() {
			continue
		}
		move := a.Response.HighDB.Estimate.Median - b.Response.HighDB.Estimate.Median
		switch {
		case n == 0, math.Abs(move) < math.Abs(least) && move*least > 0:
			least = move
		case move*least <= 0:
			return 0
		}
		n++
	}
	if n < 2 {
		return 0
	}
	return least
}

func orNone(note string) string {
	if note == "" {
		return "nothing known"
	}
	return note
}

func rates(r *result.Results) string {
	return listOnce(r, func(k result.Take) string { return fmt.Sprintf("%d Hz", k.RateHz) })
}

func channelsUsed(r *result.Results) string {
	return listOnce(r, func(k result.Take) string { return fmt.Sprintf("channel %d of %d", k.Channel, k.Channels) })
}

func listOnce(r *result.Results, of func(result.Take) string) string {
	var out []string
	seen := map[string]bool{}
	for _, k := range r.Takes {
		if k.Facts == nil || seen[of(k)] {
			continue
		}
		seen[of(k)] = true
		out = append(out, of(k))
	}
	return strings.Join(out, ", ")
}

// riseOf is the median rise of all strings' taps, ms; 0 for none.
func riseOf(r *result.Results) float64 {
	var all []float64
	for _, s := range r.Strings {
		if s.Tap != nil && s.Tap.ContactMS.Known() {
			all = append(all, s.Tap.ContactMS.Estimate.Median)
		}
	}
	if len(all) == 0 {
		return 0
	}
	return stats.Median(all)
}

// factChanges compares what is no number.
func factChanges(before, after *result.Results) []result.FactChange {
	out := []result.FactChange{}
	for i := range min(len(before.Strings), len(after.Strings)) {
		b, a := before.Strings[i], after.Strings[i]
		if b.Tap == nil || a.Tap == nil {
			continue
		}
		add := func(what, was, is string) {
			if was != is {
				out = append(out, result.FactChange{String: a.Number, Note: a.Note, What: what, Before: was, After: is})
			}
		}
		add("first motion", b.Tap.Polarity.Relative, a.Tap.Polarity.Relative)
		add("disc", alive(b.Tap), alive(a.Tap))
	}
	return append(append(out, chainFlip(before, after)...), lineChanges(before, after)...)
}

// chainFlip tells when the strings that all moved one way all move the other
// way: wires swapped at the jack, or an inverting input.
func chainFlip(before, after *result.Results) []result.FactChange {
	b, a := oneSign(before), oneSign(after)
	if b*a >= 0 {
		return nil
	}
	return []result.FactChange{{What: "first motion of all strings", Before: way(b), After: way(a)}}
}

// oneSign is the sign of first motion that most strings share; 0 for none.
func oneSign(r *result.Results) int {
	sign := 0
	for _, s := range r.Strings {
		if s.Tap == nil || s.Tap.Polarity.Relative != "same" || s.Tap.Polarity.Sign == 0 {
			continue
		}
		if sign*s.Tap.Polarity.Sign < 0 {
			return 0
		}
		sign = s.Tap.Polarity.Sign
	}
	return sign
}

func way(sign int) string {
	if sign > 0 {
		return "up"
	}
	return "down"
}

func alive(t *result.Tap) string {
	if t.ThroughBody {
		return "heard through the bridge only"
	}
	return "alive"
}

// gainMove tells whether the recording's gain moved: full_scale_volts says so,
// or noise and levels moved together. Hiss does not hang on the hand.
func gainMove(before, after *result.Results, c *result.Comparison) *result.GainMove {
	if b, a := before.Stage.Capture.FullScaleVolts, after.Stage.Capture.FullScaleVolts; b > 0 && a > 0 && math.Abs(20*math.Log10(b/a)) > 0.05 {
		db := 20 * math.Log10(b/a)
		return &result.GainMove{DB: db, Evidence: fmt.Sprintf("full_scale_volts is %g before and %g after", b, a)}
	}
	hiss := hissMove(c)
	if hiss == nil {
		return nil
	}
	for _, common := range c.Common {
		if common.Real && agree(*hiss.Shift, hiss.Interval, common.DB, common.Interval) {
			return &result.GainMove{DB: *hiss.Shift, Interval: hiss.Interval,
				Evidence: fmt.Sprintf("the noise without hum moved by %s dB and the %ss by %s dB, together", signedDB(*hiss.Shift), common.Test, signedDB(common.DB))}
		}
	}
	return nil
}

const gainMoved = "the input gain moved"

// leastGainDB is the least move of the noise that is taken for a move of the
// gain: background noise varies by as much (common practice, no source).
const leastGainDB = 0.5

// hissMove is the change of the noise without hum, nil where there is none.
func hissMove(c *result.Comparison) *result.Change {
	hiss := changeOf(c.Changes, "quiet", "floor without hum")
	if hiss == nil || hiss.Interval == nil || math.Abs(*hiss.Shift) < leastGainDB || hiss.Interval.Low < 0 && hiss.Interval.High > 0 {
		return nil
	}
	return hiss
}

// agree tells whether two estimates can be of one number: by their intervals,
// at twice as many to one as these state, since most often they are.
func agree(a float64, around *stats.Interval, b float64, about *stats.Interval) bool {
	half := 1.0
	if around != nil && about != nil {
		half = math.Hypot((around.High-around.Low)/2, (about.High-about.Low)/2) * 1.3
	}
	return math.Abs(a-b) <= half
}

func changeOf(changes []result.Change, test, measure string) *result.Change {
	for i := range changes {
		if changes[i].Test == test && changes[i].Measure == measure && changes[i].Shift != nil {
			return &changes[i]
		}
	}
	return nil
}

// explain says what a shift of all strings can come from, and which changes
// are none of the pickup's.
func explain(c *result.Comparison) {
	hiss := changeOf(c.Changes, "quiet", "floor without hum")
	for i := range c.Common {
		s := &c.Common[i]
		s.CanBe = commonCause(s, c.Gain, hiss)
	}
	for i := range c.Changes {
		ch := &c.Changes[i]
		if ch.Unit != "dBFS" || ch.Shift == nil {
			continue
		}
		if c.Gain != nil && agree(*ch.Shift, ch.Interval, c.Gain.DB, c.Gain.Interval) {
			ch.Explained = gainMoved
		}
	}
	for i := range c.Changes {
		if ch := &c.Changes[i]; ch.Measure == "balance" && mirrored(ch, c) {
			ch.Explained = "another string moved the mean that balance is told beside"
		}
	}
}

func commonCause(s *result.CommonShift, gain *result.GainMove, hiss *result.Change) string {
	hand := "the hand was " + harder(s.DB)
	if s.Test == "tone" {
		hand = "the tone was " + louder(s.DB)
	}
	switch {
	case s.Interval == nil:
		return "too few events to tell"
	case gain != nil && agree(s.DB, s.Interval, gain.DB, gain.Interval):
		return gainMoved
	case !s.Real:
		return "no more than chance"
	case hiss == nil:
		return hand + ", all discs changed, or the input gain moved: record silence at both stages to tell"
	case agree(s.DB, s.Interval, *hiss.Shift, hiss.Interval):
		return hand + ", all discs changed, or the input gain moved: the noise does not tell them apart"
	}
	return hand + " or all discs changed; the noise did not move with it, so it was not the input gain"
}

// mirrored tells whether a changed balance is only the other side of
// changes that stand in c.Alone.
func mirrored(ch *result.Change, c *result.Comparison) bool {
	if ch.Verdict != result.Rose && ch.Verdict != result.Fell {
		return false
	}
	others := false
	for _, a := range c.Alone {
		if a.Test == ch.Test && a.String == ch.String {
			return false
		}
		others = others || a.Test == ch.Test
	}
	return others
}

func louder(db float64) string {
	if db > 0 {
		return "louder"
	}
	return "quieter"
}

func harder(db float64) string {
	if db > 0 {
		return "harder"
	}
	return "softer"
}
