package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"text/template"

	"github.com/spf13/cobra"

	"saddlewise/analysis/signal"
)

type planFlags struct {
	strings, out, stage, next string
	toneHz                    float64
}

func newPlan() *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "what to record and how, as a checklist",
		Long: `Plan writes the whole recording session for your instrument as a Markdown
checklist: connections and cautions, gain, how to tap alike, how many taps,
fork, plucks and silence, and the file names that analyze understands.

With --out it makes that folder with build.toml, a stage folder with
stage.toml, and plan.md. Files that are there already are left alone.`,
		Example: `  saddlewise plan --strings A3,D3,G2,C2
  saddlewise plan --strings E4,B3,G3,D3,A2,E2 --out my-guitar --stage wired --next gluing`,
		Args: exactly(0, "no argument"),
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd.OutOrStdout()) },
	}
	cmd.Flags().StringVar(&f.strings, "strings", "", "open strings, highest first, such as A3,D3,G2,C2")
	cmd.Flags().StringVar(&f.out, "out", "", "make this build folder with plan.md and TOML skeletons")
	cmd.Flags().StringVar(&f.stage, "stage", "wired", "name of the stage")
	cmd.Flags().StringVar(&f.next, "next", "gluing", "the next step that cannot be undone")
	cmd.Flags().Float64Var(&f.toneHz, "tone-hz", 440, "frequency of the tuning fork, Hz")
	return cmd
}

// planData fills the templates.
type planData struct {
	Notes  []signal.Note
	List   string // "A3", "D3"
	Stage  string
	Next   string
	ToneHz float64
}

func (f planFlags) run(out io.Writer) error {
	notes, err := parseStrings(f.strings)
	if err != nil {
		return err
	}
	if f.stage == "" || f.stage != filepath.Base(f.stage) || f.stage == ".." || f.stage == "." {
		return misused("--stage is a plain folder name")
	}
	if strings.ContainsAny(f.next+f.stage, "\"\\\n\r") {
		return misused("--next and --stage take plain words")
	}
	var quoted []string
	for _, n := range notes {
		quoted = append(quoted, fmt.Sprintf("%q", n.Name))
	}
	data := planData{Notes: notes, List: strings.Join(quoted, ", "), Stage: f.stage, Next: f.next, ToneHz: f.toneHz}
	if f.out == "" {
		return planTemplate.Execute(out, data)
	}
	return data.write(out, f.out)
}

// write makes the build folder; what is there already stays as it is.
func (d planData) write(out io.Writer, dir string) error {
	if err := os.MkdirAll(filepath.Join(dir, d.Stage), 0o755); err != nil {
		return fmt.Errorf("make %s: %w", dir, err)
	}
	for _, f := range []struct {
		name string
		text *template.Template
	}{{"build.toml", buildTemplate}, {filepath.Join(d.Stage, "stage.toml"), stageTemplate}, {"plan.md", planTemplate}} {
		var b strings.Builder
		if err := f.text.Execute(&b, d); err != nil {
			return err
		}
		path := filepath.Join(dir, f.name)
		word := "wrote"
		switch err := writeNew(path, b.String()); {
		case errors.Is(err, fs.ErrExist):
			word = "kept "
		case err != nil:
			return err
		}
		if _, err := fmt.Fprintf(out, "%s %s\n", word, path); err != nil {
			return err
		}
	}
	return nil
}

// writeNew writes a file that must not be there yet, whole or not at all.
func writeNew(path, text string) (err error) {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".writing-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() { err = errors.Join(err, os.Remove(tmp.Name())) }()
	_, err = tmp.WriteString(text)
	if err = errors.Join(err, tmp.Chmod(0o644), tmp.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return os.Link(tmp.Name(), path)
}
