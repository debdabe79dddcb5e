package pitch

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/mjibson/go-dsp/fft"
)

func random(r *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

// Bins put together from short transforms against another library's whole one.
func TestSpectrumAgreesWithWholeTransform(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, length := range []int{14, 300, 1000, 5003, 33333} {
		y := random(r, length)
		s := spectrumOf(y, new(memory))
		if length >= 512 && s.n < length*63/64 {
			t.Errorf("%d samples: only %d used", length, s.n)
		}
		want := fft.FFTReal(y[:s.n])
		for range 20 {
			centre, half := r.Float64()*float64(s.n)/2, 12.0
			b := s.about(centre, half)
			for i, v := range b.x {
				if cmplx.Abs(v-want[b.low+i]) > 1e-9*math.Sqrt(float64(s.n)) {
					t.Errorf("%d samples: bin %d is %v, want %v", length, b.low+i, v, want[b.low+i])
				}
			}
		}
	}
}

// A damped sinusoid's bins by formula against the transform of its samples.
func TestDampedSinusoidsBins(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 20 {
		y := make([]float64, 4096)
		d := damped{a: complex(r.NormFloat64(), r.NormFloat64()), decay: 5e-3 * r.Float64(), omega: 0.05 + 2.9*r.Float64()}
		for i := range y {
			y[i] = 2 * real(d.a*cmplx.Exp(complex(-d.decay, d.omega)*complex(float64(i), 0)))
		}
		s := spectrumOf(y, new(memory))
		centre := d.omega * float64(s.n) / (2 * math.Pi)
		for _, from := range []float64{centre, centre + 40, centre / 2} {
			b := s.about(from, 10)
			size := cmplx.Abs(d.a) * float64(s.n)
			for i, turn := range b.turn {
				g := d.geometric(s.n)
				if got := d.a*g.at(turn) + conj(d.a)*g.mirror().at(turn); cmplx.Abs(got-b.x[i]) > 1e-6*size {
					t.Errorf("%+v, bin %d: %v, want %v", d, b.low+i, got, b.x[i])
				}
			}
			d.leak(s.n).takeFrom(b)
			if left := math.Sqrt(energyOf(b.x)); left > 1e-6*size {
				t.Errorf("%+v: leak at bin %d leaves %g of %g", d, b.low, left, size)
			}
		}
	}
}

func TestHermitianSolves(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for n := 1; n <= 6; n++ {
		rows := make([][]complex128, n)
		want := make([]complex128, n)
		for p := range rows {
			want[p] = complex(r.NormFloat64(), r.NormFloat64())
			for range n + 2 {
				rows[p] = append(rows[p], complex(r.NormFloat64(), r.NormFloat64()))
			}
		}
		var h hermitian
		h.reset(n)
		b := make([]complex128, n)
		for p := range n {
			for q := range n {
				v := dot(rows[p], rows[q])
				if q <= p {
					h.set(p, q, v)
				}
				b[p] += v * want[q]
			}
		}
		if !h.factor(n, 0) {
			t.Fatalf("order %d: not positive definite", n)
		}
		for p, v := range h.solve(b) {
			if cmplx.Abs(v-want[p]) > 1e-9 {
				t.Errorf("order %d: unknown %d is %v, want %v", n, p, v, want[p])
			}
		}
		h.set(n-1, n-1, -1)
		if h.factor(n, 0) {
			t.Errorf("order %d: factored what is not positive definite", n)
		}
	}
}
