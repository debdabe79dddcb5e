package signal

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"saddlewise/fixtures/accuracy"
)

// The record and its four- and three-parameter fits were computed in 40-digit
// arithmetic by the iteration of IEEE Std 1057.
func TestSineFitsOfExample(t *testing.T) {
	var want struct {
		Four  map[string]float64 `json:"four_parameter_fit_of_sinefit_example"`
		Three map[string]float64 `json:"three_parameter_fit_of_sinefit_example"`
	}
	readJSON(t, "sine_and_level_definitions.json", &want)
	var x []float64
	for _, row := range rowsOf(t, "sinefit_example.csv") {
		x = append(x, number(t, row, "y"))
	}
	const rate = 1000.0
	for _, start := range []float64{0, 37, 37.4, 36} {
		got, err := SineFit4(x, rate, start)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "cycles a sample", got.Hz/rate, want.Four["cycles_per_sample"], 1e-12)
		near(t, "amplitude", got.Amplitude, want.Four["amplitude"], 1e-8)
		near(t, "phase", got.PhaseRad, want.Four["phase_rad"], 1e-9)
		near(t, "offset", got.Offset, want.Four["offset"], 1e-9)
		near(t, "residual", got.ResidualRMS, want.Four["residual_rms"], 1e-10)
		near(t, "SINAD", got.SINADDB(), want.Four["sinad_db"], 1e-7)
	}
	three, err := SineFit3(x, rate, want.Three["omega_rad_per_sample"]*rate/(2*math.Pi))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "A", three.Amplitude*math.Cos(three.PhaseRad), want.Three["A_cos"], 1e-8)
	near(t, "B", -three.Amplitude*math.Sin(three.PhaseRad), want.Three["B_sin"], 1e-8)
	near(t, "offset", three.Offset, want.Three["offset"], 1e-9)
	near(t, "residual", three.ResidualRMS, want.Three["residual_rms"], 1e-10)
}

