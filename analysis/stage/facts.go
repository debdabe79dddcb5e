package stage

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"saddlewise/analysis/signal"
)

// facts mirrors both TOML files; a nil field was not given.
type facts struct {
	Name       *string         `toml:"name"`
	Stage      *string         `toml:"stage"`
	Date       *toml.LocalDate `toml:"date"`
	NextStep   *string         `toml:"next_step"`
	Notes      *string         `toml:"notes"`
	Instrument struct {
		Strings []string `toml:"strings"`
		A4Hz    *float64 `toml:"a4_hz"`
	} `toml:"instrument"`
	Pickup struct {
		Discs    *int     `toml:"discs"`
		Wiring   *string  `toml:"wiring"`
		DiscNF   *float64 `toml:"disc_nf"`
		CablePF  *float64 `toml:"cable_pf"`
		InputOhm *float64 `toml:"input_ohm"`
	} `toml:"pickup"`
	Capture struct {
		Channel         *int     `toml:"channel"`
		MainsHz         *float64 `toml:"mains_hz"`
		FullScaleVolts  *float64 `toml:"full_scale_volts"`
		ReferenceToneHz *float64 `toml:"reference_tone_hz"`
	} `toml:"capture"`
	Stimulus struct {
		LowHz     *float64 `toml:"low_hz"`
		HighHz    *float64 `toml:"high_hz"`
		Seconds   *float64 `toml:"seconds"`
		LevelDBFS *float64 `toml:"level_dbfs"`
	} `toml:"stimulus"`
	Limits map[string]float64 `toml:"limits"`
	Takes  []takeFacts        `toml:"take"`
}

type takeFacts struct {
	File   string `toml:"file"`
	Test   string `toml:"test"`
	String any    `toml:"string"` // number or note name
}

// maxTOMLBytes bounds what is read of a TOML file.
const maxTOMLBytes = 1 << 20

// readFacts reads stage.toml over build.toml: the stage's values win.
func readFacts(dir string) (*facts, error) {
	var f facts
	if err := f.read(filepath.Join(filepath.Dir(dir), "build.toml")); err != nil {
		return nil, err
	}
	f.Takes = nil // names of files belong to the stage
	return &f, f.read(filepath.Join(dir, "stage.toml"))
}

func (f *facts) read(path string) error {
	name := filepath.Base(path)
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err == nil && info.Size() > maxTOMLBytes {
		return fmt.Errorf("%s is %d bytes long; it cannot be the facts of a build", name, info.Size())
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("%s cannot be read (check its permissions): %w", name, err)
	}
	return f.parse(name, text)
}

// parse reads text over what f already holds.
func (f *facts) parse(name string, text []byte) error {
	dec := toml.NewDecoder(strings.NewReader(string(text)))
	dec.DisallowUnknownFields()
	if err := dec.Decode(f); err != nil {
		return explain(name, err)
	}
	if err := f.check(); err != nil {
		return located(name, text, err)
	}
	return nil
}

// keyError is a value that is not allowed.
type keyError struct {
	section, key, text string
}

func (e keyError) Error() string { return e.text }

// check says which value is out of its range.
func (f *facts) check() error {
	if n := len(f.Instrument.Strings); n > 12 {
		return keyError{"instrument", "strings", fmt.Sprintf("strings lists %d strings; 1 to 12 are allowed", n)}
	}
	for _, note := range f.Instrument.Strings {
		if _, err := signal.ParseNote(note); err != nil {
			return keyError{"instrument", "strings", "strings: " + err.Error()}
		}
	}
	for key := range f.Limits {
		if !slices.ContainsFunc(Defaults(), func(l Limit) bool { return l.Key == key }) {
			return keyError{"limits", key, fmt.Sprintf("unknown key %q%s", key, suggestion(key, limitKeys()))}
		}
		if v := f.Limits[key]; math.IsNaN(v) || math.IsInf(v, 0) {
			return keyError{"limits", key, key + " must be a number"}
		}
	}
	if w := f.Pickup.Wiring; w != nil && *w != "parallel" && *w != "series" {
		return keyError{"pickup", "wiring", fmt.Sprintf("wiring is %q; \"parallel\" and \"series\" are allowed", *w)}
	}
	if m := f.Capture.MainsHz; m != nil && *m != 0 && *m != 50 && *m != 60 {
		return keyError{"capture", "mains_hz", fmt.Sprintf("mains_hz is %g; 50, 60 and 0 (find out) are allowed", *m)}
	}
	return f.checkRanges()
}

