package finding

import (
	"math"
	"slices"
	"strings"
	"testing"

	"saddlewise/analysis/result"
)

func contents(looks string) *result.Contents {
	return &result.Contents{Looks: looks, Reason: "heard so"}
}

// unheardTake takes string n's taps away and leaves a take in which no tap was
// found.
func unheardTake(r *result.Results, n int, looks string, peakDB float64) {
	r.Strings[n-1].Tap = nil
	r.Takes[n-1].Problem, r.Takes[n-1].Contents = "tap take holds no tap", contents(looks)
	r.Takes[n-1].Facts.PeakDB = peakDB
}

// plucksAt adds a take of plucks for each string, as loud as dB beside the
// others on string n; NaN: nothing was heard.
func plucksAt(r *result.Results, n int, db float64) {
	for i := range r.Strings {
		take := result.Take{File: "pluck.wav", Test: "pluck", String: i + 1, Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -12, BitsUsed: 24}, Contents: contents("pluck")}
		r.Strings[i].Pluck.Takes = []int{len(r.Takes)}
		if i+1 == n {
			r.Strings[i].Pluck.LevelDBFS = quantity(-24+db, 1, 4)
			if math.IsNaN(db) {
				r.Strings[i].Pluck, take.Problem = nil, "holds no pluck"
			}
		}
		r.Takes = append(r.Takes, take)
	}
}

