package finding

import (
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// inTakes makes one finding about the takes that test picks, with one line of
// evidence for each.
func inTakes(r *result.Results, f result.Finding, test func(result.Take) (string, bool)) []result.Finding {
	f.About = "capture"
	for _, k := range r.Takes {
		if k.Facts == nil {
			continue
		}
		if words, hit := test(k); hit {
			f.Takes = append(f.Takes, k.File)
			f.Evidence = append(f.Evidence, fact("%s: %s.", k.File, words))
			if k.String > 0 && !slices.Contains(f.Strings, k.String) {
				f.Strings = append(f.Strings, k.String)
			}
		}
	}
	if len(f.Takes) == 0 {
		return nil
	}
	return []result.Finding{f}
}

// unusable lists takes that could not be used for another reason than the
// silence that other findings speak of.
func unusable(r *result.Results) []result.Finding {
	f := result.Finding{
		ID: "take not used", Severity: result.SeverityRecheck, About: "capture",
		Title: "A recording could not be used",
		Next:  []string{"Record the take again under the same name."},
	}
	silent := len(silentPickup(r)) > 0
	var told []string
	for _, f := range unheard(r) {
		told = append(told, f.Takes...)
	}
	for _, k := range r.Takes {
		if k.Problem == "" || k.Facts != nil && (k.Facts.Dead || silent || isMisnamed(r, k)) || slices.Contains(told, k.File) {
			continue
		}
		f.Takes = append(f.Takes, k.File)
		f.Evidence = append(f.Evidence, fact("%s", k.Problem))
		if k.String > 0 && !slices.Contains(f.Strings, k.String) {
			f.Strings = append(f.Strings, k.String)
		}
	}
	if len(f.Takes) == 0 {
		return nil
	}
	if len(f.Takes) > 1 {
		f.Title = fmt.Sprintf("%d recordings could not be used", len(f.Takes))
	}
	return []result.Finding{f}
}

func clipped(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "clipped", Severity: result.SeverityRecheck,
		Title:  "The recording is clipped, so levels and spectra read wrong",
		Causes: []string{"input gain too high", "a stage ahead of the converter overloads, when the flat tops lie below full scale"},
		Next:   []string{"Turn the input gain down until the hardest tap peaks near −10 dB, then record again.", "If flat tops stay below full scale, lower the level ahead: pad, or the instrument's own volume."},
	}, func(k result.Take) (string, bool) {
		return clipWords(k.Facts), isClipped(k.Facts)
	})
}

// isClipped asks for flat tops, exact or with noise on them. Below full scale
// three equal samples at one extreme may come by chance once.
func isClipped(f *result.TakeFacts) bool {
	atFullScale := f.ClipLevelDB != nil && *f.ClipLevelDB > -0.3
	return f.ClipRuns > 1 || f.ClipRuns == 1 && atFullScale || f.FlatTops > 0
}

func clipWords(f *result.TakeFacts) string {
	words, level := fmt.Sprintf("%d runs of 3 or more samples at one extreme value", f.ClipRuns), f.ClipLevelDB
	if f.ClipRuns < 2 && f.FlatTops > 0 {
		words, level = fmt.Sprintf("%d flat tops with noise on them", f.FlatTops), f.FlatTopDB
	}
	if level != nil {
		words += fmt.Sprintf(", at %s dB re full scale", num(*level, 1))
		if *level < -0.5 {
			words += " (ahead of the converter)"
		}
	}
	return words
}

