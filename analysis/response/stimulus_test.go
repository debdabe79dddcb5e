package response

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
)

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
