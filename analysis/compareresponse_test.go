package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
	"saddlewise/fixtures/accuracy"
)

// bandedStage draws tap responses of four strings, 24 bands of n taps that
// scatter by 1 dB; every region of a take moves by spreadDB, and the third
// string's upper bands lie higher by moveDB.
func bandedStage(rng *rand.Rand, n int, spreadDB, moveDB float64) *result.Results {
	r := &result.Results{}
	for s := range 4 {
		response := &result.TapResponse{BandsPerOctave: 3, MidRangeHz: [2]float64{200, 1000}, HighRangeHz: [2]float64{1000, 4000}}
		take := [3]float64{spreadDB * rng.NormFloat64(), spreadDB * rng.NormFloat64(), spreadDB * rng.NormFloat64()}
		for b := range 24 {
			hz := 50 * float64(b+1)
			region := regionOf(response, hz)
			values := make([]float64, n)
			for i := range values {
				values[i] = rng.NormFloat64() + take[region]
				if s == 2 && region == highRegion {
					values[i] += moveDB
				}
			}
			e := stats.Summarize(values)
			response.Bands = append(response.Bands, result.Band{MidHz: hz, LevelDB: e.Median, N: n, Interval: e.Interval})
		}
		r.Strings = append(r.Strings, result.String{Number: s + 1, Tap: &result.Tap{Takes: []int{s}, Response: response}})
	}
	return r
}

// Of stages that did not change at most one in twenty-five shows a band that
// leaves zero, also with few taps; of those where five bands rose by 4 dB most
// show it. Intervals of few taps' ranges hold a little more than they state.
func TestBandChangesKeepTheirLevel(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(60, 200)
	var off []float64
	for _, spread := range []float64{0, 0.5} {
		for _, n := range []int{3, 4, 5, 6, 8, 12} {
			rng := rand.New(rand.NewPCG(uint64(n), 3))
			falsely, seen := 0, 0
			c := covers{of: map[string]*held{}}
			for range cases {
				leaves := false
				for _, change := range tapBands(bandedStage(rng, n, spread, 0), bandedStage(rng, n, spread, 0), spread) {
					leaves = leaves || len(change.Leaving) > 0
					for _, d := range change.Bands {
						c.add("band", d.Around, 0)
					}
				}
				falsely += one(leaves)
				seen += one(len(tapBands(bandedStage(rng, n, spread, 0), bandedStage(rng, n, spread, 4), spread)[2].Leaving) > 0)
			}
			h, count := c.of["band"], float64(cases)
			points := 100 * (h.truths - h.stated) / h.cases
			off = append(off, points)
			t.Logf("%d taps, takes %.1f dB apart: %.3f false, %.3f seen, coverage %+.1f of %.1f", n, spread, float64(falsely)/count, float64(seen)/count, points, 100*h.stated/h.cases)
			if rate := float64(falsely) / count; rate > chance+3*math.Sqrt(chance/count) {
				t.Errorf("%d taps, takes %.1f dB apart: %.3f of comparisons show a change where there is none", n, spread, rate)
			}
			if n >= 8 && float64(seen) < 0.8*count {
				t.Errorf("%d taps, takes %.1f dB apart: 4 dB seen in %d of %d", n, spread, seen, cases)
			}
			if points < -1.5 || points > 5 {
				t.Errorf("%d taps, takes %.1f dB apart: coverage %+.1f points off", n, spread, points)
			}
		}
	}
	accuracy.Report(t, accuracy.Row{Measure: "coverage of a band's change of response", Range: fmt.Sprintf("%d comparisons of 4 strings, 3-12 taps", cases),
		Unit: "points off the stated coverage", Bound: "-1.5 to 5", Source: "simulation with known truth"}, off)
}
