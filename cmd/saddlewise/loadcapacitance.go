package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"saddlewise/analysis/circuit"
)

type capacitanceFlags struct {
	circuitFlags
	ohm      []string
	levelDB  []float64
	cornerHz []float64
	toneHz   float64
	spreadDB float64
	spread   float64
}

func newLoadCapacitance() *cobra.Command {
	var f capacitanceFlags
	cmd := &cobra.Command{
		Use:   "capacitance",
		Short: "the discs' capacitance from two takes with two known load resistors",
		Long: `Capacitance tells what your discs have from two takes of the same sound, each
with a known resistor across the pickup (none for no resistor). Either a
steady tone's two levels, or a sweep's two low corners:

 - a tone of a frequency where the smaller resistor costs 3 to 10 dB. Its level
   must be the same in both takes to --spread-db: drive it; a fork set down by
   hand differs by 2 dB or so;
 - two corners give the input's own resistance as well.

Solder with the pickup unplugged, phantom power off. Ventilate; mind the hot
iron.`,
		Example: `  saddlewise load capacitance --discs 4 --ohm none,4.7e3 --tone-hz 440 --level-db=-20.3,-23.4
  saddlewise load capacitance --discs 4 --ohm 100e3,10e3 --corner-hz 21.8,200`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	flags.StringSliceVar(&f.ohm, "ohm", nil, "the two resistors across the pickup, ohm; none for no resistor")
	flags.Float64Var(&f.toneHz, "tone-hz", 0, "frequency of the tone, Hz")
	flags.Float64SliceVar(&f.levelDB, "level-db", nil, "the tone's two levels, dB, in the resistors' order")
	flags.Float64Var(&f.spreadDB, "spread-db", 0.5, "how far the tone may differ between the takes, dB")
	flags.Float64SliceVar(&f.cornerHz, "corner-hz", nil, "the two corners, Hz, in the resistors' order")
	flags.Float64Var(&f.spread, "corner-spread", 0.05, "how far a corner may be off, as a fraction")
	f.add(cmd)
	return cmd
}

// capacitanceAnswer is what load capacitance prints; a bound that is absent is
// open.
type capacitanceAnswer struct {
	TotalNF  openInterval  `json:"total_nf"`
	EachNF   *openInterval `json:"each_nf,omitempty"`   // of a known number of discs
	InputOhm *openInterval `json:"input_ohm,omitempty"` // from two corners
	Assumed  []string      `json:"assumed"`
	circuit  circuit.Circuit
}

type openInterval struct {
	Low  float64  `json:"low"`
	Mid  *float64 `json:"mid,omitempty"`
	High *float64 `json:"high,omitempty"`
}

func openOf(i circuit.Interval, scale float64) openInterval {
	closed := func(v float64) *float64 {
		if math.IsInf(v, 1) {
			return nil
		}
		v *= scale
		return &v
	}
	return openInterval{i.Low * scale, closed(i.Mid), closed(i.High)}
}

func (f capacitanceFlags) run(cmd *cobra.Command) error {
	c, err := f.make(1)
	if err != nil {
		return err
	}
	ohm, err := f.resistors()
	if err != nil {
		return err
	}
	a := capacitanceAnswer{Assumed: assumed(cmd), circuit: c}
	var farad circuit.Interval
	switch {
	case len(f.cornerHz) == 2 && f.levelDB == nil:
		farad, err = f.fromCorners(ohm, &a)
	case len(f.levelDB) == 2 && f.cornerHz == nil:
		farad, err = circuit.FaradFromLoads(f.toneHz, f.loaded(c, ohm[0], 0), f.loaded(c, ohm[1], 1), f.spreadDB)
	default:
		return misused("give --tone-hz and two levels in --level-db, or two corners in --corner-hz")
	}
	if err != nil {
		return fmt.Errorf("these figures have no answer: %w", err)
	}
	a.TotalNF = openOf(farad, 1e9)
	if f.circuit.Discs > 0 {
		each := openOf(circuit.Interval{Low: max(0, c.EachNF(farad.Low)), Mid: c.EachNF(farad.Mid), High: c.EachNF(farad.High)}, 1)
		a.EachNF = &each
	}
	return show(cmd.OutOrStdout(), f.json, a, a.text)
}

// resistors reads --ohm; no resistor is an endless one.
func (f capacitanceFlags) resistors() ([2]float64, error) {
	var ohm [2]float64
	if len(f.ohm) != 2 {
		return ohm, misused("give the two resistors, such as --ohm none,4.7e3")
	}
	for i, said := range f.ohm {
		if strings.EqualFold(strings.TrimSpace(said), "none") {
			ohm[i] = math.Inf(1)
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(said), 64)
		if err != nil || !(v > 0) {
			return ohm, misused("--ohm: %q is no resistance such as 4.7e3, nor none", said)
		}
		ohm[i] = v
	}
	return ohm, nil
}

// loaded is one take: the resistor beside the input's own resistance.
func (f capacitanceFlags) loaded(c circuit.Circuit, ohm float64, i int) circuit.Load {
	return circuit.Load{Ohm: circuit.ParallelOhm(ohm, c.InputOhm), LevelDB: f.levelDB[i]}
}

func (f capacitanceFlags) fromCorners(ohm [2]float64, a *capacitanceAnswer) (circuit.Interval, error) {
	corner := func(i int) circuit.Corner {
		hz := f.cornerHz[i]
		return circuit.Corner{Ohm: ohm[i], Hz: circuit.Interval{Low: hz * (1 - f.spread), Mid: hz, High: hz * (1 + f.spread)}}
	}
	farad, own, err := circuit.FromCorners(corner(0), corner(1))
	if err != nil {
		return farad, err
	}
	input := openOf(own, 1)
	a.InputOhm = &input
	// The input's resistance was found, not assumed.
	a.Assumed = without(a.Assumed, "input_ohm")
	return farad, nil
}

func without(list []string, word string) []string {
	out := []string{}
	for _, w := range list {
		if w != word {
			out = append(out, w)
		}
	}
	return out
}

func (a capacitanceAnswer) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Discs, cable and input together: %s\n", a.TotalNF.words("nF"))
	if a.EachNF != nil {
		fmt.Fprintf(&b, "Less %g pF of cable and %g pF of input, that is for each of %d discs in %s:\n  %s\n", a.circuit.CablePF, a.circuit.InputPF, a.circuit.Discs, a.circuit.Wiring, a.EachNF.words("nF"))
	}
	if a.InputOhm != nil {
		fmt.Fprintf(&b, "The input's own resistance: %s\n", a.InputOhm.words("ohm"))
	}
	b.WriteString(assumedWords(a.Assumed))
	return b.String()
}

func (o openInterval) words(unit string) string {
	switch {
	case o.Mid == nil:
		return fmt.Sprintf("more than %.3g %s", o.Low, unit)
	case o.High == nil:
		return fmt.Sprintf("%.3g %s (%.3g or more)", *o.Mid, unit, o.Low)
	}
	return fmt.Sprintf("%.3g %s (%.3g to %.3g)", *o.Mid, unit, o.Low, *o.High)
}
