package main

import (
	"context"
	"io"
	"path/filepath"
	"time"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"

	"saddlewise/analysis"
	"saddlewise/analysis/result"
	"saddlewise/report"
)

type analyzeFlags struct {
	out, notes  string
	html, svg   bool
	json, quiet bool
	gate        bool
	bands       string
}

func newAnalyze() *cobra.Command {
	var f analyzeFlags
	cmd := &cobra.Command{
		Use:   "analyze STAGE",
		Short: "measure one stage of a build, judge it, write the report",
		Long: `Analyze reads the takes in the folder STAGE, measures them, says what is wrong
and what to try next, and whether the next step that cannot be undone may be
taken. The report goes to STAGE/report: report.md with its pictures,
results.json and results.csv. Recordings are never changed.

With --notes, a short dated summary with a link to the report is put at the end
of a Markdown file of your own, build notes perhaps; another analysis of the
same stage replaces that entry and nothing else.

File names say what a take is (see saddlewise help). stage.toml in the folder
and build.toml one level up may add the tuning, the pickup's parts, limits and
the next step; without them the names are enough.`,
		Example: `  saddlewise analyze wired
  saddlewise analyze wired --out notes/wired
  saddlewise analyze wired --html --notes build-notes.md
  saddlewise analyze wired --json | less
  saddlewise analyze wired --gate && echo may be glued`,
		Args: exactly(1, "one folder of takes"),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	cmd.Flags().StringVar(&f.out, "out", "", "write the report into this folder instead of STAGE/report")
	cmd.Flags().BoolVar(&f.html, "html", false, "write report.html too: one file with everything in it, to send or print")
	cmd.Flags().BoolVar(&f.svg, "svg", false, "write the pictures as SVG too")
	cmd.Flags().StringVar(&f.notes, "notes", "", "put a short summary into this Markdown file of yours")
	cmd.Flags().BoolVar(&f.json, "json", false, "print results.json instead of the summary")
	cmd.Flags().BoolVar(&f.quiet, "quiet", false, "print nothing but errors")
	cmd.Flags().BoolVar(&f.gate, "gate", false, "exit with status 3 when the verdict is stop")
	cmd.Flags().StringVar(&f.bands, "bands", "", "width of the tap response's bands in `octaves`: 1/3, 1/6 or 1/12 (1/6 when neither this nor the TOML says)")
	cmd.ValidArgsFunction = stageFolder
	_ = cmd.MarkFlagDirname("out")          // completion only
	_ = cmd.MarkFlagFilename("notes", "md") // completion only
	return cmd
}

func (f analyzeFlags) run(cmd *cobra.Command, dir string) error {
	bands, err := bandsPerOctave(f.bands)
	if err != nil {
		return err
	}
	folder := f.out
	if folder == "" {
		folder = filepath.Join(dir, "report")
	}
	o := analysis.Options{Tool: tool(), Progress: progress(cmd.ErrOrStderr(), f.quiet), BandsPerOctave: bands}
	r, err := analyzeInto(cmd.Context(), dir, folder, o, f.formats()...)
	if err != nil {
		return err
	}
	if f.notes != "" {
		note := report.Note{File: f.notes, Stage: dir, Report: filepath.Join(folder, "report.md"), Today: time.Now().Format(time.DateOnly)}
		if err := report.WriteNote(r, note); err != nil {
			return err
		}
	}
	if err := f.show(cmd.OutOrStdout(), r, folder); err != nil {
		return err
	}
	if f.gate && r.Verdict.Word == result.Stop {
		return errGate
	}
	return nil
}

// formats are the extra forms of the report that were asked for.
func (f analyzeFlags) formats() []report.Format {
	var formats []report.Format
	if f.html {
		formats = append(formats, report.HTML)
	}
	if f.svg {
		formats = append(formats, report.SVG)
	}
	return formats
}

func (f analyzeFlags) show(out io.Writer, r *result.Results, folder string) error {
	name := "report.md"
	if f.html {
		name = "report.html"
	}
	return present(out, f.json, f.quiet,
		func() ([]byte, error) { return report.JSON(r) },
		func(p report.Paint) string { return report.Summary(r, p) }, filepath.Join(folder, name))
}

// analyzeInto measures the stage in dir and writes its report into folder, in
// extra formats too.
func analyzeInto(ctx context.Context, dir, folder string, o analysis.Options, extra ...report.Format) (*result.Results, error) {
	r, err := analysis.Analyze(ctx, dir, o)
	if err != nil {
		return nil, err
	}
	if err := report.Write(ctx, r, folder, extra...); err != nil {
		return nil, err
	}
	return r, nil
}

// bandsPerOctave reads a band's width; 0 for none given.
func bandsPerOctave(width string) (int, error) {
	n, ok := map[string]int{"": 0, "1/3": 3, "1/6": 6, "1/12": 12}[width]
	if !ok {
		return 0, misused("--bands is %q; 1/3, 1/6 and 1/12 are allowed", width)
	}
	return n, nil
}

// progress shows a bar on a terminal once the work has lasted a second.
func progress(errOut io.Writer, quiet bool) func(done, total int) {
	if quiet || !isTerminal(errOut) {
		return nil
	}
	var bar *progressbar.ProgressBar
	start := time.Now()
	return func(done, total int) {
		if bar == nil {
			if time.Since(start) < time.Second {
				return
			}
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(errOut), progressbar.OptionSetWidth(30),
				progressbar.OptionSetDescription("takes"), progressbar.OptionClearOnFinish(), progressbar.OptionShowCount())
		}
		_ = bar.Set(done) // a bar that cannot be drawn harms nothing
	}
}
