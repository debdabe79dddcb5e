package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"saddlewise/analysis/decay"
	"saddlewise/analysis/event"
	"saddlewise/analysis/pitch"
	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
	"saddlewise/analysis/tone"
	"saddlewise/fixtures/accuracy"
)

// covers counts, measure by measure, how often the intervals in the results
// hold the truth, and how often they say so.
type covers struct {
	names []string
	of    map[string]*held
}

type held struct{ cases, truths, stated float64 }

func (c *covers) add(measure string, i *stats.Interval, truth float64) {
	if i == nil {
		return
	}
	h, ok := c.of[measure]
	if !ok {
		h = &held{}
		c.of[measure], c.names = h, append(c.names, measure)
	}
	h.cases++
	h.stated += i.Coverage
	if i.Low <= truth && truth <= i.High {
		h.truths++
	}
}

func (c *covers) quantity(measure string, q result.Quantity, truth float64) {
	if q.Estimate != nil {
		c.add(measure, q.Estimate.Interval, truth)
	}
}

// manner is how a hand's events scatter about their median, which is 0.
// Amplitudes that vary by shares give normal decibels; a hand that sometimes
// misses gives a tail; even and wild taps lie between.
var manners = []func(*rand.Rand) float64{
	(*rand.Rand).NormFloat64,
	func(r *rand.Rand) float64 { return math.Log(r.ExpFloat64() / math.Ln2) },
	func(r *rand.Rand) float64 { return 3 * (r.Float64() - 0.5) },
	func(r *rand.Rand) float64 { return 2 * (math.Exp(0.5*r.NormFloat64()) - 1) },
	func(r *rand.Rand) float64 {
		if v := r.ExpFloat64(); r.IntN(2) == 0 {
			return v
		} else {
			return -v
		}
	},
}

// session is a stage as measured, event by event, and the truth behind it:
// every measure of a string scatters about one true median.
type session struct {
	takes []measured
	truth []map[string]float64 // by string
	bands [][]float64          // true response by string
}

func drawSession(rng *rand.Rand, strings int) session {
	const floorDBFS = -70
	var s session
	for number := 1; number <= strings; number++ {
		truth := map[string]float64{}
		scatter := func(name string, centre, sd float64) func() float64 {
			manner := manners[rng.IntN(len(manners))]
			truth[name] = centre
			return func() float64 { return centre + sd*manner(rng) }
		}
		spread := 0.3 + 2*rng.Float64()
		level := scatter("level", -30+6*rng.NormFloat64(), spread)
		peak := scatter("peak", -15+6*rng.NormFloat64(), spread)
		truth["snr"] = truth["level"] - floorDBFS
		rise := scatter("contact", 1, 0.1)
		tap, trueBands := drawTaps(rng, 3+rng.IntN(10), level, peak, rise)
		s.bands = append(s.bands, trueBands)
		f1 := scatter("f1", 100+50*float64(number), 0.05)
		t60, b, broad := scatter("t60", 5, 0.4), scatter("b", 2e-4, 1e-5), scatter("broad", 4, 0.4)
		var pl pluckTake
		for range 3 + rng.IntN(6) {
			pl.plucks = append(pl.plucks, pluckEvent{
				level: event.Level{RMSDBFS: level(), PeakDB: peak()}, hasLevel: true,
				pitch: pitch.Pitch{F1Hz: f1(), B: b(), HasB: true}, decay: drawnDecay(t60()), broadband: drawnDecay(broad()),
			})
		}
		hz, thd := scatter("hz", 440, 0.01), scatter("thd", -40, 1)
		var to tone.Tone
		for range 3 + rng.IntN(4) {
			to.Strikes = append(to.Strikes, tone.Strike{Hz: hz(), LevelDBFS: level(), T60Seconds: t60(), THDDB: thd()})
		}
		for _, m := range []measured{{taps: &tap}, {plucks: &pl}, {tone: &to}} {
			m.at = stage.Take{String: number}
			m.record.NoiseDBFS = pointer(floorDBFS)
			s.takes = append(s.takes, m)
		}
		s.truth = append(s.truth, truth)
	}
	return s
}

// drawnDecay knows its T60 to 2 %, less than plucks scatter by.
func drawnDecay(t60 float64) decay.Decay {
	return decay.Decay{T60Seconds: t60, T60Low: t60 / 1.02, T60High: t60 * 1.02}
}

const coverRateHz = 1000

