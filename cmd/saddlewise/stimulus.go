package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"

	"github.com/spf13/cobra"

	"saddlewise/analysis/response"
	"saddlewise/fixtures"
)

// ditherSeed makes the same stimulus the same file.
const ditherSeed = 1

func newStimulus() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "stimulus",
		Short: "write the WAV to play through an exciter or a spare disc",
		Long: `Stimulus writes what is played into the bridge: a sweep for the frequency
response, or a steady tone for level and distortion at one frequency.

Play it through an exciter or a spare disc pressed on the bridge, recorder
running from before it starts until it has died away. Begin with the player's
volume all the way down, and keep ears and monitors away: a sweep is loud.`,
		Example: `  saddlewise stimulus sweep sweep-reference.wav
  saddlewise stimulus tone tone.wav --hz 440`,
		Args: exactly(0, "sweep or tone"),
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newStimulusSweep(), newStimulusTone())
	return cmd
}

func newStimulusSweep() *cobra.Command {
	p := response.DefaultSweep(48000)
	high := 0.0
	cmd := &cobra.Command{
		Use:   "sweep FILE",
		Short: "an exponential sine sweep",
		Long: `Sweep writes an exponential sine sweep (24-bit WAV). Keep the file beside the
takes as sweep-reference.wav: analyze finds the sweep in sweep.wav by it.`,
		Example: "  saddlewise stimulus sweep wired/sweep-reference.wav --seconds 15",
		Args:    exactly(1, "the file to write"),
		RunE: func(cmd *cobra.Command, args []string) error {
			p.HighHz = high
			if high == 0 {
				p.HighHz = response.DefaultSweep(p.RateHz).HighHz
			}
			x, err := response.Sweep(p)
			if err != nil {
				return misuse{err}
			}
			if err := writeStimulus(args[0], x, p.RateHz); err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), `%s: %g to %g Hz in %g s at %g dBFS
Without the file beside the takes, say what was played in stage.toml:

[stimulus]
low_hz = %s
high_hz = %s
seconds = %s
level_dbfs = %s
`, args[0], p.LowHz, p.HighHz, p.Seconds, p.LevelDBFS, exactly64(p.LowHz), exactly64(p.HighHz), exactly64(p.Seconds), exactly64(p.LevelDBFS))
			return err
		},
	}
	f := cmd.Flags()
	f.Float64Var(&p.RateHz, "rate", p.RateHz, "sample rate, Hz")
	f.Float64Var(&p.LowHz, "low-hz", p.LowHz, "where the sweep begins, Hz")
	f.Float64Var(&high, "high-hz", 0, "where it ends, Hz (just below half the rate when not given)")
	f.Float64Var(&p.Seconds, "seconds", p.Seconds, "length of the sweep")
	f.Float64Var(&p.LevelDBFS, "level-dbfs", p.LevelDBFS, "level of the sine, dBFS")
	f.Float64Var(&p.LeadInS, "lead-in", p.LeadInS, "silence before, seconds")
	f.Float64Var(&p.TailS, "tail", p.TailS, "silence after, seconds")
	return cmd
}

// exactly64 writes a number so that reading it gives the same.
func exactly64(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func newStimulusTone() *cobra.Command {
	hz, rate, seconds, level := 440.0, 48000.0, 5.0, -12.0
	cmd := &cobra.Command{
		Use:     "tone FILE",
		Short:   "a steady sine",
		Example: "  saddlewise stimulus tone tone.wav --hz 220",
		Args:    exactly(1, "the file to write"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !(hz > 0 && hz < rate/2 && seconds > 0 && seconds <= 600 && level <= 0 && rate >= 8000 && rate <= 384000) {
				return misused("a tone needs a frequency below half the rate, a length up to 600 s, a level of 0 dBFS or less and a rate from 8 to 384 kHz")
			}
			if err := writeStimulus(args[0], steadyTone(hz, rate, seconds, level), rate); err != nil {
				return err
			}
			_, err := fmt.Fprintf(cmd.OutOrStdout(), "%s: %g Hz for %g s at %g dBFS\n", args[0], hz, seconds, level)
			return err
		},
	}
	f := cmd.Flags()
	f.Float64Var(&hz, "hz", hz, "frequency, Hz")
	f.Float64Var(&rate, "rate", rate, "sample rate, Hz")
	f.Float64Var(&seconds, "seconds", seconds, "length")
	f.Float64Var(&level, "level-dbfs", level, "level, dBFS")
	return cmd
}

// steadyTone is a sine with half a second of silence and 50 ms fades at
// either end.
func steadyTone(hz, rateHz, seconds, levelDBFS float64) []float64 {
	lead, n, fade := int(rateHz/2), int(seconds*rateHz), 0.05*rateHz
	x := make([]float64, 2*lead+n)
	a := math.Pow(10, levelDBFS/20)
	for i := range n {
		edge := math.Min(1, math.Min(float64(i), float64(n-1-i))/fade)
		x[lead+i] = a * (0.5 - 0.5*math.Cos(math.Pi*edge)) * math.Sin(2*math.Pi*hz*float64(i)/rateHz)
	}
	return x
}

func writeStimulus(path string, x []float64, rateHz float64) error {
	rng := rand.New(rand.NewPCG(ditherSeed, 0))
	return writeTake(path, fixtures.Quantise(x, 24, rng), int(math.Round(rateHz)))
}
