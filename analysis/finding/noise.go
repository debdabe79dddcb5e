package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// quietest gives the silence without and with a hand on the ground.
func quietest(r *result.Results) (open, hand *result.Quiet) {
	for i := range r.Quiet {
		switch q := &r.Quiet[i]; {
		case q.Hand:
			hand = q
		case open == nil:
			open = q
		}
	}
	return open, hand
}

// signal is the median pluck level of the strings, else tap level: what noise
// has to stay below.
func signal(r *result.Results) (levelDBFS float64, what string) {
	var plucks, taps []float64
	for _, s := range r.Strings {
		if s.Pluck != nil && s.Pluck.LevelDBFS.Known() {
			plucks = append(plucks, s.Pluck.LevelDBFS.Estimate.Median)
		}
		if s.Tap != nil && s.Tap.LevelDBFS.Known() && !isDead(s) {
			taps = append(taps, s.Tap.LevelDBFS.Estimate.Median)
		}
	}
	if len(plucks) > 0 {
		return stats.Median(plucks), "plucks"
	}
	return stats.Median(taps), "taps"
}

// hum judges mains hum against the signal and reads its pattern.
func hum(r *result.Results) []result.Finding {
	open, hand := quietest(r)
	limit := limitOf(r, "hum_below_signal_db")
	level, what := signal(r)
	if open == nil || open.Hum == nil || !open.Hum.Certain || math.IsNaN(level) || len(silentPickup(r)) > 0 {
		return nil
	}
	gap := level - open.Hum.TotalDBFS
	if gap >= limit.Value {
		return nil
	}
	f := result.Finding{
		ID: "hum", Severity: result.SeverityRecheck, About: "pickup",
		Title: fmt.Sprintf("Hum is only %s dB below the %s", num(gap, 0), what),
		Evidence: []result.Evidence{against(limit, "Mains at %s Hz, %d lines, %s dBFS in all; median of the %s %s dBFS, which is %s dB more",
			num(open.Hum.MainsHz, 2), len(open.Hum.Lines), num(open.Hum.TotalDBFS, 1), what, num(level, 1), num(gap, 1))},
	}
	explainHum(&f, open, hand)
	return []result.Finding{f}
}

// explainHum reads odd and even harmonics and the effect of a hand.
func explainHum(f *result.Finding, open, hand *result.Quiet) {
	falls := hand != nil && (hand.Hum == nil || hand.Hum.TotalDBFS < open.Hum.TotalDBFS-3)
	if hand != nil && hand.Hum != nil {
		f.Evidence = append(f.Evidence, fact("A hand on the ground changes it by %s dB.", num(hand.Hum.TotalDBFS-open.Hum.TotalDBFS, 1)))
	}
	odd, even := open.Hum.OddDBFS, open.Hum.EvenDBFS
	supply := odd != nil && even != nil && *even > *odd+3
	switch {
	case supply:
		f.ID = "hum from a supply or ground loop"
		f.Evidence = append(f.Evidence, fact("Even harmonics are stronger than odd ones (%s against %s dBFS), as from a rectifier.", num(*even, 1), num(*odd, 1)))
		f.Causes = []string{"a power supply, charger or dimmer nearby", "a ground loop between computer and amplifier"}
		f.Next = []string{"Run the computer from its battery and unplug chargers.", "Use one power strip for all devices, or an isolating device in the audio line. Never lift a protective earth; have mains wiring and amplifiers looked at by a qualified electrician."}
	case falls:
		f.ID = "hum from missing ground"
		f.Causes = []string{"strings or bridge are not grounded, so the body is an antenna", "unshielded leads between discs and jack"}
		f.Next = []string{"Ground the strings or the bridge to the jack's sleeve.", "Shield the discs' leads and the wire pocket, with the shield on the sleeve, before it is potted."}
	default:
		f.ID = "hum by electric field"
		f.Causes = []string{"unshielded leads or discs", "a lamp or mains lead close by", "hot and ground swapped at the jack"}
		f.Next = []string{"Move away from lamps and mains leads and record silence again.", "Check that the discs' outer faces are the grounded ones.", "Shield the leads and the wire pocket before it is potted."}
	}
}