// tooQuiet looks at taps and plucks: a fork is always quieter, and one quiet
// string is the pickup's matter, not the gain's.
func tooQuiet(r *result.Results) []result.Finding {
	limit := limitOf(r, "peak_low_db")
	low := func(k result.Take) bool {
		return (k.Test == "tap" || k.Test == "pluck") && k.Facts != nil && !k.Facts.Dead && k.Facts.PeakDB < limit.Value
	}
	quiet, all := 0, 0
	for _, k := range r.Takes {
		if k.Facts != nil && (k.Test == "tap" || k.Test == "pluck") {
			all++
			if low(k) {
				quiet++
			}
		}
	}
	if 2*quiet <= all || len(silentPickup(r)) > 0 || math.IsInf(limit.Value, 1) {
		return nil
	}
	return inTakes(r, result.Finding{
		ID: "recorded too quietly", Severity: result.SeverityNote,
		Title:  "The recordings are quiet; their noise may be the interface's rather than the pickup's",
		Causes: []string{"input gain too low", "the line input was used instead of the instrument input"},
		Next:   []string{"Turn the input gain up, the same for all takes, until taps peak between −20 and −10 dB."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("peaks at %s dB re full scale; %s", num(k.Facts.PeakDB, 1), limitWords(limit)), low(k)
	})
}

func offset(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "DC offset", Severity: result.SeverityNote,
		Title:  "The recording has a DC offset",
		Causes: []string{"the converter's or recorder's own offset", "leakage through an input capacitor"},
		Next:   []string{"None needed for these numbers: the offset is taken out. Try another input if it grows."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("%s %% of full scale", num(100*k.Facts.DCOffsetFS, 1)), math.Abs(k.Facts.DCOffsetFS) > 0.005 && !isClipped(k.Facts)
	})
}

// gated: zeros that cut off a live signal are a gate's. Zeros that a signal
// sinks into come by themselves where the last bit is coarser than the noise.
func gated(r *result.Results) []result.Finding {
	cut := inTakes(r, result.Finding{
		ID: "recorder gate", Severity: result.SeverityRecheck,
		Title:  "The recorder mutes what is quiet, so noise, decay and weak taps cannot be judged",
		Causes: []string{"a noise gate or voice mode in the recorder or its software"},
		Next:   []string{"Turn the gate, noise reduction and voice processing off and record again."},
	}, func(k result.Take) (string, bool) {
		f := k.Facts
		return fmt.Sprintf("%d stretches of exact digital silence, %s s in all, %d of them cut off a live signal",
			f.ZeroRuns, num(f.ZeroSeconds, 2), f.AbruptZeros), isGated(k)
	})
	return append(cut, sunk(r, len(cut) > 0)...)
}

// isSunk tells whether a good part of a take is exact zeros.
func isSunk(k result.Take) bool { return k.Facts.ZeroSeconds > 0.2*k.DurationS }

// coarse tells whether few bits or little gain explain a background of zeros.
func coarse(r *result.Results) bool {
	return len(fewBits(r)) > 0 || len(tooQuiet(r)) > 0
}

func isGated(k result.Take) bool {
	f := k.Facts
	return f != nil && !f.Dead && f.AbruptZeros > 0 && f.ZeroSeconds > 0.05*k.DurationS && f.LongestZeroS > 0.05
}

// sunk: the background is digital silence, without a gate's edges.
func sunk(r *result.Results, gate bool) []result.Finding {
	f := result.Finding{
		ID: "background is digital silence", Severity: result.SeverityNote,
		Title:  "The background is digital silence, so noise and hum cannot be told",
		Causes: []string{"gain too low or too few bits: the noise lies below the last bit", "a noise gate"},
		Next:   []string{"Record with 24 bits and more gain, with every gate and noise reduction off."},
	}
	if gate {
		f.Causes = []string{"the gate that other takes show"}
	}
	if !gate && !coarse(r) {
		f.Severity = result.SeverityRecheck
		f.Causes = []string{"a noise gate", "a background below the last bit"}
	}
	return inTakes(r, f, func(k result.Take) (string, bool) {
		silent := k.Facts.Dead && k.Test == "quiet"
		return fmt.Sprintf("%s s of %s s are exact zeros", num(k.Facts.ZeroSeconds, 2), num(k.DurationS, 2)),
			silent || !k.Facts.Dead && !isGated(k) && !gate && isSunk(k)
	})
}

func ridden(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "gain riding", Severity: result.SeverityRecheck,
		Title:  "The recorder changes its gain by itself, so levels cannot be compared",
		Causes: []string{"automatic level control or a limiter in the recorder"},
		Next:   []string{"Turn automatic gain off and set the input gain by hand, then record again."},
	}, func(k result.Take) (string, bool) {
		f := k.Facts
		if f.GainRidingDB == nil || !f.GainRidingSure {
			return "", false
		}
		return fmt.Sprintf("the background moves by %s dB with loud events", num(*f.GainRidingDB, 1)), true
	})
}

