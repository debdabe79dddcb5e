package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"saddlewise/analysis/circuit"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/report"
)

// circuitFlags are what the discs hang on, for load and what is below it.
type circuitFlags struct {
	circuit circuit.Circuit
	wiring  string
	json    bool
}

func (f *circuitFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.IntVar(&f.circuit.Discs, "discs", 0, "`number` of discs")
	flags.StringVar(&f.wiring, "wiring", "parallel", "`how` they are joined: parallel, series, or a mix such as 2s2p, two in series, two such pairs in parallel")
	flags.Float64Var(&f.circuit.DiscNF, "disc-nf", 20, "capacitance of one disc in `nF`")
	flags.Float64Var(&f.circuit.CablePF, "cable-pf", 300, "capacitance of the cable in `pF`")
	flags.Float64Var(&f.circuit.InputPF, "input-pf", 0, "capacitance of the input in `pF`")
	flags.Float64Var(&f.circuit.InputOhm, "input-ohm", 1e6, "resistance of the input in `ohm`")
	flags.BoolVar(&f.json, "json", false, "print JSON")
}

// make is the circuit of the flags; strings is how many discs there are when
// --discs does not tell.
func (f *circuitFlags) make(strings int) (circuit.Circuit, error) {
	c := f.circuit
	c.Wiring = circuit.Wiring(f.wiring)
	if c.Discs == 0 {
		c.Discs = strings
	}
	if err := c.Check(); err != nil {
		return c, misuse{err}
	}
	return c, nil
}

// assumed lists the flags that were left at values of common practice.
func assumed(cmd *cobra.Command) []string {
	out := []string{}
	for _, name := range []string{"discs", "wiring", "disc-nf", "cable-pf", "input-pf", "input-ohm"} {
		if f := cmd.Flags().Lookup(name); f != nil && !f.Changed {
			out = append(out, strings.ReplaceAll(name, "-", "_"))
		}
	}
	return out
}

type loadFlags struct {
	circuitFlags
	strings string
	a4Hz    float64
	lossDB  float64
	plot    string
}

func newLoad() *cobra.Command {
	var f loadFlags
	cmd := &cobra.Command{
		Use:   "load",
		Short: "discs, cable and input: corner frequency and loss on each string",
		Long: `Load works out what the input does to the low strings: a piezo disc is a small
capacitor, and with the input's resistance it makes a high-pass filter. More
discs in parallel, or a higher resistance, move its corner down.

What is not given rests on common practice, no source. Discs differ: those on
brass of 20 mm have some 10 to 22 nF, of 27 mm 17 to 30 nF, of 35 mm 22 to
45 nF (typical, from memory). Guitar cable has about 100 pF a metre, an
instrument input about 1 Mohm, a line input 10 kohm. Measure your discs with
a meter, or as load capacitance explains, if the answer matters.`,
		Example: `  saddlewise load --strings A3,D3,G2,C2
  saddlewise load --strings E4,B3,G3,D3,A2,E2 --disc-nf 12 --input-ohm 47e3
  saddlewise load --strings A3,D3,G2,C2 --wiring 2s2p --json
  saddlewise load --strings A3,D3,G2,C2 --input-ohm 47e3 --plot load.png`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.strings, "strings", "", "open strings, number 1 first, as `notes` such as A3,D3,G2,C2")
	flags.Float64Var(&f.a4Hz, "a4-hz", 440, "frequency of A4 in `Hz`")
	flags.Float64Var(&f.lossDB, "max-loss-db", 1, "loss to allow at the lowest string in `dB`")
	flags.StringVar(&f.plot, "plot", "", "draw loss against frequency into this `file`, PNG or SVG by its ending")
	_ = cmd.MarkFlagFilename("plot", "png", "svg") // completion only
	f.add(cmd)
	cmd.AddCommand(newLoadCorner(), newLoadCapacitance())
	return cmd
}

// loadAnswer is what load prints.
type loadAnswer struct {
	SourceNF        float64      `json:"source_nf"`
	CornerHz        float64      `json:"corner_hz"`
	CableDivisionDB float64      `json:"cable_division_db"`
	OpenDisc        discFault    `json:"open_disc"`
	ShortedDisc     discFault    `json:"shorted_disc"`
	MaxLossDB       float64      `json:"max_loss_db"`
	LowestHz        float64      `json:"lowest_hz"`
	OhmForMaxLoss   float64      `json:"ohm_for_max_loss"`
	Strings         []stringLoss `json:"strings"`
	Assumed         []string     `json:"assumed"`
	circuit         circuit.Circuit
}

