package response

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures/accuracy"
)

func responseErrors(r SweepResponse, s system) (errs []float64) {
	truth := make([]float64, len(r.Hz))
	for i, hz := range r.Hz {
		truth[i] = power(s.filter(hz))
	}
	base := signal.PowerToDB(meanLevel(r.Hz, truth))
	for i, hz := range r.Hz {
		if hz >= 20 && hz <= 20000 {
			errs = append(errs, r.MagnitudeDB[i]-(signal.PowerToDB(truth[i])-base))
		}
	}
	return errs
}

// Truth: closed-form RC high-pass and resonances of known Q.
func TestSweepMagnitude(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		snrDB, bound float64
		quick, full  int
	}{{60, 0.1, 1, 12}, {30, 0.5, 1, 6}} {
		var errs, ppm []float64
		for i := range accuracy.Cases(c.quick, c.full) {
			rng := rand.New(rand.NewPCG(61, uint64(i)))
			s := randomSystem(rng)
			s.snrDB = c.snrDB
			p := DefaultSweep([]float64{44100, 48000, 48000, 96000}[rng.IntN(4)])
			p.Seconds = 3 + 3*rng.Float64()
			r := respond(t, p, s.record(p, rng), p.RateHz)
			e := responseErrors(r, s)
			for j, v := range e {
				if math.Abs(v) > 2*c.bound {
					t.Logf("case %d: %.3f dB at %.1f Hz", i, v, r.Hz[j])
					break
				}
			}
			errs, ppm = append(errs, e...), append(ppm, r.ClockPPM-s.ppm)
		}
		row := accuracy.Row{Measure: "sweep response", Range: "20 Hz-20 kHz at 30 dB SNR, ±200 ppm", Unit: "dB", Bound: "95 % within 0.5 dB", Source: "closed-form filters"}
		if c.snrDB == 60 {
			row.Range, row.Bound = "20 Hz-20 kHz at 60 dB SNR, ±200 ppm", "95 % within 0.1 dB"
		}
		if got := accuracy.Report(t, row, errs); got.P95 > c.bound {
			t.Errorf("at %g dB: 95 %% within %.3f dB, want %g", c.snrDB, got.P95, c.bound)
		}
		if got := accuracy.Report(t, accuracy.Row{Measure: "sweep clock", Range: row.Range, Unit: "ppm", Bound: "95 % within 10 ppm", Source: "drawn clock"}, ppm); got.P95 > 10 {
			t.Errorf("clock: 95 %% within %.2f ppm", got.P95)
		}
	}
}

// Short sweeps of drawn band, rate and length: many cases for little work.
// Their low end is where the windows, which a short sweep leaves less room,
// no longer blur it.
func TestShortSweepMagnitude(t *testing.T) {
	t.Parallel()
	var errs []float64
	for i := range accuracy.Cases(6, 500) {
		rng := rand.New(rand.NewPCG(68, uint64(i)))
		s := randomSystem(rng)
		s.snrDB = 60
		p := DefaultSweep([]float64{16000, 16000, 16000, 22050, 22050, 44100}[rng.IntN(6)])
		p.LowHz, p.Seconds, p.TailS = 15*math.Pow(4, rng.Float64()), 0.8+0.7*rng.Float64(), 0.6
		r := respond(t, p, s.record(p, rng), p.RateHz)
		errs = append(errs, responseErrors(r, s)...)
	}
	got := accuracy.Report(t, accuracy.Row{Measure: "short sweep response", Range: "sweeps of 0.8 to 1.5 s, 60 dB SNR, ±200 ppm", Unit: "dB",
		Bound: "95 % within 0.1 dB", Source: "closed-form filters"}, errs)
	if got.P95 > 0.1 {
		t.Errorf("95 %% within %.3f dB, want 0.1", got.P95)
	}
}

// Truth: harmonics of drawn amplitude, through a drawn filter in closed form.
func TestSweepDistortion(t *testing.T) {
	t.Parallel()
	var errs []float64
	for i := range accuracy.Cases(1, 12) {
		rng := rand.New(rand.NewPCG(62, uint64(i)))
		p := DefaultSweep(48000)
		p.Seconds = 3 + 3*rng.Float64()
		s := system{snrDB: 65, gain: 0.5, delayS: 0.5 * rng.Float64(), ppm: 400*rng.Float64() - 200}
		s.filter = product(highPass(5+25*rng.Float64()), resonance(300+3000*rng.Float64(), 1+7*rng.Float64(), 2*rng.Float64()))
		for range 4 {
			s.harmonic = append(s.harmonic, math.Pow(10, -(30+20*rng.Float64())/20))
		}
		r := respond(t, p, s.record(p, rng), 48000)
		for k, a := range s.harmonic {
			d := r.Distortion[k]
			for j, hz := range d.Hz {
				if hz > 20 && hz*float64(d.Order) < 20000 {
					errs = append(errs, d.LevelDB[j]-20*math.Log10(a*cmplx.Abs(s.filter(hz*float64(d.Order))/s.filter(hz))))
				}
			}
			if len(d.Hz) < 60 {
				t.Errorf("case %d: order %d at %d frequencies", i, d.Order, len(d.Hz))
			}
		}
	}
	got := accuracy.Report(t, accuracy.Row{Measure: "sweep distortion", Range: "orders 2-5, -30 to -50 dB, 65 dB SNR", Unit: "dB", Bound: "95 % within 0.5 dB", Source: "drawn harmonics"}, errs)
	if got.P95 > 0.25 || got.Worst > 1 {
		t.Errorf("95 %% within %.2f dB, worst %.2f; want 0.25 and 1", got.P95, got.Worst)
	}
}

