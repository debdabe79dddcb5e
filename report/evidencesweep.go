package report

import (
	"fmt"
	"math"
	"strings"

	"saddlewise/analysis/result"
)

// sweepWords are what each sweep tells beyond its pictures.
func sweepWords(r *result.Results) string {
	var b strings.Builder
	for _, s := range r.Sweeps {
		if len(s.Hz) == 0 {
			continue
		}
		at := "Whole bridge"
		if s.String > 0 {
			at = "String " + sweptString(r, s.String)
		}
		fmt.Fprintf(&b, "%s, compared with %s. Clocks: %s. Window of the response: %s.\n\n", escape(at), escape(s.Reference), clockWords(s), escape(s.Window))
		for _, n := range s.Notes {
			fmt.Fprintf(&b, "Limited: %s.\n\n", escape(n))
		}
		b.WriteString(byFrequency(s))
		if text := resonanceTable(s); text != "" {
			b.WriteString("\n" + text)
		} else {
			b.WriteString("\nNo resonance stands 3 dB out of what lies beside it.\n")
		}
		b.WriteString("\n" + causeWords(r.Stage.Pickup, s))
	}
	return b.String()
}

func clockWords(s result.Sweep) string {
	if s.ClockSEPPM == 0 {
		return "not compared"
	}
	return fmt.Sprintf("the recorder's ran %s ppm off the player's (standard error %s ppm), corrected", signed(s.ClockPPM, 1), plain(s.ClockSEPPM, 1))
}

// tabledHz are the frequencies that the table by frequency shows.
var tabledHz = []float64{20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000}

// byFrequency is a sweep in numbers.
func byFrequency(s result.Sweep) string {
	t := table{
		head:  []string{"Hz", "response dB", "group delay ms", "S/N dB", "2nd dB", "3rd dB", "4th dB", "5th dB"},
		right: []bool{true, true, true, true, true, true, true, true},
	}
	for _, hz := range tabledHz {
		i := nearestHz(s.Hz, hz)
		if i < 0 {
			continue
		}
		cells := []string{hzLabel(hz), valueAt(s.MagnitudeDB, i, 1), valueAt(s.GroupDelayMS, i, 2), valueAt(s.SNRDB, i, 0)}
		for order := 2; order <= 5; order++ {
			cells = append(cells, distortionAt(s.Distortion, order, hz))
		}
		t.add(cells...)
	}
	return t.String() + "\nHarmonics of orders 2 to 5 are re the fundamental at the same moment, each over a twelfth of an octave; " +
		"an empty cell lies outside the band, or noise would move it by more than 0.25 dB.\n"
}

// nearestHz is the index of the frequency within 3 % of hz, or -1.
func nearestHz(list []float64, hz float64) int {
	best := -1
	for i, f := range list {
		if d := math.Abs(math.Log(f / hz)); d < 0.03 && (best < 0 || d < math.Abs(math.Log(list[best]/hz))) {
			best = i
		}
	}
	return best
}

func valueAt(values []float64, i, digits int) string {
	if i >= len(values) || !finite(values[i]) {
		return ""
	}
	return plain(values[i], digits)
}

func distortionAt(list []result.Distortion, order int, hz float64) string {
	for _, d := range list {
		if d.Order == order {
			if i := nearestHz(d.Hz, hz); i >= 0 {
				return valueAt(d.LevelDB, i, 1)
			}
		}
	}
	return ""
}

func resonanceTable(s result.Sweep) string {
	if len(s.Peaks) == 0 {
		return ""
	}
	t := table{head: []string{"resonance Hz", "level dB", "Q"}, right: []bool{true, true, true}}
	for _, k := range s.Peaks {
		t.add(plain(k.Hz, 0), signed(k.LevelDB, 1), plain(k.Q, 1))
	}
	return t.String()
}

// causeWords solve the circuit for the measured corner.
func causeWords(p result.Pickup, s result.Sweep) string {
	c := s.CornerCause
	if c == nil {
		return ""
	}
	var b strings.Builder
	if c.OhmAcross.Known() {
		fmt.Fprintf(&b, "The corner of %s Hz is what %s across all %s would make (%s); ", measuredCorner(s),
			Ohm(c.OhmAcross.Estimate.Median), counted(c.Discs, "disc"), ohmRange(c.OhmAcross))
	} else {
		fmt.Fprintf(&b, "Of the low end: %s; ", s.CornerHz.Reason)
	}
	fmt.Fprintf(&b, "the stage says %s. %s", Ohm(c.InputOhm), workingWords(c))
	fmt.Fprintf(&b, " Discs are taken to be within %.0f %%. Player, exciter and recorder have low ends of their own, which this counts too.%s\n\n", 100*c.DiscTolerance, restsOn(p))
	return b.String()
}

