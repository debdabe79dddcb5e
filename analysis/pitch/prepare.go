package pitch

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// memory is lent to one note after the other: to clear and collect so much
// takes longer than some of the work done in it.
type memory struct {
	y, window []float64
	bins      []complex128
	fitter    fitter
}

var memories = sync.Pool{New: func() any { return new(memory) }}

// note is the sounding part of a recording at a working rate, from its onset.
type note struct {
	lent   *memory
	y      []float64
	rateHz float64
	onsetS float64 // of y[0] from the start of the recording
}

// usefulHz is the end of the decimation filter's flat band.
func (n note) usefulHz() float64 { return 0.43 * n.rateHz }

func (n note) seconds() float64 { return float64(len(n.y)) / n.rateHz }

// prepare lowers the rate, finds the onset and cuts what comes before.
func prepare(x []float64, rateHz float64, lent *memory) (note, error) {
	if s := float64(len(x)) / rateHz; s < shortestS {
		return note{}, fmt.Errorf("%w: %.2f s is too short", ErrNoPitch, s)
	}
	x = x[:min(len(x), int(longestS*rateHz))]
	factor := max(1, int(rateHz/workRateHz))
	var lost int
	lent.y, lost = decimate(lent.y, x, factor)
	n := note{lent: lent, y: lent.y, rateHz: rateHz / float64(factor)}
	offset := signal.Sum(n.y) / float64(len(n.y))
	if !(math.Abs(offset) <= math.MaxFloat64) { // as a single sample makes it
		return note{}, fmt.Errorf("samples that are not numbers")
	}
	floats.AddConst(-offset, n.y)
	start := onset(n.y, int(0.005*n.rateHz))
	n.y = n.y[start:]
	n.onsetS = float64(lost)/rateHz + float64(start)/n.rateHz
	if n.seconds() < shortestS {
		return note{}, fmt.Errorf("%w: only %.2f s are left after the attack", ErrNoPitch, n.seconds())
	}
	return n, nil
}

const zeros = 11 // of the decimation filter's sinc, on each side

// decimate puts into y every factor-th sample of x low-passed by a symmetric
// windowed sinc (Kaiser window, -60 dB), only where the filter is full: the
// first sample out is the lost-th of x.
func decimate(y, x []float64, factor int) (out []float64, lost int) {
	if factor == 1 {
		return append(y[:0], x...), 0
	}
	lost = zeros * factor
	if len(x) <= 2*lost {
		return y[:0], lost
	}
	taps := lowPass(lost, 0.5/float64(factor))
	y = resized(y, (len(x)-2*lost-1)/factor+1)
	const block = 1024 // stays close at hand while all taps are added
	phase := make([]float64, block+2*zeros)
	for from := 0; from < len(y); from += block {
		filter(y[from:min(len(y), from+block)], x[from*factor:], taps, phase, factor)
	}
	return y, lost
}

// filter puts x filtered into y, phase by phase of its samples. In the first all
// taps but the middle one are zeros of the sinc.
func filter(y, x, taps, phase []float64, factor int) {
	for i := range y {
		y[i] = taps[zeros*factor] * x[(zeros+i)*factor]
	}
	for p := 1; p < factor; p++ {
		phase = phase[:len(y)+2*zeros-1]
		for i := range phase {
			phase[i] = x[i*factor+p]
		}
		for m := range 2 * zeros {
			floats.AddScaled(y, taps[m*factor+p], phase[m:m+len(y)])
		}
	}
}

// lowPass is a Kaiser-windowed sinc of 2 half + 1 taps, unity at DC.
func lowPass(half int, cutoff float64) []float64 {
	const beta = 5.65
	h := make([]float64, 2*half+1)
	var sum float64
	for i := range h {
		t := float64(i - half)
		v := 2 * cutoff
		if t != 0 {
			v = math.Sin(2*math.Pi*cutoff*t) / (math.Pi * t)
		}
		u := t / float64(half)
		h[i] = v * besselI0(beta*math.Sqrt(1-u*u))
		sum += h[i]
	}
	for i := range h {
		h[i] /= sum
	}
	return h
}

func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-12*sum; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

// onset is the first frame within 12 dB of the strongest frame of the first
// half second: what comes before is silence or the finger.
func onset(y []float64, frame int) int {
	frame = max(1, frame)
	count := min(len(y)/frame, 100)
	power := make([]float64, count)
	var top float64
	for i := range power {
		for _, v := range y[i*frame : (i+1)*frame] {
			power[i] += v * v
		}
		top = max(top, power[i])
	}
	for i, p := range power {
		if p >= top/16 {
			return i * frame
		}
	}
	return 0
}