func dropOuts(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "clicks or drop-outs", Severity: result.SeverityRecheck,
		Title:  "The recording has clicks or drop-outs",
		Causes: []string{"buffer too small or computer too busy", "bad digital cable or clock", "an intermittent joint, if it comes when the lead is moved"},
		Next:   []string{"Raise the buffer size, close other programs, record again.", "Wiggle the lead during a quiet take: if clicks follow, mend the lead or joint."},
	}, func(k result.Take) (string, bool) {
		words := fmt.Sprintf("%d steps", k.Facts.Steps)
		if at := k.Facts.FirstStepS; at != nil {
			words += fmt.Sprintf(", the first at %s s", num(*at, 2))
		}
		if k.Facts.NonFinite > 0 {
			words += fmt.Sprintf("; %d samples are not numbers", k.Facts.NonFinite)
		}
		explained := isClipped(k.Facts) || isGated(k) || isSunk(k) // their edges look like steps
		return words, k.Facts.Steps > 0 && !explained || k.Facts.NonFinite > 0
	})
}

func channels(r *result.Results) []result.Finding {
	out := inTakes(r, result.Finding{
		ID: "no signal", Severity: result.SeverityRecheck,
		Title:  "The recording holds no signal at all",
		Causes: []string{"wrong input armed", "lead not plugged in", "muted channel"},
		Next:   []string{"Check that the pickup's input is the one recorded and record again."},
	}, func(k result.Take) (string, bool) {
		return "digital silence on every channel", k.Facts.Dead && k.Test != "quiet"
	})
	out = append(out, secondChannel(r)...)
	if r.Stage.Capture.Channel != 0 {
		return out
	}
	most := usualChannel(r)
	if most > 1 {
		out = append(out, result.Finding{
			ID: "signal on another channel", Severity: result.SeverityNote, About: "capture",
			Title:    fmt.Sprintf("The signal is on channel %d", most),
			Evidence: []result.Evidence{fact("Channel %d is measured; channel 1 carries no pickup.", most)},
			Causes:   []string{"the pickup was plugged into another input than the first"},
			Next:     []string{"None needed if that was meant; capture.channel in stage.toml settles it."},
		})
	}
	return append(out, inTakes(r, result.Finding{
		ID: "signal on another channel", Severity: result.SeverityNote,
		Title:  "Some takes carry the signal on another channel than the rest",
		Causes: []string{"another input was used: its gain may differ"},
		Next:   []string{"If the two inputs' gains differ, record these takes again on the usual one."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("signal on channel %d of %d (%s), others on %d", k.Channel, k.Channels, k.ChannelReason, most),
			!k.Facts.Dead && k.Test != "quiet" && k.Channel != most
	})...)
}

// usualChannel is the channel that most takes with events were measured on;
// which channel of a silent take is louder says nothing.
func usualChannel(r *result.Results) int {
	used, most := map[int]int{}, 0
	for _, k := range r.Takes {
		if k.Facts != nil && !k.Facts.Dead && k.Test != "quiet" && k.Problem == "" {
			used[k.Channel]++
		}
	}
	for c := range used {
		if most == 0 || used[c] > used[most] || used[c] == used[most] && c < most {
			most = c
		}
	}
	return most
}

// secondChannel: a second channel that is dead or turned round is harmless as
// long as nobody mixes the two.
func secondChannel(r *result.Results) []result.Finding {
	inverted := inTakes(r, result.Finding{
		ID: "second channel inverted", Severity: result.SeverityNote,
		Title:  "The second channel is the first turned round",
		Causes: []string{"a balanced cable into two inputs", "a polarity switch or a recorder's stereo effect"},
		Next:   []string{"Never mix the two to mono: they cancel. Record one channel, and check that it is the one that is not turned."},
	}, func(k result.Take) (string, bool) {
		return "the two channels are one signal with opposite signs", k.Facts.OtherChannel == "inverted" && k.Test != "quiet"
	})
	return append(inverted, inTakes(r, result.Finding{
		ID: "second channel empty", Severity: result.SeverityNote,
		Title:  "One channel of the stereo recording is empty",
		Causes: []string{"a mono source recorded in stereo"},
		Next:   []string{"None needed; recording in mono saves half the space."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("channel %d is measured, another holds digital silence", k.Channel), k.Facts.OtherChannel == "dead" && !k.Facts.Dead
	})...)
}

// A recording that a lossy coder or a lower rate has cut off above falls by
// so much within a seventh of an octave or so. Common practice, no source:
// coders cut from 11 to 19 kHz, converters' own filters lie near half the rate.
const (
	cutLowHz  = 7000
	cutHighHz = 19000
	cutByDB   = 15
	cutOfRate = 0.42 // what lies above is the converter's filter
)

// cutOff: the noise of a silent take ends below what its rate can carry.
func cutOff(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "upper end cut off", Severity: result.SeverityNote,
		Title:  "The recording holds nothing above some frequency that its rate could carry",
		Causes: []string{"a lossy format (MP3, AAC, a phone's voice memo) that was turned into WAV", "converted from a lower sample rate"},
		Next:   []string{"Record straight to WAV with 24 bits; levels and pitch hold all the same, treble and noise do not."},
	}, func(k result.Take) (string, bool) {
		for _, q := range r.Quiet {
			for _, i := range q.Takes {
				if i < len(r.Takes) && r.Takes[i].File == k.File {
					hz, by, ok := cliff(q.PSD, float64(k.RateHz))
					return fmt.Sprintf("its background falls by %s dB near %s kHz, at a rate of %s kHz", num(by, 0), num(hz/1000, 1), num(float64(k.RateHz)/1000, 1)), ok
				}
			}
		}
		return "", false
	})
}

