package tone

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"saddlewise/analysis/signal"
)

// sine is a four-parameter sine fit of IEEE Std 1057.
type sine struct{ amplitude, omega, phase, offset, residual float64 }

// fitIEEE is the standard's four-parameter algorithm: linear least squares for
// A, B, C and the change of omega, repeated. It is the other way to the same
// frequency that the tests below compare with.
func fitIEEE(y []float64, omega float64) sine {
	p := []float64{0, 0, 0, 0}
	for round := range 12 {
		columns := min(4, 3+round) // the first round is the three-parameter fit
		d := mat.NewDense(len(y), columns, nil)
		for n := range y {
			t := float64(n)
			s, c := math.Sincos(omega * t)
			d.SetRow(n, []float64{c, s, 1, -p[0]*t*s + p[1]*t*c}[:columns])
		}
		var v mat.VecDense
		if err := v.SolveVec(d, mat.NewVecDense(len(y), y)); err != nil && v.Len() != columns {
			break
		}
		copy(p, v.RawVector().Data)
		if columns == 4 {
			omega += p[3]
		}
	}
	sum := 0.0
	for n, v := range y {
		s, c := math.Sincos(omega * float64(n))
		r := v - p[0]*c - p[1]*s - p[2]
		sum += r * r
	}
	return sine{math.Hypot(p[0], p[1]), omega, math.Atan2(-p[1], p[0]), p[2], math.Sqrt(sum / float64(len(y)))}
}

// The record and the fit's result are worked values, two solvers agreeing.
func TestSineFitExample(t *testing.T) {
	f, err := os.Open("testdata/sinefit_example.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var y []float64
	for lines := bufio.NewScanner(f); lines.Scan(); {
		var n int
		var v float64
		if !strings.HasPrefix(lines.Text(), "#") {
			if _, err := fmt.Sscanf(lines.Text(), "%d,%g", &n, &v); err == nil {
				y = append(y, v)
			}
		}
	}
	got := fitIEEE(y, 2*math.Pi*0.037)
	want := sine{100.0285761464, 0.2331025033594, 0.7008130950402, 3.33471033248, 0.288705408586}
	for _, c := range [][2]float64{{got.amplitude, want.amplitude}, {got.omega, want.omega}, {got.phase, want.phase}, {got.offset, want.offset}, {got.residual, want.residual}} {
		if math.Abs(c[0]-c[1]) > 1e-9*math.Abs(c[1]) {
			t.Errorf("got %.13g, want %.13g", c[0], c[1])
		}
	}
}

// The measured frequency of a steady tone is that of the sine fit of IEEE
// 1057 over the same samples, to a small part of its own error.
func TestAgreesWithSineFit(t *testing.T) {
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 9))
		hz := 200 * math.Pow(10, rng.Float64())
		x := make([]float64, 6*16000)
		add(x, 16000, 0, 0.3, hz, math.Inf(1), 6*rng.Float64())
		for i := range x {
			x[i] += 0.01*rng.NormFloat64() + 0.02
		}
		got, err := Measure(context.Background(), signal.Memory{Samples: x, SampleRate: 16000}, Options{NominalHz: hz})
		if err != nil {
			t.Fatal(err)
		}
		s := got.Strikes[0]
		ref := fitIEEE(x[int(s.FromS*16000+0.5):int(s.ToS*16000+0.5)], 2*math.Pi*hz/16000)
		if d := s.Hz - ref.omega*16000/(2*math.Pi); math.Abs(d) > 0.5*s.SDHz {
			t.Errorf("%.2f Hz: %.3g Hz from the sine fit, standard error %.3g", hz, d, s.SDHz)
		}
		if d := s.LevelDBFS - 20*math.Log10(ref.amplitude); math.Abs(d) > 0.01 {
			t.Errorf("%.2f Hz: level %.3f dB from the sine fit", hz, d)
		}
	}
}

// boundHz of the tests is the Cramer-Rao bound: worked values computed from
// the Fisher matrix (Yao & Pandit 1995), amplitude 1.
func TestBoundWorkedValues(t *testing.T) {
	text, err := os.ReadFile("testdata/crb_checks.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Checks []struct {
			Name  string
			N     int
			Sigma float64 `json:"sigma"`
			Fs    float64 `json:"fs"`
			Tau   float64 `json:"tau_s"`
			SD    struct {
				Hz float64 `json:"f_hz"`
			} `json:"sd"`
		} `json:"checks"`
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, c := range file.Checks {
		if c.SD.Hz == 0 {
			continue
		}
		seen++
		got := boundHz(1, 1/c.Tau, c.Sigma, c.Fs, float64(c.N)/c.Fs)
		if math.Abs(got/c.SD.Hz-1) > 0.01 {
			t.Errorf("%s, tau %g s: got %g Hz, want %g", c.Name, c.Tau, got, c.SD.Hz)
		}
	}
	if seen != 3 {
		t.Errorf("%d worked bounds read, want 3", seen)
	}
}
