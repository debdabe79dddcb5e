package report

import (
	"fmt"
	"math"
	"math/rand/v2"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// sampleSweep invents a sweep played at a string, or at the whole bridge.
func sampleSweep(number int) result.Sweep {
	low := 48.0
	s := result.Sweep{String: number, LowMinus3Hz: &low, CornerHz: quantityOf(46, 0.4, 3), Peaks: []result.Peak{{Hz: 430, LevelDB: 6, Q: 4}}}
	for hz := 20.0; hz < 20000; hz *= 1.01 {
		s.Hz = append(s.Hz, hz)
		s.MagnitudeDB = append(s.MagnitudeDB, -10*math.Log10(1+math.Pow(46/hz, 2))+5*math.Exp(-math.Pow(math.Log2(hz/430)*4, 2)))
		s.SNRDB = append(s.SNRDB, 60)
		s.GroupDelayMS, s.ImpulseMS, s.Impulse = append(s.GroupDelayMS, 1), append(s.ImpulseMS, hz/1000), append(s.Impulse, 0.1)
	}
	for order := 2; order <= 5; order++ {
		d := result.Distortion{Order: order}
		for hz := 20.0; hz < 9000; hz *= 1.05 {
			d.Hz, d.LevelDB = append(d.Hz, hz), append(d.LevelDB, float64(-30-10*order))
		}
		s.Distortion = append(s.Distortion, d)
	}
	return s
}

// wholeComparison invents a comparison of n strings with every kind of change.
func wholeComparison(n int) *result.Comparison {
	rng := rand.New(rand.NewPCG(uint64(n), 11))
	c := sampleComparison()
	c.Changes = nil
	verdicts := []string{result.Rose, result.Fell, result.NoChangeSeen, result.CannotTell}
	for i, s := range sample(n).Strings {
		for _, m := range [][3]string{{"tap", "balance", "dB"}, {"tap", "level", "dBFS"}, {"pluck", "balance", "dB"}, {"pluck", "f1", "Hz"}, {"pluck", "T60", "s"}} {
			v, est := rng.NormFloat64()*3, stats.Estimate{Median: 1, N: 8}
			c.Changes = append(c.Changes, result.Change{String: s.Number, Note: s.Note, Test: m[0], Measure: m[1], Unit: m[2],
				Before: &est, After: &est, Shift: &v, Interval: &stats.Interval{Low: v - 1, High: v + 1, Coverage: 0.95}, Verdict: verdicts[i%4]})
		}
		band := result.BandChange{String: s.Number, Note: s.Note}
		for _, b := range s.Tap.Response.AgainstMedianDB {
			band.Bands = append(band.Bands, result.BandDiff{MidHz: b.MidHz, DB: b.LevelDB, Around: b.Interval, Leaves: b.MidHz > 200})
		}
		c.Response = append(c.Response, band)
	}
	return c
}

// wholeTrend invents a trend of n strings over stages of the names.
func wholeTrend(n int, stages ...string) *result.Trend {
	rng := rand.New(rand.NewPCG(uint64(n), 13))
	t := &result.Trend{Tool: "saddlewise test", Build: "Sample build"}
	for i, name := range stages {
		t.Stages = append(t.Stages, result.TrendStage{ComparedStage: result.ComparedStage{
			Name: name, Date: fmt.Sprintf("2026-01-%02d", i+1), Verdict: result.Recheck}, Judged: "Look again."})
	}
	for _, s := range sample(n).Strings {
		for _, m := range [][2]string{{"tap", "balance"}, {"pluck", "T60"}} {
			series := result.Series{String: s.Number, Note: s.Note, Test: m[0], Measure: m[1], Unit: "dB"}
			for i := range stages {
				p := result.TrendPoint{Verdict: []string{"", result.Rose, result.NoChangeSeen}[i%3]}
				if v := rng.NormFloat64() * 3; (i+s.Number)%5 != 0 {
					p.Estimate = quantityOf(v, 1, 8).Estimate
				}
				series.Points = append(series.Points, p)
			}
			t.Series = append(t.Series, series)
		}
	}
	return t
}

// everyFigure is each kind of figure of every kind of report, by a name.
func everyFigure() map[string][]figure {
	all := map[string][]figure{}
	for name, r := range cases() {
		all[name] = figuresOf(r)
	}
	for name, r := range broken() {
		all[name] = figuresOf(r)
	}
	swept := sample(4)
	swept.Sweeps = []result.Sweep{sampleSweep(0), sampleSweep(3), sampleSweep(9)}
	swept.Sweeps[2].Peaks, swept.Sweeps[2].SNRDB, swept.Sweeps[2].LowMinus3Hz = nil, nil, nil
	all["swept"] = figuresOf(swept)
	for _, n := range []int{1, 4, 6, 12} {
		c := wholeComparison(n)
		for _, f := range []*figure{changesFigure(c), responseChangeFigure(c)} {
			all[fmt.Sprintf("comparison of %d", n)] = append(all[fmt.Sprintf("comparison of %d", n)], *f)
		}
		all[fmt.Sprintf("trend of %d", n)] = trendFigures(wholeTrend(n, "wired", "glued with the slow epoxy of last year", "弦を張った", "potted", "strung"))
	}
	return all
}
