package decay

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// Another string rings on near the partial: it must not pass for the note's
// own slow decay.
func TestSympatheticString(t *testing.T) {
	t.Parallel()
	var errs []float64
	none, held := 0, 0
	cases := accuracy.Cases(30, 500)
	for seed := range cases {
		rng := rand.New(rand.NewPCG(uint64(seed), 8))
		hz, t60 := 60*math.Pow(10, rng.Float64()), 1+5*rng.Float64()
		offset := hz * (0.06 + 0.3*rng.Float64())
		if rng.IntN(2) == 0 {
			offset = -offset
		}
		x := make([]float64, int(48000*0.8*t60))
		addPartial(x, 48000, 0.2, hz, t60, 6*rng.Float64())
		addPartial(x, 48000, 0.2*math.Pow(10, -(15+20*rng.Float64())/20), hz+offset, t60*(1+2*rng.Float64()), 6*rng.Float64())
		addPartial(x, 48000, 0.4, 2.002*hz, 0.6*t60, 6*rng.Float64())
		addNoise(x, 5e-4, rng)
		d, err := Measure(x, 48000, Options{Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		switch {
		case d.T60Seconds > 0:
			e := 100 * (d.T60Seconds/t60 - 1)
			if math.Abs(e) > 8 {
				t.Logf("seed %d: hz %.0f + %.1f t60 %.2f got %.2f [%.2f %.2f] beat %v %.1f Hz %.0f dB two %v R %.0f", seed, hz, offset, t60, d.T60Seconds, d.T60Low, d.T60High, d.Beating, d.BeatHz, d.BeatDepthDB, d.TwoStage, d.RangeDB)
			}
			errs = append(errs, e)
		case d.T60RangeSeconds[1] > 0:
			if d.T60RangeSeconds[0] <= t60 && t60 <= d.T60RangeSeconds[1] {
				held++
			} else {
				t.Errorf("seed %d: T60 %.2f not in %.2f", seed, t60, d.T60RangeSeconds)
			}
		default:
			none++
			t.Logf("seed %d: hz %.0f + %.1f t60 %.2f none: %s", seed, hz, offset, t60, d.Reason)
		}
	}
	r := accuracy.Report(t, accuracy.Row{Measure: "T60 beside a sympathetic string", Range: "6-36 % away, 15-35 dB down", Unit: "%",
		Bound: "95 % 8", Source: "simulated, closed form"}, errs)
	t.Logf("%d ranges that hold the truth, %d without an answer of %d", held, none, cases)
	if r.P95 > 8 || none > cases/10 {
		t.Errorf("95 %% %.1f, %d without an answer", r.P95, none)
	}
}

// What cannot be measured is an error or a reason, never a number or a panic.
func TestInputs(t *testing.T) {
	ok := make([]float64, 48000)
	addPartial(ok, 48000, 0.1, 200, 1, 0)
	bad := append([]float64{math.NaN()}, ok...)
	for name, c := range map[string]struct {
		x    []float64
		rate float64
		hz   float64
		err  bool
	}{
		"no rate": {ok, 0, 200, true}, "above Nyquist": {ok, 48000, 24000, true}, "negative": {ok, 48000, -1, true}, "not a number": {bad, 48000, 200, true},
		"empty": {nil, 48000, 200, false}, "one sample": {ok[:1], 48000, 200, false}, "short": {ok[:3000], 48000, 200, false},
		"silence": {make([]float64, 48000), 48000, 200, false}, "silence, whole band": {make([]float64, 48000), 48000, 0, false}, "empty, whole band": {nil, 48000, 0, false},
		"very low": {ok, 48000, 0.5, false}, "very high": {ok, 48000, 20000, false},
	} {
		d, err := Measure(c.x, c.rate, Options{Hz: c.hz})
		if (err != nil) != c.err {
			t.Errorf("%s: error %v", name, err)
		}
		if err == nil && (d.T60Seconds > 0 || !d.NotEnoughRange || d.Reason == "") {
			t.Errorf("%s: T60 %v, reason %q", name, d.T60Seconds, d.Reason)
		}
	}
}

func FuzzMeasure(f *testing.F) {
	f.Add(uint64(1), 110.0, 8000, 1.0, 1e-3)
	f.Add(uint64(2), 0.0, 5, 0.01, 0.0)
	f.Fuzz(func(t *testing.T, seed uint64, hz float64, n int, t60, noise float64) {
		if n < 0 || n > 40000 || !(t60 > 1e-3) || !(math.Abs(noise) < 10) {
			return
		}
		x := make([]float64, n)
		addPartial(x, 8000, 0.1, 440, t60, 0)
		addNoise(x, noise, rand.New(rand.NewPCG(seed, 0)))
		d, err := Measure(x, 8000, Options{Hz: hz, HumHz: []float64{hz + 1, 50}})
		if err != nil {
			return
		}
		for _, v := range []float64{d.T60Seconds, d.T60Low, d.T60High, d.RangeDB, d.StartDBFS, d.FitRMSdB, d.KneeS, d.T60RangeSeconds[1], d.LateT60High} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Fatalf("%+v", d)
			}
		}
		if d.NotEnoughRange && (d.T60Seconds > 0 || d.T60RangeSeconds[1] > 0) {
			t.Fatalf("too little range, and yet %v s, %v s", d.T60Seconds, d.T60RangeSeconds)
		}
		if d.T60Seconds > 0 && (d.T60Low > d.T60Seconds || d.T60High < d.T60Seconds) {
			t.Fatalf("T60 %v outside its interval %v..%v", d.T60Seconds, d.T60Low, d.T60High)
		}
	})
}

