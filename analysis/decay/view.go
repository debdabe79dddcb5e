package decay

import (
	"math"
	"math/cmplx"
)

// view is a fitted envelope with the range in which it is judged.
type view struct {
	e       envelope
	f       fitted
	m       model   // f before the filter, which lowers what decays fast
	start   float64 // power the range counts from
	liftDB  float64 // what the filter took from the start
	floor   float64 // noise, and whatever does not decay
	rangeDB float64
	endDB   float64 // level reached at the end of the record, re start
	lo, hi  int     // points of the range
	beginS  float64 // time of the start
	fromS   float64 // the range in time
	toS     float64
	bottom  float64 // its lower end, dB re start
	steady  bool    // the second component does not decay: part of the floor
	beating bool    // beats are seen: see seesBeats
	rises   bool    // the level rises for longer than the filter looks
}

// top is the loudest point; the first, unless another is clearly louder.
func (e envelope) top() int {
	p := smooth(e.p, 3)
	if k := argmax(p); p[0] < 0.8*p[k] {
		return k
	}
	return 0
}

func (e envelope) viewOf(f fitted, top int) view {
	v := view{e: e, f: f, floor: f.noise() + e.humLeft}
	v.orderComponents(e.t[top])
	last := e.t[len(e.t)-1] + e.lengthS/2
	if v.steady = v.secondIsSteady(last); v.steady {
		v.floor += math.Exp(v.f.lnB)
	}
	v.beating = v.seesBeats()
	v.m = e.unfiltered(v.f.model)
	v.beginS, v.rises = e.t[top], e.t[top]-e.t[0] > e.lengthS
	if top == 0 {
		v.beginS = 0
	}
	v.start = max(v.mean(v.beginS), 1e-30)
	v.liftDB = dB(v.m.signal(e.t[top]) / max(v.f.signal(e.t[top]), 1e-30))
	v.endDB = dB(v.mean(last) / v.start)
	v.rangeDB = dB(v.start / v.floor)
	v.rangeDB = min(v.rangeDB, max(-v.endDB, 0))
	v.bottom = rangeBottomDB
	if v.endDB > rangeBottomDB {
		v.bottom = v.endDB
	}
	v.place(top)
	return v
}

// secondIsSteady tells whether the second component is a hum: it does not
// decay, and goes round at least once beside the note.
func (v view) secondIsSteady(last float64) bool {
	f := v.f
	if f.kind == single || f.kind == beating && math.Abs(f.d)*last < 2*math.Pi {
		return false
	}
	return f.b < 2*f.sdOf(atB) && f.b < 0.3*f.a && 20/math.Ln10*f.b*last < steadyDB
}

// unfiltered is m before the filter.
func (e envelope) unfiltered(m model) model {
	m.lnA -= 2 * math.Log(cmplx.Abs(e.gain(m.a, 0)))
	if m.kind != single {
		g := e.gain(m.b, m.d)
		m.lnB -= 2 * math.Log(cmplx.Abs(g))
		m.phi -= cmplx.Phase(g)
	}
	return m
}

// orderComponents makes A the component that is stronger at time t.
func (v *view) orderComponents(t float64) {
	if v.f.kind == single || v.f.lnA-2*v.f.a*t >= v.f.lnB-2*v.f.b*t {
		return
	}
	m := &v.f.model
	m.lnA, m.lnB, m.a, m.b = m.lnB, m.lnA, m.b, m.a
	order := [mostParams]int{atLnB, atB, atLnN, atLnA, atA, atD, atPhi}
	was := v.f.cov
	for i, from := range order {
		for j, and := range order {
			v.f.cov[i][j] = was[from][and]
		}
	}
}

func (v view) beats() bool { return v.beating }

// seesBeats tells whether enough beats are seen above the noise to be known as
// such. A slower one cannot be told from a decay in two stages.
func (v view) seesBeats() bool {
	if v.f.kind != beating || v.steady {
		return false
	}
	seen, noise := v.e.t[0], v.f.noise()
	for _, t := range v.e.t {
		if math.Exp(v.f.lnB-2*v.f.b*t) > noise {
			seen = t
		}
	}
	return math.Abs(v.f.d)/(2*math.Pi)*(seen-v.e.t[0]) >= leastBeats
}

// averaged is the decay that the range is counted on: without a hum, and
// beats averaged out where some are seen.
func (v view) averaged() model {
	switch {
	case v.steady:
		m := v.m
		m.kind = single
		return m
	case v.beats():
		return v.m.withoutBeats()
	}
	return v.m
}

// mean is the decaying power at t.
func (v view) mean(t float64) float64 { return v.averaged().signal(t) }

// place finds the evaluation range in time, and its points.
func (v *view) place(top int) {
	t := v.e.t
	last := t[len(t)-1] + v.e.lengthS/2
	v.fromS, v.toS = last, last
	const steps = 1000
	step := (last - v.beginS) / steps
	upper, lower := v.start*math.Pow(10, rangeTopDB/10), v.start*math.Pow(10, v.bottom/10)
	w := v.averaged().walk(v.beginS, step)
	for i := range steps + 1 {
		at, p := v.beginS+step*float64(i), w.power()
		if p <= upper && v.fromS == last {
			v.fromS = at
		}
		if p < lower {
			v.toS = at
			break
		}
		w.next()
	}
	for v.lo = top; v.lo < len(t) && t[v.lo] < v.fromS; v.lo++ {
	}
	for v.hi = v.lo; v.hi < len(t) && t[v.hi] <= v.toS; v.hi++ {
	}
}

// straying is the scatter of the power about the fit that the noise does not
// explain, dB.
func (v view) straying() float64 {
	n, sum := 0.0, 0.0
	noise := v.f.noise()
	for k := v.lo; k < v.hi; k++ {
		m := v.f.signal(v.e.t[k])
		if m < clearOfNoise*noise {
			continue
		}
		r, share := (v.e.p[k]-m-noise)/m, noise/m
		sum += r*r - (2*share+share*share)/v.e.free
		n++
	}
	return 10 / math.Ln10 * math.Sqrt(max(0, sum/max(n, 1)))
}

// returnDB is how far the level rises again after it has left the range.
func (v view) returnDB() float64 {
	p := smooth(v.e.p, 5)
	if v.hi >= len(p) {
		return 0
	}
	loudest := p[v.hi:][argmax(p[v.hi:])]
	return dB((loudest-v.floor-3*v.f.noise())/v.start) - v.bottom
}