func drawTaps(rng *rand.Rand, n int, level, peak, rise func() float64) (tapTake, []float64) {
	t := tapTake{rateHz: coverRateHz}
	bands := len(response.Bands(3, coverRateHz))
	truth := make([]float64, bands)
	manner := manners[rng.IntN(len(manners))]
	for i := range truth {
		truth[i] = 3 * rng.NormFloat64()
	}
	for range n {
		b := response.TapBands{Low: manner(rng), Mid: manner(rng), High: manner(rng)}
		for i := range bands {
			b.LevelDB, b.AboveNoiseDB = append(b.LevelDB, truth[i]+manner(rng)), append(b.AboveNoiseDB, 40)
		}
		t.taps = append(t.taps, tapEvent{
			level: event.Level{RMSDBFS: level(), PeakDB: peak()}, hasLevel: true,
			motion: event.Motion{Sign: 1, RiseMS: rise(), Direct: true}, bands: &b,
		})
	}
	return t, truth
}

// TestResultIntervalsCover: over a thousand simulated stages of 3 to 12 events
// a string, each interval that the results state holds the truth as often as
// it says, within 1.5 points. The intervals of noise and of single decays are
// tested where they are made.
func TestResultIntervalsCover(t *testing.T) {
	t.Parallel()
	c := covers{of: map[string]*held{}}
	for seed := range accuracy.Cases(1000, 4000) {
		rng := rand.New(rand.NewPCG(uint64(seed), 61))
		s := drawSession(rng, 2+rng.IntN(5))
		c.stage(s)
	}
	var off []float64
	for _, name := range c.names {
		h := c.of[name]
		stated, got := h.stated/h.cases, h.truths/h.cases
		t.Logf("%-34s stated %.1f %%, covered %.1f %% of %.0f", name, 100*stated, 100*got, h.cases)
		// Three standard errors of the simulation itself come on top.
		if d := 100 * (got - stated); math.Abs(d) > 1.5+300*math.Sqrt(stated*(1-stated)/h.cases) {
			t.Errorf("%s: covers %.1f %%, states %.1f %%", name, 100*got, 100*stated)
		}
		off = append(off, 100*(got-stated))
	}
	accuracy.Report(t, accuracy.Row{Measure: "coverage of each interval in the results", Range: fmt.Sprintf("%d measures, simulated stages of 2-6 strings, 3-12 events, five manners of hand", len(off)),
		Unit: "points off the stated coverage", Bound: "1.5", Source: "simulation with known truth"}, off)
}

func (c *covers) stage(s session) {
	st := &stage.Stage{BandsPerOctave: 3, A4Hz: 440, Capture: stage.Capture{ReferenceToneHz: 440}}
	for i := range s.truth {
		st.Strings = append(st.Strings, stage.String{Number: i + 1, Note: "A3", Hz: 220})
	}
	var r result.Results
	gather(&r, st, s.takes)
	mean := 0.0
	for _, truth := range s.truth {
		mean += truth["level"] / float64(len(s.truth))
	}
	for i, str := range r.Strings {
		truth := s.truth[i]
		tap, pluck, to := str.Tap, str.Pluck, str.Tone
		c.quantity("tap level", tap.LevelDBFS, truth["level"])
		c.quantity("tap peak", tap.PeakDB, truth["peak"])
		c.quantity("tap signal-to-noise", tap.SNRDB, truth["snr"])
		c.quantity("tap balance", tap.BalanceDB, truth["level"]-mean)
		c.quantity("tap contact", tap.ContactMS, truth["contact"])
		c.quantity("tap response, low", tap.Response.LowDB, 0)
		c.quantity("tap response, high", tap.Response.HighDB, 0)
		c.bands(tap.Response, s.bands, i)
		c.quantity("pluck level", pluck.LevelDBFS, truth["level"])
		c.quantity("pluck signal-to-noise", pluck.SNRDB, truth["snr"])
		c.quantity("pluck balance", pluck.BalanceDB, truth["level"]-mean)
		c.quantity("fundamental", pluck.F1Hz, truth["f1"])
		c.quantity("cents off target", pluck.Cents, 1200*math.Log2(truth["f1"]/220))
		c.quantity("inharmonicity", pluck.Inharmonicity, truth["b"])
		c.quantity("T60", pluck.T60S, truth["t60"])
		c.quantity("broadband T60", pluck.BroadbandT60S, truth["broad"])
		c.quantity("tone frequency", to.Hz, truth["hz"])
		c.quantity("tone offset", to.OffsetPPM, 1e6*(truth["hz"]/440-1))
		c.quantity("tone level", to.LevelDBFS, truth["level"])
		c.quantity("tone balance", to.BalanceDB, truth["level"]-mean)
		c.quantity("THD", to.THDDB, truth["thd"])
	}
}

func (c *covers) bands(r *result.TapResponse, truth [][]float64, i int) {
	for b, band := range r.Bands {
		c.add("tap response, one band", band.Interval, truth[i][b])
	}
	for b, band := range r.AgainstMedianDB {
		var all []float64
		for _, levels := range truth {
			all = append(all, levels[b])
		}
		slices.Sort(all)
		c.add("tap response against the strings' median", band.Interval, truth[i][b]-stats.Median(all))
	}
}