// TestRecordingsThatImitatePickups: what is wrong with a recording is said of
// the recording, and brings no stop of the pickup.
func TestRecordingsThatImitatePickups(t *testing.T) {
	minus := -3.0
	for _, c := range []struct {
		name   string
		change func(r *result.Results)
		id     string
		word   result.Word
		not    string // a finding that must not come of it
	}{
		{"tap take of silence", func(r *result.Results) { unheardTake(r, 4, "quiet", -80); r.Strings[3].Pluck = nil }, "disc dead or not tapped", result.Recheck, "disc dead"},
		{"tap take of silence, plucks heard", func(r *result.Results) { unheardTake(r, 4, "quiet", -80); plucksAt(r, 4, -1) }, "take may be misnamed", result.Recheck, "disc dead"},
		{"taps and plucks of a string unheard", func(r *result.Results) { unheardTake(r, 4, "quiet", -80); plucksAt(r, 4, math.NaN()) }, "disc dead", result.Stop, "take may be misnamed"},
		{"taps unheard, plucks far too weak", func(r *result.Results) { unheardTake(r, 4, "quiet", -80); plucksAt(r, 4, -25) }, "disc dead", result.Stop, "take may be misnamed"},
		{"tap take of other sounds", func(r *result.Results) { unheardTake(r, 4, "unclear", -14); r.Strings[3].Pluck = nil }, "take may be misnamed", result.Recheck, "disc dead"},
		{"tap take of a tone with false taps", func(r *result.Results) {
			r.Takes[1].Contents = contents("tone")
			r.Strings[1].Tap.LevelDBFS = quantity(-45, 1, 8)
			r.Strings[1].Tap.Polarity = result.Polarity{Down: 8, Sign: -1, Relative: "reversed", P: 0.008}
		}, "take may be misnamed", result.Recheck, "disc reversed"},
		{"tap take of plucks", func(r *result.Results) {
			for i := range r.Takes {
				r.Takes[i].Contents = contents("tap")
			}
			r.Takes[1].Contents = contents("pluck")
			r.Strings[1].Tap.LevelDBFS = quantity(-10, 1, 8)
		}, "take may be misnamed", result.Recheck, "disc loud"},
		{"tap take of what rings on", func(r *result.Results) {
			for i := range r.Takes {
				r.Takes[i].Contents = contents("tap")
			}
			r.Takes[1].Contents = &result.Contents{Looks: "unclear", FallS: 0.6}
			r.Strings[1].Tap.Polarity = result.Polarity{Down: 8, Sign: -1, Relative: "reversed", P: 0.008}
		}, "take may be misnamed", result.Recheck, "disc reversed"},
		{"tap take of short notes at a string's pitch", func(r *result.Results) {
			for i := range r.Takes {
				r.Takes[i].Contents = contents("tap")
			}
			r.Takes[1].Contents = &result.Contents{Looks: "unclear", FallS: 0.2, PitchHz: 294.5}
		}, "take may be misnamed", result.Recheck, ""},
		{"a resonance rings, but not as long as a string", func(r *result.Results) {
			for i := range r.Takes {
				r.Takes[i].Contents = contents("tap")
			}
			r.Takes[1].Contents = &result.Contents{Looks: "unclear", FallS: 0.2, PitchHz: 1234}
		}, "", result.Ready, "take may be misnamed"},
		{"tone take of plucks", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Tone = &result.Tone{Cents: quantity(0, 1, 4), THDDB: quantity(-50, 1, 4)}
			}
			r.Strings[1].Tone = &result.Tone{Takes: []int{4}, Cents: quantity(-700, 1, 4), THDDB: quantity(-5, 1, 4)}
			r.Takes = append(r.Takes, result.Take{File: "tone-2.wav", Test: "tone", String: 2, Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -12, BitsUsed: 24}, Contents: contents("unclear")})
		}, "take may be misnamed", result.Recheck, "tone distorted"},
		{"undamped strings ring on after every tap", func(r *result.Results) {
			for i := range r.Takes {
				r.Takes[i].Contents = contents("pluck")
			}
		}, "quiet take missing", result.Ready, "take may be misnamed"},
		{"pluck take of taps", func(r *result.Results) {
			plucksAt(r, 2, 0)
			r.Takes[5].Contents, r.Strings[1].Pluck.Cents, r.Strings[1].Pluck.RattleDB = contents("tap"), quantity(300, 1, 4), quantity(-20, 1, 4)
		}, "take may be misnamed", result.Recheck, "rattle"},
		{"quiet take of taps", func(r *result.Results) {
			r.Takes = append(r.Takes, result.Take{File: "quiet.wav", Test: "quiet", Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -12, BitsUsed: 24}, Contents: contents("tap")})
			r.Quiet[0].Takes, r.Quiet[0].FloorADBFS, r.Quiet[0].WithoutHumDBFS = []int{4}, quantity(-40, 1, 8), quantity(-40, 1, 8)
		}, "take may be misnamed", result.Recheck, "hiss"},
		{"clicks in silence sound like taps", func(r *result.Results) {
			r.Takes = append(r.Takes, result.Take{File: "quiet.wav", Test: "quiet", Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -12, BitsUsed: 24, Steps: 3}, Contents: contents("tap")})
		}, "clicks or drop-outs", result.Recheck, "take may be misnamed"},
		{"clipping makes frequencies of its own", func(r *result.Results) {
			plucksAt(r, 2, 0)
			r.Takes[5].Facts.FlatTops, r.Takes[5].Facts.FlatTopDB, r.Strings[1].Pluck.RattleDB = 9, &minus, quantity(-20, 1, 4)
		}, "clipped", result.Recheck, "rattle"},
		{"a gate swallows taps", func(r *result.Results) {
			r.Takes[1].Facts.AbruptZeros, r.Takes[1].Facts.ZeroRuns, r.Takes[1].Facts.ZeroSeconds, r.Takes[1].Facts.LongestZeroS = 8, 8, 5, 0.6
			r.Strings[1].Tap.LevelDBFS.Values[0].Value, r.Strings[1].Tap.LevelDBFS.Values[1].Value = -50, -48
		}, "recorder gate", result.Recheck, "intermittent joint"},
		{"a levelling recorder", func(r *result.Results) {
			r.Takes[1].Facts.GainRidingDB, r.Takes[1].Facts.GainRidingSure = &minus, true
			r.Strings[1].Tap.LevelDBFS = quantity(-34, 1, 8)
		}, "gain riding", result.Recheck, "disc dead"},
		{"one tap of a string", func(r *result.Results) { r.Strings[1].Tap.LevelDBFS = quantity(-30, 0, 1) }, "too few events", result.Recheck, "disc weak"},
		{"48 kHz read as 44.1", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Pluck.F1Hz, r.Strings[i].Pluck.Cents = quantity(*r.Strings[i].TargetHz*44.1/48, 0.01, 4), quantity(-146.7, 0.1, 4)
			}
		}, "wrong sample rate", result.Recheck, "out of tune"},
		{"44.1 kHz read as 48", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Pluck.F1Hz, r.Strings[i].Pluck.Cents = quantity(*r.Strings[i].TargetHz*48/44.1, 0.01, 4), quantity(146.7, 0.1, 4)
			}
		}, "wrong sample rate", result.Recheck, "take may be misnamed"},
		{"one take on the other input", func(r *result.Results) { r.Takes[1].Channel, r.Takes[1].Channels = 2, 2 }, "signal on another channel", result.Ready, "no signal"},
		{"second channel turned round", func(r *result.Results) { r.Takes[1].Facts.OtherChannel = "inverted" }, "second channel inverted", result.Ready, "disc reversed"},
		{"second channel dead", func(r *result.Results) { r.Takes[1].Facts.OtherChannel = "dead" }, "second channel empty", result.Ready, "no signal"},
		{"nine bits", func(r *result.Results) { r.Takes[1].Facts.BitsUsed = 9 }, "few bits", result.Ready, ""},
		{"muted channel", func(r *result.Results) { r.Takes[1].Facts.Dead = true; r.Strings[1].Tap = nil }, "no signal", result.Recheck, "disc dead"},
		{"lossy", func(r *result.Results) {
			r.Takes = append(r.Takes, result.Take{File: "quiet.wav", Test: "quiet", RateHz: 48000, Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -70, BitsUsed: 24}})
			r.Quiet[0].Takes, r.Quiet[0].PSD = []int{4}, spectrum(16000, -30)
		}, "upper end cut off", result.Ready, ""},
		{"a spectrum that falls slowly is no lossy one", func(r *result.Results) {
			r.Takes = append(r.Takes, result.Take{File: "quiet.wav", Test: "quiet", RateHz: 48000, Channel: 1, Channels: 1, DurationS: 9, Facts: &result.TakeFacts{PeakDB: -70, BitsUsed: 24}})
			r.Quiet[0].Takes, r.Quiet[0].PSD = []int{4}, spectrum(16000, -5)
		}, "", result.Ready, "upper end cut off"},
		{"plucks at their pitch that sound like taps", func(r *result.Results) { plucksAt(r, 2, 0); r.Takes[5].Contents = contents("tap") }, "", result.Ready, "take may be misnamed"},
		{"taps that move either way", func(r *result.Results) {
			r.Strings[1].Tap.Polarity = result.Polarity{Up: 4, Down: 4, Relative: "cannot tell", P: 1}
		}, "polarity cannot be told", result.Recheck, "disc reversed"},
		{"no string whose taps agree", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Tap.Polarity = result.Polarity{Up: 4, Down: 4, Relative: "cannot tell", P: 1}
			}
		}, "", result.Ready, "polarity cannot be told"},
		{"faint contacts on one string", func(r *result.Results) { r.Takes[1].FaintEvents = 4 }, "intermittent joint", result.Recheck, ""},
		{"a hand that fumbles on every string", func(r *result.Results) {
			for i := range r.Takes {
				r.Takes[i].FaintEvents = 4
			}
		}, "", result.Ready, "intermittent joint"},
		{"hum's upper harmonics are no hiss", func(r *result.Results) {
			level := -50.0
			r.Quiet[0].FloorADBFS, r.Quiet[0].WithoutHumDBFS = quantity(-60, 0.1, 8), quantity(-90, 0.1, 8)
			r.Quiet[0].Hum = &result.Hum{MainsHz: 50, MainsNominal: 50, Certain: true, TotalDBFS: level, OddDBFS: &level}
		}, "hum by electric field", result.Recheck, "hiss"},
		{"what rings is loud by that", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Tap.Response.AgainstMedianDB = bands(0, -1)
			}
			r.Strings[1].Tap.Response.AgainstMedianDB, r.Strings[1].Tap.LevelDBFS = bands(20, 20), quantity(-18, 1, 8)
		}, "strange resonance", result.Recheck, "disc loud"},
		{"a gate cuts the decay", func(r *result.Results) {
			plucksAt(r, 2, 0)
			r.Strings[1].Pluck.T60S = quantity(0.6, 0.1, 4)
			f := r.Takes[5].Facts
			f.AbruptZeros, f.ZeroRuns, f.ZeroSeconds, f.LongestZeroS = 4, 4, 5, 1
		}, "recorder gate", result.Recheck, "short sustain"},
		{"many double hits", func(r *result.Results) { r.Strings[1].Tap.DoubleHits = 5 }, "double hits", result.Ready, ""},
		{"DC offset", func(r *result.Results) { r.Takes[1].Facts.DCOffsetFS = -0.02 }, "DC offset", result.Ready, ""},
		{"a take that could not be read", func(r *result.Results) {
			r.Takes = append(r.Takes, result.Take{File: "tone-1.wav", Test: "tone", String: 1, Problem: "tone-1.wav holds no tone"})
		}, "take not used", result.Recheck, ""},
		{"what others hear of a reversed disc takes some of its own away", func(r *result.Results) {
			r.Strings[1].Tap.Polarity = result.Polarity{Down: 8, Sign: -1, Relative: "reversed", P: 0.008}
			r.Strings[1].Tap.LevelDBFS = quantity(-30, 0.5, 8)
		}, "disc reversed", result.Stop, "disc weak"},
		{"a fork's clang that comes through denies that a disc is dull", func(r *result.Results) {
			clang := -26.0
			for i := range r.Strings {
				r.Strings[i].Tone = &result.Tone{Cents: quantity(0, 1, 4), THDDB: quantity(-50, 1, 4), ClangDB: &clang}
			}
			r.Strings[1].Tap.Response = &result.TapResponse{HighDB: quantity(-23, 1, 8)}
		}, "", result.Ready, "disc dull"},
		{"a background of zeros with few bits", func(r *result.Results) {
			r.Takes[1].Facts.BitsUsed, r.Takes[1].Facts.ZeroSeconds = 9, 5
		}, "background is digital silence", result.Ready, ""},
		{"a background of zeros with many bits", func(r *result.Results) { r.Takes[1].Facts.ZeroSeconds = 5 }, "background is digital silence", result.Recheck, ""},
		{"zeros look like steps", func(r *result.Results) {
			r.Takes[1].Facts.ZeroSeconds, r.Takes[1].Facts.Steps, r.Takes[1].Facts.BitsUsed = 5, 3, 9
		}, "background is digital silence", result.Ready, "clicks or drop-outs"},
		{"hum louder in one take", func(r *result.Results) {
			for i := range r.Takes {
				level := -85.0
				if i == 2 {
					level = -60
				}
				r.Takes[i].NoiseDBFS = &level
			}
		}, "hum louder in one take", result.Ready, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := healthy()
			c.change(r)
			Judge(r)
			var ids []string
			for _, f := range r.Findings {
				ids = append(ids, f.ID)
			}
			if c.id != "" && !slices.Contains(ids, c.id) {
				t.Errorf("no %q among %v", c.id, ids)
			}
			if r.Verdict.Word != c.word || slices.Contains(ids, c.not) {
				t.Errorf("verdict %s, want %s; %q must not be among %v", r.Verdict.Word, c.word, c.not, ids)
			}
		})
	}
}