func TestSweepFeatures(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(63, 1))
	p := DefaultSweep(48000)
	// A band-pass of quality q falls by 3 dB at a width of f0/q, exactly.
	band := func(hz float64) complex128 { return 1 / complex(1, 25*(hz/1200-1200/(hz+1e-9))) }
	r := respond(t, p, system{filter: band, snrDB: 60, gain: 1}.record(p, rng), 48000)
	if len(r.Peaks) != 1 || math.Abs(r.Peaks[0].Hz-1200) > 1 || math.Abs(r.Peaks[0].Q/25-1) > 0.02 {
		t.Errorf("resonance at 1200 Hz of Q 25: %+v", r.Peaks)
	}
	r = respond(t, p, system{filter: highPass(60), snrDB: 60, gain: 1}.record(p, rng), 48000)
	if r.LowMinus3Hz == nil || math.Abs(*r.LowMinus3Hz/60-1) > 0.03 || r.HighMinus3Hz != nil {
		t.Errorf("-3 dB points %v, %v, want 60 Hz and none", r.LowMinus3Hz, r.HighMinus3Hz)
	}
	// The group delay of an RC high-pass is fc/(2π(f²+fc²)).
	for i, hz := range r.Hz {
		want := 1000 * 60 / (2 * math.Pi * (hz*hz + 3600))
		if hz > 30 && hz < 5000 && math.Abs(r.GroupDelayMS[i]-want) > 0.05 {
			t.Errorf("group delay at %.0f Hz %.3f ms, want %.3f", hz, r.GroupDelayMS[i], want)
			break
		}
	}
}

// The fitted corner's interval holds the truth.
func TestSweepCorner(t *testing.T) {
	t.Parallel()
	held, n := 0, accuracy.Cases(2, 20)
	var errs []float64
	p := DefaultSweep(16000) // low frequencies need no more
	p.Seconds = 3
	for i := range n {
		rng := rand.New(rand.NewPCG(64, uint64(i)))
		fc := 20 * math.Pow(10, rng.Float64())
		r := respond(t, p, system{filter: highPass(fc), snrDB: 45, gain: 1}.record(p, rng), p.RateHz)
		if r.Corner.Interval == nil {
			t.Errorf("corner of %.1f Hz: %s", fc, r.Corner.Reason)
			continue
		}
		errs = append(errs, 100*(r.Corner.Hz/fc-1))
		if r.Corner.Interval.Low <= fc && fc <= r.Corner.Interval.High {
			held++
		}
	}
	got := accuracy.Report(t, accuracy.Row{Measure: "sweep low corner", Range: "20-200 Hz, 45 dB SNR", Unit: "%", Bound: "95 % within 2 %", Source: "closed-form RC high-pass"}, errs)
	if got.P95 > 2 {
		t.Errorf("95 %% within %.2f %%", got.P95)
	}
	if share := float64(held) / float64(n); share < 0.9 {
		t.Errorf("the interval holds the corner in %d of %d", held, n)
	}
	flat := respond(t, p, system{snrDB: 60, gain: 1}.record(p, rand.New(rand.NewPCG(1, 1))), p.RateHz)
	if flat.Corner.Interval != nil || flat.Corner.Reason == "" {
		t.Errorf("a flat response has a corner: %+v", flat.Corner)
	}
}

