package event

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"
)

// Vote is what a string's taps say about its polarity.
type Vote struct {
	Up, Down, Undecided int
	Sign                int     // +1 or -1; 0: cannot tell
	P                   float64 // exact two-sided sign test of Up against Down, ties left out
}

// VoteOf counts signs (+1, -1, 0 for cannot tell). One or two taps, or a vote
// that is not a clear majority of three quarters, decide nothing; neither does
// a vote in which most taps could not tell.
func VoteOf(signs []int) Vote {
	var v Vote
	for _, s := range signs {
		switch {
		case s > 0:
			v.Up++
		case s < 0:
			v.Down++
		default:
			v.Undecided++
		}
	}
	n, most := v.Up+v.Down, max(v.Up, v.Down)
	v.P = signTest(most, n)
	if n < 2 || 4*most < 3*n || v.Undecided > n {
		return v
	}
	v.Sign = 1
	if v.Down > v.Up {
		v.Sign = -1
	}
	return v
}

// signTest is the exact two-sided binomial probability, under even odds, of a
// majority of at least most out of n (Dixon & Mood 1946).
func signTest(most, n int) float64 {
	if n == 0 {
		return 1
	}
	b := distuv.Binomial{N: float64(n), P: 0.5}
	tail := 0.0
	for k := most; k <= n; k++ {
		tail += b.Prob(float64(k))
	}
	return min(1, 2*tail)
}

// Relation is a string's polarity against the other strings'.
type Relation int

// The relations.
const (
	CannotTell Relation = iota
	Same                // as the majority
	Reversed            // against the majority
	GroupUp             // a tie: this half moves up first
	GroupDown           // a tie: this half moves down first
)

// String is the relation in words.
func (r Relation) String() string {
	switch r {
	case CannotTell:
		return "cannot tell"
	case Same:
		return "same"
	case Reversed:
		return "reversed"
	case GroupUp:
		return "first group (up)"
	case GroupDown:
		return "second group (down)"
	}
	return fmt.Sprintf("relation %d", int(r))
}

// Polarity is the strings' relation to one another.
type Polarity struct {
	Relations   []Relation
	Correlation []float64 // of the first 2 ms with the other strings' median waveform, each turned the way its vote says; 0 where there is nothing to compare
	Majority    int       // +1 or -1: which way the majority moves first; 0 for a tie or when nothing could be told
	Tie         bool      // as many one way as the other: two groups, and no one can say which is reversed
	Inverts     bool      // every string that could be told moves down first: only the chain inverts
}

// disagrees is the correlation beyond which the waveform contradicts the vote.
const disagrees = -0.3

// Polarities compares strings. medianWaveforms holds one MedianWaveform a
// string (nil where there is none); where a string's first 2 ms contradict its
// vote the answer is cannot tell.
func Polarities(votes []Vote, medianWaveforms [][]float64) Polarity {
	p := Polarity{Relations: make([]Relation, len(votes)), Correlation: make([]float64, len(votes))}
	signs := make([]int, len(votes))
	for i, v := range votes {
		signs[i] = v.Sign
	}
	for i := range votes {
		p.Correlation[i] = crossCheck(i, signs, medianWaveforms)
	}
	up, down := 0, 0
	for i := range signs {
		if p.Correlation[i] < disagrees {
			signs[i] = 0
		}
		up, down = up+b2i(signs[i] > 0), down+b2i(signs[i] < 0)
	}
	p.relate(signs, up, down)
	return p
}

func (p *Polarity) relate(signs []int, up, down int) {
	switch {
	case up > down:
		p.Majority = 1
	case down > up:
		p.Majority = -1
	}
	p.Tie = up == down && up > 0
	p.Inverts = up == 0 && down > 0
	for i, s := range signs {
		switch {
		case s == 0 || up+down < 2:
			p.Relations[i] = CannotTell
		case p.Tie && s > 0:
			p.Relations[i] = GroupUp
		case p.Tie:
			p.Relations[i] = GroupDown
		case s == p.Majority:
			p.Relations[i] = Same
		default:
			p.Relations[i] = Reversed
		}
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// crossCheck correlates string i's first 2 ms with the median of the other
// strings', all turned by their votes. It needs two others: with one, a
// disagreement would not say whose fault it is.
func crossCheck(i int, signs []int, waveforms [][]float64) float64 {
	if i >= len(waveforms) || waveforms[i] == nil || signs[i] == 0 {
		return 0
	}
	var others [][]float64
	for j, w := range waveforms {
		if j != i && j < len(signs) && signs[j] != 0 && len(w) == waveformPoints {
			others = append(others, turned(w, signs[j]))
		}
	}
	if len(others) < 2 || len(waveforms[i]) != waveformPoints {
		return 0
	}
	from := int(math.Round(-WaveformStartS / WaveformStepS))
	to := from + int(math.Round(0.002/WaveformStepS))
	return bestCorrelation(turned(waveforms[i], signs[i]), MedianWaveform(others), from, to)
}

// bestCorrelation allows 0.1 ms for the two onsets' errors and takes the
// coefficient of the lag where it is largest in size.
func bestCorrelation(a, b []float64, from, to int) float64 {
	best := 0.0
	for lag := -5; lag <= 5; lag++ {
		x, y := a[from:to], b[from+lag:to+lag]
		if c := floats.Dot(x, y) / math.Sqrt(floats.Dot(x, x)*floats.Dot(y, y)+1e-300); math.Abs(c) > math.Abs(best) {
			best = c
		}
	}
	return best
}

func turned(w []float64, sign int) []float64 {
	out := make([]float64, len(w))
	for i, v := range w {
		out[i] = v * float64(sign)
	}
	return out
}

// MedianWaveform is the median, point by point, of waveforms brought to the
// same peak in the first 4 ms. Nil when there is none.
func MedianWaveform(waveforms [][]float64) []float64 {
	from := int(math.Round(-WaveformStartS / WaveformStepS))
	to := from + int(math.Round(contactSpanS/WaveformStepS))
	var scaled [][]float64
	for _, w := range waveforms {
		if len(w) != waveformPoints {
			continue
		}
		if peak := peakOf(w[from:to]); peak > 0 {
			s := make([]float64, len(w))
			for i, v := range w {
				s[i] = v / peak
			}
			scaled = append(scaled, s)
		}
	}
	if len(scaled) == 0 {
		return nil
	}
	out := make([]float64, waveformPoints)
	column := make([]float64, len(scaled))
	for i := range out {
		for j, s := range scaled {
			column[j] = s[i]
		}
		out[i] = middle(column)
	}
	return out
}

// middle sorts column and takes its median.
func middle(column []float64) float64 {
	slices.Sort(column)
	n := len(column)
	return (column[(n-1)/2] + column[n/2]) / 2
}
