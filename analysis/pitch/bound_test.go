package pitch

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"

	"gonum.org/v1/gonum/mat"
)

// boundHz is the Cramer-Rao bound on the frequency of a damped real tone of n
// samples with unknown amplitude, phase and decay, from the Fisher matrix
// (the damped case of Yao & Pandit, IEEE Trans. SP 43(4), 878-885, 1995).
func boundHz(n int, omega, phase, decay, amplitude, sigma float64) float64 {
	f := mat.NewSymDense(4, nil)
	scale := [4]float64{1, 1 / float64(n), 1, 1 / float64(n)} // A, omega, phase, decay
	for i := range n {
		t := float64(i)
		e := amplitude * math.Exp(-decay*t)
		s, c := math.Sincos(omega*t + phase)
		g := [4]float64{e * c / amplitude, -t * e * s * scale[1], -e * s, -t * e * c * scale[3]}
		for a := range 4 {
			for b := a; b < 4; b++ {
				f.SetSym(a, b, f.At(a, b)+g[a]*g[b]/(sigma*sigma))
			}
		}
	}
	var ch mat.Cholesky
	var inv mat.SymDense
	if !ch.Factorize(f) || ch.InverseTo(&inv) != nil {
		return math.NaN()
	}
	return math.Sqrt(inv.At(1, 1)) * scale[1]
}

// Damped tones that start 40 dB above the noise, at 48 kHz, phase 0.3; the
// bounds were computed from the Fisher matrix with a general-purpose library.
func TestBoundAgreesWithReference(t *testing.T) {
	for _, c := range []struct{ hz, tauS, seconds, sdHz float64 }{
		{110, 0.5, 2, 5.871243223799763e-05}, {440, 1, 0.5, 9.174694043011745e-05}, {82.4, 0.3, 3, 1.2482744866379502e-04},
	} {
		w := 2 * math.Pi / 48000
		got := boundHz(int(c.seconds*48000), w*c.hz, 0.3, 1/(c.tauS*48000), 1, 0.01/math.Sqrt2) / w
		if math.Abs(got/c.sdHz-1) > 1e-5 {
			t.Errorf("%g Hz: bound %.6g Hz, want %.6g", c.hz, got, c.sdHz)
		}
	}
}

// One damped partial and white noise: the error must stay within twice the
// bound for damped tones.
func TestSinglePartialReachesCramerRaoBound(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ hz, tau, seconds, snrDB float64 }{
		{110, 0.5, 2, 40}, {440, 1, 0.5, 40}, {82.4, 0.3, 3, 40}, {659, 0.2, 1, 30}, {220, 2, 1, 25}, {49, 0.4, 2, 45},
	} {
		var square float64
		count := accuracy.Cases(15, 100)
		omega, decay := 2*math.Pi*c.hz/48000, 1/(c.tau*48000)
		sigma := math.Pow(10, -c.snrDB/20) / math.Sqrt2
		n := int(c.seconds * 48000)
		var errs []float64
		for seed := range count {
			r := rand.New(rand.NewPCG(uint64(seed), 3))
			x := fixtures.White(n, sigma, r)
			phase := 2 * math.Pi * r.Float64()
			for i := range x {
				x[i] += math.Exp(-decay*float64(i)) * math.Cos(omega*float64(i)+phase)
			}
			got, err := Measure(x, 48000, Options{})
			if err != nil {
				t.Fatalf("%+v: %v", c, err)
			}
			e := got.F1Hz - c.hz
			square += e * e
			errs = append(errs, e)
		}
		bound := boundHz(n, omega, 0.3, decay, 1, sigma) * 48000 / (2 * math.Pi)
		ratio := math.Sqrt(square/float64(count)) / bound
		accuracy.Report(t, accuracy.Row{Measure: "fundamental of one damped partial", Unit: "Hz",
			Range: fmt.Sprintf("%g Hz, time constant %g s, %g s long, %g dB", c.hz, c.tau, c.seconds, c.snrDB),
			Bound: fmt.Sprintf("RMS within twice the Cramer-Rao bound, %.3g; is %.2f times", bound, ratio), Source: "Yao & Pandit 1995"}, errs)
		if ratio > 2 {
			t.Errorf("%+v: RMS error %.2f times the bound", c, ratio)
		}
	}
}
