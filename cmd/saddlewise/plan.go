package main

import (
	"embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"text/template"
	"unicode"

	"github.com/spf13/cobra"

	"saddlewise/analysis/circuit"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/report"
)

//go:embed skeleton
var skeletons embed.FS

type planFlags struct {
	strings, out, stage, next string
	a4Hz, toneHz, resolveDB   float64
}

func newPlan() *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "what to record and how, as a checklist",
		Long: `Plan writes the whole recording session for your instrument as a Markdown
checklist with boxes to tick: connections and cautions, gain, silence, how to
tap alike and how often for the change you want to see, plucks, fork, load
resistors, and the file names that analyze understands.

With --out it makes that build folder: build.toml, and the stage's folder with
stage.toml and plan.md. Files that are there already are never touched.`,
		Example: `  saddlewise plan --strings A3,D3,G2,C2
  saddlewise plan --strings E4,B3,G3,D3,A2,E2 --out my-guitar \
      --stage wired --next gluing
  saddlewise plan --strings A4,E4,C4,G4 --resolve-db 2`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd.OutOrStdout()) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.strings, "strings", "", "open strings, number 1 first, as `notes` such as A3,D3,G2,C2")
	flags.StringVar(&f.out, "out", "", "make this build `folder` with plan and TOML skeletons")
	flags.StringVar(&f.stage, "stage", "wired", "`name` of the stage, and its folder's")
	flags.StringVar(&f.next, "next", "gluing", "the next `step` that cannot be undone")
	flags.Float64Var(&f.toneHz, "tone-hz", 440, "frequency of the tuning fork in `Hz`; 0: no fork")
	flags.Float64Var(&f.a4Hz, "a4-hz", 440, "frequency of A4 in `Hz`")
	flags.Float64Var(&f.resolveDB, "resolve-db", 4, "change between two stages that the taps must show, in `dB`")
	return cmd
}

// planData fills the skeletons.
type planData struct {
	Strings           []planString
	List              string // "A3", "D3"
	Numbered          string // sentence on which string is number 1
	Stage, Next       string
	A4Hz, ToneHz      float64
	Limits            []stage.Limit
	Takes, Taps       int
	TapSD, TakeSD     float64
	ShownDB           float64
	Rounds            [][]planTake
	Plucks, Tones     []planTake
	LoadHz            float64
	LoadOhm, LoadName string
	LoadFlag          string
}

// Many tells whether there is more than one string.
func (d *planData) Many() bool { return len(d.Strings) > 1 }

type planString struct {
	Number int
	Note   string
	midi   int
}

type planTake struct{ File, Note string }

func (f planFlags) run(out io.Writer) error {
	notes, err := parseStrings(f.strings)
	if err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	d, err := f.data(notes)
	if err != nil {
		return err
	}
	if f.out != "" {
		return d.write(out, f.out)
	}
	text, err := d.fill("plan.md")
	if err != nil {
		return err
	}
	_, err = io.WriteString(out, text)
	return err
}

func (f planFlags) check() error {
	odd := func(r rune) bool { return unicode.IsControl(r) || strings.ContainsRune("\"\\`", r) }
	switch {
	case f.stage == "" || strings.ContainsAny(f.stage, "/\\:") || strings.HasPrefix(f.stage, ".") || strings.ContainsFunc(f.stage, odd):
		return misused("--stage is %q; give a plain folder name such as wired", f.stage)
	case strings.TrimSpace(f.next) == "" || strings.ContainsFunc(f.next, odd):
		return misused("--next is %q; give plain words such as gluing", f.next)
	case !(f.toneHz >= 20 && f.toneHz <= 20000) && f.toneHz != 0:
		return misused("--tone-hz is %g; 20 to 20000 Hz, or 0 for no fork, is allowed", f.toneHz)
	case !(f.a4Hz >= 300 && f.a4Hz <= 600):
		return misused("--a4-hz is %g; 300 to 600 Hz is allowed", f.a4Hz)
	}
	return nil
}

