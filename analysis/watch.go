package analysis

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
)

// Watch sees takes land in a folder. Takes that are there from the start are
// left alone.
type Watch struct {
	dir   string
	known map[string]footprint
}

// NewWatch notes what is in the folder dir before the first take lands.
func NewWatch(dir string) (*Watch, error) {
	known, err := look(dir)
	if err != nil {
		return nil, err
	}
	return &Watch{dir, known}, nil
}

// Run gives each take that lands to landed, again when it is recorded anew,
// until ctx ends. It looks every so often, and takes a file as landed once it
// has stayed as it is for restLooks looks: recorders write as they go, in
// bursts.
func (w *Watch) Run(ctx context.Context, every time.Duration, landed func(result.Take) error) error {
	waiting := map[string]rest{}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		seen, err := look(w.dir)
		if err != nil {
			return err
		}
		for _, file := range ripe(seen, w.known, waiting) {
			if err := judge(ctx, w.dir, file, landed); err != nil {
				return err
			}
		}
	}
}

// footprint tells a file that was written to from one that was not.
type footprint struct {
	bytes    int64
	modified time.Time
}

// restLooks is how many looks in a row must find a file unchanged.
const restLooks = 3

// rest is how long a file has stood as it does.
type rest struct {
	footprint
	looks int
}

// look notes how the recordings in dir stand.
func look(dir string) (map[string]footprint, error) {
	files, err := stage.Recordings(dir)
	if err != nil {
		return nil, err
	}
	seen := map[string]footprint{}
	for _, name := range files {
		seen[name] = footprint{}
		if info, err := os.Stat(filepath.Join(dir, name)); err == nil {
			seen[name] = footprint{info.Size(), info.ModTime()}
		}
	}
	return seen, nil
}

// ripe names the files that are new or changed and have come to rest, in
// order of name; it keeps known and waiting up to date.
func ripe(seen, known map[string]footprint, waiting map[string]rest) []string {
	var landed []string
	for name, now := range seen {
		before := waiting[name]
		switch {
		case known[name] == now:
			delete(waiting, name)
		case before.footprint != now:
			waiting[name] = rest{now, 0}
		case before.looks+1 < restLooks:
			waiting[name] = rest{now, before.looks + 1}
		default:
			delete(waiting, name)
			known[name] = now
			landed = append(landed, name)
		}
	}
	slices.Sort(landed)
	return landed
}

// judge checks one take that landed. A take that cannot be looked at is told
// like any other: it must not end the watch.
func judge(ctx context.Context, dir, file string, landed func(result.Take) error) error {
	takes, err := Check(ctx, dir, file)
	switch {
	case ctx.Err() != nil:
		return nil
	case err != nil:
		takes = []result.Take{{File: file, Problem: fmt.Sprintf("%s cannot be checked: %s", file, err)}}
	}
	for _, k := range takes {
		if err := landed(k); err != nil {
			return err
		}
	}
	return nil
}
