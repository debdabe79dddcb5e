package recording

import (
	"math"
	"testing"
)

// sine is channel-interleaved: one channel.
func sine(n int, hz, rateHz, amplitude, phase float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/rateHz+phase)
	}
	return x
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.6g, want %.6g ± %g", what, got, want, tolerance)
	}
}

// AES17-2020, 3.12: a full-scale sine reads 0 dBFS RMS; a square wave of the
// same peak therefore +3.01.
func TestLevels(t *testing.T) {
	t.Parallel()
	const rate = 48000
	square := make([]float64, rate)
	for i := range square {
		square[i] = 1
		if i/24%2 == 1 {
			square[i] = -1
		}
	}
	offset := sine(rate, 997, rate, 0.5, 0)
	for i := range offset {
		offset[i] += 0.1
	}
	for _, c := range []struct {
		name              string
		x                 []float64
		rms, peak, dc     float64
		rmsWithin, within float64
	}{
		{"full-scale sine", sine(rate, 997, rate, 1, 0.1), 0, 0, 0, 0.001, 0.001},
		{"half-scale sine", sine(rate, 997, rate, 0.5, 0.1), -6.0206, -6.0206, 0, 0.001, 0.001},
		{"square", square, 3.0103, 0, 0, 0.001, 0.001},
		{"sine on 0.1 of DC", offset, -6.0206, -4.4370, 0.1, 0.001, 0.01},
	} {
		for width, file := range map[string][]byte{"24": file24(rate, 1, c.x), "float": fileFloat(rate, 1, c.x)} {
			f := inspect(t, file).Channels[0]
			near(t, c.name+" RMS "+width, f.RMSDBFS, c.rms, c.rmsWithin)
			near(t, c.name+" peak "+width, f.PeakDB, c.peak, c.within)
			near(t, c.name+" DC "+width, f.DCOffsetFS, c.dc, 1e-6)
			if f.Steps+f.ZeroRuns > 0 {
				t.Errorf("%s %s: %d steps, %d zero runs in a clean wave", c.name, width, f.Steps, f.ZeroRuns)
			}
		}
	}
}
