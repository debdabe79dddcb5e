package response

import (
	"fmt"
	"math"

	"saddlewise/analysis/signal"
)

// SweepParams describe an exponential sine sweep, the stimulus of Farina
// (AES 108th Convention, preprint 5093, 2000):
//
//	x(t) = sin(2π f1 L (exp(t/L) - 1)), 0 <= t < T, L = T / ln(f2/f1)
//
// Its frequency is f1 exp(t/L), its spectrum falls by 3 dB an octave, and the
// distortion of order k comes out L ln k before the linear response.
type SweepParams struct {
	RateHz    float64
	LowHz     float64 // f1
	HighHz    float64 // f2, below half the rate
	Seconds   float64 // T, of the sweep alone
	LevelDBFS float64 // of the sine; 0 is full scale
	LeadInS   float64 // silence before
	FadeInS   float64 // half-cosine, within the sweep
	FadeOutS  float64
	TailS     float64 // silence after, for the response to die away in
}

// DefaultSweep is a sweep that leaves room around 20 Hz to 20 kHz, so that its
// faded ends lie outside, at a level that is kind to exciters and ears
// (common practice, no source).
func DefaultSweep(rateHz float64) SweepParams {
	return SweepParams{
		RateHz: rateHz, LowHz: 8, HighHz: math.Min(22000, 0.4875*rateHz), Seconds: 10, LevelDBFS: -12,
		LeadInS: 1, FadeInS: 0.1, FadeOutS: 0.01, TailS: 2,
	}
}

// Check says what is wrong with the parameters, nil for nothing.
func (p SweepParams) Check() error {
	switch {
	case !(p.RateHz >= 8000 && p.RateHz <= 1e6):
		return fmt.Errorf("sweep: rate %g Hz is not between 8000 Hz and 1 MHz", p.RateHz)
	case !(p.LowHz >= 1 && p.HighHz >= 4*p.LowHz):
		return fmt.Errorf("sweep: from %g to %g Hz is not two octaves upward from 1 Hz or more", p.LowHz, p.HighHz)
	case p.HighHz > 0.495*p.RateHz:
		return fmt.Errorf("sweep: %g Hz is too near half the rate of %g Hz", p.HighHz, p.RateHz)
	case !(p.Seconds >= 0.5 && p.Seconds <= 120):
		return fmt.Errorf("sweep: %g s is not between half a second and two minutes", p.Seconds)
	case !(p.LevelDBFS <= 0 && p.LevelDBFS >= -100):
		return fmt.Errorf("sweep: level %g dBFS is not between -100 and 0", p.LevelDBFS)
	case !(p.LeadInS >= 0 && p.TailS >= 0 && p.LeadInS+p.TailS <= 60):
		return fmt.Errorf("sweep: silence of %g and %g s is not between 0 and 60 s in all", p.LeadInS, p.TailS)
	case !(p.FadeInS >= 0 && p.FadeOutS >= 0 && p.FadeInS+p.FadeOutS <= p.Seconds):
		return fmt.Errorf("sweep: fades of %g and %g s do not fit into %g s", p.FadeInS, p.FadeOutS, p.Seconds)
	}
	return nil
}

// rateS is L, the time in which the frequency grows by e.
func (p SweepParams) rateS() float64 { return p.Seconds / math.Log(p.HighHz/p.LowHz) }

// Phase is the sweep's phase in radians, t seconds from its start.
func (p SweepParams) Phase(t float64) float64 {
	l := p.rateS()
	return 2 * math.Pi * p.LowHz * l * math.Expm1(t/l)
}

// HarmonicLeadS is by how much the response of order k precedes the linear
// one after deconvolution: L ln k.
func (p SweepParams) HarmonicLeadS(order int) float64 { return p.rateS() * math.Log(float64(order)) }

// Sweep renders the stimulus: silence, the sweep with its fades, silence.
func Sweep(p SweepParams) ([]float64, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	lead := int(math.Round(p.LeadInS * p.RateHz))
	n := int(math.Round(p.Seconds * p.RateHz))
	x := make([]float64, lead+n+int(math.Round(p.TailS*p.RateHz)))
	level := signal.DBToAmplitude(p.LevelDBFS)
	in, out := int(p.FadeInS*p.RateHz), int(p.FadeOutS*p.RateHz)
	for i := range n {
		gain := level * halfCosine(i, in) * halfCosine(n-1-i, out)
		x[lead+i] = gain * math.Sin(p.Phase(float64(i)/p.RateHz))
	}
	return x, nil
}