// spectrum is flat noise to 24 kHz that falls by db above edge, over an octave
// where that is little.
func spectrum(edgeHz, db float64) result.PSD {
	var p result.PSD
	for hz := 100.0; hz < 24000; hz *= 1.01 {
		level := -130.0
		if hz > edgeHz {
			level += db
		}
		p.Hz, p.DBFSPerHz = append(p.Hz, hz), append(p.DBFSPerHz, level)
	}
	return p
}

// TestSilentOrTooQuiet: a pickup without a voice is stopped; where the noise
// is only the recording's rounding, the gain may have been too low instead.
func TestSilentOrTooQuiet(t *testing.T) {
	for _, c := range []struct {
		name             string
		tap, peak, noise float64
		bits             int
		id               string
		word             result.Word
	}{
		{"short, 24 bits", -78, -66, -88, 24, "whole pickup silent", result.Stop},
		{"short, 16 bits", -90, -75, -93, 16, "whole pickup silent", result.Stop},
		{"either, 16 bits", -82, -69, -93, 16, "pickup nearly silent or gain far too low", result.Recheck},
		{"too quiet, 16 bits", -75, -62, -93, 16, "recorded too quietly", result.Ready},
		{"too quiet, 24 bits", -82, -69, -130, 24, "recorded too quietly", result.Ready},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := healthy()
			for i := range r.Strings {
				r.Strings[i].Tap.LevelDBFS, r.Strings[i].Tap.PeakDB, r.Strings[i].Pluck = quantity(c.tap, 1, 8), quantity(c.peak, 1, 8), nil
				r.Takes[i].Facts.BitsUsed, r.Takes[i].Facts.PeakDB, r.Takes[i].NoiseDBFS = c.bits, c.peak, &c.noise
			}
			r.Quiet[0].WithoutHumDBFS, r.Quiet[0].FloorADBFS = quantity(c.noise, 0.1, 8), quantity(c.noise-2, 0.1, 8)
			Judge(r)
			if _, ok := withID(r, c.id); !ok || r.Verdict.Word != c.word {
				t.Errorf("verdict %s for %v, want %s for %q", r.Verdict.Word, r.Verdict.Reasons, c.word, c.id)
			}
		})
	}
}