// cliff is the place where a spectrum falls most and does not rise again.
func cliff(p result.PSD, rateHz float64) (hz, byDB float64, ok bool) {
	for _, at := range p.Hz {
		if at < cutLowHz || at > math.Min(cutHighHz, cutOfRate*rateHz) {
			continue
		}
		below := levelsWithin(p, at/1.2, at)
		above := levelsWithin(p, 1.1*at, math.Inf(1))
		if len(below) < 5 || len(above) < 3 {
			continue
		}
		if by := stats.Median(below) - slices.Max(above); by > byDB {
			hz, byDB = at, by
		}
	}
	return hz, byDB, byDB >= cutByDB
}

func levelsWithin(p result.PSD, low, high float64) []float64 {
	var out []float64
	for i, hz := range p.Hz {
		if hz >= low && hz < high {
			out = append(out, p.DBFSPerHz[i])
		}
	}
	return out
}

func fewBits(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "few bits", Severity: result.SeverityNote,
		Title:  "The recording uses few bits, so its noise floor may be rounding",
		Causes: []string{"recorded or exported with 8 or 12 bits", "gain applied after a very quiet recording"},
		Next:   []string{"Record with 24 bits."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("%d bits in use", k.Facts.BitsUsed), k.Facts.BitsUsed > 0 && k.Facts.BitsUsed < 14 && !k.Facts.Dead
	})
}

func misnamed(r *result.Results) []result.Finding {
	if len(silentPickup(r)) > 0 {
		return nil
	}
	return inTakes(r, result.Finding{
		ID: "take may be misnamed", Severity: result.SeverityRecheck,
		Title:  "A recording does not sound like what its name says",
		Causes: []string{"file names swapped", "the wrong thing was recorded"},
		Next:   []string{"Listen to it; rename it or record it again. Until then the pickup is not judged by it."},
	}, func(k result.Take) (string, bool) {
		if !isMisnamed(r, k) {
			return "", false
		}
		sounds := "sounds like " + k.Contents.Looks
		if k.Contents.Looks == "unclear" {
			sounds = "sounds like a plucked string"
		}
		return fmt.Sprintf("named %s, %s (%s)", k.Test, sounds, k.Contents.Reason), true
	})
}

// isMisnamed tells whether a take holds something else than its name says.
func isMisnamed(r *result.Results, k result.Take) bool {
	c := k.Contents
	switch {
	case c == nil || c.Looks == k.Test || k.Facts == nil || k.Facts.Dead || isGated(k):
		return false
	case k.Test == "sweep" || k.Test == "sweep-reference" || c.Looks == "tap" && k.Facts.Steps > 0: // clicks sound like taps
		return false
	case c.Looks == "unclear":
		return k.Test == "tap" && (c.FallS >= stringFallS || atPitch(r, k)) && !ringOn(r) || k.Test == "tone" && likeString(r, k)
	case c.Looks == "quiet":
		// Its events may have been found all the same; and a tap take in which
		// nothing is heard may also be that of a dead disc.
		return k.Problem != "" && k.Test != "tap"
	case k.Test == "tap" && c.Looks == "pluck":
		return !ringOn(r)
	}
	return !asNamed(r, k)
}

