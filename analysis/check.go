package analysis

import (
	"context"
	"fmt"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
)

// Check looks at the takes of the folder dir, or at one of them, and says
// what each recording is and whether it can be judged by. It judges no
// pickup.
func Check(ctx context.Context, dir, only string) ([]result.Take, error) {
	st, err := stage.Read(dir)
	if err != nil {
		return nil, err
	}
	if only != "" {
		if err := st.Keep(only); err != nil {
			return nil, err
		}
	}
	takes, err := measureTakes(ctx, st, true, nil)
	if err != nil {
		return nil, err
	}
	var out []result.Take
	for _, m := range takes {
		out = append(out, m.record)
	}
	for _, p := range st.Problems {
		if only == "" || p.File == only {
			out = append(out, result.Take{File: p.File, Problem: p.Text})
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s is not a take of the stage in %s; name it like tap-1.wav", only, dir)
	}
	return out, nil
}
