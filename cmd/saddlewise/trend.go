package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"saddlewise/analysis"
	"saddlewise/analysis/result"
	"saddlewise/report"
)

type trendFlags struct {
	out         string
	html, svg   bool
	json, quiet bool
}

func newTrend() *cobra.Command {
	var f trendFlags
	cmd := &cobra.Command{
		Use:   "trend BUILD",
		Short: "every stage of a build in order, and where a change is real",
		Long: `Trend measures every stage folder in BUILD, puts them in order by their date (stage.toml), then
by folder name, and compares each with the one before. Where a stage's takes
are gone it reads STAGE/report/results.json instead, and says so.

The report goes to BUILD/trend: trend.md with its pictures, trend.json and
trend.csv.`,
		Example: "  saddlewise trend cello\n  saddlewise trend cello --html\n  saddlewise trend cello --json",
		Args:    exactly(1, "one folder of stages"),
		RunE:    func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	cmd.Flags().StringVar(&f.out, "out", "", "write the report into this folder instead of BUILD/trend")
	cmd.Flags().BoolVar(&f.html, "html", false, "write trend.html too: one file with everything in it, to send or print")
	cmd.Flags().BoolVar(&f.svg, "svg", false, "write the pictures as SVG too")
	cmd.Flags().BoolVar(&f.json, "json", false, "print trend.json instead of the summary")
	cmd.Flags().BoolVar(&f.quiet, "quiet", false, "print nothing but errors")
	cmd.ValidArgsFunction = stageFolder
	_ = cmd.MarkFlagDirname("out") // completion only
	return cmd
}

func (f trendFlags) run(cmd *cobra.Command, build string) error {
	folder := f.out
	if folder == "" {
		folder = filepath.Join(build, "trend")
	}
	options := analysis.Options{Tool: tool(), Progress: progress(cmd.ErrOrStderr(), f.quiet)}
	t, err := follow(cmd.Context(), build, options)
	if err != nil {
		return err
	}
	if err := report.WriteTrend(cmd.Context(), t, folder, formats(f.html, f.svg)...); err != nil {
		return err
	}
	return present(cmd.OutOrStdout(), f.json, f.quiet,
		func() ([]byte, error) { return report.TrendJSON(t) },
		func(p report.Paint) string { return report.TrendSummary(t, p) }, filepath.Join(folder, reportName("trend", f.html)))
}

// found is one stage of the build.
type found struct {
	folder  string
	results *result.Results
	earlier bool
}

// follow reads the stages in build and lines them up.
func follow(ctx context.Context, build string, o analysis.Options) (*result.Trend, error) {
	entries, err := os.ReadDir(build)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read as a folder of stages: %w", build, err)
	}
	var stages []found
	var notes []string
	for _, e := range entries {
		if !e.IsDir() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		s, note, err := readStage(ctx, filepath.Join(build, e.Name()), o)
		if err != nil {
			return nil, err
		}
		if note != "" {
			notes = append(notes, note)
		}
		if s != nil {
			stages = append(stages, *s)
		}
	}
	if len(stages) == 0 {
		return nil, fmt.Errorf("%s: %w", build, errors.Join(append([]error{errors.New("no folder in it holds a stage; give the folder above the stages")}, asErrors(notes)...)...))
	}
	inOrder(stages)
	t := lineUp(stages, o.Tool)
	t.Notes = append(t.Notes, notes...)
	return t, nil
}

func asErrors(notes []string) []error {
	var out []error
	for _, n := range notes {
		out = append(out, errors.New(n))
	}
	return out
}

// inOrder sorts by date, then folder; stages without a date come last.
func inOrder(stages []found) {
	date := func(f found) string { return cmp.Or(f.results.Stage.Date, "9999") }
	slices.SortStableFunc(stages, func(a, b found) int {
		return cmp.Or(cmp.Compare(date(a), date(b)), cmp.Compare(a.folder, b.folder))
	})
}

func lineUp(stages []found, tool string) *result.Trend {
	var results []*result.Results
	var earlier []bool
	var undated []string
	for _, s := range stages {
		results, earlier = append(results, s.results), append(earlier, s.earlier)
		if s.results.Stage.Date == "" {
			undated = append(undated, s.folder)
		}
	}
	t := analysis.Follow(results, earlier, tool)
	if n := len(undated); n > 0 && n < len(stages) {
		t.Notes = append(t.Notes, fmt.Sprintf("%s: no date in stage.toml, so placed last, by folder name.", strings.Join(undated, ", ")))
	}
	return t
}

// readStage measures the takes in dir; where that cannot be done it reads the
// report of an earlier analysis. Folders that are no stage give nothing; the
// error is for an interruption.
func readStage(ctx context.Context, dir string, o analysis.Options) (*found, string, error) {
	name := filepath.Base(dir)
	r, err := analysis.Analyze(ctx, dir, o)
	if err == nil {
		return &found{name, r, false}, "", nil
	}
	if ctx.Err() != nil {
		return nil, "", ctx.Err()
	}
	old, oldErr := readResults(filepath.Join(dir, "report", "results.json"))
	switch {
	case oldErr == nil:
		note := fmt.Sprintf("%s: its takes are gone, so its earlier report was read (made by %s).", name, old.Tool)
		if holdsTakes(dir) {
			note = fmt.Sprintf("%s: its takes cannot be measured, so its earlier report was read: %s", name, err)
		}
		return &found{name, old, true}, note, nil
	case !errors.Is(oldErr, fs.ErrNotExist):
		return nil, fmt.Sprintf("%s is left out: %s", name, oldErr), nil
	case holdsTakes(dir):
		return nil, fmt.Sprintf("%s is left out: %s", name, err), nil
	}
	return nil, "", nil
}

// holdsTakes tells whether dir looks like a stage.
func holdsTakes(dir string) bool {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return true // its error is worth telling
	}
	return slices.ContainsFunc(entries, func(e os.DirEntry) bool {
		return !e.IsDir() && strings.EqualFold(filepath.Ext(e.Name()), ".wav")
	})
}

// mostResultsBytes bounds what is read of a results.json: a stage of hundreds
// of takes fits in a tenth of it.
const mostResultsBytes = 64 << 20

func readResults(path string) (*result.Results, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.Size() > mostResultsBytes {
		return nil, fmt.Errorf("%s is longer than %d MiB; it cannot be an analysis", path, mostResultsBytes>>20)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read an earlier report: %w", err)
	}
	r, err := result.Decode(text)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be used: %w", path, err)
	}
	return r, nil
}