// The whole band of a note of one partial rings as that partial does.
func TestBroadband(t *testing.T) {
	x := make([]float64, 4*48000)
	addPartial(x, 48000, 0.3, 330, 4, 0)
	for i := range x {
		x[i] += 0.01 // a constant is no sound
	}
	addNoise(x, 1e-3, rand.New(rand.NewPCG(1, 1)))
	d, err := Measure(x, 48000, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "T60", d.T60Seconds, 4, 0.03)
	near(t, "start", d.StartDBFS, 20*math.Log10(0.3), 0.02)
}

// A mains line inside the band, known to the caller, is taken out.
func TestHumBesideThePartial(t *testing.T) {
	var errs []float64
	for seed := range 40 {
		rng := rand.New(rand.NewPCG(uint64(seed), 10))
		hum, t60 := 50*float64(1+rng.IntN(6)), 1+3*rng.Float64()
		hz := hum + []float64{-1, 1}[rng.IntN(2)]*(1+6*rng.Float64())
		x := make([]float64, int(48000*0.9*t60))
		addPartial(x, 48000, 0.2, hz, t60, 6*rng.Float64())
		addPartial(x, 48000, 0.2*math.Pow(10, -(20+10*rng.Float64())/20), hum, math.Inf(1), 6*rng.Float64())
		addNoise(x, 2e-4, rng)
		d, err := Measure(x, 48000, Options{Hz: hz, HumHz: []float64{hum}})
		if err != nil {
			t.Fatal(err)
		}
		if d.T60Seconds == 0 {
			t.Errorf("seed %d: %.1f Hz beside %.0f Hz: %s", seed, hz, hum, d.Reason)
			continue
		}
		errs = append(errs, 100*(d.T60Seconds/t60-1))
	}
	r := accuracy.Report(t, accuracy.Row{Measure: "T60 beside a known mains line", Range: "1-7 Hz away, 20-30 dB down", Unit: "%",
		Bound: "95 % 3", Source: "simulated, closed form"}, errs)
	if r.P95 > 3 {
		t.Errorf("95 %% %.2f", r.P95)
	}
}
