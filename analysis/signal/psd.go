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
// the edges cut.
func (p PSD) Band(lowHz, highHz float64) float64 {
	sum := 0.0
	first := max(0, int(math.Floor(lowHz/p.StepHz+0.5)))
	for k := first; k < len(p.Power); k++ {
		left, right := (float64(k)-0.5)*p.StepHz, (float64(k)+0.5)*p.StepHz
		if left >= highHz {
			break
		}
		width := math.Min(right, highHz) - math.Max(left, lowHz)
		if k == 0 { // nothing lies below 0 Hz: all of the bin's power lies above
			width = 2 * (math.Min(right, highHz) - math.Max(0, lowHz))
		}
		if width > 0 {
			sum += p.Power[k] * width
		}
	}
	return sum
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
