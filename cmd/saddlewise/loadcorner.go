package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"saddlewise/analysis/circuit"
	"saddlewise/report"
)

type cornerFlags struct {
	circuitFlags
	cornerHz, lowHz, highHz, tolerance float64
}

func newLoadCorner() *cobra.Command {
	var f cornerFlags
	cmd := &cobra.Command{
		Use:   "corner",
		Short: "what explains a measured corner: the input, or dead discs",
		Long: `Corner takes a low corner that was measured, by a sweep say, and tells which
resistance across the discs would explain it, and which number of working
discs, were the input's resistance as given. Discs are sold to 30 % or so, so
the answers are ranges.`,
		Example: `  saddlewise load corner --discs 4 --corner-hz 2.7
  saddlewise load corner --discs 4 --disc-nf 21.5 --tolerance 0.05 \
      --corner-hz 2.7 --low-hz 2.5 --high-hz 2.9`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	flags.Float64Var(&f.cornerHz, "corner-hz", 0, "measured corner (3 dB down) in `Hz`")
	flags.Float64Var(&f.lowHz, "low-hz", 0, "lower end of its interval in `Hz`")
	flags.Float64Var(&f.highHz, "high-hz", 0, "upper end of its interval in `Hz`")
	flags.Float64Var(&f.tolerance, "tolerance", 0.3, "how far a disc may be off, as a `fraction`")
	f.add(cmd)
	return cmd
}

// cornerAnswer is what load corner prints.
type cornerAnswer struct {
	CornerHz     interval      `json:"corner_hz"`
	Tolerance    float64       `json:"tolerance"`
	OhmAcross    interval      `json:"ohm_across"`
	InputOhm     float64       `json:"input_ohm"`
	WorkingDiscs []workingDisc `json:"working_discs"` // empty: not parallel
	Assumed      []string      `json:"assumed"`
	circuit      circuit.Circuit
}

type interval struct {
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

type workingDisc struct {
	Count    int      `json:"count"`
	CornerHz interval `json:"corner_hz"`
	Fits     bool     `json:"fits"`
}

func (f cornerFlags) run(cmd *cobra.Command) error {
	if f.circuit.Discs == 0 {
		return misused("give the number of discs, such as --discs 4")
	}
	c, err := f.make(0)
	if err != nil {
		return err
	}
	measured := circuit.Interval{Low: f.lowHz, Mid: f.cornerHz, High: f.highHz}
	if f.lowHz == 0 {
		measured.Low = f.cornerHz
	}
	if f.highHz == 0 {
		measured.High = f.cornerHz
	}
	across, err := c.OhmForCorner(measured, f.tolerance)
	if err != nil {
		return misused("give the corner, such as --corner-hz 2.7, with --low-hz below and --high-hz above it, and --tolerance from 0 to below 1")
	}
	a := cornerAnswer{
		CornerHz: interval(measured), Tolerance: f.tolerance, OhmAcross: interval(across),
		InputOhm: c.InputOhm, WorkingDiscs: []workingDisc{}, Assumed: assumed(cmd), circuit: c,
	}
	if c.Wiring == circuit.Parallel {
		all, err := c.WorkingDiscs(measured, f.tolerance)
		if err != nil {
			return err
		}
		for _, e := range all {
			a.WorkingDiscs = append(a.WorkingDiscs, workingDisc{e.Working, interval(e.CornerHz), e.Fits})
		}
	}
	return show(cmd.OutOrStdout(), f.json, a, a.text)
}

func (a cornerAnswer) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, each within %.3g %%, %g pF of cable, %g pF of input\n", discWords(a.circuit), 100*a.Tolerance, a.circuit.CablePF, a.circuit.InputPF)
	span := "no interval given"
	if a.CornerHz.Low < a.CornerHz.High {
		span = report.Figures(a.CornerHz.Low) + " to " + report.Figures(a.CornerHz.High)
	}
	fmt.Fprintf(&b, "A corner of %s Hz (%s) comes of\n  %s across them (%s to %s)\n", report.Figures(a.CornerHz.Mid), span,
		report.Ohm(a.OhmAcross.Mid), report.Ohm(a.OhmAcross.Low), report.Ohm(a.OhmAcross.High))
	if len(a.WorkingDiscs) > 0 {
		fmt.Fprintf(&b, "\nWith %s across them:\n%-15s%18s%22s\n", report.Ohm(a.InputOhm), "working discs", "corner Hz", "explains the corner")
		for _, w := range a.WorkingDiscs {
			fits := "no"
			if w.Fits {
				fits = "yes"
			}
			fmt.Fprintf(&b, "%-15d%18s%22s\n", w.Count, report.Figures(w.CornerHz.Low)+" to "+report.Figures(w.CornerHz.High), fits)
		}
	}
	b.WriteString(assumedWords(a.Assumed))
	return b.String()
}
