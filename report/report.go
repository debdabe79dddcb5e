// Package report turns results into what a person keeps: a Markdown report
// with pictures, and the same numbers as JSON and CSV.
//
// It reads results only, never a recording, and gives the same bytes for the
// same results. Files are written whole or not at all.
package report

import (
	"context"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"saddlewise/analysis/result"
)

// Format is a form of the report beside Markdown with PNG pictures.
type Format int

// Formats.
const (
	HTML Format = iota + 1 // report.html, one file with everything in it
	SVG                    // every picture as scalable vectors too
)

// Write puts report.md, its pictures, results.json and results.csv into dir,
// which it makes if need be, and what else is asked for. Other files there
// stay as they are.
func Write(ctx context.Context, r *result.Results, dir string, extra ...Format) error {
	figures := figuresOf(r)
	files, err := drawAll(ctx, figures)
	if err != nil {
		return err
	}
	text, err := JSON(r)
	if err != nil {
		return err
	}
	table, err := CSV(r)
	if err != nil {
		return err
	}
	words := markdown(r, figures)
	more, err := extraFiles(r, figures, words, files, extra)
	if err != nil {
		return err
	}
	files = append(files, more...)
	files = append(files, file{"results.json", text}, file{"results.csv", table}, file{"report.md", words})
	if err := ctx.Err(); err != nil {
		return err
	}
	return writeAll(dir, files)
}

// extraFiles are the forms asked for; pictures are the figures as PNG.
func extraFiles(r *result.Results, figures []figure, words []byte, pictures []file, extra []Format) ([]file, error) {
	var files []file
	if slices.Contains(extra, SVG) {
		for _, f := range figures {
			data, err := f.svg()
			if err != nil {
				return nil, err
			}
			files = append(files, file{f.name + ".svg", data})
		}
	}
	if slices.Contains(extra, HTML) {
		data, err := page(stageTitle(r.Stage), string(r.Verdict.Word), words, pictures)
		if err != nil {
			return nil, err
		}
		files = append(files, file{"report.html", data})
	}
	return files, nil
}

// figuresOf lists the pictures that the results have data for.
func figuresOf(r *result.Results) []figure {
	var figures []figure
	for _, make := range []func(*result.Results) *figure{
		balanceFigure, tapFigure, spectrumFigure, decayFigure, noiseFigure, responseFigure, sweepFigure,
	} {
		if f := make(r); f != nil {
			figures = append(figures, *f)
		}
	}
	return figures
}

// drawAll draws the figures on all cores, in order.
func drawAll(ctx context.Context, figures []figure) ([]file, error) {
	files := make([]file, len(figures))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, f := range figures {
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			data, err := f.png()
			files[i] = file{f.name + ".png", data}
			return err
		})
	}
	return files, g.Wait()
}
