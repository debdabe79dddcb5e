package decay

import "math"

// opinion is what one model makes of ln T60, and how far it is believed.
type opinion struct {
	lnT60, sd float64
	badness   float64
}

// lineAcross is T60 with its 95 % interval, averaged over the models that
// explain the envelope, each with its own standard error and weighed by its
// information criterion (Buckland, Burnham & Augustin, Biometrics 53,
// 603-618, 1997). Where the record ends early T60 is that of what was heard,
// and the interval holds also the line to the foot of the evaluation range
// that the models imply.
func (v view) lineAcross(models []fitted, top int, looks float64) [3]float64 {
	var heard, implied []opinion
	straight := v.straight()
	for i, f := range models {
		w := v
		if i > 0 {
			w = v.e.viewOf(f, top)
		}
		if w.hi-w.lo < 4 || w.bottom > rangeTopDB-minUsableDB {
			continue
		}
		o := w.opinion(looks, w.bottom)
		if w.f.kind == single {
			straight.badness = o.badness + outsideCounts
			if !v.e.explainedBy(w.f) {
				straight.badness = o.badness - outsideCounts
			}
			heard = append(heard, straight)
		} else {
			o.sd = min(o.sd, straight.sd)
		}
		heard = append(heard, o)
		if w.bottom > rangeBottomDB {
			implied = append(implied, w.opinion(looks, rangeBottomDB))
		}
	}
	mid, lo, hi := quantile(heard, 0.5), quantile(heard, 0.025), quantile(heard, 0.975)
	if len(implied) > 0 {
		lo, hi = min(lo, quantile(implied, 0.025)), max(hi, quantile(implied, 0.975))
	}
	return [3]float64{math.Exp(mid), math.Exp(lo), math.Exp(hi)}
}

// outsideCounts is how much a single decay fitted to the whole record is
// preferred, by the information criterion, to the same over the range alone,
// where a bend too faint to be told shows; and the other way round where the
// whole record is not explained. Common practice, no source.
const outsideCounts = 6.0

// straight is what a straight decay over the range alone makes of T60. A model
// with more freedom than the decay needs knows the line better than its
// parameters: the straight one's error is the upper limit.
func (v view) straight() opinion {
	m := v.f.model
	m.kind = single
	m.lnA = math.Log(max(v.f.signal(v.e.t[v.lo]), 1e-300)) + 2*m.a*v.e.t[v.lo]
	sdN := min(max(v.f.sdOf(atLnN), 0.02), 1)
	f := v.e.fit(m, v.lo, v.hi, prior{lnN: m.lnN, sd: sdN})
	rate := max(f.a, ln1000/longestT60S/4)
	return opinion{lnT60: math.Log(ln1000 / rate), sd: math.Hypot(min(f.sdOf(atA)/rate, 1), leastSD)}
}

// level is the model whose line is T60: without a hum, and without beats that
// are seen to be deep.
func (v view) level() model {
	m := v.m
	switch {
	case v.steady:
		m.kind = single
	case v.beats() && v.beatDepthDB() >= deepBeatDB:
		m = m.withoutBeats()
	}
	return m
}

// opinion is the line through the model's envelope down to a level re the
// start, its standard error carried over from the parameters' by differences.
func (v view) opinion(looks, bottomDB float64) opinion {
	level := v.level()
	o := opinion{lnT60: math.Log(v.lineT60(level, bottomDB)), badness: v.f.badness(looks)}
	var slope [mostParams]float64
	n := v.f.kind.params()
	for i := range n {
		if i == atLnN {
			continue
		}
		m := level
		h := 1e-5 * max(math.Abs(*m.param(i)), 1)
		*m.param(i) += h
		slope[i] = (math.Log(v.lineT60(m, bottomDB)) - o.lnT60) / h
	}
	for i := range n {
		for j := range n {
			o.sd += slope[i] * slope[j] * v.f.cov[i][j]
		}
	}
	o.sd = min(math.Sqrt(max(o.sd, 0)), 1)
	if v.f.kind != single { // few looks are left to tell the scatter
		o.sd *= student(v.f.looks-float64(n)) / student(math.Inf(1))
	}
	o.sd = math.Hypot(o.sd, leastSD)
	if !v.f.known || o.lnT60 >= math.Log(noFallS) {
		o.sd = 1
	}
	return o
}

// quantile of the opinions' mixture of normal distributions.
func quantile(said []opinion, p float64) float64 {
	best, lo, hi := math.Inf(1), math.Inf(1), math.Inf(-1)
	for _, o := range said {
		best, lo, hi = min(best, o.badness), min(lo, o.lnT60-4*o.sd), max(hi, o.lnT60+4*o.sd)
	}
	for range 50 {
		mid := (lo + hi) / 2
		below, sum := 0.0, 0.0
		for _, o := range said {
			w := math.Exp((best - o.badness) / 2)
			sum += w
			below += w * 0.5 * math.Erfc((o.lnT60-mid)/(o.sd*math.Sqrt2))
		}
		if below < p*sum {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// noFallS stands for the T60 of a line that does not fall.
const noFallS = 4 * longestT60S

// lineT60 is T60 of the line through a noise-free model from the top of the
// evaluation range down to a level re the start.
func (v view) lineT60(m model, bottomDB float64) float64 {
	const inRange = 100 // steps of the slower decay
	rate := m.a
	if m.kind != single {
		rate = min(m.a, max(m.b, 0.1*m.a))
	}
	step := (rangeTopDB - rangeBottomDB) * math.Ln10 / 20 / max(rate, ln1000/longestT60S) / inRange
	w := m.walk(v.beginS, step)
	start := math.Log(w.power())
	top, bottom := start+rangeTopDB*math.Ln10/10, start+bottomDB*math.Ln10/10
	var n, st, sy, stt, sty float64
	before := start
	for t := step; t < noFallS; t += step {
		w.next()
		y := math.Log(max(w.power(), 1e-300))
		if y < top {
			share := 1.0
			if before >= top { // the part of the step below the top
				share = (top - y) / (before - y)
			}
			if y < bottom {
				share = min(share, max(0, (before-bottom)/(before-y)))
			}
			at, level := t-step*0.5, (y+before)/2
			n, st, sy, stt, sty = n+share, st+share*at, sy+share*level, stt+share*at*at, sty+share*at*level
		}
		if y < bottom {
			break
		}
		before = y
	}
	fall := (st*sy - n*sty) / (n*stt - st*st)
	if !(fall > 0) {
		return noFallS
	}
	return min(2*ln1000/fall, noFallS)
}