// Body resonances above the corner: it is found, or it is not told; a bound
// below which it must lie holds it.
func TestSweepCornerBesideResonances(t *testing.T) {
	t.Parallel()
	p := DefaultSweep(16000)
	p.Seconds, p.TailS = 3, 0.6
	told, n, off, held := 0, accuracy.Cases(6, 40), 0, 0
	var errs []float64
	for i := range n {
		rng := rand.New(rand.NewPCG(69, uint64(i)))
		fc := 3 * math.Pow(30, rng.Float64())
		filters := []func(float64) complex128{highPass(fc)}
		for range 3 {
			filters = append(filters, resonance(150*math.Pow(10, rng.Float64()), 3+10*rng.Float64(), 0.2+0.8*rng.Float64()))
		}
		c := respond(t, p, system{filter: product(filters...), snrDB: 55, gain: 1}.record(p, rng), p.RateHz).Corner
		switch {
		case c.Interval != nil:
			told++
			errs = append(errs, 100*(c.Hz/fc-1))
			if c.Interval.Low <= fc && fc <= c.Interval.High {
				held++
			}
			if c.Interval.Low > 1.1*fc || c.Interval.High < 0.9*fc {
				off++
				t.Logf("corner of %.1f Hz: told %.1f (%.1f to %.1f)", fc, c.Hz, c.Interval.Low, c.Interval.High)
			}
		case c.BelowHz > 0 && c.BelowHz < 0.9*fc:
			t.Errorf("corner of %.1f Hz: told to lie below %.1f", fc, c.BelowHz)
		}
	}
	t.Logf("told in %d of %d, held by the interval in %d, %d off", told, n, held, off)
	accuracy.Report(t, accuracy.Row{Measure: "sweep low corner beside resonances", Range: "3-90 Hz, resonances from 150 Hz up, 55 dB SNR", Unit: "%",
		Bound: "1 in 10 outside its interval by 10 % of the corner", Source: "closed-form filters"}, errs)
	if 10*off > told {
		t.Errorf("%d of %d told corners are off", off, told)
	}
	if told < n/2 || float64(held) < 0.85*float64(told) {
		t.Errorf("told in %d of %d, held by the interval in %d", told, n, held)
	}
}

func TestNoSweep(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(65, 1))
	p := DefaultSweep(48000)
	p.Seconds = 3
	s := system{filter: highPass(40), snrDB: 50, gain: 0.3, humDB: -20}
	take := s.record(p, rng)
	noise := make([]float64, 8*48000)
	for i := range noise {
		noise[i] = 0.01*rng.NormFloat64() + 0.1*math.Sin(2*math.Pi*50*float64(i)/48000)
	}
	gap := append([]float64(nil), take...)
	clear(gap[2*48000 : 2*48000+4800])
	missing := append(append([]float64(nil), take[:2*48000]...), take[2*48000+4800:]...)
	down := append([]float64(nil), take...)
	for i, j := 0, len(down)-1; i < j; i, j = i+1, j-1 {
		down[i], down[j] = down[j], down[i]
	}
	faint := system{filter: highPass(40), snrDB: -15, gain: 0.3}.record(p, rng)
	for _, c := range []struct {
		name, says string
		take       []float64
	}{
		{"noise and hum", "nothing", noise},
		{"silence", "nothing", make([]float64, 48000*6)},
		{"empty", "nothing", nil},
		{"cut at the end", "ends", take[:3*48000]},
		{"cut at the start", "begins", take[2*48000:]},
		{"gap", "silence", gap},
		{"missing piece", "pieces", missing},
		{"backwards", "nothing", down},
		{"too quiet", "above the noise", faint},
	} {
		r, err := tryRespond(p, c.take, 48000)
		if !errors.Is(err, ErrNoSweep) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error %v at %g s, %g ppm; want one that says %q", c.name, err, r.StartS, r.ClockPPM, c.says)
		}
	}
	if r, err := tryRespond(p, take, 48000); err != nil || math.Abs(r.StartS-1) > 0.01 {
		t.Errorf("whole sweep: %v, found at %.3f s", err, r.StartS)
	}
}

// A reference of another rate than the take, and the sweep well inside a long
// take.
func TestOtherRateAndLongTake(t *testing.T) {
	rng := rand.New(rand.NewPCG(66, 1))
	p := DefaultSweep(48000)
	p.Seconds = 5
	s := system{filter: highPass(80), snrDB: 60, gain: 0.2, ppm: 120, delayS: 17, extraS: 9, takeRate: 44100}
	p.HighHz = 21000
	r := respond(t, p, s.record(p, rng), 44100)
	if math.Abs(r.ClockPPM-120) > 3 || math.Abs(r.StartS-18) > 0.02 {
		t.Errorf("found at %.3f s with %.1f ppm, want 18 s and 120", r.StartS, r.ClockPPM)
	}
	for _, e := range responseErrors(r, s) {
		if math.Abs(e) > 0.1 {
			t.Fatalf("response off by %.3f dB", e)
		}
	}
}

func BenchmarkFromSweep(b *testing.B) {
	rng := rand.New(rand.NewPCG(67, 1))
	p := DefaultSweep(48000)
	take := system{filter: highPass(40), snrDB: 60, gain: 0.3, ppm: 50}.record(p, rng)
	for b.Loop() {
		respond(b, p, take, 48000)
	}
}