func (f planFlags) data(notes []signal.Note) (*planData, error) {
	d := &planData{Stage: f.stage, Next: f.next, A4Hz: f.a4Hz, ToneHz: f.toneHz, Limits: stage.Defaults(), TapSD: tapSpreadDB, TakeSD: takeSpreadDB()}
	var quoted []string
	for i, n := range notes {
		d.Strings = append(d.Strings, planString{i + 1, n.Name, n.MIDI})
		quoted = append(quoted, fmt.Sprintf("%q", n.Name))
	}
	d.List = strings.Join(quoted, ", ")
	first, last := d.Strings[0], d.Strings[len(d.Strings)-1]
	d.Numbered = fmt.Sprintf("String %d is %s, string %d is %s.", first.Number, first.Note, last.Number, last.Note)
	if len(notes) == 1 {
		d.Numbered = fmt.Sprintf("The string, %s, is number 1.", first.Note)
	}
	var ok bool
	if d.Takes, d.Taps, ok = tapsFor(f.resolveDB, len(notes)); !ok {
		return nil, misused("--resolve-db is %g; by hand taps show %.1f dB at best, whatever their number", f.resolveDB, math.Ceil(10*finestDB(len(notes)))/10)
	}
	d.ShownDB = shownDB(d.Takes, d.Taps, len(notes))
	d.nameTakes()
	d.chooseLoad()
	return d, nil
}

// nameTakes gives every take its file name: rounds of taps go to and fro,
// plucks carry the note unless two strings share it.
func (d *planData) nameTakes() {
	shared := map[int]int{}
	for _, s := range d.Strings {
		shared[s.midi]++
	}
	for k := range d.Takes {
		var round []planTake
		for i := range d.Strings {
			s := d.Strings[i]
			if k%2 == 1 {
				s = d.Strings[len(d.Strings)-1-i]
			}
			round = append(round, planTake{fmt.Sprintf("tap-%d-%c.wav", s.Number, 'a'+k), s.Note})
		}
		d.Rounds = append(d.Rounds, round)
	}
	for _, s := range d.Strings {
		who := s.Note
		if shared[s.midi] > 1 {
			who = fmt.Sprint(s.Number)
		}
		d.Plucks = append(d.Plucks, planTake{"pluck-" + who + ".wav", fmt.Sprintf("string %d, %s", s.Number, s.Note)})
		d.Tones = append(d.Tones, planTake{fmt.Sprintf("tone-%d.wav", s.Number), s.Note})
	}
}

// chooseLoad picks a stock resistor (IEC 60063, series E6) that costs the
// pickup of common practice about 3 dB at the tone.
func (d *planData) chooseLoad() {
	d.LoadHz = d.ToneHz
	if d.LoadHz == 0 {
		d.LoadHz = 440
	}
	c := circuit.Circuit{Discs: len(d.Strings), Wiring: circuit.Parallel, DiscNF: 20, CablePF: 300, InputOhm: 1e6}
	ohm := stock(c.OhmForLoss(10*math.Log10(2), d.LoadHz))
	d.LoadOhm = report.Ohm(ohm)
	d.LoadFlag = fmt.Sprintf("%ge3", math.Round(ohm)/1e3)
	d.LoadName = strings.ReplaceAll(d.LoadOhm, " ", "-")
}

// stock is the nearest value of series E6 (IEC 60063), by ratio.
func stock(ohm float64) float64 {
	best := 0.0
	for _, e6 := range []float64{1, 1.5, 2.2, 3.3, 4.7, 6.8, 10} {
		v := e6 * math.Pow(10, math.Floor(math.Log10(ohm)))
		if best == 0 || math.Abs(math.Log(v/ohm)) < math.Abs(math.Log(best/ohm)) {
			best = v
		}
	}
	return best
}

// fill makes the text of one skeleton.
func (d *planData) fill(name string) (string, error) {
	t, err := template.ParseFS(skeletons, "skeleton/"+name+".tmpl")
	if err != nil {
		return "", fmt.Errorf("read skeleton of %s: %w", name, err)
	}
	var b strings.Builder
	if err := t.Execute(&b, d); err != nil {
		return "", fmt.Errorf("fill %s: %w", name, err)
	}
	return b.String(), nil
}

// write makes the build folder; what is there already stays as it is.
func (d *planData) write(out io.Writer, dir string) error {
	folder := filepath.Join(dir, d.Stage)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("make the folder %s: %w", folder, err)
	}
	for _, f := range []struct{ name, path string }{
		{"build.toml", filepath.Join(dir, "build.toml")},
		{"stage.toml", filepath.Join(folder, "stage.toml")},
		{"plan.md", filepath.Join(folder, "plan.md")},
	} {
		text, err := d.fill(f.name)
		if err != nil {
			return err
		}
		word := "wrote"
		switch err := writeNew(f.path, text); {
		case errors.Is(err, fs.ErrExist):
			word = "kept "
		case err != nil:
			return err
		}
		if _, err := fmt.Fprintf(out, "%s %s\n", word, f.path); err != nil {
			return err
		}
	}
	return nil
}

// writeNew writes a file that must not be there yet, whole or not at all.
func writeNew(path, text string) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	_, err = file.WriteString(text)
	if err = errors.Join(err, file.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, errors.Join(err, os.Remove(path)))
	}
	return nil
}