// TestUnknowable: what one jack cannot show is said, every time it matters.
func TestUnknowable(t *testing.T) {
	r := healthy()
	r.Strings[0].Tap.Polarity.Relative, r.Strings[1].Tap.Polarity.Relative = "group A", "group A"
	r.Strings[2].Tap.Polarity.Relative, r.Strings[3].Tap.Polarity.Relative = "group B", "group B"
	Judge(r)
	said := strings.Join(r.Verdict.Unknown, "\n")
	for _, want := range []string{
		"how much of a tap reaches the neighbouring discs: one jack carries their sum",
		"which of the two groups of discs is the reversed one",
		"whether tap takes of two strings were swapped: taps have no pitch",
		"whether all taps were harder or all discs louder",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %s", want)
		}
	}
	f, ok := withID(r, "discs in two groups")
	if !ok || f.Severity != result.SeverityStop || !slices.Equal(f.Strings, []int{1, 2, 3, 4}) {
		t.Errorf("two groups: %+v", f)
	}
	alone := healthy()
	alone.Strings = alone.Strings[:1]
	Judge(alone)
	if said := strings.Join(alone.Verdict.Unknown, "\n"); strings.Contains(said, "neighbouring") || strings.Contains(said, "swapped") {
		t.Errorf("one string has no neighbours: %s", said)
	}
}

// TestTakesNameTheirStrings: two takes of one string name it once.
func TestTakesNameTheirStrings(t *testing.T) {
	r := healthy()
	r.Takes = append(r.Takes, r.Takes[2])
	r.Takes[4].File = "tap-3-second.wav"
	for _, i := range []int{1, 2, 4} {
		facts := *r.Takes[i].Facts
		facts.DCOffsetFS = 0.03
		r.Takes[i].Facts = &facts
	}
	Judge(r)
	f, ok := withID(r, "DC offset")
	if !ok || !slices.Equal(f.Strings, []int{2, 3}) || len(f.Takes) != 3 || len(f.Evidence) != 3 {
		t.Errorf("got %+v", f)
	}
}
