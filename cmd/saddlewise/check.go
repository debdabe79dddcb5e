package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"saddlewise/analysis"
	"saddlewise/analysis/result"
	"saddlewise/report"
)

// errDoubt is for takes that should be recorded again.
var errDoubt = errors.New("not every take is usable")

func newCheck() *cobra.Command {
	var watch bool
	cmd := &cobra.Command{
		Use:   "check TAKE|STAGE ...",
		Short: "is each take usable? one line each",
		Long: `Check looks at single takes, or at all takes of a stage folder, and says in one
line each whether the recording can be judged by: not clipped, not muted by a
gate, not levelled by the recorder, not silent, and how many events it holds.
It judges the recording, not the pickup; analyze does that.

Run it at the bench after every take, or once with --watch: it then waits beside
you and judges each new take of the folder as it lands, until Ctrl-C.

Exit status 1 when a take is unusable; the end of a watch is no failure.`,
		Example: "  saddlewise check wired/tap-3.wav\n  saddlewise check wired\n  saddlewise check --watch wired",
		Args: func(cmd *cobra.Command, args []string) error {
			if watch && len(args) != 1 {
				return misused("check --watch takes one stage folder; saddlewise help check explains")
			}
			if len(args) == 0 {
				return misused("check takes one or more recordings or stage folders; saddlewise help check explains")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if watch {
				return watchFolder(cmd, args[0])
			}
			bad := 0
			for _, path := range args {
				n, err := checkPath(cmd, path)
				if err != nil {
					return err
				}
				bad += n
			}
			if bad > 0 {
				return fmt.Errorf("%w: record %d again", errDoubt, bad)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&watch, "watch", false, "wait for new takes and judge each as it lands")
	return cmd
}

// lookEvery is how often a watch looks: soon enough after a take, and no
// load on the machine that records.
const lookEvery = 400 * time.Millisecond

func watchFolder(cmd *cobra.Command, dir string) error {
	watch, err := analysis.NewWatch(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.ErrOrStderr(), "waiting for takes in %s; Ctrl-C ends\n", dir)
	return watch.Run(cmd.Context(), lookEvery, func(k result.Take) error {
		line, _ := report.CheckLine(k)
		return printCheck(cmd.OutOrStdout(), line)
	})
}

func checkPath(cmd *cobra.Command, path string) (bad int, err error) {
	dir, only := path, ""
	if info, err := os.Stat(path); err == nil && !info.IsDir() || err != nil && filepath.Ext(path) != "" {
		dir, only = filepath.Dir(path), filepath.Base(path)
	}
	takes, err := analysis.Check(cmd.Context(), dir, only)
	if err != nil && only != "" {
		return 0, fmt.Errorf("%s cannot be checked: %w", only, err)
	}
	if err != nil {
		return 0, err
	}
	for _, k := range takes {
		line, ok := report.CheckLine(k)
		if !ok {
			bad++
		}
		if err := printCheck(cmd.OutOrStdout(), line); err != nil {
			return bad, err
		}
	}
	return bad, nil
}

// printCheck keeps one take to one line, but for a terminal that is too narrow.
func printCheck(out io.Writer, line string) error {
	if isTerminal(out) {
		line = report.HangCheckLine(line)
	}
	_, err := fmt.Fprintln(out, line)
	return err
}
