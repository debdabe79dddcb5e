package event

import (
	"sync"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// scratch lends slices for the work on one event, which are all taken back
// together: to allocate one costs more than most of what is done with it.
type scratch struct {
	room    []float64
	used    int
	windows map[int][]float64 // by length
	ready   []frame           // of the take's start, filtered already
}

var scratches = sync.Pool{New: func() any { return &scratch{windows: map[int][]float64{}} }}

// borrowed is a scratch with nothing lent; give it back when done.
func borrowed() *scratch {
	s := scratches.Get().(*scratch)
	s.takeBack()
	return s
}

func (s *scratch) giveBack() { scratches.Put(s) }

// takeBack ends all loans.
func (s *scratch) takeBack() { s.used = 0 }

// floats lends n numbers of any value.
func (s *scratch) floats(n int) []float64 {
	if s.used+n > len(s.room) {
		s.room, s.used = make([]float64, 2*len(s.room)+n), 0
	}
	at := s.used
	s.used += n
	return s.room[at:s.used:s.used]
}

func (s *scratch) copied(x []float64) []float64 {
	y := s.floats(len(x))
	copy(y, x)
	return y
}

// averaged takes the mean of every d samples.
func (s *scratch) averaged(x []float64, d int) []float64 {
	y := s.floats(len(x) / d)
	share := 1 / float64(d)
	for i := range y {
		sum := 0.0
		for _, v := range x[i*d : i*d+d] {
			sum += v
		}
		y[i] = sum * share
	}
	return y
}

// boxcar is x averaged over m samples centred on each (m is made odd), at the
// ends over those that there are.
func (s *scratch) boxcar(x []float64, m int) []float64 {
	h := m / 2
	if h == 0 {
		return x
	}
	y := s.floats(len(x))
	for i := range min(h, len(x)) {
		y[i] = mean(x[:min(len(x), i+h+1)])
		y[len(x)-1-i] = mean(x[max(0, len(x)-1-i-h):])
	}
	if len(x) <= 2*h {
		return y
	}
	whole, sum := 1/float64(2*h+1), signal.Sum(x[:2*h])
	for i, first := range x[:len(x)-2*h] {
		sum += x[i+2*h]
		y[i+h] = sum * whole
		sum -= first
	}
	return y
}

// median takes linear time. Of an even number it is the upper of the middle
// two. 0 when x is empty.
func (s *scratch) median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return signal.Nth(s.copied(x), len(x)/2)
}

// window is a Hann window of n samples. Few lengths occur: those that
// transform quickly, up to priorS of thinned samples.
func (s *scratch) window(n int) []float64 {
	if s.windows[n] == nil {
		s.windows[n] = signal.Hann(n).Coefficients
	}
	return s.windows[n]
}

// power is the power spectrum of y under a Hann window.
func (s *scratch) power(y []float64) []float64 {
	z := s.floats(len(y))
	floats.MulTo(z, y, s.window(len(y)))
	return signal.Energies(z, z)
}
