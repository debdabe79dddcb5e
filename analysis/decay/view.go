package decay

import "math"

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
	if v.f.kind != single && v.f.b < 2*v.f.sdOf(atB) && v.f.b < 0.3*v.f.a && 20/math.Ln10*v.f.b*last < steadyDB {
		v.steady = true
		v.floor += math.Exp(v.f.lnB)
	}
	v.beating = v.seesBeats()
	v.m = v.f.model
	v.m.lnA -= 2 * math.Log(e.gain(v.m.a))
	v.m.lnB -= 2 * math.Log(e.gain(v.m.b))
	v.beginS = e.t[top]
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

// mean is the decaying power at t, beats averaged out where there are some.
func (v view) mean(t float64) float64 {
	if v.f.kind == beating && !v.steady && !v.beats() {
		return v.m.signal(t)
	}
	s := math.Exp(v.m.lnA - 2*v.m.a*t)
	if v.f.kind != single && !v.steady {
		s += math.Exp(v.m.lnB - 2*v.m.b*t)
	}
	return s
}

// place finds the evaluation range in time, and its points.
func (v *view) place(top int) {
	t := v.e.t
	last := t[len(t)-1] + v.e.lengthS/2
	v.fromS, v.toS = last, last
	const steps = 2000
	for i := range steps + 1 {
		at := v.beginS + (last-v.beginS)*float64(i)/steps
		level := dB(v.mean(at) / v.start)
		if level <= rangeTopDB && v.fromS == last {
			v.fromS = at
		}
		if level < v.bottom {
			v.toS = at
			break
		}
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
