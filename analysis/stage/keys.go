package stage

import (
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// key is one key that both TOML files know. Ranges are what a build can have
// with room to spare; they catch slips of the unit.
type key struct {
	path      string // section and name, "name" alone at the top
	kind      kind
	unit      string
	low, high float64 // of a number
	zero      bool    // 0 is allowed, too: unknown
}

// kind is what a key's value must be.
type kind int

const (
	isText kind = iota
	isNumber
	isWhole
	isFlag
	isDate
	isTexts
	isString
)

// example completes "must be".
func (k kind) example() string {
	switch k {
	case isNumber:
		return "a number"
	case isWhole:
		return "a whole number"
	case isFlag:
		return "true or false"
	case isDate:
		return "a date without quotes, such as 2026-03-14"
	case isTexts:
		return `a list of note names, such as ["A3", "D3"]`
	case isString:
		return `a string's number or its note name in quotes, such as 2 or "A3"`
	}
	return "text in quotes"
}

// takes tells whether a value of that TOML kind will do.
func (k kind) takes(v unstable.Kind) bool {
	switch k {
	case isNumber:
		return v == unstable.Float || v == unstable.Integer
	case isWhole:
		return v == unstable.Integer
	case isFlag:
		return v == unstable.Bool
	case isDate:
		return v == unstable.LocalDate
	case isTexts:
		return v == unstable.Array
	case isString:
		return v == unstable.Integer || v == unstable.String
	}
	return v == unstable.String
}

var keyTable = []key{
	{path: "name", kind: isText},
	{path: "stage", kind: isText},
	{path: "date", kind: isDate},
	{path: "next_step", kind: isText},
	{path: "notes", kind: isText},
	{path: "instrument.strings", kind: isTexts},
	{path: "instrument.a4_hz", kind: isNumber, unit: "Hz", low: 300, high: 600},
	{path: "pickup.discs", kind: isWhole, low: 1, high: 64},
	{path: "pickup.wiring", kind: isText},
	{path: "pickup.disc_nf", kind: isNumber, unit: "nF", low: 0.01, high: 10000},
	{path: "pickup.cable_pf", kind: isNumber, unit: "pF", low: 0, high: 1e6},
	{path: "pickup.input_pf", kind: isNumber, unit: "pF", low: 0, high: 1e6},
	{path: "pickup.input_ohm", kind: isNumber, unit: "ohm", low: 100, high: 1e12},
	{path: "capture.channel", kind: isWhole, low: 0, high: 64},
	{path: "capture.mains_hz", kind: isNumber, unit: "Hz"},
	{path: "capture.full_scale_volts", kind: isNumber, unit: "V", low: 0, high: 1000},
	{path: "capture.reference_tone_hz", kind: isNumber, unit: "Hz", low: 20, high: 20000, zero: true},
	{path: "response.bands_per_octave", kind: isWhole},
	{path: "stimulus.low_hz", kind: isNumber, unit: "Hz", low: 1, high: 20000},
	{path: "stimulus.high_hz", kind: isNumber, unit: "Hz", low: 10, high: 200000},
	{path: "stimulus.seconds", kind: isNumber, unit: "s", low: 0.1, high: 600},
	{path: "stimulus.level_dbfs", kind: isNumber, unit: "dBFS", low: -100, high: 3},
	{path: "take.file", kind: isText},
	{path: "take.test", kind: isText},
	{path: "take.string", kind: isString},
	{path: "take.hand", kind: isFlag},
}

// keys are all keys, limits included.
func keys() []key {
	out := slices.Clone(keyTable)
	for _, l := range limitTable {
		out = append(out, key{path: "limits." + l.key, kind: isNumber, unit: l.unit, low: l.low, high: l.high})
	}
	return out
}

// findKey is the key at path.
func findKey(path string) (key, bool) {
	all := keys()
	i := slices.IndexFunc(all, func(k key) bool { return k.path == path })
	if i < 0 {
		return key{}, false
	}
	return all[i], true
}

// namesIn lists the names known in a section; at the top, section "", the
// sections are among them.
func namesIn(section string) []string {
	var out []string
	for _, k := range keys() {
		in, name, deep := strings.Cut(k.path, ".")
		switch {
		case !deep && section == "":
			out = append(out, in)
		case deep && section == "" && !slices.Contains(out, in):
			out = append(out, in)
		case deep && in == section:
			out = append(out, name)
		}
	}
	return out
}

// isSection tells whether some key lies in it.
func isSection(name string) bool {
	return slices.ContainsFunc(keys(), func(k key) bool { return strings.HasPrefix(k.path, name+".") })
}
