package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"saddlewise/report"
)

// Exit statuses.
const (
	exitDone    = 0
	exitFailed  = 1
	exitMisuse  = 2
	exitStopped = 3 // with --gate, when the verdict is stop
)

// errGate is not a failure: the verdict is stop and --gate was given.
var errGate = errors.New("the verdict is stop")

// run is the whole program: it writes results to out, progress and errors to
// errOut, and gives the exit status.
func run(ctx context.Context, args []string, out, errOut io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errOut)
	err := root.ExecuteContext(ctx)
	var wrong misuse
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errGate):
		return exitStopped
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(errOut, "saddlewise: interrupted; nothing was left half-written")
		return exitFailed
	case errors.As(err, &wrong):
		fmt.Fprintf(errOut, "saddlewise: %s\n", err)
		return exitMisuse
	default:
		fmt.Fprintf(errOut, "saddlewise: %s\n", err)
		return exitFailed
	}
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "saddlewise",
		Short: "measure home-made piezo pickups from recordings",
		Long: `Saddlewise tells whether a home-made piezo pickup is good enough to glue.

Record taps, plucks, a tuning fork and silence into WAV files, one folder for
each stage of the build, and name the files for what they are:

  tap-3.wav      six or more taps on the saddle of string 3
  pluck-E2.wav   string E2 plucked open a few times, left to ring
  tone-1.wav     a tuning fork's stem set on the saddle of string 1
  quiet.wav      ten seconds, nothing touched
  quiet-hand.wav the same with a hand on the ground

String 1 is the highest-pitched. Recordings are never changed.`,
		Example: `  saddlewise demo                      see it all on a made-up build
  saddlewise plan --strings E4,B3,G3,D3,A2,E2
  saddlewise check wired               is each take usable?
  saddlewise analyze wired             measure, judge, report`,
		Args:              cobra.ArbitraryArgs,
		SilenceErrors:     true,
		SilenceUsage:      true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return unknownCommand(cmd, args[0])
			}
			return cmd.Help()
		},
	}
	root.SetUsageFunc(usage)
	root.SetFlagErrorFunc(flagMisuse)
	root.SetHelpCommand(newHelp())
	root.Version = version()
	root.SetVersionTemplate(tool() + "\n")
	root.AddCommand(newDemo(), newPlan(), newCheck(), newAnalyze(), newCompare(), newTrend(), newLoad(), newStimulus(), newMan(), newVersion())
	addCompletion(root)
	return root
}

// paintFor colours output only for a terminal, and not where NO_COLOR asks
// for none.
func paintFor(out io.Writer) report.Paint {
	return report.Paint{Colour: isTerminal(out) && os.Getenv("NO_COLOR") == ""}
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// tool is name and version as results carry them.
func tool() string { return "saddlewise " + version() }

// version is the module's version, or "development".
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" && info.Main.Version != "(devel)" {
		return info.Main.Version
	}
	return "development"
}

func newVersion() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "say which version this is", Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprintln(cmd.OutOrStdout(), tool())
			return err
		},
	}
}
