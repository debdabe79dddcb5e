package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"saddlewise/analysis"
	"saddlewise/report"
)

// errDoubt is for takes that should be recorded again.
var errDoubt = errors.New("not every take is usable")

func newCheck() *cobra.Command {
	return &cobra.Command{
		Use:   "check TAKE|STAGE ...",
		Short: "is each take usable? one line each",
		Long: `Check looks at single takes, or at all takes of a stage folder, and says in one
line each whether the recording can be judged by: not clipped, not muted by a
gate, not levelled by the recorder, not silent, and how many events it holds.
It judges the recording, not the pickup; analyze does that.

Run it at the bench after every take. Exit status 1 when a take is unusable.`,
		Example: "  saddlewise check wired/tap-3.wav\n  saddlewise check wired",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return misused("check takes one or more recordings or stage folders; saddlewise help check explains")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
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
		if _, err := fmt.Fprintln(cmd.OutOrStdout(), line); err != nil {
			return bad, err
		}
	}
	return bad, nil
}