// bounds are the Cramér-Rao bounds, as standard deviations, of frequency in
// rad/sample and decay in 1/sample of A exp(-a n) cos(w n + p) + c in white
// noise, from the Fisher matrix (Rife & Boorstyn, IEEE Trans. IT-20, 591-598,
// 1974; damped: Yao & Pandit, IEEE Trans. SP 43, 878-885, 1995).
func bounds(n int, w, phase, a, amplitude, sigma float64, parameters int) (sdW, sdA float64) {
	fisher := mat.NewSymDense(parameters, nil)
	for i := range n {
		at := float64(i)
		g := amplitude * math.Exp(-a*at)
		s, c := math.Sincos(w*at + phase)
		row := [...]float64{g * c / amplitude, -at * g * s / float64(n), -g * s, 1, -at * g * c / float64(n)}
		for j := range parameters {
			for k := j; k < parameters; k++ {
				fisher.SetSym(j, k, fisher.At(j, k)+row[j]*row[k]/(sigma*sigma))
			}
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	chol.Factorize(fisher)
	if err := chol.InverseTo(&inverse); err != nil {
		return math.NaN(), math.NaN()
	}
	sdW = math.Sqrt(inverse.At(1, 1)) / float64(n)
	if parameters > 4 {
		sdA = math.Sqrt(inverse.At(4, 4)) / float64(n)
	}
	return sdW, sdA
}

// The bound itself is checked against values computed elsewhere.
func TestBoundsEqualPublished(t *testing.T) {
	var checks struct {
		Checks []struct {
			Name     string             `json:"name"`
			N        int                `json:"N"`
			W        float64            `json:"w_rad"`
			P, A     float64            // A: amplitude
			Decay    float64            `json:"a"`
			Sigma    float64            `json:"sigma"`
			Variance map[string]float64 `json:"variance"`
		} `json:"checks"`
	}
	readJSON(t, "crb_checks.json", &checks)
	seen := 0
	for _, c := range checks.Checks {
		switch c.Name {
		case "real tone with unknown offset (four-parameter sine fit)":
			sd, _ := bounds(c.N, c.W, 0.3, 0, 1, c.Sigma, 4)
			near(t, c.Name, sd*sd/c.Variance["w"], 1, 1e-6)
			seen++
		case "damped real tone":
			w, a := bounds(c.N, c.W, 0.3, c.Decay, 1, c.Sigma, 5) // with offset, which costs nearly nothing here
			near(t, c.Name+" w", w*w/c.Variance["w"], 1, 1e-3)
			near(t, c.Name+" a", a*a/c.Variance["a"], 1, 1e-3)
			seen++
		}
	}
	if seen != 4 {
		t.Errorf("%d of 4 checks found", seen)
	}
}

type drawn struct {
	x                                 []float64
	rate, hz, amplitude, sigma, decay float64
}

func drawSine(seed uint64, damped bool) drawn {
	r := rand.New(rand.NewPCG(seed, 5))
	d := drawn{rate: []float64{44100, 48000, 96000, 192000}[r.IntN(4)]}
	d.hz = 30 * math.Pow(1000.0/30, r.Float64())
	seconds := math.Max(0.05, 3/d.hz) + 0.3*r.Float64()
	n := int(seconds * d.rate)
	if damped {
		d.decay = (0.5 + 4*r.Float64()) / seconds
	}
	d.amplitude = math.Pow(10, -2*r.Float64())
	d.sigma = d.amplitude / math.Sqrt2 * math.Pow(10, -(20+40*r.Float64())/20)
	phase, offset := 2*math.Pi*r.Float64(), 0.1*r.NormFloat64()
	d.x = make([]float64, n)
	for i := range d.x {
		at := float64(i) / d.rate
		d.x[i] = d.amplitude*math.Exp(-d.decay*at)*math.Cos(2*math.Pi*d.hz*at+phase) + offset + d.sigma*r.NormFloat64()
	}
	return d
}

// rms over cases of error over bound; 1 is what theory allows.
func efficiency(ratios []float64) float64 {
	sum := 0.0
	for _, v := range ratios {
		sum += v * v / float64(len(ratios))
	}
	return math.Sqrt(sum)
}

func TestSineFitReachesCramerRao(t *testing.T) {
	cases := accuracy.Cases(60, 600)
	for _, damped := range []bool{false, true} {
		var ofHz, ofDecay, stated []float64
		for seed := range uint64(cases) {
			d := drawSine(seed, damped)
			fit, parameters := SineFit4, 4
			if damped {
				fit, parameters = SineFitDamped, 5
			}
			got, err := fit(d.x, d.rate, 0)
			if err != nil {
				t.Fatalf("case %d (%.1f Hz, %d samples): %v", seed, d.hz, len(d.x), err)
			}
			sdW, sdA := bounds(len(d.x), 2*math.Pi*d.hz/d.rate, got.PhaseRad, d.decay/d.rate, d.amplitude, d.sigma, parameters)
			ofHz = append(ofHz, (got.Hz-d.hz)*2*math.Pi/d.rate/sdW)
			stated = append(stated, got.HzSE*2*math.Pi/d.rate/sdW-1)
			if damped {
				ofDecay = append(ofDecay, (got.DecayPerS-d.decay)/d.rate/sdA)
			}
		}
		name := map[bool]string{false: "sine fit frequency", true: "damped sine fit frequency"}[damped]
		row := accuracy.Row{Measure: name, Range: "30-1000 Hz, 20-60 dB SNR, 3 periods to 0.35 s, 44.1-192 kHz", Unit: "Cramér-Rao bounds",
			Bound: "RMS 1.2 bounds", Source: "Rife & Boorstyn 1974; Yao & Pandit 1995"}
		accuracy.Report(t, row, ofHz)
		checkEfficiency(t, name, ofHz)
		row.Measure, row.Unit, row.Bound = name+", its own standard error", "of the bound", "0.2"
		if got := accuracy.Report(t, row, stated); got.P95 > 0.2 {
			t.Errorf("stated standard error: 95 %% within %.3f of the bound, want 0.2", got.P95)
		}
		if damped {
			row.Measure, row.Unit, row.Bound = "damped sine fit decay", "Cramér-Rao bounds", "RMS 1.2 bounds"
			accuracy.Report(t, row, ofDecay)
			checkEfficiency(t, row.Measure, ofDecay)
		}
	}
}

func checkEfficiency(t *testing.T, name string, ratios []float64) {
	t.Helper()
	got := efficiency(ratios)
	t.Logf("%s: RMS error %.3f bounds over %d cases", name, got, len(ratios))
	// Even an efficient estimate scatters about 1 by 1/sqrt(2 cases).
	if limit := 1.2 + 3/math.Sqrt(2*float64(len(ratios)))*0.5; got > limit {
		t.Errorf("%s: RMS error %.3f bounds, want at most %.2f", name, got, limit)
	}
}

func TestSineFitRefuses(t *testing.T) {
	for i, x := range [][]float64{nil, {1}, make([]float64, 100), {1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1}} {
		for _, hz := range []float64{0, 100} {
			if got, err := SineFitDamped(x, 1000, hz); err == nil && got.Amplitude > 1e-9 {
				t.Errorf("case %d: fitted %v to nothing", i, got)
			}
		}
	}
	for _, hz := range []float64{-1, 500, 1000, math.NaN()} {
		if _, err := SineFit3(tone(100, 1000, 50, 1, 0), 1000, hz); !errors.Is(err, ErrNoSine) {
			t.Errorf("%g Hz at a rate of 1000: %v", hz, err)
		}
	}
	if _, err := SineFit4([]float64{0, 1, math.NaN(), 1, 0, -1, 0, 1, 0, -1}, 1000, 100); err == nil {
		t.Error("NaN fitted")
	}
}

func ExampleSineFit4() {
	x := tone(1000, 48000, 440.02, 0.5, 1)
	s, err := SineFit4(x, 48000, 0)
	fmt.Printf("%.4f Hz, amplitude %.3f, %v\n", s.Hz, s.Amplitude, err)
	// Output: 440.0200 Hz, amplitude 0.500, <nil>
}

func BenchmarkSineFit4(b *testing.B) {
	x := tone(48000, 48000, 440.02, 0.5, 1)
	for b.Loop() {
		if _, err := SineFit4(x, 48000, 440); err != nil {
			b.Fatal(err)
		}
	}
}
