package event

import (
	"fmt"
	"math"

	"saddlewise/analysis/signal"
)

// Times around a coarse rise.
const (
	priorS    = 0.25   // background is fitted to at most this much before
	clearS    = 0.06   // what an event's contact disturbs for sure
	keepS     = 0.05   // of that is shown
	guardS    = 0.006  // a rise may be seen this much late
	tapPeakS  = 0.004  // a tap's first lobes
	pluckS    = 0.012  // a release, finger included
	smoothS   = 6e-5   // shorter than any contact's rise
	quietRunS = 2.5e-4 // a lobe's zero crossing is shorter
	lobeS     = 1e-4   // a lobe is longer
	touchS    = 0.004  // where the motion of a settling finger is seen
)

// view is a stretch of the take with its background taken away.
type view struct {
	scratch *scratch
	first   int64     // index of r[0] in the take
	r       []float64 // residual, smoothed
	raw     []float64 // residual
	sd      float64   // of r before the event
	rawSD   float64   // of raw before the event
	rateHz  float64
	bg      background
	means   []float64 // of the samples before r[0] as well, d each; nil where bg was known
	from    int64     // first sample of the means
	d       int
}

// look reads [prior, to) and takes away the background fitted to [prior,
// guard), or known if there is such.
func look(s *scratch, src signal.Source, known *background, prior, guard, to int64) (view, error) {
	rate := src.Rate()
	reach, keep := int64(priorS*rate), int64(keepS*rate)
	if known != nil {
		reach = keep
	}
	prior = max(0, prior, guard-reach)
	x, err := signal.Segment(src, prior, max(to, guard)-prior)
	if err != nil {
		return view{}, fmt.Errorf("read samples from %d: %w", prior, err)
	}
	pre := x[:max(0, min(int64(len(x)), guard-prior))]
	shown := max(0, int64(len(pre))-keep)
	v := view{scratch: s, rateHz: rate, first: prior + shown, raw: s.copied(x[shown:]), d: thinning(rate)}
	if known == nil {
		off := len(pre) % v.d
		v.means, v.from = s.averaged(x[off:], v.d), prior+int64(off)
		v.bg = s.fitBackground(pre, v.means[:len(pre)/v.d], v.d, prior+int64(len(pre)))
	} else {
		v.bg = *known
	}
	v.bg.subtract(v.raw, v.first, 1)
	v.r = s.boxcar(v.raw, int(math.Round(smoothS*rate)))
	before := len(pre) - int(shown)
	v.sd, v.rawSD = rms(v.r[:before]), rms(v.raw[:before])
	return v, nil
}

// upTo is the background fitted to what comes before sample to or about; nil where
// that is too little to have lines.
func (v view) upTo(to int64) *background {
	k := int((to - v.from + int64(v.d/2)) / int64(v.d))
	if k < leastForLines || len(v.means) < k {
		return nil
	}
	y := v.means[max(0, k-v.samples(priorS)/v.d):k]
	bg := v.bg.renewed(v.scratch, y, v.d, v.from+int64(k*v.d))
	return &bg
}

func (v view) index(sample int64) int { return int(max(0, min(int64(len(v.r)), sample-v.first))) }

func (v view) samples(seconds float64) int { return int(math.Round(seconds * v.rateHz)) }

// onset is where the motion begins and how sure that is, in samples.
type onset struct {
	at, sd float64
	found  bool
}

// refine places the onset of a rise seen at sample seen, and gives the view
// it was placed in, which reaches far enough to know a click.
func refine(s *scratch, src signal.Source, kind Kind, prior, seen int64) (onset, view, error) {
	rate := src.Rate()
	ahead := tapPeakS
	if kind == Pluck {
		ahead = pluckS
	}
	guard := seen - int64(guardS*rate)
	to := seen + int64((ahead+clickSeenS)*rate)
	var o onset
	var v view
	for range 2 {
		var err error
		if v, err = look(s, src, nil, prior, guard, to); err != nil {
			return onset{}, view{}, err
		}
		o = v.firstRise(v.index(seen-int64(guardS*rate)), v.index(seen+int64(ahead*rate)))
		if !o.found || int64(o.at) > guard+int64(0.0005*rate) {
			break
		}
		guard = int64(o.at) - int64(0.001*rate) // the fit had begun to include the event
	}
	return o, v, nil
}

// firstRise looks for the first strong motion within [from, to) and follows it
// back to where it leaves the background.
func (v view) firstRise(from, to int) onset {
	peak := 0.0
	for _, y := range v.r[from:to] {
		peak = max(peak, math.Abs(y))
	}
	strong := from
	for strong < to && math.Abs(v.r[strong]) < 0.3*peak {
		strong++
	}
	if strong >= to || peak == 0 {
		return onset{}
	}
	y := v.r
	begin := v.follow(y, strong, max(4*v.sd, 0.1*peak), 0)
	floor := 0
	if base, moved := v.touch(begin); moved {
		y = v.scratch.copied(y)
		floor = max(0, begin-v.samples(0.001))
		for i := floor; i < len(y); i++ {
			y[i] -= base
		}
	}
	threshold := max(4*v.sd, 0.02*peak)
	begin = v.follow(y, begin, threshold, floor)
	return v.extrapolate(y, begin, threshold)
}

