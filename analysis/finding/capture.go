package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
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
			if k.String > 0 && !contains(f.Strings, k.String) {
				f.Strings = append(f.Strings, k.String)
			}
		}
	}
	if len(f.Takes) == 0 {
		return nil
	}
	return []result.Finding{f}
}

func contains(list []int, v int) bool {
	for _, x := range list {
		if x == v {
			return true
		}
	}
	return false
}

func unusable(r *result.Results) []result.Finding {
	f := result.Finding{
		ID: "take not used", Severity: result.SeverityRecheck, About: "capture",
		Title: "A recording could not be used",
		Next:  []string{"Record the take again under the same name."},
	}
	for _, k := range r.Takes {
		if k.Problem != "" {
			f.Takes = append(f.Takes, k.File)
			f.Evidence = append(f.Evidence, fact("%s", k.Problem))
			if k.String > 0 && !contains(f.Strings, k.String) {
				f.Strings = append(f.Strings, k.String)
			}
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
		if k.Facts.ClipRuns == 0 {
			return "", false
		}
		words := fmt.Sprintf("%d runs of 3 or more samples at one extreme value", k.Facts.ClipRuns)
		if lv := k.Facts.ClipLevelDB; lv != nil {
			words += fmt.Sprintf(", at %s dB re full scale", num(*lv, 1))
			if *lv < -0.5 {
				words += " (ahead of the converter)"
			}
		}
		return words, true
	})
}

func tooQuiet(r *result.Results) []result.Finding {
	limit := limitOf(r, "peak_low_db")
	return inTakes(r, result.Finding{
		ID: "recorded too quietly", Severity: result.SeverityNote,
		Title:  "The recording is quiet; its noise may be the interface's rather than the pickup's",
		Causes: []string{"input gain too low", "the line input was used instead of the instrument input"},
		Next:   []string{"Turn the input gain up, the same for all takes, until taps peak between −20 and −10 dB."},
	}, func(k result.Take) (string, bool) {
		if k.Test == "quiet" || k.Facts.Dead || math.IsInf(limit.Value, 1) {
			return "", false
		}
		return fmt.Sprintf("peaks at %s dB re full scale; limit %s dB", num(k.Facts.PeakDB, 1), num(limit.Value, 0)),
			k.Facts.PeakDB < limit.Value
	})
}

func offset(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "DC offset", Severity: result.SeverityNote,
		Title:  "The recording has a DC offset",
		Causes: []string{"the converter's or recorder's own offset", "leakage through an input capacitor"},
		Next:   []string{"None needed for these numbers: the offset is taken out. Try another input if it grows."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("%s %% of full scale", num(100*k.Facts.DCOffsetFS, 1)), math.Abs(k.Facts.DCOffsetFS) > 0.02
	})
}

func gated(r *result.Results) []result.Finding {
	return inTakes(r, result.Finding{
		ID: "recorder gate", Severity: result.SeverityRecheck,
		Title:  "The recorder mutes what is quiet, so noise, decay and weak taps cannot be judged",
		Causes: []string{"a noise gate or voice mode in the recorder or its software"},
		Next:   []string{"Turn the gate, noise reduction and voice processing off and record again."},
	}, func(k result.Take) (string, bool) {
		f := k.Facts
		return fmt.Sprintf("%d stretches of exact digital silence, %s s in all", f.ZeroRuns, num(f.ZeroSeconds, 2)),
			!f.Dead && f.ZeroSeconds > 0.05*k.DurationS && f.LongestZeroS > 0.05
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
		return words, k.Facts.Steps > 0 || k.Facts.NonFinite > 0
	})
}

func channels(r *result.Results) []result.Finding {
	out := inTakes(r, result.Finding{
		ID: "no signal", Severity: result.SeverityRecheck,
		Title:  "The recording holds no signal at all",
		Causes: []string{"wrong input armed", "lead not plugged in", "muted channel"},
		Next:   []string{"Check that the pickup's input is the one recorded and record again."},
	}, func(k result.Take) (string, bool) {
		return "digital silence on every channel", k.Facts.Dead
	})
	used := map[int]int{}
	for _, k := range r.Takes {
		if k.Facts != nil && !k.Facts.Dead {
			used[k.Channel]++
		}
	}
	if len(used) < 2 || r.Stage.Capture.Channel != 0 {
		return out
	}
	most := 0
	for c := range used {
		if used[c] > used[most] || used[c] == used[most] && c < most {
			most = c
		}
	}
	return append(out, inTakes(r, result.Finding{
		ID: "signal on another channel", Severity: result.SeverityNote,
		Title:  "Some takes carry the signal on another channel than the rest",
		Causes: []string{"another input was used: its gain may differ"},
		Next:   []string{"If the two inputs' gains differ, record these takes again on the usual one."},
	}, func(k result.Take) (string, bool) {
		return fmt.Sprintf("signal on channel %d of %d (%s), others on %d", k.Channel, k.Channels, k.ChannelReason, most),
			!k.Facts.Dead && k.Channel != most
	})...)
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
	return inTakes(r, result.Finding{
		ID: "take may be misnamed", Severity: result.SeverityRecheck,
		Title:  "A recording does not sound like what its name says",
		Causes: []string{"file names swapped", "the wrong thing was recorded"},
		Next:   []string{"Listen to it; rename it or record it again."},
	}, func(k result.Take) (string, bool) {
		c := k.Contents
		if c == nil || c.Looks == "unclear" || c.Looks == k.Test || k.Facts.Dead || k.Test == "sweep-reference" {
			return "", false
		}
		return fmt.Sprintf("named %s, sounds like %s (%s)", k.Test, c.Looks, c.Reason), true
	})
}
