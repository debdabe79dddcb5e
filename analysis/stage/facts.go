package stage

import (
	"fmt"
	"path/filepath"

	"github.com/pelletier/go-toml/v2"

	"saddlewise/analysis/signal"
)

// facts mirrors both TOML files; a nil field was not given. keyTable says
// what each may hold.
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
		InputPF  *float64 `toml:"input_pf"`
		InputOhm *float64 `toml:"input_ohm"`
	} `toml:"pickup"`
	Capture struct {
		Channel         *int     `toml:"channel"`
		MainsHz         *float64 `toml:"mains_hz"`
		FullScaleVolts  *float64 `toml:"full_scale_volts"`
		ReferenceToneHz *float64 `toml:"reference_tone_hz"`
	} `toml:"capture"`
	Response struct {
		BandsPerOctave *int `toml:"bands_per_octave"`
	} `toml:"response"`
	Stimulus struct {
		LowHz     *float64 `toml:"low_hz"`
		HighHz    *float64 `toml:"high_hz"`
		Seconds   *float64 `toml:"seconds"`
		LevelDBFS *float64 `toml:"level_dbfs"`
	} `toml:"stimulus"`
	Limits map[string]float64 `toml:"limits"`
	Takes  []takeFacts        `toml:"take"`
}

// takeFacts is one [[take]].
type takeFacts struct {
	File   string `toml:"file"`
	Test   string `toml:"test"`
	String any    `toml:"string"` // number or note name
	Hand   bool   `toml:"hand"`

	line   int  // of the entry in stage.toml
	common bool // from build.toml: meant for the stages that have the file
}

// stage turns facts and defaults into a stage without takes.
func (f *facts) stage(dir string) (*Stage, error) {
	st := &Stage{Dir: dir, Folder: filepath.Base(dir)}
	st.Name = or(f.Stage, st.Folder)
	st.Build, st.NextStep, st.Notes = or(f.Name, ""), or(f.NextStep, ""), or(f.Notes, "")
	if f.Date != nil {
		st.Date = f.Date.String()
	}
	st.A4Hz = or(f.Instrument.A4Hz, 440)
	for i, name := range f.Instrument.Strings {
		note, err := signal.ParseNote(name)
		if err != nil {
			return nil, fmt.Errorf("instrument.strings: %w", err)
		}
		st.Strings = append(st.Strings, String{i + 1, note.Name, note.Hz(st.A4Hz)})
	}
	st.Pickup = f.pickup()
	st.Capture = Capture{or(f.Capture.Channel, 0), or(f.Capture.MainsHz, 0), or(f.Capture.FullScaleVolts, 0), or(f.Capture.ReferenceToneHz, 0)}
	st.Stimulus = Stimulus{or(f.Stimulus.LowHz, 0), or(f.Stimulus.HighHz, 0), or(f.Stimulus.Seconds, 0), or(f.Stimulus.LevelDBFS, 0)}
	st.BandsPerOctave = or(f.Response.BandsPerOctave, 6)
	st.Limits = Defaults()
	for i, l := range st.Limits {
		if v, ok := f.Limits[l.Key]; ok {
			st.Limits[i].Value, st.Limits[i].Given = v, true
		}
	}
	return st, nil
}

// pickup fills in defaults (common practice, no source) and says which. The
// number of discs stays 0 where nothing tells it: one a string, once the
// strings are known.
func (f *facts) pickup() Pickup {
	p := Pickup{}
	assume := func(given bool, key string) {
		if !given {
			p.Assumed = append(p.Assumed, key)
		}
	}
	p.Wiring = or(f.Pickup.Wiring, "parallel")
	p.Discs = or(f.Pickup.Discs, discsOf(p.Wiring))
	assume(p.Discs > 0, "discs")
	assume(f.Pickup.Wiring != nil, "wiring")
	p.DiscNF = or(f.Pickup.DiscNF, 20)
	assume(f.Pickup.DiscNF != nil, "disc_nf")
	p.CablePF = or(f.Pickup.CablePF, 300)
	assume(f.Pickup.CablePF != nil, "cable_pf")
	p.InputPF = or(f.Pickup.InputPF, 0)
	assume(f.Pickup.InputPF != nil, "input_pf")
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
