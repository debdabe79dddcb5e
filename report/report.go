// Package report turns results into what a person keeps: a Markdown report
// with pictures, and the same numbers as JSON and CSV.
//
// It reads results only, never a recording, and gives the same bytes for the
// same results. Files are written whole or not at all.
package report

import (
	"context"

	"saddlewise/analysis/result"
)

// Format is a form of the report beside Markdown with PNG pictures.
type Format int

// Formats.
const (
	HTML Format = iota + 1 // one file beside the Markdown, with everything in it
	SVG                    // every picture as scalable vectors too
)

// Write puts report.md, its pictures, results.json and results.csv into dir,
// which it makes if need be, and what else is asked for. Other files there
// stay as they are.
func Write(ctx context.Context, r *result.Results, dir string, extra ...Format) error {
	figures := figuresOf(r)
	return document{
		name: "report", title: stageTitle(r.Stage), mood: string(r.Verdict.Word),
		words: markdown(r, figures), figures: figures,
		data: []output{encoding("results.json", r, JSON), encoding("results.csv", r, CSV)},
	}.write(ctx, dir, extra)
}

// figuresOf lists the pictures that the results have data for.
func figuresOf(r *result.Results) []figure {
	var figures []figure
	for _, make := range []func(*result.Results) *figure{
		balanceFigure, tapFigure, spectrumFigure, decayFigure, noiseFigure, responseFigure, loadFigure,
	} {
		if f := make(r); f != nil {
			figures = append(figures, *f)
		}
	}
	return append(figures, sweepFigures(r)...)
}
