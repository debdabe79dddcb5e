package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"saddlewise/analysis"
	"saddlewise/analysis/result"
	"saddlewise/fixtures"
	"saddlewise/report"
)

// demoSeed makes every demo the same.
const demoSeed = 20260302

func newDemo() *cobra.Command {
	return &cobra.Command{
		Use:   "demo [DIR]",
		Short: "render a made-up build, analyse and compare its two stages",
		Long: `Demo renders recordings of a practice cello's pickup from a physical model: the
stage "wired", which has one disc the wrong way round and one weak bond, and
the stage "glued", where both are cured. It analyses both, compares
them, and says where the recordings and reports are. Nothing in it was
recorded; the build is made up.

Everything goes to DIR (saddlewise-demo when none is given). A recording or a
TOML file that is there already and holds something else is never replaced;
reports are written anew.`,
		Example: "  saddlewise demo\n  saddlewise demo cello",
		Args:    between(0, 1, "one folder at most"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := "saddlewise-demo"
			if len(args) == 1 {
				dir = args[0]
			}
			return demo(cmd, dir)
		},
	}
}

func demo(cmd *cobra.Command, dir string) error {
	out := cmd.OutOrStdout()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the demo's folder: %w", err)
	}
	var stages []fixtures.Stage
	err := rendered(dir, func(aside string) (err error) {
		stages, err = fixtures.Demo(cmd.Context(), aside, demoSeed)
		return err
	})
	if err != nil {
		return err
	}
	var results []*result.Results
	for _, s := range stages {
		folder := filepath.Join(dir, s.Name)
		r, err := analyzeInto(cmd.Context(), folder, filepath.Join(folder, "report"), analysis.Options{Tool: tool(), Progress: progress(cmd.ErrOrStderr(), false)})
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(out, "%s\n", report.Summary(r, paintFor(out))); err != nil {
			return err
		}
		results = append(results, r)
	}
	before, after := filepath.Join(dir, stages[0].Name), filepath.Join(dir, stages[1].Name)
	c := analysis.Compare(results[0], results[1], tool())
	folder := comparisonFolder(before, after)
	if err := report.WriteComparison(cmd.Context(), c, folder); err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "%s\n\nRecordings and reports:\n  %s\n  %s\n  %s\n", report.Wrap(c.Sentence),
		filepath.Join(before, "report", "report.md"), filepath.Join(after, "report", "report.md"), filepath.Join(folder, "comparison.md"))
	return err
}
