// Package analysis measures one stage of a pickup build: it reads the takes
// that the folder holds, hands their events to the measures, gathers what
// they say by string, and has the findings judged.
//
// A take that cannot be used never costs the others: it becomes a problem in
// the results. Takes are worked on in parallel and gathered by their place in
// the folder, so the results do not depend on the number of cores.
package analysis

import (
	"context"
	"errors"
	"fmt"
	"runtime"

	"golang.org/x/sync/errgroup"

	"saddlewise/analysis/finding"
	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
)

// Options are what the caller decides about an analysis.
type Options struct {
	Tool     string // name and version for the results
	Progress func(done, total int)

	BandsPerOctave int // of the tap response: 3, 6 or 12; 0: as the stage's TOML says, else 6
}

// ErrNothingUsable means that no take of the stage could be measured.
var ErrNothingUsable = errors.New("no take of this stage could be measured")

// Analyze measures the stage in folder dir. The error is for a stage that
// cannot be judged at all; single takes that fail are in the results.
func Analyze(ctx context.Context, dir string, o Options) (*result.Results, error) {
	st, err := stage.Read(dir)
	if err != nil {
		return nil, err
	}
	if o.BandsPerOctave > 0 {
		st.BandsPerOctave = o.BandsPerOctave
	}
	takes, err := measureTakes(ctx, st, o.Progress)
	if err != nil {
		return nil, err
	}
	r := &result.Results{
		SchemaVersion: result.SchemaVersion,
		Tool:          o.Tool,
		Stage:         describe(st),
		Problems:      []result.Problem{},
		Strings:       []result.String{},
		Quiet:         []result.Quiet{},
		Sweeps:        []result.Sweep{},
	}
	gather(r, st, takes)
	if !anyUsable(r) {
		return nil, fmt.Errorf("%s: %w", dir, errors.Join(ErrNothingUsable, problemsOf(r)))
	}
	finding.Judge(r)
	return r, nil
}

// anyUsable asks for one take with a result. Taps that nothing is heard of are
// one: they say that the pickup is silent.
func anyUsable(r *result.Results) bool {
	for _, k := range r.Takes {
		if k.Problem == "" || k.Test == "tap" && k.Facts != nil && !k.Facts.Dead {
			return true
		}
	}
	return false
}

func problemsOf(r *result.Results) error {
	var errs []error
	for _, p := range r.Problems {
		errs = append(errs, errors.New(p.Text))
	}
	return errors.Join(errs...)
}

// measureTakes measures silence first, because the hum found in it helps the
// pitch and the decay of the other takes.
func measureTakes(ctx context.Context, st *stage.Stage, progress func(done, total int)) ([]measured, error) {
	out := make([]measured, len(st.Takes))
	count := newCounter(len(st.Takes), progress)
	isQuiet := func(i int) bool { return st.Takes[i].Test == stage.Quiet }
	if err := inParallel(ctx, len(st.Takes), isQuiet, func(ctx context.Context, i int) error {
		defer count.add()
		return measureTake(ctx, st, st.Takes[i], nil, &out[i])
	}); err != nil {
		return nil, err
	}
	known := humOf(out)
	others := func(i int) bool { return !isQuiet(i) }
	err := inParallel(ctx, len(st.Takes), others, func(ctx context.Context, i int) error {
		defer count.add()
		return measureTake(ctx, st, st.Takes[i], known, &out[i])
	})
	return out, err
}

// inParallel runs work for each index that pick wants, on all cores.
func inParallel(ctx context.Context, n int, pick func(int) bool, work func(context.Context, int) error) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		if pick(i) {
			g.Go(func() error { return work(ctx, i) })
		}
	}
	return g.Wait()
}
