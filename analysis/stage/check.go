package stage

import (
	"fmt"
	"math"
	"regexp"
	"strconv"

	"saddlewise/analysis/signal"
)

// check says which values are out of their ranges; lines tells where keys
// stand.
func (f *facts) check(lines map[string]int) []Fault {
	var faults []Fault
	fault := func(path, text string) { faults = append(faults, Fault{lines[path], path, path + " " + text}) }
	for path, v := range f.numbers() {
		if k, ok := findKey(path); ok && v != nil {
			if text := k.outside(*v); text != "" {
				fault(path, text)
			}
		}
	}
	if n := len(f.Instrument.Strings); f.Instrument.Strings != nil && (n < 1 || n > maxStrings) {
		fault("instrument.strings", fmt.Sprintf("lists %d strings; 1 to %d are allowed", n, maxStrings))
	}
	for _, note := range f.Instrument.Strings {
		if _, err := signal.ParseNote(note); err != nil {
			fault("instrument.strings", "holds "+err.Error())
		}
	}
	if w := f.Pickup.Wiring; w != nil && *w != "parallel" && *w != "series" && discsOf(*w) == 0 {
		fault("pickup.wiring", fmt.Sprintf(`is %q; "parallel", "series", and mixes such as "2s2p" (two in series, two such pairs in parallel) or "2p2s" are allowed`, *w))
	}
	return append(faults, f.contradictions(lines)...)
}

// contradictions are values that cannot stand together, in one file or, with
// no lines, in both.
func (f *facts) contradictions(lines map[string]int) []Fault {
	var faults []Fault
	if w, d := f.Pickup.Wiring, f.Pickup.Discs; w != nil && d != nil && discsOf(*w) != 0 && discsOf(*w) != *d {
		faults = append(faults, Fault{lines["pickup.wiring"], "pickup.wiring",
			fmt.Sprintf("pickup.wiring is %q, which takes %d discs, and discs is %d; correct one of them", *w, discsOf(*w), *d)})
	}
	if s := f.Stimulus; s.LowHz != nil && s.HighHz != nil && !(*s.LowHz < *s.HighHz) {
		faults = append(faults, Fault{lines["stimulus.high_hz"], "stimulus.high_hz",
			fmt.Sprintf("stimulus.high_hz is %g, not above low_hz, %g", *s.HighHz, *s.LowHz)})
	}
	return faults
}

// maxStrings is what an instrument may have.
const maxStrings = 12

// outside says that v is out of the key's range; empty where it is not.
func (k key) outside(v float64) string {
	switch {
	case k.path == "capture.mains_hz":
		if v == 0 || v == 50 || v == 60 {
			return ""
		}
		return fmt.Sprintf("is %g Hz; 50, 60 and 0 (find out) are allowed", v)
	case k.path == "response.bands_per_octave":
		if v == 3 || v == 6 || v == 12 {
			return ""
		}
		return fmt.Sprintf("is %g; 3, 6 and 12 are allowed", v)
	case v >= k.low && v <= k.high, k.zero && v == 0:
		return ""
	}
	also := ""
	if k.zero {
		also = ", or 0 for unknown,"
	}
	unit := k.unit
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("is %g%s; %g to %g%s%s is allowed", v, unit, k.low, k.high, unit, also)
}

// numbers are all the numbers in the facts, by path.
func (f *facts) numbers() map[string]*float64 {
	all := map[string]*float64{
		"instrument.a4_hz":          f.Instrument.A4Hz,
		"pickup.discs":              asFloat(f.Pickup.Discs),
		"pickup.disc_nf":            f.Pickup.DiscNF,
		"pickup.cable_pf":           f.Pickup.CablePF,
		"pickup.input_pf":           f.Pickup.InputPF,
		"pickup.input_ohm":          f.Pickup.InputOhm,
		"capture.channel":           asFloat(f.Capture.Channel),
		"capture.mains_hz":          f.Capture.MainsHz,
		"capture.full_scale_volts":  f.Capture.FullScaleVolts,
		"capture.reference_tone_hz": f.Capture.ReferenceToneHz,
		"response.bands_per_octave": asFloat(f.Response.BandsPerOctave),
		"stimulus.low_hz":           f.Stimulus.LowHz,
		"stimulus.high_hz":          f.Stimulus.HighHz,
		"stimulus.seconds":          f.Stimulus.Seconds,
		"stimulus.level_dbfs":       f.Stimulus.LevelDBFS,
	}
	for name, v := range f.Limits {
		all["limits."+name] = &v
	}
	return all
}

func asFloat(v *int) *float64 {
	if v == nil {
		return nil
	}
	x := float64(*v)
	return &x
}

// mixed is a mixed wiring: so many in series (or parallel), so many such
// groups in parallel (or series).
var mixed = regexp.MustCompile(`^([1-9][0-9]?)(?:s([1-9][0-9]?)p|p([1-9][0-9]?)s)$`)

// discsOf is how many discs a mixed wiring takes, 0 for any other.
func discsOf(wiring string) int {
	m := mixed.FindStringSubmatch(wiring)
	if m == nil {
		return 0
	}
	each, err1 := strconv.Atoi(m[1])
	groups, err2 := strconv.Atoi(m[2] + m[3])
	if err1 != nil || err2 != nil || each*groups > math.MaxInt8 {
		return 0
	}
	return each * groups
}
