package response

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// system is what a drawn sweep goes through before it is recorded.
type system struct {
	filter   func(hz float64) complex128
	harmonic []float64 // amplitudes of orders 2 and up before the filter, re the fundamental
	delayS   float64
	ppm      float64
	gain     float64
	snrDB    float64 // of the recorded sweep over white noise
	humDB    float64 // re the sweep; 0: none
	extraS   float64 // of silence after
	takeRate float64
}

// record renders the take: the sweep computed at the recorder's own instants
// and filtered by one transform, exactly.
func (s system) record(p SweepParams, rng *rand.Rand) []float64 {
	clock := 1 + 1e-6*s.ppm
	rate := s.takeRate
	if rate == 0 {
		rate = p.RateHz
	}
	seconds := p.LeadInS + p.Seconds + p.TailS + s.delayS + s.extraS
	n := int(seconds * rate * clock)
	x := make([]float64, powerOfTwo(n+int(rate)))
	for i := range n {
		t := float64(i)/(rate*clock) - p.LeadInS - s.delayS
		if t < 0 || t >= p.Seconds {
			continue
		}
		v := math.Sin(p.Phase(t))
		for j, a := range s.harmonic {
			// Above half the rate no recorder answers.
			if k := float64(j + 2); k*p.LowHz*math.Exp(t/p.rateS()) < 0.49*rate {
				v += a * math.Cos(k*p.Phase(t))
			}
		}
		x[i] = v * halfCosine(int(t*p.RateHz), int(p.FadeInS*p.RateHz)) * halfCosine(int((p.Seconds-t)*p.RateHz), int(p.FadeOutS*p.RateHz))
	}
	if s.filter != nil {
		fft := fourier.NewFFT(len(x))
		c := fft.Coefficients(nil, x)
		for k := range c {
			c[k] *= s.filter(float64(k)*rate*clock/float64(len(x))) / complex(float64(len(x)), 0)
		}
		c[len(c)-1] = complex(real(c[len(c)-1]), 0)
		x = fft.Sequence(x, c)
	}
	x = x[:n]
	active := x[int((p.LeadInS+s.delayS)*rate):][:int(p.Seconds*rate)]
	rms := math.Sqrt(signal.MeanSquare(active))
	noise, hum := rms*math.Pow(10, -s.snrDB/20), 0.0
	if s.humDB != 0 {
		hum = rms * math.Pow(10, s.humDB/20) * math.Sqrt2
	}
	for i := range x {
		x[i] = s.gain * (x[i] + noise*rng.NormFloat64() + hum*math.Sin(2*math.Pi*50*float64(i)/rate))
	}
	return x
}

func respond(t testing.TB, p SweepParams, take []float64, rate float64) SweepResponse {
	t.Helper()
	r, err := tryRespond(p, take, rate)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func tryRespond(p SweepParams, take []float64, rate float64) (SweepResponse, error) {
	src, err := p.Source()
	if err != nil {
		return SweepResponse{}, err
	}
	return FromSweep(context.Background(), signal.Memory{Samples: take, SampleRate: rate}, src)
}

// highPass is the closed form of a first-order corner, resonance that of a
// band-pass of quality q, beside a straight path.
func highPass(fc float64) func(float64) complex128 {
	return func(hz float64) complex128 { return complex(0, hz/fc) / complex(1, hz/fc) }
}

func resonance(f0, q, height float64) func(float64) complex128 {
	return func(hz float64) complex128 {
		if hz == 0 {
			return 1
		}
		return 1 + complex(height, 0)/complex(1, q*(hz/f0-f0/hz))
	}
}

func product(f ...func(float64) complex128) func(float64) complex128 {
	return func(hz float64) complex128 {
		v := 1 + 0i
		for _, g := range f {
			v *= g(hz)
		}
		return v
	}
}

func randomSystem(rng *rand.Rand) system {
	uniform := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	s := system{delayS: uniform(0, 0.8), ppm: uniform(-200, 200), gain: math.Pow(10, uniform(-40, 0)/20), extraS: uniform(0, 1)}
	filters := []func(float64) complex128{highPass(uniform(5, 150))}
	for range rng.IntN(4) {
		filters = append(filters, resonance(math.Exp(uniform(math.Log(100), math.Log(8000))), uniform(1, 30), uniform(0.5, 4)))
	}
	s.filter = product(filters...)
	return s
}

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
	}{{60, 0.1, 2, 200}, {30, 0.5, 1, 120}} {
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
		if got := accuracy.Report(t, accuracy.Row{Measure: "sweep clock", Range: row.Range, Unit: "ppm", Bound: "95 % within 5 ppm", Source: "drawn clock"}, ppm); got.P95 > 5 {
			t.Errorf("clock: 95 %% within %.2f ppm", got.P95)
		}
	}
}

