package finding

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"saddlewise/analysis/result"
)

// withID is the first finding named id.
func withID(r *result.Results, id string) (result.Finding, bool) {
	i := slices.IndexFunc(r.Findings, func(f result.Finding) bool { return f.ID == id })
	if i < 0 {
		return result.Finding{}, false
	}
	return r.Findings[i], true
}

// straddlers move one measured quantity of string 2 to a median and half-width
// on the far side of its limit.
var straddlers = []struct {
	id     string
	key    string
	what   string
	sure   result.Severity
	change func(r *result.Results, half float64)
}{
	{"disc weak", "balance_db", "taps", result.SeverityStop, func(r *result.Results, half float64) {
		r.Strings[1].Tap.LevelDBFS, r.Strings[1].Pluck = quantity(-31, half, 8), nil
	}},
	{"disc loud", "balance_db", "taps", result.SeverityStop, func(r *result.Results, half float64) {
		r.Strings[1].Tap.LevelDBFS, r.Strings[1].Pluck = quantity(-19, half, 8), nil
	}},
	{"discs differ", "balance_db", "taps", result.SeverityStop, func(r *result.Results, half float64) {
		r.Strings = r.Strings[:2]
		r.Strings[1].Tap.LevelDBFS, r.Strings[1].Pluck = quantity(-31, half, 8), nil
	}},
	{"disc dull", "dull_alone_db", "taps", result.SeverityRecheck, func(r *result.Results, half float64) {
		r.Strings[1].Tap.Response = &result.TapResponse{HighDB: quantity(-20, half, 8)}
	}},
	{"short sustain", "t60_ratio", "plucks", result.SeverityNote, func(r *result.Results, half float64) {
		r.Strings[1].Pluck.T60S = quantity(1.2, half/3, 8)
	}},
	{"rattle", "rattle_rise_db", "plucks", result.SeverityRecheck, func(r *result.Results, half float64) {
		r.Strings[1].Pluck.RattleDB = quantity(-45, 9*half, 8)
	}},
	{"tone distorted", "thd_rise_db", "strikes", result.SeverityRecheck, func(r *result.Results, half float64) {
		for i := range r.Strings {
			r.Strings[i].Tone = &result.Tone{THDDB: quantity(-55, 0.5, 8)}
		}
		r.Strings[1].Tone.THDDB = quantity(-41, 1.5*half, 8)
	}},
	{"out of tune", "tuning_cents", "plucks", result.SeverityNote, func(r *result.Results, half float64) {
		r.Strings[1].Pluck.Cents = quantity(-13, 1.4*half, 8)
	}},
}

// TestIntervalsAgainstLimits: an interval beyond its limit is sure; one that
// reaches across it never says stop, and asks for a number of further events.
// The limit stands beside the number, with where it comes from.
func TestIntervalsAgainstLimits(t *testing.T) {
	for _, c := range straddlers {
		for _, half := range []float64{0.2, 4} {
			for _, given := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s, half-width %g, limit given %v", c.id, half, given), func(t *testing.T) {
					r := healthy()
					at := slices.IndexFunc(r.Stage.Limits, func(l result.Limit) bool { return l.Key == c.key })
					r.Stage.Limits[at].Given = given
					c.change(r, half)
					Judge(r)
					f, ok := withID(r, c.id)
					if !ok {
						t.Fatalf("not found among %v", r.Findings)
					}
					asks := strings.Contains(strings.Join(f.Next, " "), "further "+c.what)
					if across := half > 1; asks != across || across && f.Severity == result.SeverityStop || !across && f.Severity != c.sure {
						t.Errorf("%s, asks for more %v: %q", f.Severity, asks, f.Next)
					}
					whose := map[bool]string{false: "common practice", true: "set"}[given]
					e := f.Evidence[0]
					if e.Limit == nil || e.Limit.Key != c.key || !strings.Contains(e.Text, limitWords(*e.Limit)) || !strings.Contains(e.Text, whose) {
						t.Errorf("limit is not shown beside the number: %+v", e)
					}
				})
			}
		}
	}
}

