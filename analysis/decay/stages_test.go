package decay

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// lineOf is T60 of the least-squares line through a noise-free level between
// -5 and -25 dB of its start: the definition, applied to the truth.
func lineOf(power func(t float64) float64) float64 {
	var n, st, sy, stt, sty float64
	for t := 0.0; t < 100; t += 1e-3 {
		y := 10 * math.Log10(power(t)/power(0))
		if y < -25 {
			break
		}
		if y <= -5 {
			n, st, sy, stt, sty = n+1, st+t, sy+y, stt+t*t, sty+t*y
		}
	}
	return -60 * (n*stt - st*st) / (n*sty - st*sy)
}

// stagesRateHz is low, to be quick: single decays are drawn at the rates in use.
const stagesRateHz = 24000

func addNoise(x []float64, sd float64, rng *rand.Rand) {
	for i := range x {
		x[i] += sd * rng.NormFloat64()
	}
}

// Two decays in quadrature: powers add, as in the worked example of a double
// slope (A1 = 1, tau1 = 0.2 s, A2 = 0.1, tau2 = 1.5 s: equal at 0.53137 s, 20.11 dB down).
func TestTwoStages(t *testing.T) {
	t.Parallel()
	var errs, late, knee []float64
	found := 0
	cases := accuracy.Cases(30, 500)
	for seed := range cases {
		rng := rand.New(rand.NewPCG(uint64(seed), 4))
		hz, early := 60*math.Pow(10, rng.Float64()), 1+2*rng.Float64()
		slow, level := early*(2.5+3*rng.Float64()), math.Pow(10, -(8+14*rng.Float64())/20)
		if seed == 0 {
			hz, early, slow, level = 440, 0.2*ln1000, 1.5*ln1000, 0.1
		}
		x := make([]float64, int(stagesRateHz*min(8, slow)))
		addPartial(x, stagesRateHz, 0.3, hz, early, 0)
		addPartial(x, stagesRateHz, 0.3*level, hz, slow, math.Pi/2)
		addPartial(x, stagesRateHz, 0.2, 2*hz, 0.5*early, 1)
		addNoise(x, 0.7e-3, rng)
		d, err := Measure(x, stagesRateHz, Options{Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		want := lineOf(func(t float64) float64 {
			return math.Exp(-2*ln1000*t/early) + level*level*math.Exp(-2*ln1000*t/slow)
		})
		if d.T60Seconds == 0 {
			t.Logf("seed %d: none (%s)", seed, d.Reason)
			continue
		}
		e := 100 * (d.T60Seconds/want - 1)
		if math.Abs(e) > 10 {
			t.Logf("seed %d: hz %.0f early %.2f slow %.2f level %.0f dB: want %.2f got %.2f [%.2f %.2f]", seed, hz, early, slow, 20*math.Log10(level), want, d.T60Seconds, d.T60Low, d.T60High)
		}
		errs = append(errs, e)
		if !d.TwoStage {
			t.Logf("seed %d: hz %.0f early %.2f slow %.2f level %.0f dB len %.1f: one stage, beat %v %.2f Hz R %.0f", seed, hz, early, slow, 20*math.Log10(level), min(8, slow), d.Beating, d.BeatHz, d.RangeDB)
		}
		if d.TwoStage {
			found++
			late = append(late, 100*(d.LateT60Seconds/slow-1))
			at := math.Log(1/level) / (ln1000/early - ln1000/slow)
			knee = append(knee, 100*(d.KneeS/at-1))
		}
	}
	source := "simulated, closed form"
	a := accuracy.Report(t, accuracy.Row{Measure: "T60 of a two-stage decay", Range: "-5 to -25 dB, knee 8-22 dB down and more", Unit: "%", Bound: "95 % 8", Source: source}, errs)
	b := accuracy.Report(t, accuracy.Row{Measure: "late T60", Range: "2.5-5.5 times the early one", Unit: "%", Bound: "95 % 15", Source: source}, late)
	c := accuracy.Report(t, accuracy.Row{Measure: "knee", Range: "2.5-5.5 times the early T60", Unit: "% of its time", Bound: "95 % 15", Source: source}, knee)
	if a.P95 > 8 || b.P95 > 15 || c.P95 > 15 || found < cases*9/10 {
		t.Errorf("T60 %.1f, late %.1f, knee %.1f; two stages seen in %d of %d", a.P95, b.P95, c.P95, found, cases)
	}
}

// Two polarisations: the answer is a number near the line through their summed
// power, or a range that holds it and both their own T60.
func TestBeats(t *testing.T) {
	t.Parallel()
	ranges, held, numbers, none := 0, 0, []float64{}, 0
	width := []float64{}
	cases := accuracy.Cases(40, 500)
	for seed := range cases {
		rng := rand.New(rand.NewPCG(uint64(seed), 5))
		hz := 80 * math.Pow(10, rng.Float64())
		beat := hz * 0.003 * (0.1 + 0.9*rng.Float64())
		t1 := 1 + 6*rng.Float64()
		t2 := t1 * (0.7 + 0.6*rng.Float64())
		ratio := 0.1 + 0.85*rng.Float64()
		x := make([]float64, int(stagesRateHz*0.8*t1))
		phase := 2 * math.Pi * rng.Float64()
		addPartial(x, stagesRateHz, 0.3, hz, t1, 0)
		addPartial(x, stagesRateHz, 0.3*ratio, hz+beat, t2, phase)
		addPartial(x, stagesRateHz, 0.2, 2.001*hz, 0.5*t1, 1)
		addNoise(x, 0.7e-3, rng)
		d, err := Measure(x, stagesRateHz, Options{Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		want := lineOf(func(t float64) float64 {
			return math.Exp(-2*ln1000*t/t1) + ratio*ratio*math.Exp(-2*ln1000*t/t2)
		})
		if d.BeatDepthDB < deepBeatDB {
			// Too slow or too shallow to be seen as beats: the envelope itself is judged.
			a, b := math.Exp(-ln1000/t1), ratio*math.Exp(-ln1000/t2)
			want = lineOf(func(t float64) float64 {
				re, im := math.Pow(a, t)+ratio*math.Pow(b/ratio, t)*math.Cos(2*math.Pi*beat*t+phase), ratio*math.Pow(b/ratio, t)*math.Sin(2*math.Pi*beat*t+phase)
				return re*re + im*im
			})
		}
		switch {
		case d.T60RangeSeconds[1] > 0:
			ranges++
			width = append(width, d.T60RangeSeconds[1]/d.T60RangeSeconds[0])
			if d.T60RangeSeconds[0] <= want && want <= d.T60RangeSeconds[1] {
				held++
			} else {
				t.Logf("seed %d: hz %.0f beat %.2f t %.2f %.2f ratio %.2f: want %.2f in %.2f found %.2f Hz %.0f dB", seed, hz, beat, t1, t2, ratio, want, d.T60RangeSeconds, d.BeatHz, d.BeatDepthDB)
			}
		case d.T60Seconds > 0:
			e := 100 * (d.T60Seconds/want - 1)
			numbers = append(numbers, e)
			if math.Abs(e) > 15 {
				t.Logf("seed %d: hz %.0f beat %.2f t %.2f %.2f ratio %.2f: want %.2f got %.2f [%.2f %.2f] beat %v %.2f %.0f dB two %v", seed, hz, beat, t1, t2, ratio, want, d.T60Seconds, d.T60Low, d.T60High, d.Beating, d.BeatHz, d.BeatDepthDB, d.TwoStage)
			}
		default:
			none++
			t.Logf("seed %d: hz %.0f beat %.2f t %.2f %.2f ratio %.2f: none: %s", seed, hz, beat, t1, t2, ratio, d.Reason)
		}
	}
	r := accuracy.Report(t, accuracy.Row{Measure: "T60 of a beating decay, where a number is given", Range: "beats up to 0.3 %, T60 1-9 s", Unit: "%", Bound: "95 % 15", Source: "simulated, closed form"}, numbers)
	t.Logf("%d ranges (median high/low %.2f), %d hold the truth; %d numbers; %d none", ranges, accuracy.Quantile(width, 0.5), held, len(numbers), none)
	if r.P95 > 15 || held < ranges*95/100 || none > cases/8 {
		t.Errorf("numbers 95 %% %.1f; %d of %d ranges hold; none %d", r.P95, held, ranges, none)
	}
}

// Below 25 dB over the noise there must be no number.
func TestNotEnoughRange(t *testing.T) {
	t.Parallel()
	guesses := 0
	cases := accuracy.Cases(40, 500)
	for seed := range cases {
		rng := rand.New(rand.NewPCG(uint64(seed), 6))
		hz, t60 := 30*math.Pow(1000.0/30, rng.Float64()), 0.3*math.Pow(50, rng.Float64())
		rangeDB := 5 + 17*rng.Float64()
		x := make([]float64, int(48000*min(max(0.8, 0.7*t60), 8)))
		addPartial(x, 48000, 0.2, hz, t60, 0)
		// Noise in the band of the longest filter: a shorter one hears more of it.
		psd := 0.2 * 0.2 / 2 * math.Pow(10, -rangeDB/10) / (1.73 / windowMost)
		addNoise(x, math.Sqrt(psd*24000), rng)
		d, err := Measure(x, 48000, Options{Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		if d.T60Seconds > 0 || d.T60RangeSeconds[1] > 0 {
			guesses++
			t.Logf("seed %d: hz %.0f t60 %.2f range %.1f: got %.2f [%.2f %.2f] R %.1f %s", seed, hz, t60, rangeDB, d.T60Seconds, d.T60Low, d.T60High, d.RangeDB, d.Reason)
		} else if !d.NotEnoughRange || d.Reason == "" {
			t.Errorf("seed %d: neither a number nor a reason", seed)
		}
	}
	if guesses > cases/100 {
		t.Errorf("%d of %d guessed", guesses, cases)
	}
}

// A hand stops the note, as late as in the last moment of the record: the decay
// before it counts.
func TestStoppedByHand(t *testing.T) {
	t.Parallel()
	var errs, at []float64
	cases := accuracy.Cases(20, 200)
	for seed := range cases {
		rng := rand.New(rand.NewPCG(uint64(seed), 7))
		hz, t60 := 60*math.Pow(10, rng.Float64()), 2+4*rng.Float64()
		stop := (0.3 + 0.1*rng.Float64()) * t60
		x := make([]float64, int(48000*(stop+0.15+0.85*rng.Float64())))
		addPartial(x, 48000, 0.3, hz, t60, 0)
		for i := int(stop * 48000); i < len(x); i++ {
			x[i] *= math.Exp(-(float64(i)/48000 - stop) / 0.015)
		}
		addNoise(x, 3e-4, rng)
		d, err := Measure(x, 48000, Options{Hz: hz})
		if err != nil {
			t.Fatal(err)
		}
		if d.T60Seconds == 0 || d.DampedAtS == 0 {
			t.Logf("seed %d: hz %.0f t60 %.2f stop %.2f: damped %.2f %s", seed, hz, t60, stop, d.DampedAtS, d.Reason)
			continue
		}
		errs = append(errs, 100*(d.T60Seconds/t60-1))
		at = append(at, d.DampedAtS-stop)
	}
	r := accuracy.Report(t, accuracy.Row{Measure: "T60 of a stopped note", Range: "stopped 18-24 dB down", Unit: "%", Bound: "95 % 10", Source: "simulated"}, errs)
	a := accuracy.Report(t, accuracy.Row{Measure: "time of the stop", Range: "stopped 18-24 dB down", Unit: "s", Bound: "95 % 0.15", Source: "simulated"}, at)
	if r.P95 > 10 || a.P95 > 0.15 || len(errs) < cases*8/10 {
		t.Errorf("T60 %.1f %%, stop %.2f s, answered %d of %d", r.P95, a.P95, len(errs), cases)
	}
}