// humInOneTake: the background is much louder in one take than in the others:
// the hand was off the ground, or something was switched on.
func humInOneTake(r *result.Results) []result.Finding {
	var levels []float64
	for _, k := range r.Takes {
		if k.NoiseDBFS != nil && !k.Hand {
			levels = append(levels, *k.NoiseDBFS)
		}
	}
	if len(levels) < 4 {
		return nil
	}
	mid, limit := stats.Median(levels), limitOf(r, "hum_take_db")
	return inTakes(r, result.Finding{
		ID: "hum louder in one take", Severity: result.SeverityNote,
		Title:  "The background, most likely hum, is louder in some takes than in the others",
		Causes: []string{"the hand was off the strings or the ground in this take", "a lamp or charger was switched on", "the gain was turned up"},
		Next:   []string{"Keep one hand on the ground in every take, or in none.", "Record this take again."},
	}, func(k result.Take) (string, bool) {
		if k.NoiseDBFS == nil || k.Hand && *k.NoiseDBFS < mid {
			return "", false
		}
		return fmt.Sprintf("background %s dBFS, median of the takes %s, which is %s dB less; %s", num(*k.NoiseDBFS, 1), num(mid, 1), num(*k.NoiseDBFS-mid, 1), limitWords(limit)),
			*k.NoiseDBFS > mid+limit.Value
	})
}

// hiss: the A-weighted floor without hum is too near the signal.
func hiss(r *result.Results) []result.Finding {
	open, _ := quietest(r)
	limit := limitOf(r, "hiss_below_signal_db")
	level, what := signal(r)
	if open == nil || !open.FloorADBFS.Known() || math.IsNaN(level) || len(silentPickup(r)) > 0 {
		return nil
	}
	gap := level - open.FloorADBFS.Estimate.Median
	if gap >= limit.Value || humAlone(open, level-limit.Value) {
		return nil
	}
	return []result.Finding{{
		ID: "hiss", Severity: result.SeverityNote, About: "capture",
		Title:    fmt.Sprintf("Noise, A-weighted, is only %s dB below the %s", num(gap, 0), what),
		Evidence: []result.Evidence{judged("A-weighted floor "+said(open.FloorADBFS, "dBFS", 1)+fmt.Sprintf("; median of the %s %s dBFS, which is %s dB more", what, num(level, 1), num(gap, 1)), open.FloorADBFS, "dBFS", limit)},
		Causes:   []string{"a line or microphone input instead of an instrument input: its hiss is louder than the pickup", "gain too low", "a resistor or leaky joint across the discs"},
		Next:     []string{"Use the instrument (high-impedance) input and more gain.", "Record silence with the lead unplugged: if hiss stays, it is the input's."},
	}}
}

// humAlone tells whether the floor would be low enough without its hum, whose
// upper harmonics the A-weighting lets through.
func humAlone(q *result.Quiet, wantedDBFS float64) bool {
	return q.Hum != nil && q.WithoutHumDBFS.Known() && q.WithoutHumDBFS.Estimate.Median < wantedDBFS
}

// lowLoss: the input loads the discs and eats the bass.
func lowLoss(r *result.Results) []result.Finding {
	p, limit := r.Stage.Pickup.Prediction, limitOf(r, "low_loss_db")
	if p == nil || p.LowestHz <= 0 || p.LossDB <= limit.Value {
		return nil
	}
	f := result.Finding{
		ID: "low strings lost to input loading", Severity: result.SeverityNote, About: "pickup",
		Title: fmt.Sprintf("The input loads the discs: the lowest string loses %s dB", num(p.LossDB, 1)),
		Evidence: []result.Evidence{against(limit, "Corner %s Hz from %d discs of %s nF, %s pF of cable and %s ohm; lowest string, %s Hz, loses %s dB",
			num(p.CornerHz, 1), r.Stage.Pickup.Discs, num(r.Stage.Pickup.DiscNF, 1), num(r.Stage.Pickup.CablePF, 0),
			ohms(r.Stage.Pickup.InputOhm), num(p.LowestHz, 1), num(p.LossDB, 1))},
		Causes: []string{"input resistance too low for this capacitance"},
		Next:   []string{fmt.Sprintf("Use an input of %s ohm or more, or a buffer stage close to the discs.", ohms(p.OhmFor1DB))},
	}
	if len(r.Stage.Pickup.Assumed) > 0 {
		f.Evidence = append(f.Evidence, fact("Rests on defaults (common practice) for %s: measure them, or give them in build.toml.", joined(r.Stage.Pickup.Assumed)))
	}
	return []result.Finding{f}
}

func ohms(v float64) string {
	switch {
	case v >= 1e6:
		return num(v/1e6, decimals(math.Round(v/1e5)/10)) + " M"
	case v >= 1e3:
		return num(v/1e3, 0) + " k"
	default:
		return num(v, 0) + " "
	}
}
