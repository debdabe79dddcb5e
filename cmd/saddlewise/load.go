package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"saddlewise/analysis/circuit"
	"saddlewise/analysis/signal"
)

type loadFlags struct {
	circuit circuit.Circuit
	wiring  string
	strings string
	a4Hz    float64
	lossDB  float64
	json    bool
}

func newLoad() *cobra.Command {
	var f loadFlags
	cmd := &cobra.Command{
		Use:   "load",
		Short: "discs, cable and input: corner frequency and loss on each string",
		Long: `Load works out what the input does to the low strings: a piezo disc is a small
capacitor, and with the input's resistance it makes a high-pass filter. The
defaults are common practice, no source: measure your discs if the answer
matters.`,
		Example: `  saddlewise load --strings A3,D3,G2,C2
  saddlewise load --strings E4,B3,G3,D3,A2,E2 --discs 6 --disc-nf 12 --input-ohm 47e3`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd.OutOrStdout()) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.strings, "strings", "", "open strings, highest first, such as A3,D3,G2,C2")
	flags.Float64Var(&f.a4Hz, "a4-hz", 440, "frequency of A4")
	flags.IntVar(&f.circuit.Discs, "discs", 0, "number of discs (one a string when not given)")
	flags.StringVar(&f.wiring, "wiring", "parallel", "parallel or series")
	flags.Float64Var(&f.circuit.DiscNF, "disc-nf", 20, "capacitance of one disc, nF")
	flags.Float64Var(&f.circuit.CablePF, "cable-pf", 300, "capacitance of the cable, pF")
	flags.Float64Var(&f.circuit.InputPF, "input-pf", 0, "capacitance of the input, pF")
	flags.Float64Var(&f.circuit.InputOhm, "input-ohm", 1e6, "resistance of the input, ohm")
	flags.Float64Var(&f.lossDB, "max-loss-db", 1, "loss to allow at the lowest string, dB")
	flags.BoolVar(&f.json, "json", false, "print JSON")
	return cmd
}

// loadAnswer is what load prints.
type loadAnswer struct {
	SourceNF        float64      `json:"source_nf"`
	CornerHz        float64      `json:"corner_hz"`
	CableDivisionDB float64      `json:"cable_division_db"`
	OpenDiscDB      float64      `json:"open_disc_raises_others_db"`
	MaxLossDB       float64      `json:"max_loss_db"`
	OhmForMaxLoss   float64      `json:"ohm_for_max_loss"`
	Strings         []stringLoss `json:"strings"`
}

type stringLoss struct {
	Number int     `json:"number"`
	Note   string  `json:"note"`
	Hz     float64 `json:"hz"`
	LossDB float64 `json:"loss_db"`
	Second float64 `json:"loss_second_partial_db"`
	Third  float64 `json:"loss_third_partial_db"`
}

func (f loadFlags) run(out io.Writer) error {
	notes, err := parseStrings(f.strings)
	if err != nil {
		return err
	}
	if f.wiring != "parallel" && f.wiring != "series" {
		return misused("--wiring is %q; parallel and series are allowed", f.wiring)
	}
	c := f.circuit
	c.Wiring = circuit.Wiring(f.wiring)
	if c.Discs == 0 {
		c.Discs = len(notes)
	}
	if err := c.Check(); err != nil {
		return misuse{err}
	}
	answer := f.answer(c, notes)
	if f.json {
		enc := json.NewEncoder(out)
		enc.SetIndent("", " ")
		return enc.Encode(answer)
	}
	return answer.print(out, c)
}

// parseStrings reads a list of note names.
func parseStrings(list string) ([]signal.Note, error) {
	if strings.TrimSpace(list) == "" {
		return nil, misused("give the open strings, highest first, such as --strings A3,D3,G2,C2")
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
		OpenDiscDB: c.OpenDiscDB(), MaxLossDB: f.lossDB,
	}
	lowest := notes[0].Hz(f.a4Hz)
	for i, n := range notes {
		hz := n.Hz(f.a4Hz)
		lowest = min(lowest, hz)
		a.Strings = append(a.Strings, stringLoss{i + 1, n.Name, hz, c.LossDB(hz), c.LossDB(2 * hz), c.LossDB(3 * hz)})
	}
	a.OhmForMaxLoss = c.OhmForLoss(f.lossDB, lowest)
	return a
}

func (a loadAnswer) print(out io.Writer, c circuit.Circuit) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d discs of %g nF in %s: %.4g nF together\n", c.Discs, c.DiscNF, c.Wiring, a.SourceNF)
	fmt.Fprintf(&b, "Corner with %s: %.3g Hz (3 dB down)\n", ohmWords(c.InputOhm), a.CornerHz)
	fmt.Fprintf(&b, "Cable and input capacitance cost %.2f dB at every frequency\n", a.CableDivisionDB)
	if a.OpenDiscDB > 0 {
		fmt.Fprintf(&b, "One disc open would raise the others by %.1f dB\n", a.OpenDiscDB)
	}
	fmt.Fprintf(&b, "\n%-10s %9s %12s %14s %13s\n", "string", "Hz", "loss f1 dB", "2nd partial", "3rd partial")
	for _, s := range a.Strings {
		fmt.Fprintf(&b, "%-10s %9.2f %12.2f %14.2f %13.2f\n", fmt.Sprintf("%d %s", s.Number, s.Note), s.Hz, s.LossDB, s.Second, s.Third)
	}
	fmt.Fprintf(&b, "\nTo lose no more than %g dB on the lowest string: %s or more\n", a.MaxLossDB, ohmWords(a.OhmForMaxLoss))
	_, err := io.WriteString(out, b.String())
	return err
}

func ohmWords(ohm float64) string {
	switch {
	case ohm >= 1e6:
		return fmt.Sprintf("%.3g Mohm", ohm/1e6)
	case ohm >= 1e3:
		return fmt.Sprintf("%.3g kohm", ohm/1e3)
	}
	return fmt.Sprintf("%.3g ohm", ohm)
}
