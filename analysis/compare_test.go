package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
	"saddlewise/fixtures/accuracy"
)

// scene is two made-up stages that differ by what is known.
type scene struct {
	name       string
	strings    int
	taps       int     // in each take
	takes      int     // of each string
	spreadDB   float64 // standard deviation of the taps of one take
	takesDB    float64 // standard deviation between takes
	changeDB   []float64
	handDB     float64 // the hand was harder after
	gainDB     float64 // the input gain was higher after: noise too
	assumedDB  float64
	withoutGap bool // no silence recorded
}

// results is one side of the scene.
func (s scene) results(r *rand.Rand, after float64) *result.Results {
	out := &result.Results{SchemaVersion: result.SchemaVersion}
	out.Stage.Limits = []result.Limit{{Key: "take_spread_db", Value: s.assumedDB, Unit: "dB"}}
	for k := range s.strings {
		level := -30 + 2*float64(k) + after*(s.handDB+s.gainDB)
		if k < len(s.changeDB) {
			level += after * s.changeDB[k]
		}
		var values []result.Value
		for take := range s.takes {
			own := level + s.takesDB*r.NormFloat64()
			for tap := range s.taps {
				values = append(values, result.Value{Take: k*s.takes + take, Event: tap, Value: own + s.spreadDB*r.NormFloat64()})
			}
		}
		out.Strings = append(out.Strings, result.String{Number: k + 1, Tap: &result.Tap{LevelDBFS: summarize(values, "")}})
	}
	setBalances(out.Strings)
	if !s.withoutGap {
		out.Quiet = []result.Quiet{{Label: "quiet", WithoutHumDBFS: s.noise(r, after), FloorADBFS: s.noise(r, after)}}
	}
	return out
}

// noise is a floor measured within 0.1 dB (standard deviation).
func (s scene) noise(r *rand.Rand, after float64) result.Quantity {
	v := -85 + after*s.gainDB + 0.1*r.NormFloat64()
	return result.Quantity{Estimate: &stats.Estimate{Median: v, N: 40, Interval: &stats.Interval{Low: v - 0.196, High: v + 0.196, Coverage: 0.95}}}
}

// trueShift is how far string k's level moved, and its balance.
func (s scene) trueShift(k int) (level, balance float64) {
	mean := 0.0
	for _, v := range s.changeDB {
		mean += v / float64(s.strings)
	}
	own := 0.0
	if k < len(s.changeDB) {
		own = s.changeDB[k]
	}
	return own + s.handDB + s.gainDB, own - mean
}

// score counts what Compare said of many pairs of one scene.
type score struct {
	pairs                             int
	falseLevel, falseBalance          int // families that hold a false change
	falseNoise, falseAlone            int
	falseAnswer                       int // comparisons that tell anything false as beyond chance among all
	covered, stated, asked            map[string]float64
	seenLevel, seenBalance, seenAlone int // the first string's change
	gain, hand                        int
}

func run(s scene, pairs int, seed uint64) score {
	r := rand.New(rand.NewPCG(seed, 5))
	out := score{pairs: pairs, covered: map[string]float64{}, stated: map[string]float64{}, asked: map[string]float64{}}
	spend := new(effort)
	for range pairs {
		out.add(s, compareStages(s.results(r, 0), s.results(r, 1), "test", spend))
	}
	return out
}

func (o *score) add(s scene, c *result.Comparison) {
	wrong := map[string]bool{}
	for _, ch := range c.Changes {
		changed := ch.Verdict == result.Rose || ch.Verdict == result.Fell
		if ch.Test != "tap" {
			wrong["noise"] = wrong["noise"] || changed && s.gainDB == 0 && ch.Measure == "floor without hum"
			wrong["answer"] = wrong["answer"] || ch.Survives && s.gainDB == 0
			continue
		}
		level, balance := s.trueShift(ch.String - 1)
		truth := map[string]float64{"level": level, "balance": balance}[ch.Measure]
		untrue := truth == 0 || truth > 0 != (*ch.Shift > 0)
		wrong[ch.Measure] = wrong[ch.Measure] || changed && untrue
		wrong["answer"] = wrong["answer"] || ch.Survives && untrue
		o.asked[ch.Measure]++
		if ch.Interval != nil {
			o.stated[ch.Measure] += ch.Interval.Coverage
			if ch.Interval.Low <= truth && truth <= ch.Interval.High {
				o.covered[ch.Measure]++
			}
		}
		if ch.String == 1 && ch.P <= 0.05 {
			o.count(ch.Measure)
		}
	}
	for _, a := range c.Alone {
		level, _ := s.trueShift(a.String - 1)
		wrong["alone"] = wrong["alone"] || level == s.handDB+s.gainDB
		o.seenAlone += one(a.String == 1)
	}
	for _, shared := range c.Common {
		wrong["answer"] = wrong["answer"] || shared.Survives
	}
	o.falseLevel, o.falseBalance = o.falseLevel+one(wrong["level"]), o.falseBalance+one(wrong["balance"])
	o.falseNoise, o.falseAlone = o.falseNoise+one(wrong["noise"]), o.falseAlone+one(wrong["alone"])
	o.falseAnswer += one(wrong["answer"])
	o.gain += one(c.Gain != nil)
	o.hand += one(len(c.Common) > 0 && c.Common[0].Real && c.Gain == nil)
}

