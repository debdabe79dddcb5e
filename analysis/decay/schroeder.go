package decay

import "math"

// Backward is Schroeder's backward integration of the squared samples with
// the noise power per sample taken off (Schroeder, JASA 37, 409-412, 1965):
// E(k) = sum from k to the end of (x^2 - noise), in dB re E(0). Values from
// the first that is not positive on are -Inf.
func Backward(squares []float64, noise float64) []float64 {
	out := make([]float64, len(squares))
	sum := 0.0
	for k := len(squares) - 1; k >= 0; k-- {
		sum += squares[k] - noise
		out[k] = sum
	}
	if len(out) == 0 || out[0] <= 0 {
		return out
	}
	total, ended := out[0], false
	for k, v := range out {
		ended = ended || v <= 0
		if ended {
			out[k] = math.Inf(-1)
			continue
		}
		out[k] = 10 * math.Log10(v/total)
	}
	return out
}

// RangeT60 is the least-squares line through the curve's values between
// topDB and bottomDB, carried on to 60 dB of decay (ISO 3382-1:2009), in
// seconds. NaN when the range holds fewer than two values.
func RangeT60(curveDB []float64, rateHz, topDB, bottomDB float64) float64 {
	var n, st, sy, stt, sty float64
	for k, y := range curveDB {
		if y > topDB || y < bottomDB {
			continue
		}
		t := float64(k) / rateHz
		n, st, sy, stt, sty = n+1, st+t, sy+y, stt+t*t, sty+t*y
	}
	if n < 2 {
		return math.NaN()
	}
	return -60 * (n*stt - st*st) / (n*sty - st*sy)
}
