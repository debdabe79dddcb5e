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
	"slices"
	"sync"

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
	takes, err := measureTakes(ctx, st, false, o.Progress)
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

// measureTakes measures the takes on all cores. Plucks and tones wait for
// silence, because the hum found in it helps their pitch and decay; so they
// come last, those that cost most first. Brief leaves both out, for a check.
func measureTakes(ctx context.Context, st *stage.Stage, brief bool, progress func(done, total int)) ([]measured, error) {
	out := make([]measured, len(st.Takes))
	for i := range out {
		out[i].brief = brief
	}
	count := newCounter(len(st.Takes), progress)
	var silence sync.WaitGroup
	hum := sync.OnceValue(func() []float64 {
		silence.Wait()
		return humOf(st.Takes, out)
	})
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, i := range inTurn(st.Takes) {
		at := st.Takes[i]
		if at.Test == stage.Quiet {
			silence.Add(1)
		}
		g.Go(func() error {
			defer count.add()
			if at.Test == stage.Quiet {
				defer silence.Done()
			}
			var known []float64
			if at.Test == stage.Pluck || at.Test == stage.Tone {
				known = hum()
			}
			return measureTake(ctx, st, at, known, &out[i])
		})
	}
	return out, g.Wait()
}

// turns is the order in which tests are worked on.
var turns = []stage.Test{stage.Quiet, stage.SweepReference, stage.Sweep, stage.Tap, stage.Pluck, stage.Tone}

// inTurn lists the takes' indexes in the order of turns.
func inTurn(takes []stage.Take) []int {
	order := make([]int, len(takes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		return slices.Index(turns, takes[i].Test) - slices.Index(turns, takes[j].Test)
	})
	return order
}
