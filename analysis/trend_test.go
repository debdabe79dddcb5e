package analysis

import (
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/result"
)

// TestFollowMarksRealChange follows one string that grows 5 dB louder from the
// second stage to the third, then stays.
func TestFollowMarksRealChange(t *testing.T) {
	s := scene{strings: 4, taps: 12, takes: 1, spreadDB: 1, changeDB: []float64{5}}
	r := rand.New(rand.NewPCG(3, 4))
	var stages []*result.Results
	for _, after := range []float64{0, 0, 1, 1} {
		stages = append(stages, s.results(r, after))
	}
	trend := Follow(stages, []bool{true, false, false, false}, "test")
	if !trend.Stages[0].Earlier || trend.Stages[0].Since != "" || trend.Stages[1].Since == "" {
		t.Errorf("stages %+v", trend.Stages)
	}
	for _, series := range trend.Series {
		if series.Measure != "balance" {
			continue
		}
		for i, p := range series.Points {
			if want := series.String == 1 && i == 2; p.Real() != want {
				t.Errorf("string %d at stage %d: real %v, want %v (%s, %q)", series.String, i, p.Real(), want, p.Verdict, p.Explained)
			}
		}
	}
}