func measuredCorner(s result.Sweep) string {
	est := s.CornerHz.Estimate
	if est.Interval == nil {
		return Figures(est.Median)
	}
	return fmt.Sprintf("%s (%s to %s)", Figures(est.Median), Figures(est.Interval.Low), Figures(est.Interval.High))
}

func ohmRange(q result.Quantity) string {
	iv := q.Estimate.Interval
	return Ohm(iv.Low) + " to " + Ohm(iv.High)
}

// workingWords say which numbers of working discs explain the corner, if the
// input is as given.
func workingWords(c *result.CornerCause) string {
	if len(c.WorkingDiscs) == 0 {
		return "How many discs work cannot be told for this wiring."
	}
	var fit []string
	all := false
	for _, w := range c.WorkingDiscs {
		if w.Fits {
			fit = append(fit, fmt.Sprint(w.Count))
			all = all || w.Count == c.Discs
		}
	}
	switch {
	case len(fit) == 0:
		return "With that input no number of working discs explains it."
	case all && len(fit) == 1:
		return fmt.Sprintf("With that input it fits all %s working, and no other number.", counted(c.Discs, "disc"))
	case all:
		return fmt.Sprintf("With that input it fits all %s working; %s working would fit too.", counted(c.Discs, "disc"), listWords(fit[:len(fit)-1]))
	}
	return fmt.Sprintf("With that input it fits %s of %s working.", listWords(fit), counted(c.Discs, "disc"))
}

// restsOn says which facts of the pickup are defaults.
func restsOn(p result.Pickup) string {
	if len(p.Assumed) == 0 {
		return ""
	}
	return fmt.Sprintf(" Rests on defaults (common practice, no source): %s.", escape(listWords(p.Assumed)))
}

// inputWords say what discs, cable and input predict.
func inputWords(r *result.Results) string {
	p := r.Stage.Pickup.Prediction
	if p == nil {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Predicted for %s into %s: corner %s Hz; %s dB lost to the cable at every frequency.", escape(circuitWords(r.Stage.Pickup)),
		Ohm(r.Stage.Pickup.InputOhm), Figures(p.CornerHz), plain(p.CableDivisionDB, 2))
	if len(p.Strings) > 0 {
		var losses []string
		for _, s := range p.Strings {
			losses = append(losses, fmt.Sprintf("%d %s %s", s.Number, s.Note, plain(s.LossDB, 2)))
		}
		fmt.Fprintf(&b, " Loss on the open strings in dB: %s. The lowest would lose 1 dB with %s.", escape(listWords(losses)), Ohm(p.OhmFor1DB))
	}
	b.WriteString(restsOn(r.Stage.Pickup) + "\n\n")
	return b.String()
}

// responseWords summarise the tap response in three ranges.
func responseWords(r *result.Results) string {
	e := &evidence{first: "string", extra: "taps agree within dB"}
	bands := 0
	for _, s := range r.Strings {
		if s.Tap == nil || s.Tap.Response == nil {
			continue
		}
		t := s.Tap.Response
		if e.measures == nil {
			bands = t.BandsPerOctave
			for _, m := range []struct {
				name string
				hz   [2]float64
			}{{"low", t.LowRangeHz}, {"mid", t.MidRangeHz}, {"high", t.HighRangeHz}} {
				e.measures = append(e.measures, measure{name: m.name + ", " + rangeWords(m.hz) + ",", unit: "dB", digits: 1, signed: true})
			}
		}
		agree := ""
		if t.AgreementDB != nil {
			agree = plain(*t.AgreementDB, 1)
		}
		e.rows = append(e.rows, evidenceRow{stringName(s), []result.Quantity{t.LowDB, t.MidDB, t.HighDB}, agree})
	}
	if len(e.rows) == 0 {
		return ""
	}
	return fmt.Sprintf("Tap response in three ranges, re each tap's own energy from 200 Hz to 2 kHz. Taps agree within: standard deviation between "+
		"the taps of a string, median of the bands of 1/%d octave.\n\n%s\n", bands, e)
}