func (o *score) count(measure string) {
	if measure == "level" {
		o.seenLevel++
	} else {
		o.seenBalance++
	}
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// coverage is the share of intervals that held the truth less what they
// state, in points.
func (o *score) coverage(measure string) float64 {
	return 100 * (o.covered[measure] - o.stated[measure]) / o.asked[measure]
}

func (o *score) percent(n int) float64 { return 100 * float64(n) / float64(o.pairs) }

func scenes() []scene {
	var out []scene
	for _, taps := range []int{3, 6, 10, 20} {
		for _, spread := range []float64{1, 2, 3} {
			out = append(out, scene{name: "no change", strings: 4, taps: taps, takes: 1, spreadDB: spread})
		}
	}
	for i, db := range []float64{1, 2, 3} {
		for _, taps := range []int{4, 6, 12, 20} {
			out = append(out, scene{name: fmt.Sprintf("%g dB on one", db), strings: 4, taps: taps, takes: 1, spreadDB: float64(i + 1), changeDB: []float64{db}})
		}
		out = append(out, scene{name: fmt.Sprintf("%g dB on one", db), strings: 6, taps: 5, takes: 2, spreadDB: 1, takesDB: 0.7, changeDB: []float64{db}})
	}
	return append(out,
		scene{name: "no change", strings: 2, taps: 8, takes: 1, spreadDB: 2},
		scene{name: "no change", strings: 6, taps: 8, takes: 1, spreadDB: 2, takesDB: 0.5, assumedDB: 0.5},
		scene{name: "no change", strings: 4, taps: 5, takes: 2, spreadDB: 2, takesDB: 1},
		scene{name: "no change", strings: 4, taps: 5, takes: 2, spreadDB: 2},
		scene{name: "3 dB on one", strings: 4, taps: 8, takes: 1, spreadDB: 1, takesDB: 0.5, assumedDB: 0.5, changeDB: []float64{3}},
		scene{name: "harder hand", strings: 4, taps: 8, takes: 1, spreadDB: 2, takesDB: 0.5, assumedDB: 0.5, handDB: 3},
		scene{name: "harder hand", strings: 4, taps: 4, takes: 2, spreadDB: 2, takesDB: 0.5, handDB: 3},
		scene{name: "gain only", strings: 4, taps: 8, takes: 1, spreadDB: 2, takesDB: 0.5, assumedDB: 0.5, gainDB: 3},
		scene{name: "gain only", strings: 4, taps: 3, takes: 1, spreadDB: 3, gainDB: -6},
		scene{name: "gain only", strings: 6, taps: 5, takes: 2, spreadDB: 1, takesDB: 0.5, gainDB: 6},
		scene{name: "gain and one", strings: 4, taps: 10, takes: 1, spreadDB: 1, gainDB: 6, changeDB: []float64{4}},
	)
}

// theory is the power that the change of the first string's level should be
// seen with: one take without spread between takes is the rank-sum test's
// (normal values); several takes are the two-sided Student's t test of the
// centres' difference with the noncentral distribution, the medians' variance
// taken as pi/2n of the taps'. NaN where neither holds.
func (s scene) theory() float64 {
	db, _ := s.trueShift(0)
	switch {
	case s.takes == 1 && s.takesDB == 0 && s.assumedDB == 0:
		return stats.RankSumPower(s.taps, s.taps, db, s.spreadDB)
	case s.takes > 1:
		inside := s.spreadDB * s.spreadDB * math.Pi / 2 / (float64(s.taps) + 0.5)
		variance := 2 * (s.takesDB*s.takesDB + inside) / float64(s.takes)
		return studentPower(db/math.Sqrt(variance), float64(2*s.strings*(s.takes-1)))
	}
	return math.NaN()
}

// studentPower is the chance that |Z+d|/sqrt(chi2/df) passes Student's limit at 5 %.
func studentPower(d, df float64) float64 {
	limit := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(0.975)
	chi, sum := distuv.ChiSquared{K: df}, 0.0
	const parts = 400
	for i := range parts {
		at := limit * math.Sqrt(chi.Quantile((float64(i)+0.5)/parts)/df)
		sum += distuv.UnitNormal.Survival(at-d) + distuv.UnitNormal.CDF(-at-d)
	}
	return sum / parts
}

// TestCompareErrorRates draws pairs of stages with known changes. Tolerances
// are the stated ones and three standard errors of the count, four where few
// are drawn.
func TestCompareErrorRates(t *testing.T) {
	pairs := accuracy.Cases(60, 2000)
	var all errorRates
	t.Run("scenes", func(t *testing.T) {
		for i, s := range scenes() {
			t.Run(fmt.Sprintf("%s %d", s.name, i), func(t *testing.T) {
				t.Parallel()
				o := run(s, pairs, uint64(i))
				want := s.theory()
				t.Logf("%d strings, %d taps, %d takes, spread %g, %g dB | false %%: level %.1f balance %.1f noise %.1f alone %.1f answer %.1f | cover: level %+.1f balance %+.1f | power: level %.1f (theory %.1f) balance %.1f alone %.1f | gain %.1f hand %.1f",
					s.strings, s.taps, s.takes, s.spreadDB, s.takesDB, o.percent(o.falseLevel), o.percent(o.falseBalance), o.percent(o.falseNoise), o.percent(o.falseAlone), o.percent(o.falseAnswer),
					o.coverage("level"), o.coverage("balance"), o.percent(o.seenLevel), 100*want, o.percent(o.seenBalance), o.percent(o.seenAlone), o.percent(o.gain), o.percent(o.hand))
				o.check(t, s, want)
				all.add(s, o, want)
			})
		}
	})
	all.report(t)
}

// errorRates gathers what all scenes showed, for the accuracy table.
type errorRates struct {
	sync.Mutex
	wrong, cover, power []float64
}

func (e *errorRates) add(s scene, o score, want float64) {
	e.Lock()
	defer e.Unlock()
	e.wrong = append(e.wrong, o.percent(o.falseLevel), o.percent(o.falseBalance), o.percent(o.falseNoise), o.percent(o.falseAlone))
	e.cover = append(e.cover, math.Abs(o.coverage("level")), math.Abs(o.coverage("balance")))
	if len(s.changeDB) > 0 && !math.IsNaN(want) {
		e.power = append(e.power, math.Abs(o.percent(o.seenLevel)-100*want))
	}
}

func (e *errorRates) report(t *testing.T) {
	const drawn, truth = "2-6 strings, 3-20 taps, spread 1-3 dB, 0-4 dB on one string, hand, gain", "simulation with known truth"
	accuracy.Report(t, accuracy.Row{Measure: "comparison: families that hold a false change", Range: drawn, Source: truth, Unit: "% of families", Bound: "5"}, e.wrong)
	accuracy.Report(t, accuracy.Row{Measure: "comparison: coverage of a change's interval", Range: drawn, Source: truth, Unit: "points off the stated coverage", Bound: "1.5"}, e.cover)
	accuracy.Report(t, accuracy.Row{Measure: "comparison: power", Range: drawn, Source: "rank-sum theory", Unit: "points off the theoretical power", Bound: "5"}, e.power)
}

func (o *score) check(t *testing.T, s scene, want float64) {
	t.Helper()
	errors := 100 * float64(accuracy.Cases(4, 3))
	slack := errors * math.Sqrt(0.05*0.95/float64(o.pairs))
	for name, got := range map[string]int{
		"level": o.falseLevel, "balance": o.falseBalance, "noise": o.falseNoise, "alone": o.falseAlone,
	} {
		if o.percent(got) > 5+slack {
			t.Errorf("%+v: %.1f %% of the %s families say changed where nothing did", s, o.percent(got), name)
		}
	}
	if calm := len(s.changeDB) == 0 && s.handDB == 0 && s.gainDB == 0; calm && o.percent(o.falseAnswer) > 5+slack {
		t.Errorf("%+v: %.1f %% of comparisons answer with a change where nothing changed", s, o.percent(o.falseAnswer))
	}
	for _, measure := range []string{"level", "balance"} {
		if got := o.coverage(measure); math.Abs(got) > 1.5+slack/math.Sqrt2 {
			t.Errorf("%+v: %s intervals cover %+.1f points beside what they state", s, measure, got)
		}
	}
	power := o.percent(o.seenLevel)
	if slack := errors * math.Sqrt(want*(1-want)/float64(o.pairs)); len(s.changeDB) > 0 && math.Abs(power-100*want) > 5+slack {
		t.Errorf("%+v: power %.1f %%, theory %.1f %%", s, power, 100*want)
	}
	if s.gainDB != 0 && o.percent(o.gain) < 90-slack || s.gainDB == 0 && o.percent(o.gain) > 5+slack {
		t.Errorf("%+v: gain told in %.1f %%", s, o.percent(o.gain))
	}
	if s.handDB != 0 && o.percent(o.hand) < 90-slack {
		t.Errorf("%+v: hand or all discs told in %.1f %%", s, o.percent(o.hand))
	}
}

func compareScene(s scene) *result.Comparison {
	r := rand.New(rand.NewPCG(1, 2))
	return Compare(s.results(r, 0), s.results(r, 1), "test")
}
