package tone

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"saddlewise/analysis/signal"
)

// Where a tone of unknown pitch is looked for, and how far it must stand out.
const (
	lowestHz     = 80.0
	highestHz    = 5000.0
	peakDB       = 15.0
	frameSeconds = 0.15
)

// average is the mean power spectrum of a take.
type average struct {
	power []float64
	binHz float64
}

// averageSpectrum looks at every fourth frame of a long take: a tone lasts longer.
func averageSpectrum(ctx context.Context, src signal.Source) (average, error) {
	size := 1 << int(math.Ceil(math.Log2(frameSeconds*src.Rate())))
	a := average{power: make([]float64, size/2+1), binHz: src.Rate() / float64(size)}
	buf := make([]float64, size)
	hop := int64(size)
	if src.Len() > 20*hop {
		hop *= 4
	}
	for at := int64(0); at+int64(size)/4 < src.Len(); at += hop {
		if err := ctx.Err(); err != nil {
			return a, err
		}
		n, err := src.ReadAt(buf, at)
		if err != nil && err != io.EOF {
			return a, err
		}
		clear(buf[n:])
		for k, v := range signal.HannPower(buf) {
			a.power[k] += v
		}
	}
	return a, nil
}

// peak is a line of the mean spectrum.
type peak struct{ hz, power float64 }

// find is the tone's frequency, good to a fraction of a bin.
func find(ctx context.Context, src signal.Source, o Options) (float64, error) {
	a, err := averageSpectrum(ctx, src)
	if err != nil {
		return 0, err
	}
	peaks := a.peaks(o)
	if len(peaks) == 0 {
		return 0, fmt.Errorf("%w: no frequency stands out by %.0f dB", ErrNoTone, peakDB)
	}
	best := peaks[0]
	if o.NominalHz > 0 {
		for _, p := range peaks {
			if math.Abs(p.hz/o.NominalHz-1) < 0.03 && p.power > 1e-4*best.power {
				return p.hz, nil
			}
		}
	}
	return lowestOfFamily(peaks), nil
}

// lowestOfFamily is the strongest line's fundamental: a stem also moves at
// twice the fork's frequency, and right after the blow the clang may be louder.
func lowestOfFamily(peaks []peak) float64 {
	top := peaks[0]
	best := top
	for _, p := range peaks[1:] {
		ratio := top.hz / p.hz
		whole := math.Round(ratio)
		family := (whole >= 2 && whole <= 5 && math.Abs(ratio/whole-1) < 0.003) || (ratio > 5.8 && ratio < 6.6)
		if family && p.power > 1e-3*top.power && p.hz < best.hz {
			best = p
		}
	}
	return best.hz
}

// peaks lists the lines that stand out, strongest first, mains hum left out.
func (a average) peaks(o Options) []peak {
	const near, far = 6, 30
	low := lowestHz
	if o.NominalHz > 0 {
		low = min(low, 0.9*o.NominalHz)
	}
	var out []peak
	for k := max(near+1, int(low/a.binHz)); k < len(a.power)-far-1; k++ {
		p := a.power[k]
		if p <= a.power[k-1] || p < a.power[k+1] || (float64(k)*a.binHz > highestHz && o.NominalHz == 0) {
			continue
		}
		if p <= 0 || p < math.Pow(10, peakDB/10)*a.around(k, near, far) {
			continue
		}
		hz := a.interpolate(k)
		if !a.isHum(hz, p, o) {
			out = append(out, peak{hz, p})
		}
	}
	slices.SortFunc(out, func(x, y peak) int { return int(math.Copysign(1, y.power-x.power)) })
	return out[:min(len(out), 40)]
}

// around is the mean power near to far bins from bin k, on both sides as far
// as there are any; what reaches a tenth of k's own counts as that.
func (a average) around(k, near, far int) float64 {
	sum, n := 0.0, 0
	for j := near; j <= far; j++ {
		sum += min(a.power[k+j], 0.1*a.power[k])
		n++
		if k-j > 0 {
			sum += min(a.power[k-j], 0.1*a.power[k])
			n++
		}
	}
	return sum / float64(n)
}

func (a average) interpolate(k int) float64 {
	l, m, r := math.Log(a.power[k-1]+1e-300), math.Log(a.power[k]), math.Log(a.power[k+1]+1e-300)
	return (float64(k) + 0.5*(l-r)/(l-2*m+r)) * a.binHz
}

// isHum tells a mains harmonic by its neighbours in the row of harmonics.
func (a average) isHum(hz, power float64, o Options) bool {
	if o.NominalHz > 0 && math.Abs(hz/o.NominalHz-1) < 0.01 {
		return false
	}
	mains := []float64{50, 60}
	if o.MainsHz > 0 {
		mains = []float64{o.MainsHz}
	}
	for _, m := range mains {
		order := math.Round(hz / m)
		if order < 1 || math.Abs(hz-order*m) > max(0.006*hz, 0.3*a.binHz) {
			continue
		}
		for _, step := range []float64{-2, -1, 1, 2} {
			k := int(math.Round((order + step) * m / a.binHz))
			if order+step >= 1 && k+1 < len(a.power) && max(a.power[k-1], a.power[k], a.power[k+1]) > 0.02*power {
				return true
			}
		}
	}
	return false
}
