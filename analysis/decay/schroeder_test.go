package decay

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"
)

// worked is testdata/decay.json: relations and worked examples after
// Schroeder 1965 and ISO 3382-1:2009, computed for the project.
type worked struct {
	Examples []struct {
		Hz  float64 `json:"f_hz"`
		Tau float64 `json:"tau_s"`
		T60 float64 `json:"t60_s"`
	} `json:"examples"`
	Schroeder struct {
		Noise struct {
			Results map[string]map[string]float64 `json:"results"`
		} `json:"noise_effect"`
		Two struct {
			A1       float64            `json:"A1"`
			Tau1     float64            `json:"tau1_s"`
			A2       float64            `json:"A2"`
			Tau2     float64            `json:"tau2_s"`
			Backward map[string]float64 `json:"backward_integrated"`
		} `json:"two_stage"`
	} `json:"schroeder"`
}

func readWorked(t *testing.T) worked {
	t.Helper()
	text, err := os.ReadFile("testdata/decay.json")
	if err != nil {
		t.Fatal(err)
	}
	var w worked
	if err := json.Unmarshal(text, &w); err != nil {
		t.Fatal(err)
	}
	if len(w.Examples) == 0 || len(w.Schroeder.Noise.Results) == 0 {
		t.Fatal("no worked examples read")
	}
	return w
}

func TestBackwardWorkedExamples(t *testing.T) {
	const rate, tau = 48000.0, 0.5
	for name, want := range readWorked(t).Schroeder.Noise.Results {
		var noise, seconds float64
		if _, err := fmt.Sscanf(name, "noise %g, record %g s", &noise, &seconds); err != nil {
			t.Fatalf("%q: %v", name, err)
		}
		h := make([]float64, int(seconds*rate))
		for k := range h {
			h[k] = math.Exp(-2*float64(k)/rate/tau) + noise
		}
		plain := Backward(h, 0)
		near(t, name+" T20", RangeT60(plain, rate, -5, -25), want["t20_s"], 1e-4)
		near(t, name+" T30", RangeT60(plain, rate, -5, -35), want["t30_s"], 1e-4)
		if seconds == 4 {
			near(t, name+" compensated T20", RangeT60(Backward(h, noise), rate, -5, -25), tau*ln1000, 1e-3)
		}
	}
}

func TestBackwardTwoStages(t *testing.T) {
	const rate = 4800.0
	two := readWorked(t).Schroeder.Two
	h := make([]float64, int(12*rate))
	for k := range h {
		s := float64(k) / rate
		h[k] = two.A1*two.A1*math.Exp(-2*s/two.Tau1) + two.A2*two.A2*math.Exp(-2*s/two.Tau2)
	}
	curve := Backward(h, 0)
	near(t, "EDT", RangeT60(curve, rate, 0, -10), two.Backward["edt_s"], 2e-3)
	near(t, "T20", RangeT60(curve, rate, -5, -25), two.Backward["t20_s"], 2e-3)
	near(t, "T30", RangeT60(curve, rate, -5, -35), two.Backward["t30_s"], 2e-3)
}

// Both ways to the number agree on the worked decays.
func TestWorkedDecays(t *testing.T) {
	for _, ex := range readWorked(t).Examples {
		x := make([]float64, int(48000*min(0.6*ex.T60, 12)))
		addPartial(x, 48000, 0.5, ex.Hz, ex.T60, 0.3)
		d, err := Measure(x, 48000, Options{Hz: ex.Hz})
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("%g Hz", ex.Hz), d.T60Seconds, ex.T60, 2e-3)
	}
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %v, want %v within %.2g", what, got, want, relative)
	}
}
