package signal

import "math"

// PSD is a one-sided power spectral density: its sum times StepHz is the mean
// square of the signal about the means of its segments.
type PSD struct {
	StepHz   float64   // distance of the bins
	Power    []float64 // full scale squared per Hz, from 0 Hz to half the rate
	Segments int
}

// Hz is the frequency of bin k.
func (p PSD) Hz(k int) float64 { return float64(k) * p.StepHz }

// Band integrates the density from low to high Hz, sharing out the bins that
// the edges cut. Bin k reaches half a step to either side; the first begins at
// 0 Hz and has all of its power above.
func (p PSD) Band(lowHz, highHz float64) float64 {
	low, high := p.edge(lowHz), p.edge(highHz)
	if !(low < high) {
		return 0
	}
	first, last := int(low), int(high)
	if first == last {
		return p.Power[first] * (high - low) * p.StepHz
	}
	sum := p.Power[first] * (float64(first+1) - low)
	for _, v := range p.Power[first+1 : last] {
		sum += v
	}
	if last < len(p.Power) {
		sum += p.Power[last] * (high - float64(last))
	}
	return sum * p.StepHz
}

// edge is how many bins lie below hz.
func (p PSD) edge(hz float64) float64 {
	at := math.Max(0, hz/p.StepHz)
	if at < 0.5 {
		return 2 * at
	}
	return math.Min(at+0.5, float64(len(p.Power)))
}

// Bands integrates the density over each band.
func (p PSD) Bands(bands []Band) []float64 {
	out := make([]float64, len(bands))
	for i, b := range bands {
		out[i] = p.Band(b.LowHz, b.HighHz)
	}
	return out
}

// Weighted integrates the density from low to high Hz after weighting each
// bin by a level in dB.
func (p PSD) Weighted(lowHz, highHz float64, weightDB func(hz float64) float64) float64 {
	q := PSD{StepHz: p.StepHz, Power: make([]float64, len(p.Power))}
	for k, v := range p.Power {
		if hz := p.Hz(k); hz > 0 {
			q.Power[k] = v * math.Pow(10, weightDB(hz)/10)
		}
	}
	return q.Band(lowHz, highHz)
}