// Truth: harmonics of drawn amplitude.
func TestSweepDistortion(t *testing.T) {
	t.Parallel()
	var errs []float64
	for i := range accuracy.Cases(1, 100) {
		rng := rand.New(rand.NewPCG(62, uint64(i)))
		p := DefaultSweep(48000)
		p.Seconds = 3 + 3*rng.Float64()
		s := system{snrDB: 65, gain: 0.5, delayS: 0.5 * rng.Float64(), ppm: 400*rng.Float64() - 200}
		for range 4 {
			s.harmonic = append(s.harmonic, math.Pow(10, -(30+20*rng.Float64())/20))
		}
		r := respond(t, p, s.record(p, rng), 48000)
		for k, a := range s.harmonic {
			d := r.Distortion[k]
			for j, hz := range d.Hz {
				if hz > 20 && hz*float64(d.Order) < 20000 {
					errs = append(errs, d.LevelDB[j]-20*math.Log10(a))
				}
			}
			if len(d.Hz) < 60 {
				t.Errorf("case %d: order %d at %d frequencies", i, d.Order, len(d.Hz))
			}
		}
	}
	got := accuracy.Report(t, accuracy.Row{Measure: "sweep distortion", Range: "orders 2-5, -30 to -50 dB, 65 dB SNR", Unit: "dB", Bound: "95 % within 0.5 dB", Source: "drawn harmonics"}, errs)
	if got.P95 > 0.5 {
		t.Errorf("95 %% within %.2f dB, want 0.5", got.P95)
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
	held, n := 0, accuracy.Cases(2, 60)
	var errs []float64
	p := DefaultSweep(44100)
	p.Seconds = 3
	for i := range n {
		rng := rand.New(rand.NewPCG(64, uint64(i)))
		fc := 15 * math.Pow(200.0/15, rng.Float64())
		r := respond(t, p, system{filter: highPass(fc), snrDB: 45, gain: 1}.record(p, rng), 44100)
		if r.Corner.Interval == nil {
			t.Errorf("corner of %.1f Hz: %s", fc, r.Corner.Reason)
			continue
		}
		errs = append(errs, 100*(r.Corner.Hz/fc-1))
		if r.Corner.Interval.Low <= fc && fc <= r.Corner.Interval.High {
			held++
		}
	}
	got := accuracy.Report(t, accuracy.Row{Measure: "sweep low corner", Range: "15-200 Hz, 45 dB SNR", Unit: "%", Bound: "95 % within 2 %", Source: "closed-form RC high-pass"}, errs)
	if got.P95 > 2 {
		t.Errorf("95 %% within %.2f %%", got.P95)
	}
	if share := float64(held) / float64(n); share < 0.9 {
		t.Errorf("the interval holds the corner in %d of %d", held, n)
	}
	flat := respond(t, p, system{snrDB: 60, gain: 1}.record(p, rand.New(rand.NewPCG(1, 1))), 44100)
	if flat.Corner.Interval != nil || flat.Corner.Reason == "" {
		t.Errorf("a flat response has a corner: %+v", flat.Corner)
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

// Worked figures of the exponential sweep (Farina 2000; see the file).
func TestStimulusAgainstWorkedFigures(t *testing.T) {
	text, err := os.ReadFile("testdata/exponential_sweep.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Worked []struct {
			F1    float64            `json:"f1_hz"`
			F2    float64            `json:"f2_hz"`
			T     float64            `json:"T_s"`
			L     float64            `json:"L_s"`
			Lead  map[string]float64 `json:"harmonic_lead_s"`
			Half  float64            `json:"instantaneous_f_at_half_T_hz"`
			Phase float64            `json:"phase_at_end_rad"`
		} `json:"worked"`
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Worked) < 3 {
		t.Fatalf("%d worked sweeps", len(file.Worked))
	}
	near := func(what string, got, want, digits float64) {
		t.Helper()
		if math.Abs(got/want-1) > digits {
			t.Errorf("%s is %.12g, want %.12g", what, got, want)
		}
	}
	for _, w := range file.Worked {
		p := SweepParams{RateHz: 48000, LowHz: w.F1, HighHz: w.F2, Seconds: w.T}
		near("L", p.rateS(), w.L, 1e-9)
		near("phase at the end", p.Phase(w.T), w.Phase, 1e-9)
		const d = 1e-6
		near("frequency at half time", (p.Phase(w.T/2+d)-p.Phase(w.T/2-d))/(4*math.Pi*d), w.Half, 1e-6)
		for order := 2; order <= 5; order++ {
			near("harmonic lead", p.HarmonicLeadS(order), w.Lead[strconv.Itoa(order)], 1e-8)
		}
	}
}

// The reference's kind is read from its samples alone.
func TestReferenceExplainsItself(t *testing.T) {
	for _, p := range []SweepParams{
		DefaultSweep(44100),
		{RateHz: 48000, LowHz: 20, HighHz: 20000, Seconds: 5, LevelDBFS: -6, LeadInS: 0.3, FadeInS: 0.05, FadeOutS: 0.01, TailS: 1},
		{RateHz: 96000, LowHz: 30, HighHz: 16000, Seconds: 8, LevelDBFS: -20, FadeInS: 0.1, FadeOutS: 0.05},
	} {
		src, err := p.Source()
		if err != nil {
			t.Fatal(err)
		}
		r, err := readReference(src)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.rateS/p.rateS()-1) > 1e-3 || r.lowHz < p.LowHz*0.95 || r.lowHz > p.LowHz*1.35 || r.highHz < p.HighHz*0.93 || r.highHz > p.HighHz*1.01 {
			t.Errorf("sweep %g-%g Hz with L %.4f s is read as %.1f-%.0f Hz with %.4f s", p.LowHz, p.HighHz, p.rateS(), r.lowHz, r.highHz, r.rateS)
		}
	}
	for name, x := range map[string][]float64{"silence": make([]float64, 96000), "noise": fixtures.White(96000, 0.1, rand.New(rand.NewPCG(1, 2)))} {
		if _, err := readReference(signal.Memory{Samples: x, SampleRate: 48000}); !errors.Is(err, ErrNoSweep) {
			t.Errorf("%s as a reference: %v", name, err)
		}
	}
}

func TestStimulus(t *testing.T) {
	p := DefaultSweep(48000)
	x, err := Sweep(p)
	if err != nil {
		t.Fatal(err)
	}
	if len(x) != 13*48000 {
		t.Errorf("%d samples, want 13 s", len(x))
	}
	peak, sum := 0.0, 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
		sum += v * v
	}
	if want := math.Pow(10, -12.0/20); math.Abs(peak/want-1) > 1e-3 {
		t.Errorf("peak %.4f, want %.4f", peak, want)
	}
	if rms := 10 * math.Log10(2*sum/480000); math.Abs(rms+12) > 0.1 {
		t.Errorf("level %.2f dBFS, want -12", rms)
	}
	bad := []func(*SweepParams){
		func(p *SweepParams) { p.HighHz = 24000 }, func(p *SweepParams) { p.LowHz = 0 }, func(p *SweepParams) { p.Seconds = math.NaN() },
		func(p *SweepParams) { p.LevelDBFS = 1 }, func(p *SweepParams) { p.FadeInS = 20 }, func(p *SweepParams) { p.TailS = -1 }, func(p *SweepParams) { p.RateHz = 0 },
	}
	for i, spoil := range bad {
		q := p
		spoil(&q)
		if _, err := Sweep(q); err == nil {
			t.Errorf("spoiled parameters %d make a sweep: %+v", i, q)
		}
	}
}
