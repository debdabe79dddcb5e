package signal

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"
)

// A sine a little off the frequency comes out as half of it, turning, weakened
// by the cube of a moving average's response; one that has whole periods in
// the average not at all.
func TestBasebandOfSines(t *testing.T) {
	const rate, hz, off, d = 48000.0, 441.0, 3.0, 320
	x, other := make([]float64, 80*d), make([]float64, 80*d)
	for i := range x {
		at := 2 * math.Pi * float64(i) / rate
		x[i] = 0.6 * math.Cos((hz+off)*at+1)
		other[i] = math.Cos((hz + rate/d) * at)
	}
	// Sum of a geometric series: sin(n a)/(n sin a).
	droop := func(hz float64) float64 {
		a := math.Pi * hz / rate
		return math.Pow(math.Sin(d*a)/(d*math.Sin(a)), 3)
	}
	mirror := 0.3 * math.Abs(droop(2*hz+off)) // of the sine's negative frequency
	z := Baseband(x, rate, hz, d)
	if len(z) != 78 {
		t.Fatalf("%d values, want 78", len(z))
	}
	for k, v := range z {
		centre := (float64(k)*d + (3*d-3)/2.0) / rate
		want := cmplx.Rect(0.3*droop(off), 2*math.Pi*off*centre+1)
		if cmplx.Abs(v-want) > mirror+1e-12 {
			t.Errorf("value %d: %v, want %v", k, v, want)
		}
	}
	for _, v := range Baseband(other, rate, hz, d) {
		if cmplx.Abs(v) > math.Abs(droop(2*hz+rate/d))/2+1e-12 {
			t.Errorf("another line's %v is left", v)
		}
	}
	if Baseband(x[:3*d-1], rate, hz, d) != nil {
		t.Error("values from less than three blocks")
	}
}

func TestTripleAverage(t *testing.T) {
	// By hand: (1 + z + z²)³ / 27.
	for i, want := range []float64{1, 3, 6, 7, 6, 3, 1, 0, 0} {
		near(t, "weight", TripleAverage(3)[i], want/27, 1e-15)
	}
}

func BenchmarkBaseband(b *testing.B) {
	x := noise(1, 240000)
	for _, d := range []int{9, 120} {
		b.Run(fmt.Sprintf("one in %d", d), func(b *testing.B) {
			b.SetBytes(int64(8 * len(x)))
			for b.Loop() {
				Baseband(x, 48000, 300, d)
			}
		})
	}
}
