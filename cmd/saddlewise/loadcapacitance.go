package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"saddlewise/analysis/circuit"
	"saddlewise/report"
)

type capacitanceFlags struct {
	circuitFlags
	ohm      []string
	levelDB  []string
	cornerHz []string
	toneHz   float64
	spreadDB float64
	spread   float64
}

func newLoadCapacitance() *cobra.Command {
	var f capacitanceFlags
	cmd := &cobra.Command{
		Use:   "capacitance",
		Short: "the discs' capacitance from two known load resistors",
		Long: `Capacitance tells what your discs have from two takes of the same sound, each
with a known resistor across the pickup (none for no resistor). Either a
steady tone's two levels, or a sweep's two low corners:

 - a tone of a frequency where the smaller resistor costs 3 to 10 dB. Its level
   must be the same in both takes to --spread-db: drive it; a fork set down by
   hand differs by 2 dB or so;
 - two corners give the input's own resistance as well.

Solder with the pickup unplugged, phantom power off. Ventilate; mind the hot
iron.`,
		Example: `  saddlewise load capacitance --discs 4 --ohm none,4.7e3 \
      --tone-hz 440 --level-db=-20.3,-23.4
  saddlewise load capacitance --discs 4 --ohm 100e3,10e3 --corner-hz 21.8,200`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	flags.StringSliceVar(&f.ohm, "ohm", nil, "the two `resistors` across the pickup in ohm; none for no resistor")
	flags.Float64Var(&f.toneHz, "tone-hz", 0, "frequency of the tone in `Hz`")
	flags.StringSliceVar(&f.levelDB, "level-db", nil, "the tone's two `levels` in dB, in the resistors' order")
	flags.Float64Var(&f.spreadDB, "spread-db", 0.5, "how far the tone may differ between the takes in `dB`")
	flags.StringSliceVar(&f.cornerHz, "corner-hz", nil, "the two `corners` in Hz, in the resistors' order")
	flags.Float64Var(&f.spread, "corner-spread", 0.05, "how far a corner may be off, as a `fraction`")
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
	ohm, err := pair("ohm", f.ohm)
	if err != nil {
		return err
	}
	if !(ohm[0] > 0 && ohm[1] > 0) {
		return misused("--ohm takes resistances above zero")
	}
	if !(f.spread >= 0 && f.spread < 1) {
		return misused("--corner-spread is %g; 0 to below 1 is allowed", f.spread)
	}
	a := capacitanceAnswer{Assumed: without(assumed(cmd), "disc_nf", "discs"), circuit: c}
	var farad circuit.Interval
	switch {
	case f.cornerHz != nil && f.levelDB == nil:
		farad, err = f.fromCorners(ohm, &a)
	case f.levelDB != nil && f.cornerHz == nil:
		farad, err = f.fromLevels(ohm, c)
	default:
		return misused("give --tone-hz and two levels in --level-db, or two corners in --corner-hz")
	}
	if err != nil {
		return err
	}
	if c.EachNF(farad.Mid) <= 0 {
		return fmt.Errorf("these figures make %s nF together, less than the cable and the input alone; check --cable-pf and --input-pf", report.Figures(farad.Mid*1e9))
	}
	a.TotalNF = openOf(farad, 1e9)
	if f.circuit.Discs > 0 {
		each := openOf(circuit.Interval{Low: max(0, c.EachNF(farad.Low)), Mid: c.EachNF(farad.Mid), High: c.EachNF(farad.High)}, 1)
		a.EachNF = &each
	}
	return show(cmd.OutOrStdout(), f.json, a, a.text)
}

// pair reads a flag of two numbers; none is no resistor, an endless one.
func pair(flag string, said []string) (v [2]float64, err error) {
	if len(said) != 2 {
		return v, misused("--%s takes two values with a comma between", flag)
	}
	for i, text := range said {
		text = strings.TrimSpace(text)
		if flag == "ohm" && strings.EqualFold(text, "none") {
			v[i] = math.Inf(1)
			continue
		}
		if v[i], err = strconv.ParseFloat(text, 64); err != nil || math.IsNaN(v[i]) || math.IsInf(v[i], 0) {
			return v, misused("--%s: %q is not a number", flag, text)
		}
	}
	return v, nil
}

// fromLevels: each resistor lies beside the input's own resistance.
func (f capacitanceFlags) fromLevels(ohm [2]float64, c circuit.Circuit) (circuit.Interval, error) {
	db, err := pair("level-db", f.levelDB)
	if err != nil {
		return circuit.Interval{}, err
	}
	if !(f.toneHz > 0) {
		return circuit.Interval{}, misused("give the tone's frequency, such as --tone-hz 440")
	}
	farad, err := circuit.FaradFromLoads(f.toneHz,
		circuit.Load{Ohm: circuit.ParallelOhm(ohm[0], c.InputOhm), LevelDB: db[0]},
		circuit.Load{Ohm: circuit.ParallelOhm(ohm[1], c.InputOhm), LevelDB: db[1]}, f.spreadDB)
	return farad, unanswered(err)
}

func unanswered(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("no capacitance explains these figures: %w", err)
}

func (f capacitanceFlags) fromCorners(ohm [2]float64, a *capacitanceAnswer) (circuit.Interval, error) {
	hz, err := pair("corner-hz", f.cornerHz)
	if err != nil {
		return circuit.Interval{}, err
	}
	corner := func(i int) circuit.Corner {
		return circuit.Corner{Ohm: ohm[i], Hz: circuit.Interval{Low: hz[i] * (1 - f.spread), Mid: hz[i], High: hz[i] * (1 + f.spread)}}
	}
	farad, own, err := circuit.FromCorners(corner(0), corner(1))
	if err != nil {
		return farad, unanswered(err)
	}
	input := openOf(own, 1)
	a.InputOhm = &input
	// The input's resistance was found, not assumed.
	a.Assumed = without(a.Assumed, "input_ohm")
	return farad, nil
}

func without(list []string, words ...string) []string {
	return slices.DeleteFunc(list, func(w string) bool { return slices.Contains(words, w) })
}

func (a capacitanceAnswer) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Discs, cable and input together: %s\n", a.TotalNF.words(nfWords))
	if a.EachNF != nil {
		fmt.Fprintf(&b, "Less %g pF of cable and %g pF of input, that is for each of %d discs in %s:\n  %s\n", a.circuit.CablePF, a.circuit.InputPF, a.circuit.Discs, a.circuit.Wiring, a.EachNF.words(nfWords))
	}
	if a.InputOhm != nil {
		fmt.Fprintf(&b, "The input's own resistance: %s\n", a.InputOhm.words(report.Ohm))
	}
	b.WriteString(assumedWords(a.Assumed))
	return b.String()
}

func nfWords(nf float64) string { return report.Figures(nf) + " nF" }

// words is value and bounds, each in the words of its unit.
func (o openInterval) words(unit func(float64) string) string {
	switch {
	case o.Mid == nil:
		return "more than " + unit(o.Low)
	case o.High == nil:
		return fmt.Sprintf("%s (%s or more)", unit(*o.Mid), unit(o.Low))
	}
	return fmt.Sprintf("%s (%s to %s)", unit(*o.Mid), unit(o.Low), unit(*o.High))
}
