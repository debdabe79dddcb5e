package analysis

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// pairOf is a calm scene on both sides, for cases to edit.
func pairOf(s scene) (before, after *result.Results) {
	r := rand.New(rand.NewPCG(7, 8))
	before, after = s.results(r, 0), s.results(r, 1)
	for _, side := range []*result.Results{before, after} {
		side.Stage.A4Hz = 440
		side.Takes = []result.Take{{RateHz: 48000, Channel: 1, Channels: 2, Facts: &result.TakeFacts{}}}
		for i := range side.Strings {
			side.Strings[i].Note = "A3"
			side.Strings[i].Tap.ContactMS = sharp(0.8, 0.1)
			side.Strings[i].Tap.Response = &result.TapResponse{BandsPerOctave: 6, HighDB: sharp(-12, 1)}
			side.Strings[i].Pluck = &result.Pluck{Inharmonicity: sharp(1e-4, 5e-6)}
		}
	}
	return before, after
}

func sharp(v, half float64) result.Quantity {
	return result.Quantity{Estimate: &stats.Estimate{Median: v, N: 8, Interval: &stats.Interval{Low: v - half, High: v + half, Coverage: 0.95}}}
}

// TestWarnings wants every way in which two stages may not be comparable told
// with its evidence, and nothing else.
func TestWarnings(t *testing.T) {
	calm := scene{strings: 3, taps: 8, takes: 1, spreadDB: 1}
	cases := map[string]struct {
		edit func(before, after *result.Results)
		want []string // parts of the only warning; none: no warning
	}{
		"alike": {func(_, _ *result.Results) {}, nil},
		"rate":  {func(_, a *result.Results) { a.Takes[0].RateHz = 44100 }, []string{"sample rates", "48000 Hz against 44100 Hz"}},
		"channel": {func(_, a *result.Results) { a.Takes[0].Channel = 2 },
			[]string{"channel 1 of 2 against channel 2 of 2"}},
		"fewer strings": {func(_, a *result.Results) { a.Strings = a.Strings[:2] }, []string{"3 strings before and 2 after"}},
		"tuning":        {func(_, a *result.Results) { a.Strings[1].Note = "G3" }, []string{"String 2", "A3 before and G3 after"}},
		"tuning lost":   {func(_, a *result.Results) { a.Strings[1].Note = "" }, []string{"String 2", "A3 before and nothing known after"}},
		"concert pitch": {func(_, a *result.Results) { a.Stage.A4Hz = 442 }, []string{"440 Hz before and 442 Hz after"}},
		"string set": {func(_, a *result.Results) { a.Strings[2].Pluck.Inharmonicity = sharp(1.6e-4, 5e-6) },
			[]string{"String 3", "0.0001 before and 0.00016 after"}},
		"same string, aged":    {func(_, a *result.Results) { a.Strings[2].Pluck.Inharmonicity = sharp(1.15e-4, 5e-6) }, nil},
		"string set, not sure": {func(_, a *result.Results) { a.Strings[2].Pluck.Inharmonicity = sharp(1.6e-4, 9e-5) }, nil},
		"contact time": {func(_, a *result.Results) {
			for i := range a.Strings {
				a.Strings[i].Tap.ContactMS = sharp(1.6, 0.1)
			}
		}, []string{"taps differ in kind", "0.80 ms before and 1.60 ms after"}},
		"tap spectrum": {func(_, a *result.Results) {
			for i := range a.Strings {
				a.Strings[i].Tap.Response.HighDB = sharp(-20-float64(i), 1)
			}
		}, []string{"taps may differ in kind", "at least 8 dB less high sound"}},
		"bands": {func(_, a *result.Results) {
			for i := range a.Strings {
				a.Strings[i].Tap.Response.BandsPerOctave = 3
			}
		}, []string{"6 bands an octave before and 3 after"}},
		"one string duller": {func(_, a *result.Results) { a.Strings[0].Tap.Response.HighDB = sharp(-25, 1) }, nil},
	}
	for name, k := range cases {
		before, after := pairOf(calm)
		k.edit(before, after)
		got := Compare(before, after, "test").Warnings
		if len(got) != min(1, len(k.want)) {
			t.Errorf("%s: warnings %q", name, got)
			continue
		}
		for _, part := range k.want {
			if !strings.Contains(got[0], part) {
				t.Errorf("%s: %q lacks %q", name, got[0], part)
			}
		}
	}
}

