package pitch

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures"
)

// Partials of a string of f0 65.4063913 Hz (C2) and B 1e-4, computed from the
// stiff-string formula (H. Fletcher 1964; Fletcher & Rossing, section 2.18).
var workedExample = []float64{65.4096615378, 130.838942541, 196.30745267, 261.834781999, 327.440491271, 393.144102218,
	458.965087961, 524.92286351, 591.036776389, 657.326097391, 723.810011499, 790.507608976}

func TestWorkedExampleOfStiffString(t *testing.T) {
	var p []partial
	for i, hz := range workedExample {
		if s := (stiffString{65.4063913, 1e-4}).hz(i + 1); math.Abs(s-hz) > 1e-8 {
			t.Errorf("partial %d: %.9f Hz, want %.9f", i+1, s, hz)
		}
		p = append(p, partial{n: i + 1, hz: hz, sdHz: 1e-4})
	}
	fit, ok := fitString(p, stiffString{f0: 65.3})
	if !ok || math.Abs(fit.s.f0-65.4063913) > 1e-5 || math.Abs(fit.s.b-1e-4) > 1e-8 {
		t.Errorf("fitted %+v, want f0 65.4063913 and B 1e-4", fit.s)
	}
	p[4].hz *= 1.01 // one partial mistaken
	if fit, _ = fitString(p, stiffString{f0: 65.3}); fit.used[4] || math.Abs(cents(fit.s.f0/65.4063913)) > 0.05 {
		t.Errorf("with an outlier: %+v, used %v", fit.s, fit.used)
	}
}

// A stiff bass string stopped at its 12th fret: the tenth partial about 100
// cents sharp, B about 1.239e-3 (Kemp, SN Applied Sciences 2:636, 2020).
func TestPublishedStiffBassString(t *testing.T) {
	s := fixtures.PluckedString{F1Hz: 82.4, B: 1.239e-3, PluckAt: 0.21, T60S: 4, DampingRise: 0.1}
	p := mustMeasure(t, s.Render(48000, 2, rand.New(rand.NewPCG(1, 1))), 48000, Options{})
	for _, q := range p.Partials {
		if sharp := cents(q.Hz / (10 * p.F1Hz)); q.N == 10 && math.Abs(sharp-100) > 1 {
			t.Errorf("tenth partial %.2f cents sharp of 10 f1, want 100", sharp)
		}
	}
	if !p.HasB || math.Abs(p.B/1.239e-3-1) > 0.01 {
		t.Errorf("B %.4g, want 1.239e-3", p.B)
	}
}

