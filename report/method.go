package report

import (
	"fmt"
	"strings"

	"saddlewise/analysis/result"
)

var methods = []struct{ term, words string }{
	{"Levels", "dBFS re a full-scale sine, which has 0 dBFS RMS (AES17). Peaks are dB re full scale."},
	{"Intervals", "median of the events with an interpolated order-statistic interval at 95 % from six events on " +
		"(Hettmansperger & Sheather 1986); from three to five events their whole range, whose exact coverage is printed; below three, none. " +
		"Where pitches or sustains agree better than each pluck's own interval allows, what is missing is added in squares; where that is nearly all, the interval states 95 %."},
	{"Tap level", "RMS over the 50 ms from onset, noise power subtracted. Pluck level: RMS over 500 ms from 20 ms after onset."},
	{"Balance", "a string's median level less the mean of all strings' medians. Tap, pluck and tone balance are three different facts."},
	{"First motion", "sign of the first motion of each tap, by vote, against the majority of the strings. All alike negative means only that the chain inverts."},
	{"Pitch", "f1 from a joint fit of the partials f_n = n f0 sqrt(1 + B n²), after the attack has settled. Cents are 1200 log2(f1/target)."},
	{"Sustain", "T60 of the fundamental from the range −5 to −25 dB, times three (the T20 range of ISO 3382-1), with the noise in the fit. Below 25 dB of range it cannot be told."},
	{"Noise floor", "20 Hz to 20 kHz, unweighted and A-weighted (IEC 61672-1), by Welch's method. Hum: lines at multiples of the mains frequency found in the recording."},
	{"Tap response", "energy in fractional-octave bands (IEC 61260-1), each tap normalised to its own energy from 200 Hz to 2 kHz. It is the pickup's response times the tap's own spectrum: for comparison, not absolute."},
	{"Sweep", "response by deconvolution of an exponential sine sweep (Farina 2000, 2007), clocks compared and corrected, re its own mean from 200 Hz to 2 kHz. " +
		"Harmonics are re the fundamental at the same moment; Q is a peak's frequency over its width 3 dB down; the low corner is a first-order fit."},
	{"Input", "discs are voltage sources behind their capacitance (ANSI/IEEE 176); with the input's resistance they make a first-order high-pass with its corner at 1/(2πRC)."},
	{"Tone", "THD is harmonics 2 to 10 re the fundamental; a fork's clang mode, near 6.27 times the fundamental, is left out."},
}

func writeMethod(b *strings.Builder, r *result.Results) {
	b.WriteString("## Method\n\n")
	for _, m := range methods {
		fmt.Fprintf(b, "- **%s**: %s\n", m.term, m.words)
	}
	b.WriteString("\n")
	if len(r.Verdict.Unknown) > 0 {
		b.WriteString("These recordings cannot show:\n\n")
		writeList(b, "", r.Verdict.Unknown, false)
		b.WriteString("\n")
	}
}

// writeCautions gives the cautions of the step at hand.
func writeCautions(b *strings.Builder, r *result.Results) {
	b.WriteString("## Cautions\n\n")
	step := strings.ToLower(r.Stage.NextStep)
	if step == "" || strings.Contains(step, "glu") || strings.Contains(step, "pot") || strings.Contains(step, "epoxy") {
		b.WriteString("- Fast epoxy heats up and expands, in a flooded pocket most of all: thin layers, gloves, eye protection, " +
			"ventilation, away from skin. Follow the product's safety sheet.\n")
	}
	b.WriteString("- Rework with the iron: solder fume and lead, a hot tip, no flame near heat shrink and solvents.\n" +
		"- A tapped, dropped or heated piezo disc makes tens of volts or more: plug in with gain down and phantom power off, touch the leads together first.\n" +
		"- Turn the monitors down before tapping. Strings under tension: eye protection.\n" +
		"- Where hum changes with earthing, never lift a protective earth: use battery power or an isolating device, and have mains wiring and amplifiers looked at by a qualified electrician. Local codes come first.\n\n")
}