// discFault is what one faulty disc does to the discs that are left.
type discFault struct {
	SameGroup   *levelChange `json:"same_group,omitempty"`   // nil: there are none
	OtherGroups *levelChange `json:"other_groups,omitempty"` // in parallel every disc is a group
	CornerHz    float64      `json:"corner_hz"`              // 0 when all are silent
}

type levelChange struct {
	Silent   bool    `json:"silent"`
	ChangeDB float64 `json:"change_db"` // 0 when silent
}

// partials are how many partials of each string the table shows.
const partials = 4

type stringLoss struct {
	Number int               `json:"number"`
	Note   string            `json:"note"`
	Hz     float64           `json:"hz"`
	LossDB [partials]float64 `json:"loss_db"` // of the first partials
}

func (f loadFlags) run(cmd *cobra.Command) error {
	notes, err := parseStrings(f.strings)
	if err != nil {
		return err
	}
	if !(f.a4Hz >= 300 && f.a4Hz <= 600) {
		return misused("--a4-hz is %g; 300 to 600 Hz is allowed", f.a4Hz)
	}
	if !(f.lossDB > 0 && f.lossDB <= 60) {
		return misused("--max-loss-db is %g; above 0 up to 60 dB is allowed", f.lossDB)
	}
	if ending := strings.ToLower(filepath.Ext(f.plot)); f.plot != "" && ending != ".png" && ending != ".svg" {
		return misused("--plot %s: give a name that ends in .png or .svg", f.plot)
	}
	c, err := f.make(len(notes))
	if err != nil {
		return err
	}
	a := f.answer(c, notes)
	a.Assumed = assumed(cmd)
	if f.plot != "" {
		if err := report.WriteLoad(a.picture(), f.plot); err != nil {
			return fmt.Errorf("draw %s: %w", f.plot, err)
		}
	}
	return show(cmd.OutOrStdout(), f.json, a, a.text)
}

// show prints an answer as JSON or as text.
func show(out io.Writer, asJSON bool, answer any, text func() string) error {
	if !asJSON {
		_, err := io.WriteString(out, text())
		return err
	}
	enc := json.NewEncoder(out)
	enc.SetIndent("", " ")
	return enc.Encode(answer)
}

// parseStrings reads a list of note names.
func parseStrings(list string) ([]signal.Note, error) {
	if strings.TrimSpace(list) == "" {
		return nil, misused("give the open strings, number 1 first, such as --strings A3,D3,G2,C2")
	}
	var notes []signal.Note
	for name := range strings.SplitSeq(list, ",") {
		n, err := signal.ParseNote(name)
		if err != nil {
			return nil, misused("--strings: %w", err)
		}
		notes = append(notes, n)
	}
	if len(notes) > 12 {
		return nil, misused("--strings lists %d strings; 1 to 12 are allowed", len(notes))
	}
	return notes, nil
}

func (f loadFlags) answer(c circuit.Circuit, notes []signal.Note) loadAnswer {
	a := loadAnswer{
		SourceNF: c.SourceFarad() * 1e9, CornerHz: c.CornerHz(), CableDivisionDB: c.CableDivisionDB(),
		OpenDisc: faultOf(c, circuit.Open), ShortedDisc: faultOf(c, circuit.Shorted), MaxLossDB: f.lossDB,
		LowestHz: math.Inf(1), circuit: c,
	}
	for i, n := range notes {
		s := stringLoss{Number: i + 1, Note: n.Name, Hz: n.Hz(f.a4Hz)}
		for k := range s.LossDB {
			s.LossDB[k] = c.LossDB(s.Hz * float64(k+1))
		}
		a.LowestHz = min(a.LowestHz, s.Hz)
		a.Strings = append(a.Strings, s)
	}
	a.OhmForMaxLoss = c.OhmForLoss(f.lossDB, a.LowestHz)
	return a
}

// picture is the answer as it is drawn.
func (a loadAnswer) picture() report.Load {
	about := fmt.Sprintf("%s, %g pF of cable", discWords(a.circuit), a.circuit.CablePF+a.circuit.InputPF)
	l := report.Load{About: about, CornerHz: a.CornerHz, InputOhm: a.circuit.InputOhm, MaxLoss: a.MaxLossDB, OhmFor: a.OhmForMaxLoss}
	for _, s := range a.Strings {
		l.Strings = append(l.Strings, result.StringLoss{Number: s.Number, Note: s.Note, Hz: s.Hz, LossDB: s.LossDB[0]})
	}
	return l
}

func faultOf(c circuit.Circuit, f circuit.Fault) discFault {
	e := c.WithFault(f)
	d := discFault{SameGroup: changeOf(e.SameGroupDB), OtherGroups: changeOf(e.OtherGroupsDB), CornerHz: e.CornerHz}
	if d.silent() {
		d.CornerHz = 0
	}
	return d
}

