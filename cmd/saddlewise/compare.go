package main

import (
	"path/filepath"

	"github.com/spf13/cobra"

	"saddlewise/analysis"
	"saddlewise/analysis/result"
	"saddlewise/report"
)

type compareFlags struct {
	out         string
	html, svg   bool
	json, quiet bool
}

func newCompare() *cobra.Command {
	var f compareFlags
	cmd := &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "what changed between two stages, and is it real",
		Long: `Compare measures two stage folders and says what changed from BEFORE to AFTER,
with an interval on every change, and what this data could not have shown: two
taps are never alike. It tells a moved input gain from a changed pickup where
the noise gives it away, and compares balance and shape then.

The report goes to AFTER/report-from-BEFORE: comparison.md with its pictures,
comparison.json and comparison.csv.`,
		Example: "  saddlewise compare wired glued\n  saddlewise compare wired glued --html\n  saddlewise compare wired glued --json",
		Args:    exactly(2, "two stage folders, before and after"),
		RunE:    func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0], args[1]) },
	}
	cmd.Flags().StringVar(&f.out, "out", "", "write the report into this folder")
	cmd.Flags().BoolVar(&f.html, "html", false, "write comparison.html too: one file with everything in it, to send or print")
	cmd.Flags().BoolVar(&f.svg, "svg", false, "write the pictures as SVG too")
	cmd.Flags().BoolVar(&f.json, "json", false, "print comparison.json instead of the summary")
	cmd.Flags().BoolVar(&f.quiet, "quiet", false, "print nothing but errors")
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 1 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveFilterDirs
	}
	_ = cmd.MarkFlagDirname("out") // completion only
	return cmd
}

func (f compareFlags) run(cmd *cobra.Command, before, after string) error {
	sides := make([]*result.Results, 2)
	for i, dir := range []string{before, after} {
		r, err := analysis.Analyze(cmd.Context(), dir, analysis.Options{Tool: tool(), Progress: progress(cmd.ErrOrStderr(), f.quiet)})
		if err != nil {
			return err
		}
		sides[i] = r
	}
	folder := f.out
	if folder == "" {
		folder = comparisonFolder(before, after)
	}
	return f.write(cmd, analysis.Compare(sides[0], sides[1], tool()), folder)
}

func comparisonFolder(before, after string) string {
	name := filepath.Base(filepath.Clean(before))
	if full, err := filepath.Abs(before); err == nil {
		name = filepath.Base(full)
	}
	return filepath.Join(after, "report-from-"+name)
}

func (f compareFlags) write(cmd *cobra.Command, c *result.Comparison, folder string) error {
	if err := report.WriteComparison(cmd.Context(), c, folder, formats(f.html, f.svg)...); err != nil {
		return err
	}
	return present(cmd.OutOrStdout(), f.json, f.quiet,
		func() ([]byte, error) { return report.ComparisonJSON(c) },
		func(p report.Paint) string { return report.ComparisonSummary(c, p) }, filepath.Join(folder, reportName("comparison", f.html)))
}

// formats are the extra forms of a report that were asked for.
func formats(html, svg bool) []report.Format {
	var out []report.Format
	if html {
		out = append(out, report.HTML)
	}
	if svg {
		out = append(out, report.SVG)
	}
	return out
}

// reportName is the file to read first.
func reportName(name string, html bool) string {
	if html {
		return name + ".html"
	}
	return name + ".md"
}
