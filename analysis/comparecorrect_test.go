package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// Worked by hand from the definition: the smallest of four is multiplied by
// four, the next by three, and no adjusted p may lie below an earlier one.
func TestHolmWorkedExample(t *testing.T) {
	got := holm([]float64{0.01, 0.04, 0.03, 0.005})
	for i, want := range []float64{0.03, 0.06, 0.06, 0.02} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("p %d adjusted to %g, want %g", i, got[i], want)
		}
	}
	if len(holm(nil)) != 0 || holm([]float64{0.7, 0.6})[0] != 1 {
		t.Error("nothing, or more than certain")
	}
}

// TestMergedSilences joins what several silent takes say.
func TestMergedSilences(t *testing.T) {
	at := func(v, half float64) result.Row {
		return result.Row{Test: "quiet", Measure: "hum", Quantity: sharp(v, half)}
	}
	rows := merged([]result.Row{at(-70, 0.5), at(-74, 0.5), {Test: "quiet", Measure: "floor", Quantity: sharp(-80, 1)}})
	if len(rows) != 2 {
		t.Fatalf("%d rows, want 2", len(rows))
	}
	if e := rows[0].Quantity.Estimate; e.Median != -72 || e.Interval.Low != -74 || e.Interval.High != -70 || e.N != 2 {
		t.Errorf("two takes 4 dB apart: %+v %+v", e, e.Interval)
	}
	if e := rows[1].Quantity.Estimate; e.Median != -80 || e.Interval.Low != -81 {
		t.Errorf("one take: %+v", e)
	}
}

// swept is a stage of n sweeps; each has its own tilt of spreadDB and, above
// 2 kHz, a shelf.
func swept(r *rand.Rand, n int, spreadDB, shelfDB, snrDB float64) *result.Results {
	out := &result.Results{}
	out.Stage.Limits = []result.Limit{{Key: "take_spread_db", Value: 0.5}}
	for i := range n {
		s := result.Sweep{Take: i}
		at := map[int]float64{}
		for k := range 10 * 24 {
			hz := 20 * math.Pow(2, float64(k)/24)
			band := k / 4
			if _, ok := at[band]; !ok {
				at[band] = spreadDB * r.NormFloat64()
			}
			v := at[band]
			if hz > 2000 {
				v += shelfDB
			}
			s.Hz, s.MagnitudeDB, s.SNRDB = append(s.Hz, hz), append(s.MagnitudeDB, v), append(s.SNRDB, snrDB)
		}
		out.Sweeps = append(out.Sweeps, s)
	}
	return out
}

// TestSweepBands finds a shelf where there is one, and nothing where there is
// none, in at most one comparison of twenty.
func TestSweepBands(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	const pairs = 120
	wrong, covered, bands := 0, 0, 0
	for range pairs {
		c := sweepBands(swept(r, 4, 0.5, 0, 40), swept(r, 4, 0.5, 0, 40), 0.5)
		if len(c) != 1 || c[0].Assumed {
			t.Fatalf("%+v", c)
		}
		wrong += one(len(c[0].Leaving) > 0)
		for _, d := range c[0].Bands {
			bands++
			covered += one(d.Around.Low <= 0 && d.Around.High >= 0)
		}
	}
	if share := float64(wrong) / pairs; share > 0.05+3*math.Sqrt(0.05*0.95/pairs) {
		t.Errorf("%.1f %% of calm comparisons leave zero somewhere", 100*share)
	}
	if share := float64(covered) / float64(bands); math.Abs(share-0.95) > 0.015 {
		t.Errorf("intervals cover %.1f %%", 100*share)
	}
	c := Compare(swept(r, 1, 0.1, 0, 50), swept(r, 1, 0.1, -6, 50), "test")
	if len(c.Sweep) != 1 || !c.Sweep[0].Assumed || len(c.Sweep[0].Leaving) != 1 {
		t.Fatalf("shelf: %+v", c.Sweep)
	}
	if l := c.Sweep[0].Leaving[0]; l.LowHz < 1800 || l.LowHz > 2600 || math.Abs(l.DB+6) > 1 {
		t.Errorf("shelf of -6 dB above 2 kHz found at %+v", l)
	}
	if c := sweepBands(swept(r, 1, 0, 0, 5), swept(r, 1, 0, -6, 50), 0.5); len(c) != 0 {
		t.Error("bands 5 dB above noise compared")
	}
	if c := sweepBands(&result.Results{}, swept(r, 1, 0, 0, 40), 0.5); len(c) != 0 {
		t.Error("a sweep compared with none")
	}
}

// TestTapBandsHoldTakeSpread: what only the hand did must not leave zero.
func TestTapBandsHoldTakeSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	stage := func(shift float64) *result.Results {
		tilt := shift + 0.5*r.NormFloat64()
		resp := &result.TapResponse{LowRangeHz: [2]float64{60, 200}, MidRangeHz: [2]float64{200, 2000}, HighRangeHz: [2]float64{2000, 6000}}
		for hz := 100.0; hz < 5000; hz *= 1.2 {
			v := tilt + 0.05*r.NormFloat64()
			resp.Bands = append(resp.Bands, result.Band{MidHz: hz, LevelDB: v, N: 10, Interval: &stats.Interval{Low: v - 0.1, High: v + 0.1, Coverage: 0.95}})
		}
		return &result.Results{Strings: []result.String{{Number: 1, Tap: &result.Tap{Takes: []int{0}, Response: resp}}}}
	}
	wrong := 0
	const pairs = 300
	for range pairs {
		wrong += one(len(tapBands(stage(0), stage(0), 0.5)[0].Leaving) > 0)
	}
	if share := float64(wrong) / pairs; share > 0.05+3*math.Sqrt(0.05*0.95/pairs) {
		t.Errorf("%.1f %% of calm comparisons leave zero somewhere", 100*share)
	}
	if c := tapBands(stage(0), stage(6), 0.5); len(c[0].Leaving) != 1 || !c[0].Assumed {
		t.Errorf("6 dB: %+v", c[0].Leaving)
	}
}
