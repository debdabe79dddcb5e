package response

import (
	"fmt"
	"math"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

const (
	peakStandsDB = 3.0
	peakClearDB  = 25.0 // over noise, whose own ripple makes no peak of 3 dB then
	mostPeaks    = 12
)

// Peak is a resonance: a maximum that falls by 3 dB on both sides.
type Peak struct {
	Hz, LevelDB float64
	Q           float64 // frequency over the width between the points 3 dB below
}

// findEdges looks for the -3 dB points from the middle of the band outward:
// the last frequency on each side beyond which all lies below.
func (r *SweepResponse) findEdges() {
	first, last := -1, -1
	for i, v := range r.MagnitudeDB {
		if v >= -3 {
			last = i
			if first < 0 {
				first = i
			}
		}
	}
	if first > 0 {
		r.LowMinus3Hz = crossing(r.Hz, r.MagnitudeDB, first-1)
	}
	if last >= 0 && last+1 < len(r.Hz) {
		r.HighMinus3Hz = crossing(r.Hz, r.MagnitudeDB, last)
	}
}

// crossing interpolates between i and i+1 where the level is -3 dB.
func crossing(hz, level []float64, i int) *float64 {
	t := (-3 - level[i]) / (level[i+1] - level[i])
	at := hz[i] * math.Pow(hz[i+1]/hz[i], t)
	return &at
}

// findPeaks lists the highest resonances by frequency, read at the full
// resolution of the windowed response.
func (r *SweepResponse) findPeaks(l linear) {
	level := func(hz float64) float64 {
		h, _, _ := l.at(hz)
		return 10*math.Log10(math.Max(power(h), math.SmallestNonzeroFloat64)) - r.GainDB
	}
	for i := 1; i+1 < len(r.Hz) && len(r.Peaks) < mostPeaks; i++ {
		m := r.MagnitudeDB
		if m[i] < m[i-1] || m[i] < m[i+1] || !r.stands(i, peakClearDB) {
			continue
		}
		at := top(level, r.Hz[i-1], r.Hz[i+1])
		height := level(at)
		low, high := r.falls(level, at, height, i, -1), r.falls(level, at, height, i, 1)
		if low > 0 && high > 0 {
			r.Peaks = append(r.Peaks, Peak{Hz: at, LevelDB: height, Q: at / (high - low)})
		}
	}
}

// top is where level is highest between low and high, by golden section.
func top(level func(float64) float64, low, high float64) float64 {
	golden := (math.Sqrt(5) - 1) / 2
	for high-low > 1e-6*low {
		a, b := high-golden*(high-low), low+golden*(high-low)
		if level(a) > level(b) {
			high = b
		} else {
			low = a
		}
	}
	return (low + high) / 2
}

// falls is where the level has fallen by 3 dB from the peak in one
// direction; 0 when it rises above the peak before.
func (r *SweepResponse) falls(level func(float64) float64, at, height float64, i, direction int) float64 {
	inner := at
	for j := i + direction; j >= 0 && j < len(r.Hz); j += direction {
		v := level(r.Hz[j])
		if v > height+0.01 {
			return 0
		}
		if v <= height-peakStandsDB {
			return bisect(level, inner, r.Hz[j], height-peakStandsDB)
		}
		inner = r.Hz[j]
	}
	return 0
}

// bisect is where level falls through wanted between in (above) and out.
func bisect(level func(float64) float64, in, out, wanted float64) float64 {
	for range 40 {
		mid := (in + out) / 2
		if level(mid) > wanted {
			in = mid
		} else {
			out = mid
		}
	}
	return (in + out) / 2
}

// Corner is a first-order high-pass, 1/(1 + (fc/f)^2) in power, fitted to the
// low end of the response.
type Corner struct {
	Hz       float64         // 0: none
	Interval *stats.Interval // nil: none
	Reason   string          // why there is none
	BelowHz  float64         // where it must lie below what the sweep shows; 0: not told
}

const (
	cornerStep    = 8    // every eighth point, so that the residuals are independent
	cornerSkip    = 1.3  // times the low end of the band, where its edge still blurs
	cornerMisfit  = 1.1  // times what the points may be off by; a resonance bends more
	cornerLeastDB = 0.5  // of fall at the lowest point
	cornerExactDB = 0.05 // what the response itself may be off by
	skirtHz       = 100.0
	skirtUntold   = 0.1 // of a skirt at the top of the range, that its square law leaves out
)

// cornerTopsHz are how far up the corner is fitted, one after another.
var cornerTopsHz = []float64{400, 200, 100}

// fitCorner fits the corner in decibels over the lowest octaves, fewer of them
// where resonances come in. It says so when the low end does not fall, or does
// not fall like that.
func (r *SweepResponse) fitCorner() {
	for i, topHz := range cornerTopsHz {
		var f, y []float64
		variance := 0.0
		for k := 0; k < len(r.Hz) && r.Hz[k] < topHz; k += cornerStep {
			if r.Hz[k] > cornerSkip*r.Hz[0] && r.stands(k, clearDB) {
				f, y = append(f, r.Hz[k]), append(y, r.MagnitudeDB[k])
				variance += r.noiseVariance(k)
			}
		}
		exactDB := math.Sqrt(cornerExactDB*cornerExactDB + variance/float64(max(1, len(f))))
		if c := cornerOf(f, y, exactDB); i == 0 || c.Interval != nil || c.BelowHz > 0 {
			r.Corner = c
		}
		if r.Corner.Reason != notFirstOrder {
			return
		}
	}
}

// noiseVariance is that of the level at point k, in decibels squared.
func (r *SweepResponse) noiseVariance(k int) float64 {
	if r.SNRDB == nil {
		return 0
	}
	return 50 / (math.Ln10 * math.Ln10) * signal.DBToPower(-r.SNRDB[k])
}

const notFirstOrder = "the low end does not fall like a first-order corner"

// cornerOf fits gain, corner, and the skirt of resonances above, which far
// below them raises the level by the square of the frequency. exactDB is what
// each point may be off by.
func cornerOf(f, y []float64, exactDB float64) Corner {
	if len(f) < 6 {
		return Corner{Reason: "too little of the low end stands out of the noise"}
	}
	model := stats.Numeric(func(p, res []float64) {
		for i := range f {
			res[i] = y[i] - p[0] + 10*math.Log10(1+math.Pow(math.Exp(p[1])/f[i], 2)) - p[2]*math.Pow(f[i]/skirtHz, 2)
		}
	})
	fit, err := stats.FitCurve(model, len(f), []float64{y[len(y)-1], math.Log(startCorner(f, y)), 0})
	if err != nil {
		return Corner{Reason: notFirstOrder}
	}
	corner := math.Exp(fit.Params[1])
	switch drop := 10 * math.Log10(1+math.Pow(corner/f[0], 2)); {
	case fit.ResidualSD > cornerMisfit*exactDB:
		return Corner{Reason: notFirstOrder}
	case drop < cornerLeastDB:
		below := f[0] * math.Sqrt(math.Expm1(cornerLeastDB*math.Ln10/10))
		return Corner{Reason: fmt.Sprintf("the corner lies below %.2g Hz, lower than the sweep shows", below), BelowHz: below}
	}
	// What errs the same way over the whole range is no chance from point to
	// point: it widens the interval where the fit itself is closer.
	skirtDB := math.Abs(fit.Params[2]) * math.Pow(f[len(f)-1]/skirtHz, 2)
	wider := math.Max(1, math.Max(cornerExactDB, skirtUntold*skirtDB)/fit.ResidualSD)
	half := student95(fit.DF) * fit.SE[1] * wider
	return Corner{Hz: corner, Interval: &stats.Interval{Low: corner * math.Exp(-half), High: corner * math.Exp(half), Coverage: stats.Nominal}}
}

// startCorner is the lowest frequency within 3 dB of the top of the range.
func startCorner(f, y []float64) float64 {
	for i, v := range y {
		if v > y[len(y)-1]-3 {
			return f[i]
		}
	}
	return f[0]
}