// TestLimitsBeyondIntervals: facts without an interval show their limit too.
func TestLimitsBeyondIntervals(t *testing.T) {
	hum := func(odd, even float64) *result.Hum {
		return &result.Hum{MainsHz: 50, MainsNominal: 50, Certain: true, TotalDBFS: -50, OddDBFS: &odd, EvenDBFS: &even}
	}
	for _, c := range []struct {
		id, key string
		change  func(r *result.Results)
	}{
		{"hum by electric field", "hum_below_signal_db", func(r *result.Results) { r.Quiet[0].Hum = hum(-50, -70) }},
		{"hum from a supply or ground loop", "hum_below_signal_db", func(r *result.Results) { r.Quiet[0].Hum = hum(-70, -50) }},
		{"hum from missing ground", "hum_below_signal_db", func(r *result.Results) {
			r.Quiet[0].Hum = hum(-50, -70)
			r.Quiet = append(r.Quiet, result.Quiet{Hand: true})
		}},
		{"hiss", "hiss_below_signal_db", func(r *result.Results) {
			r.Quiet[0].FloorADBFS, r.Quiet[0].WithoutHumDBFS = quantity(-60, 0.1, 8), quantity(-60, 0.1, 8)
		}},
		{"low strings lost to input loading", "low_loss_db", func(r *result.Results) {
			r.Stage.Pickup = result.Pickup{Discs: 4, DiscNF: 20, CablePF: 300, InputOhm: 1e4, Prediction: &result.Prediction{CornerHz: 198, LowestHz: 65.4, LossDB: 10.1, OhmFor1DB: 6e4}}
		}},
		{"takes disagree", "takes_db", func(r *result.Results) {
			q := quantity(-25, 1, 8)
			for i := range q.Values {
				q.Values[i].Take, q.Values[i].Value = i/4, -25-4*float64(i/4)
			}
			r.Strings[1].Tap.LevelDBFS = q
		}},
		{"intermittent joint", "intermittent_db", func(r *result.Results) {
			r.Strings[1].Tap.LevelDBFS.Values[0].Value, r.Strings[1].Tap.LevelDBFS.Values[1].Value = -50, -48
		}},
		{"all strings off by the same", "tuning_cents", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Pluck.Cents = quantity(-30, 1, 4)
			}
		}},
		{"reference tone off", "tone_cents", func(r *result.Results) { r.Strings[0].Tone = &result.Tone{Cents: quantity(12, 0.1, 4)} }},
		{"strange resonance", "resonance_db", func(r *result.Results) {
			for i := range r.Strings {
				r.Strings[i].Tap.Response.AgainstMedianDB = bands(0, -1)
			}
			r.Strings[1].Tap.Response.AgainstMedianDB = bands(20, 20)
		}},
	} {
		t.Run(c.id, func(t *testing.T) {
			r := healthy()
			c.change(r)
			Judge(r)
			f, ok := withID(r, c.id)
			if !ok {
				t.Fatalf("not found among %v", r.Findings)
			}
			e := f.Evidence[0]
			if e.Limit == nil || e.Limit.Key != c.key || !strings.Contains(e.Text, "(common practice)") {
				t.Errorf("limit is not shown beside the number: %+v", e)
			}
			if len(f.Causes) == 0 || len(f.Next) == 0 {
				t.Errorf("no causes or nothing to try: %+v", f)
			}
		})
	}
}

// bands are 40 sixth-octave bands of which one is high.
func bands(db float64, at int) []result.Band {
	out := make([]result.Band, 40)
	for i := range out {
		q := quantity(0, 0.5, 8)
		if i == at {
			q = quantity(db, 0.5, 8)
		}
		out[i] = result.Band{MidHz: 200 * math.Exp2(float64(i)/8), LevelDB: q.Estimate.Median, N: 8, Interval: q.Estimate.Interval}
	}
	return out
}