func (f *facts) checkRanges() error {
	whole := func(v *int) *float64 {
		if v == nil {
			return nil
		}
		x := float64(*v)
		return &x
	}
	for _, r := range []struct {
		section, key string
		value        *float64
		low, high    float64
	}{
		{"instrument", "a4_hz", f.Instrument.A4Hz, 300, 600},
		{"pickup", "discs", whole(f.Pickup.Discs), 1, 64},
		{"pickup", "disc_nf", f.Pickup.DiscNF, 0.01, 10000},
		{"pickup", "cable_pf", f.Pickup.CablePF, 0, 1e6},
		{"pickup", "input_ohm", f.Pickup.InputOhm, 100, 1e12},
		{"capture", "channel", whole(f.Capture.Channel), 0, 64},
		{"capture", "full_scale_volts", f.Capture.FullScaleVolts, 0, 1000},
		{"capture", "reference_tone_hz", f.Capture.ReferenceToneHz, 0, 20000},
		{"stimulus", "low_hz", f.Stimulus.LowHz, 1, 20000},
		{"stimulus", "high_hz", f.Stimulus.HighHz, 10, 200000},
		{"stimulus", "seconds", f.Stimulus.Seconds, 0.1, 600},
		{"stimulus", "level_dbfs", f.Stimulus.LevelDBFS, -100, 3},
	} {
		if v := r.value; v != nil && !(*v >= r.low && *v <= r.high) {
			return keyError{r.section, r.key, fmt.Sprintf("%s is %g; %g to %g is allowed", r.key, *v, r.low, r.high)}
		}
	}
	return nil
}

// stage turns facts and defaults into a stage without takes.
func (f *facts) stage(dir string) (*Stage, error) {
	st := &Stage{Dir: dir, Folder: filepath.Base(dir), A4Hz: 440}
	st.Name = or(f.Stage, st.Folder)
	st.Build, st.NextStep, st.Notes = or(f.Name, ""), or(f.NextStep, ""), or(f.Notes, "")
	if f.Date != nil {
		st.Date = f.Date.String()
	}
	st.A4Hz = or(f.Instrument.A4Hz, 440)
	for i, name := range f.Instrument.Strings {
		note, err := signal.ParseNote(name)
		if err != nil {
			return nil, err
		}
		st.Strings = append(st.Strings, String{i + 1, note.Name, note.Hz(st.A4Hz)})
	}
	st.Pickup = f.pickup(max(len(st.Strings), 1))
	st.Capture = Capture{or(f.Capture.Channel, 0), or(f.Capture.MainsHz, 0), or(f.Capture.FullScaleVolts, 0), or(f.Capture.ReferenceToneHz, 0)}
	st.Stimulus = Stimulus{or(f.Stimulus.LowHz, 0), or(f.Stimulus.HighHz, 0), or(f.Stimulus.Seconds, 0), or(f.Stimulus.LevelDBFS, 0)}
	st.Limits = Defaults()
	for i, l := range st.Limits {
		if v, ok := f.Limits[l.Key]; ok {
			st.Limits[i].Value, st.Limits[i].Given = v, true
		}
	}
	return st, nil
}

// pickup fills in defaults (common practice, no source) and says which.
func (f *facts) pickup(strs int) Pickup {
	p := Pickup{}
	assume := func(given bool, key string) {
		if !given {
			p.Assumed = append(p.Assumed, key)
		}
	}
	p.Discs = or(f.Pickup.Discs, strs)
	assume(f.Pickup.Discs != nil, "discs")
	p.Wiring = or(f.Pickup.Wiring, "parallel")
	assume(f.Pickup.Wiring != nil, "wiring")
	p.DiscNF = or(f.Pickup.DiscNF, 20)
	assume(f.Pickup.DiscNF != nil, "disc_nf")
	p.CablePF = or(f.Pickup.CablePF, 300)
	assume(f.Pickup.CablePF != nil, "cable_pf")
	p.InputOhm = or(f.Pickup.InputOhm, 1e6)
	assume(f.Pickup.InputOhm != nil, "input_ohm")
	return p
}

func or[T any](v *T, otherwise T) T {
	if v == nil {
		return otherwise
	}
	return *v
}