// TestGainTold wants a moved gain in the first words, with its size, however
// it shows.
func TestGainTold(t *testing.T) {
	found := scene{strings: 4, taps: 12, takes: 1, spreadDB: 1, gainDB: -6}
	before, after := pairOf(found)
	c := Compare(before, after, "test")
	if c.Gain == nil || math.Abs(c.Gain.DB+6) > 0.7 || c.Gain.Interval == nil || !strings.HasPrefix(c.Sentence, "The input gain moved by −") {
		t.Errorf("gain %+v, %q", c.Gain, c.Sentence)
	}
	if text := strings.Join(c.Details, " "); !strings.Contains(text, "the noise without hum moved by") {
		t.Errorf("no evidence in %q", text)
	}
	for _, ch := range c.Changes {
		if ch.Measure == "level" && ch.Survives && ch.Explained != gainMoved {
			t.Errorf("string %d's level %s: %q", ch.String, ch.Verdict, ch.Explained)
		}
	}
	before, after = pairOf(scene{strings: 4, taps: 12, takes: 1, spreadDB: 1, withoutGap: true})
	before.Stage.Capture.FullScaleVolts, after.Stage.Capture.FullScaleVolts = 1, 2
	c = Compare(before, after, "test")
	if c.Gain == nil || math.Abs(c.Gain.DB+6.02) > 0.01 || !strings.Contains(c.Gain.Evidence, "full_scale_volts is 1 before and 2 after") ||
		!strings.HasPrefix(c.Sentence, "The input gain moved by −6.0 dB, so balance and shape are compared") {
		t.Errorf("gain %+v, %q", c.Gain, c.Sentence)
	}
}

// TestFactChanges compares what is no number.
func TestFactChanges(t *testing.T) {
	cases := map[string]struct {
		edit func(before, after *result.Results)
		want string // part of the sentence
	}{
		"turned disc": {func(b, _ *result.Results) { b.Strings[1].Tap.Polarity.Relative = "reversed" }, "string 2 move the same way round as the others"},
		"disc turned wrong": {func(_, a *result.Results) { a.Strings[2].Tap.Polarity.Relative = "reversed" },
			"string 3 move against the others"},
		"died":        {func(_, a *result.Results) { a.Strings[0].Tap.ThroughBody = true }, "string 1 fall silent"},
		"came alive":  {func(b, _ *result.Results) { b.Strings[0].Tap.ThroughBody = true }, "string 1 speak through its own disc"},
		"chain flips": {func(_, a *result.Results) { flip(a) }, "all strings together move the other way round"},
		"hum line came": {func(_, a *result.Results) { a.Quiet[0].Hum = hum(50, 150) },
			"a hum line come (quiet: hum line 50 Hz, −70.0 dBFS)"},
		"hum line went": {func(b, a *result.Results) { b.Quiet[0].Hum, a.Quiet[0].Hum = hum(50, 150), hum(150) },
			"a hum line go (quiet: hum line 50 Hz, −70.0 dBFS)"},
	}
	for name, k := range cases {
		before, after := pairOf(scene{strings: 3, taps: 8, takes: 1, spreadDB: 1})
		for _, side := range []*result.Results{before, after} {
			for i := range side.Strings {
				side.Strings[i].Tap.Polarity = result.Polarity{Relative: "same", Sign: 1}
			}
		}
		k.edit(before, after)
		if got := Compare(before, after, "test").Sentence; !strings.Contains(got, k.want) {
			t.Errorf("%s: %q lacks %q", name, got, k.want)
		}
	}
}

func flip(r *result.Results) {
	for i := range r.Strings {
		r.Strings[i].Tap.Polarity.Sign *= -1
	}
}

// hum has lines at hz, each known to 0.2 dB.
func hum(hz ...int) *result.Hum {
	h := &result.Hum{MainsHz: 50.02, MainsNominal: 50, Certain: true, TotalDBFS: -68}
	for _, f := range hz {
		h.Lines = append(h.Lines, result.Line{Order: f / 50, Hz: float64(f) * 1.0004, LevelDBFS: -70, AboveFloorDB: 30, PlusMinusDB: 0.2})
	}
	return h
}

// TestHumLinesCompared compares each line by itself.
func TestHumLinesCompared(t *testing.T) {
	before, after := pairOf(scene{strings: 3, taps: 8, takes: 1, spreadDB: 1})
	before.Quiet[0].Hum, after.Quiet[0].Hum = hum(50, 150, 250), hum(50, 150, 250)
	after.Quiet[0].Hum.Lines[1].LevelDBFS = -62
	found := map[string]string{}
	for _, ch := range Compare(before, after, "test").Changes {
		if strings.HasPrefix(ch.Measure, humLine) {
			found[ch.Measure] = ch.Verdict
		}
	}
	want := map[string]string{"hum line 50 Hz": result.NoChangeSeen, "hum line 150 Hz": result.Rose, "hum line 250 Hz": result.NoChangeSeen}
	for name, verdict := range want {
		if found[name] != verdict || len(found) != len(want) {
			t.Errorf("%s: %q, want %q of %v", name, found[name], verdict, found)
		}
	}
}