// A tap falls by 20 dB within tapFallS; what takes stringFallS is none, unless
// the strings ring along; and what has harmonics so strong no
// fork. Common practice, no source.
const (
	tapFallS    = 0.15
	stringFallS = 0.35
	stringTHDDB = -20
)

// atPitch: it rings for a while at the pitch of a string, or at an overtone of
// its own.
func atPitch(r *result.Results, k result.Take) bool {
	if k.Contents.PitchHz <= 0 || k.Contents.FallS <= tapFallS {
		return false
	}
	for _, s := range r.Strings {
		overtones := 1.0
		if s.Number == k.String {
			overtones = 3
		}
		for n := 1.0; s.TargetHz != nil && n <= overtones; n++ {
			if math.Abs(k.Contents.PitchHz/(n**s.TargetHz)-1) < 0.02 {
				return true
			}
		}
	}
	return false
}

// likeString: the tone is off by a semitone or more and full of harmonics.
func likeString(r *result.Results, k result.Take) bool {
	for _, s := range r.Strings {
		if s.Number == k.String && s.Tone != nil && s.Tone.Cents.Known() && s.Tone.THDDB.Known() {
			return math.Abs(s.Tone.Cents.Estimate.Median) > 100 && s.Tone.THDDB.Estimate.Median > stringTHDDB
		}
	}
	return false
}

// ringOn: most tap takes ring on like plucks, because the strings were not
// damped. Names are mixed up in one take or two.
func ringOn(r *result.Results) bool {
	like, all := 0, 0
	for _, k := range r.Takes {
		if k.Test == "tap" && k.Contents != nil {
			all++
			if k.Contents.Looks == "pluck" || k.Contents.FallS >= stringFallS {
				like++
			}
		}
	}
	return 2*like > all
}

// asNamed tells whether plucks have their string's pitch, or a tone its
// nominal frequency: then a short note or an odd resonance only makes it sound
// like something else.
func asNamed(r *result.Results, k result.Take) bool {
	for _, s := range r.Strings {
		switch {
		case s.Number != k.String:
		case k.Test == "pluck" && s.Pluck != nil && s.Pluck.TargetGiven && s.Pluck.Cents.Known():
			return math.Abs(s.Pluck.Cents.Estimate.Median) < 100
		case k.Test == "tone" && s.Tone != nil && s.Tone.Cents.Known():
			return math.Abs(s.Tone.Cents.Estimate.Median) < 100
		}
	}
	return false
}

// swapped: a string's plucks have the pitch that another string should have.
// Taps have no pitch, so swapped tap takes cannot be told.
func swapped(r *result.Results) []result.Finding {
	if len(wrongRate(r)) > 0 {
		return nil
	}
	f := result.Finding{
		ID: "take may be misnamed", Severity: result.SeverityRecheck, About: "capture",
		Title:  "The plucks of one string have the pitch of another",
		Causes: []string{"file names swapped", "the wrong string was plucked, or tuned to another's note"},
		Next:   []string{"Listen to the take; rename it or record it again."},
	}
	for _, s := range r.Strings {
		other, ok := soundsLike(r, s)
		if !ok {
			continue
		}
		f.Strings = append(f.Strings, s.Number)
		f.Evidence = append(f.Evidence, fact("%s: plucked at %s, which is the pitch of %s.", upper(stringName(s)), said(s.Pluck.F1Hz, "Hz", 1), stringName(other)))
		for _, k := range s.Pluck.Takes {
			f.Takes = append(f.Takes, r.Takes[k].File)
		}
	}
	if len(f.Strings) == 0 {
		return nil
	}
	return []result.Finding{f}
}

// soundsLike is the other string whose target s was plucked at, within half a
// semitone, while its own is a semitone away or more.
func soundsLike(r *result.Results, s result.String) (result.String, bool) {
	if s.Pluck == nil || !s.Pluck.F1Hz.Known() || s.TargetHz == nil || offCents(s, *s.TargetHz) < 100 {
		return result.String{}, false
	}
	for _, o := range r.Strings {
		if o.Number != s.Number && o.TargetHz != nil && offCents(s, *o.TargetHz) < 50 {
			return o, true
		}
	}
	return result.String{}, false
}

func offCents(s result.String, hz float64) float64 {
	return math.Abs(1200 * math.Log2(s.Pluck.F1Hz.Estimate.Median/hz))
}