func mustMeasure(t *testing.T, x []float64, rateHz float64, o Options) Pitch {
	t.Helper()
	p, err := Measure(x, rateHz, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Notes whose strongest partial, or partials, suggest another pitch.
func TestOctaveTraps(t *testing.T) {
	base := fixtures.PluckedString{F1Hz: 98, B: 8e-5, PluckAt: 0.23, T60S: 4, DampingRise: 0.1}
	for _, c := range []struct {
		name   string
		change func(*fixtures.PluckedString)
	}{
		{"plucked at the middle: no even partials", func(s *fixtures.PluckedString) { s.PluckAt = 0.5 }},
		{"plucked at a third", func(s *fixtures.PluckedString) { s.PluckAt = 1.0 / 3 }},
		{"first partial 25 dB down", func(s *fixtures.PluckedString) { s.FundamentalDB = -25 }},
		{"first partial gone", func(s *fixtures.PluckedString) { s.FundamentalDB = -90 }},
		{"plucked near the middle, first partial weak", func(s *fixtures.PluckedString) { s.PluckAt, s.FundamentalDB = 0.45, -30 }},
		{"plucked at a quarter, first partial weak: second far above", func(s *fixtures.PluckedString) { s.PluckAt, s.FundamentalDB = 0.25, -30 }},
		{"high and stiff", func(s *fixtures.PluckedString) { s.F1Hz, s.B, s.T60S = 930, 2e-3, 1 }},
		{"low", func(s *fixtures.PluckedString) { s.F1Hz, s.FundamentalDB = 30.87, -20 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := base
			c.change(&s)
			for seed := range uint64(6) {
				r := rand.New(rand.NewPCG(seed, 5))
				x := s.Render(44100, 0.6+0.4*float64(seed), r)
				for i, v := range fixtures.White(len(x), 0.005, r) {
					x[i] += v
				}
				if p := mustMeasure(t, x, 44100, Options{}); math.Abs(cents(p.F1Hz/s.F1Hz)) > 1 {
					t.Errorf("got %.3f Hz, want %.3f", p.F1Hz, s.F1Hz)
				}
			}
		})
	}
}

func TestGlideIsReadAndLeftOut(t *testing.T) {
	for _, c := range []struct{ cents, tauS float64 }{{0, 0}, {5, 0.08}, {15, 0.05}, {30, 0.1}} {
		s := fixtures.PluckedString{F1Hz: 147, B: 5e-5, PluckAt: 0.2, T60S: 5, DampingRise: 0.1, GlideCents: c.cents, GlideTauS: c.tauS}
		p := mustMeasure(t, s.Render(48000, 2.5, rand.New(rand.NewPCG(2, 2))), 48000, Options{})
		if e := cents(p.F1Hz / 147); math.Abs(e) > 0.1 {
			t.Errorf("glide %g: settled pitch off by %.3f cents", c.cents, e)
		}
		var want float64 // mean of the glide over the stretch it is read in, weighted by the decaying power
		if c.tauS > 0 {
			var w float64
			for at := glideFromS; at < glideToS; at += 1e-4 {
				power := math.Exp(-2 * 6.91 / 5 * at)
				want += power * c.cents * math.Exp(-at/c.tauS)
				w += power
			}
			want /= w
		}
		if math.Abs(p.GlideCents-want) > 0.1*c.cents+0.3 {
			t.Errorf("glide %g over %g s: read %.2f cents, want %.2f", c.cents, c.tauS, p.GlideCents, want)
		}
	}
}

func TestTwoPolarisations(t *testing.T) {
	s := fixtures.PluckedString{F1Hz: 196, B: 5e-5, PluckAt: 0.2, T60S: 4, DampingRise: 0.1,
		Second: &fixtures.Polarisation{Detune: 0.002, LevelDB: -6, T60S: 6}}
	p := mustMeasure(t, s.Render(48000, 3, rand.New(rand.NewPCG(4, 4))), 48000, Options{})
	if e := cents(p.F1Hz / 196); math.Abs(e) > 0.05 {
		t.Errorf("main polarisation off by %.3f cents", e)
	}
	if e := cents(p.F1RangeHz[1] / p.F1RangeHz[0]); math.Abs(e-cents(1.002)) > 0.3 {
		t.Errorf("range %.2f cents wide, want %.2f", e, cents(1.002))
	}
}

// Hum that nobody told of, 10 dB under the note and rich in harmonics.
func TestUnknownHum(t *testing.T) {
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 8))
		s := fixtures.PluckedString{F1Hz: 60 * math.Exp2(3*r.Float64()), B: 1e-4, PluckAt: 0.2, T60S: 4, DampingRise: 0.15}
		x := s.Render(48000, 2, r)
		fixtures.ElectricHum(50*(1+0.2*float64(seed%2)), -15, r).Add(x, 48000, 1)
		for i, v := range fixtures.White(len(x), 0.002, r) {
			x[i] += v
		}
		if p := mustMeasure(t, x, 48000, Options{}); math.Abs(cents(p.F1Hz/s.F1Hz)) > 2 {
			t.Errorf("got %.3f Hz, want %.3f", p.F1Hz, s.F1Hz)
		}
	}
}

// What is no note of a string must not get a pitch.
func TestCannotTell(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	noise := fixtures.White(96000, 0.1, r)
	hum := fixtures.White(96000, 0.001, r)
	fixtures.ElectricHum(50, -20, r).Add(hum, 48000, 1)
	for name, c := range map[string]struct {
		x []float64
		o Options
	}{
		"silence":   {make([]float64, 48000), Options{}},
		"empty":     {nil, Options{}},
		"too short": {noise[:2000], Options{}},
		"noise":     {noise, Options{}},
		"pink":      {fixtures.Pink(96000, 48000, 0.1, r), Options{}},
		"known hum": {hum, Options{HumHz: []float64{50, 100, 150, 250, 350, 450}}},
	} {
		if p, err := Measure(c.x, 48000, c.o); !errors.Is(err, ErrNoPitch) {
			t.Errorf("%s: got %.2f Hz, error %v, want ErrNoPitch", name, p.F1Hz, err)
		}
	}
	for seed := range uint64(40) {
		x := fixtures.White(48000, 0.1, rand.New(rand.NewPCG(seed, 9)))
		if p, err := Measure(x, 48000, Options{}); err == nil {
			t.Errorf("noise %d: got %.2f Hz with SNR %.1f dB", seed, p.F1Hz, p.SNRDB)
		}
	}
}

func TestBadInput(t *testing.T) {
	x := make([]float64, 48000)
	x[100] = math.NaN()
	if _, err := Measure(x, 48000, Options{}); err == nil || errors.Is(err, ErrNoPitch) {
		t.Errorf("NaN among the samples: %v", err)
	}
	for _, rate := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := Measure(make([]float64, 48000), rate, Options{}); err == nil {
			t.Errorf("rate %g: no error", rate)
		}
	}
}

// A louder or inverted take, or one with a constant offset, has the same pitch.
func TestPitchDoesNotDependOnLevelSignOrOffset(t *testing.T) {
	p := drawn(3)
	x := p.render()
	want := mustMeasure(t, x, p.rateHz, Options{}).F1Hz
	for _, c := range []struct{ gain, offset float64 }{{100, 0}, {1e-4, 0}, {-1, 0}, {1, 0.3}} {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = c.gain*v + c.offset
		}
		if got := mustMeasure(t, y, p.rateHz, Options{}).F1Hz; math.Abs(cents(got/want)) > 0.01 {
			t.Errorf("gain %g, offset %g: %.4f Hz, want %.4f", c.gain, c.offset, got, want)
		}
	}
}