func changeOf(db float64) *levelChange {
	switch {
	case math.IsNaN(db):
		return nil
	case math.IsInf(db, -1):
		return &levelChange{Silent: true}
	}
	return &levelChange{ChangeDB: db}
}

func (d discFault) silent() bool {
	return (d.SameGroup == nil || d.SameGroup.Silent) && (d.OtherGroups == nil || d.OtherGroups.Silent)
}

func (a loadAnswer) text() string {
	var b strings.Builder
	c := a.circuit
	fmt.Fprintf(&b, "%s: %.4g nF together\n", discWords(c), a.SourceNF)
	fmt.Fprintf(&b, "Corner with %s: %s Hz (3 dB down)\n", report.Ohm(c.InputOhm), report.Figures(a.CornerHz))
	fmt.Fprintf(&b, "%g pF of cable and %g pF of input cost %.2f dB at every frequency\n", c.CablePF, c.InputPF, a.CableDivisionDB)
	if c.Discs > 1 {
		fmt.Fprintf(&b, "One disc open: %s\n", a.OpenDisc.words())
		fmt.Fprintf(&b, "One disc shorted: %s\n", a.ShortedDisc.words())
	}
	fmt.Fprintf(&b, "\n%-10s%9s   loss in dB at partial 1%8s%8s%8s\n", "string", "Hz", "2", "3", "4")
	lowest := a.Strings[0]
	for _, s := range a.Strings {
		if s.Hz < lowest.Hz {
			lowest = s
		}
		fmt.Fprintf(&b, "%-10s%9.2f%26.2f%8.2f%8.2f%8.2f\n", fmt.Sprintf("%d %s", s.Number, s.Note), s.Hz, s.LossDB[0], s.LossDB[1], s.LossDB[2], s.LossDB[3])
	}
	fmt.Fprintf(&b, "\nTo lose no more than %g dB on the lowest string, %d %s: %s or more\n", a.MaxLossDB, lowest.Number, lowest.Note, report.Ohm(a.OhmForMaxLoss))
	b.WriteString(assumedWords(a.Assumed))
	return b.String()
}

// words tells what the other discs do.
func (d discFault) words() string {
	if d.silent() {
		return "nothing is heard of any"
	}
	var parts []string
	switch {
	case d.SameGroup == nil:
		parts = []string{"the others " + d.OtherGroups.words()}
	case d.OtherGroups == nil:
		parts = []string{"the others " + d.SameGroup.words()}
	default:
		parts = []string{"those of its group " + d.SameGroup.words(), "the rest " + d.OtherGroups.words()}
	}
	return fmt.Sprintf("%s;\n  corner %s Hz", strings.Join(parts, ", "), report.Figures(d.CornerHz))
}

func (l levelChange) words() string {
	switch {
	case l.Silent:
		return "fall silent"
	case math.Abs(l.ChangeDB) < 0.05:
		return "keep their level"
	case l.ChangeDB < 0:
		return fmt.Sprintf("fall by %.1f dB", -l.ChangeDB)
	}
	return fmt.Sprintf("rise by %.1f dB", l.ChangeDB)
}

func discWords(c circuit.Circuit) string {
	switch {
	case c.Discs == 1:
		return fmt.Sprintf("1 disc of %g nF", c.DiscNF)
	case c.Wiring == circuit.Parallel || c.Wiring == circuit.Series:
		return fmt.Sprintf("%d discs of %g nF in %s", c.Discs, c.DiscNF, c.Wiring)
	}
	return fmt.Sprintf("%d discs of %g nF, wired %s", c.Discs, c.DiscNF, c.Wiring)
}

// assumedWords names what rests on defaults, none when all was given.
func assumedWords(keys []string) string {
	if len(keys) == 0 {
		return ""
	}
	names := map[string]string{
		"discs": "one disc a string", "wiring": "wiring", "disc_nf": "disc capacitance", "cable_pf": "cable",
		"input_pf": "input capacitance", "input_ohm": "input resistance",
	}
	var words []string
	for _, k := range keys {
		words = append(words, names[k])
	}
	slices.Sort(words)
	lines := []string{""}
	for i, w := range words {
		if i < len(words)-1 {
			w += ","
		}
		last := len(lines) - 1
		if len(lines[last])+len(w) > 76 {
			lines, last = append(lines, ""), last+1
		}
		lines[last] += " " + w
	}
	return "\nNot given, so taken from common practice (no source):\n " + strings.Join(lines, "\n ") + "\n"
}