// follow walks back from i to the first sample of the motion: the one before
// which a whole run stays below threshold, but for spikes of noise shorter than
// any lobe.
func (v view) follow(y []float64, i int, threshold float64, floor int) int {
	lobe := max(1, v.samples(lobeS))
	run := max(2, v.samples(quietRunS)) + lobe
	begin, above := i, 0
	for j := i; j >= floor && begin-j <= run; j-- {
		if math.Abs(y[j]) < threshold || j < i && y[j]*y[j+1] < 0 {
			above = 0
		}
		if math.Abs(y[j]) >= threshold {
			above++
		}
		if above >= lobe {
			begin = j
		}
	}
	return begin
}

// touch tells whether a slow motion, such as a settling finger, goes on until
// just before begin, and its height there. One no larger than the noise counts:
// a rise that is fitted from a wrong foot begins too early.
func (v view) touch(begin int) (float64, bool) {
	from, to := begin-v.samples(touchS), begin-v.samples(0.001)
	if from < 0 || to-from < 4 {
		return 0, false
	}
	seg, last := v.r[from:to], v.r[to:begin-v.samples(0.0005)]
	if math.Abs(mean(seg)) < v.sd {
		return 0, false
	}
	height := mean(seg[len(seg)*2/3:])
	return height, mean(last)*height >= height*height/2
}

// extrapolate fits a(t-t0)^p, p in {1, 3/2, 2, 3}, to the rise from threshold
// to a part of the first lobe's height, and takes the t0 of the best p.
func (v view) extrapolate(y []float64, begin int, threshold float64) onset {
	sign := 1.0
	if y[begin] < 0 {
		sign = -1
	}
	top := begin
	for i := begin; i < len(y) && y[i]*sign > 0 && i-begin < v.samples(0.004); i++ {
		if y[i]*sign > y[top]*sign {
			top = i
		}
		if y[i]*sign < 0.8*y[top]*sign {
			break
		}
	}
	end := begin
	// As low as noise allows: further up, no contact follows a power.
	height := y[top] * sign
	upper := max(min(0.6*height, max(0.2*height, 3*threshold)), 1.5*threshold)
	for end < top && y[end]*sign < upper {
		end++
	}
	if end-begin < 3 {
		return v.byLine(y, begin, sign)
	}
	best := onset{at: float64(v.first) + float64(begin), sd: float64(end-begin) / 4, found: true}
	least := math.Inf(1)
	var lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range []float64{1, 1.5, 2, 3} {
		t0, sd, misfit := fitPower(y[begin:end+1], sign, p, v.sd)
		if math.IsNaN(t0) {
			continue
		}
		t0 = max(t0, -float64(v.samples(0.0008)))
		if misfit < 1.5*least {
			lo, hi = min(lo, t0), max(hi, t0)
		}
		if misfit < least {
			least = misfit
			best = onset{at: float64(v.first) + float64(begin) + t0, sd: sd, found: true}
		}
	}
	best.sd = math.Sqrt(best.sd*best.sd + 0.25 + (hi-lo)*(hi-lo)/16)
	return best
}

// byLine serves rises of a sample or two: the straight line back to zero. If
// what follows within a millisecond is far larger, the rise was no more than a
// first stir, and the onset is as uncertain as that.
func (v view) byLine(y []float64, begin int, sign float64) onset {
	at, sd := float64(begin), 1.0
	if begin+1 < len(y) && begin > 0 {
		up := (y[begin] - y[begin-1]) * sign
		if up > 0 {
			at -= min(1, max(0, y[begin]*sign/up))
		}
	}
	soon := peakOf(y[begin:min(len(y), begin+v.samples(0.001)+1)])
	if peakOf(y[begin:min(len(y), begin+3)]) < 0.5*soon {
		sd = max(sd, float64(v.samples(quietRunS)))
	}
	return onset{at: float64(v.first) + at, sd: sd, found: true}
}

// fitPower is the weighted straight-line fit of y^(1/p) against time, its
// crossing of zero, that crossing's standard error, and the misfit of
// a(t-t0)^p in noise variances per sample.
func fitPower(y []float64, sign, p, sd float64) (t0, se, misfit float64) {
	var sw, st, sz, stt, stz float64
	for i, v := range y {
		h := v * sign
		if h <= 0 {
			continue
		}
		z := math.Pow(h, 1/p)
		w := math.Pow(h, 2-2/p) // 1/variance of z, up to a constant
		t := float64(i)
		sw, st, sz, stt, stz = sw+w, st+w*t, sz+w*z, stt+w*t*t, stz+w*t*z
	}
	den := sw*stt - st*st
	if den <= 0 {
		return math.NaN(), 0, 0
	}
	slope := (sw*stz - st*sz) / den
	if slope <= 0 {
		return math.NaN(), 0, 0
	}
	t0 = (st - sz/slope) / sw
	a := math.Pow(slope, p)
	for i, v := range y {
		e := v*sign - a*math.Pow(max(0, float64(i)-t0), p)
		misfit += e * e
	}
	misfit = misfit/float64(len(y)) + sd*sd*1e-3
	se = math.Sqrt(sd*sd/p/p*sw/den) / slope * math.Abs(t0-st/sw)
	return t0, se, misfit
}
