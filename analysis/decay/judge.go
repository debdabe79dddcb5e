package decay

import (
	"fmt"
	"math"
)

// Judgement limits; common practice, no source.
const (
	deepBeatDB     = 6.0  // beats deeper than this leave a range, not one number
	leastBeats     = 0.5  // beats inside the range that make them beats
	stageRatio     = 1.5  // late over early T60 that makes two stages
	lateRangeDB    = 6.0  // of late decay that must be seen
	lateCertainty  = 0.25 // relative standard error of the late decay at most
	neededRangeDB  = -rangeBottomDB
	longestT60S    = 60.0
	shortestPoints = 8
)

// judge turns the envelope into the numbers.
func judge(e envelope) Decay {
	var d Decay
	e, d.DampedAtS = e.beforeDamping()
	top := argmax(smooth(e.p, 3))
	if len(e.t)-top < shortestPoints {
		d.NotEnoughRange, d.Reason = true, "the note is over before its decay can be followed"
		return d
	}
	pr := e.noisePrior()
	f := e.bestModel(top, pr)
	v := e.viewOf(f, top)
	d.Envelope = e.curve()
	d.StartDBFS, d.RangeDB = dB(v.start)-v.liftDB, v.rangeDB
	if d.Reason = v.reason(d.DampedAtS); d.Reason != "" {
		d.NotEnoughRange = true
		return d
	}
	v.measure(&d)
	return d
}

// view is a fitted envelope with the range in which it is judged.
type view struct {
	e       envelope
	f       fitted
	start   float64 // power the range counts from, noise taken off
	liftDB  float64 // what the filter took from the start
	floor   float64 // noise, and whatever does not decay
	rangeDB float64
	endDB   float64 // level reached at the end of the record, re start
	lo, hi  int     // points of the range
	bottom  float64 // its lower end, dB re start
	steady  bool    // the second component does not decay: part of the floor
}

func (e envelope) viewOf(f fitted, top int) view {
	v := view{e: e, f: f, floor: f.noise() + e.humLeft}
	v.orderComponents(e.t[top])
	if v.f.kind != single && v.f.b < 2*v.f.sdOf(4) && v.f.b < 0.3*v.f.a {
		v.steady = true
		v.floor += math.Exp(v.f.lnB)
	}
	v.start = max(smooth(e.p, 3)[top]-v.floor, 1e-30)
	if v.f.a > 0 {
		v.liftDB = dB(e.gain(v.f.a) * e.gain(v.f.a))
	}
	last := e.t[len(e.t)-1]
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
	if v.f.cov == nil {
		return
	}
	c := v.f.cov
	for i := range c.SymmetricDim() {
		for _, pair := range [][2]int{{0, 3}, {1, 4}} {
			if i != pair[0] && i != pair[1] {
				x, y := c.At(i, pair[0]), c.At(i, pair[1])
				c.SetSym(i, pair[0], y)
				c.SetSym(i, pair[1], x)
			}
		}
	}
	for _, pair := range [][2]int{{0, 3}, {1, 4}} {
		x, y := c.At(pair[0], pair[0]), c.At(pair[1], pair[1])
		c.SetSym(pair[0], pair[0], y)
		c.SetSym(pair[1], pair[1], x)
	}
}

// mean is the decaying power at t without the beats.
func (v view) mean(t float64) float64 {
	s := math.Exp(v.f.lnA - 2*v.f.a*t)
	if v.f.kind != single && !v.steady {
		s += math.Exp(v.f.lnB - 2*v.f.b*t)
	}
	return s
}

// place finds the points of the evaluation range.
func (v *view) place(top int) {
	v.lo, v.hi = len(v.e.t), len(v.e.t)
	for k := top; k < len(v.e.t); k++ {
		level := dB(v.mean(v.e.t[k]) / v.start)
		if level <= rangeTopDB && v.lo == len(v.e.t) {
			v.lo = k
		}
		if level < v.bottom {
			v.hi = k
			break
		}
	}
}

// reason says why there is no T60, if so.
func (v view) reason(dampedAtS float64) string {
	end := "the recording ends"
	if dampedAtS > 0 {
		end = "the note is stopped"
	}
	noise := dB(v.start / v.floor)
	switch {
	case noise < neededRangeDB:
		return fmt.Sprintf("noise leaves %.0f dB; %.0f dB are needed", max(noise, 0), neededRangeDB)
	case v.f.a <= 0 || v.bottom > rangeTopDB-minUsableDB:
		return fmt.Sprintf("%s after %.0f dB of decay; at least %.0f dB are needed", end, max(-v.endDB, 0), minUsableDB-rangeTopDB)
	case v.hi-v.lo < 4:
		return "the decay is faster than the band around the partial can follow"
	}
	return ""
}

// measure fills in what the range says.
func (v view) measure(d *Decay) {
	e := v.e
	d.FitFromS, d.FitToS, d.FitToDB = e.t[v.lo], e.t[v.hi-1], v.bottom
	v.describeBeats(d)
	v.describeStages(d)
	line := v.lineFit()
	d.T60Seconds, d.T60Low, d.T60High = line[0], line[1], line[2]
	if v.bottom > rangeBottomDB {
		d.Reason = fmt.Sprintf("from %.0f dB of decay only: the record ends there", -v.bottom)
	}
	if d.Beating && d.BeatDepthDB >= deepBeatDB && !v.steady {
		d.T60RangeSeconds = v.supported(line)
		d.T60Seconds, d.T60Low, d.T60High = 0, 0, 0
		d.Reason = fmt.Sprintf("two vibrations beat %.0f dB deep: the decay supports a range only", d.BeatDepthDB)
	}
	d.Fit, d.FitRMSdB = v.fitCurve()
}

// lineFit is T60 with its interval: the decay rate of a single decay, else
// the regression line through the noise-free model over the range.
func (v view) lineFit() [3]float64 {
	noise := math.Log(v.f.noise())
	m := model{lnA: math.Log(max(v.mean(v.e.t[v.lo]), 1e-300)) + 2*v.f.a*v.e.t[v.lo], a: v.f.a, lnN: noise}
	sdN := min(max(v.f.sdOf(2), 0.02), 1)
	rate, sd := 0.0, 0.0
	if v.f.kind == single {
		g := v.e.fit(m, v.lo, v.hi, prior{noise, sdN})
		rate, sd = g.a, g.sdOf(1)
		// The whole decay says the same of a truly single one, and says it better.
		if s := v.f.sdOf(1); s < sd && math.Abs(rate-v.f.a) < 2*sd {
			rate, sd = v.f.a, s
		}
	} else {
		rate = -v.slope() / 2
		sd = v.slopeSD()
	}
	rate = max(rate, ln1000/longestT60S/4)
	t := student(v.f.looks - float64(len(v.f.params())))
	rel := min(t*sd/rate, 0.95)
	t60 := ln1000 / rate
	return [3]float64{t60, t60 / (1 + rel), t60 / (1 - rel)}
}

// slope is the regression slope of the log model power over the range, 1/s.
func (v view) slope() float64 {
	var n, st, sy, stt, sty float64
	for k := v.lo; k < v.hi; k++ {
		t, y := v.e.t[k], math.Log(v.mean(v.e.t[k]))
		n, st, sy, stt, sty = n+1, st+t, sy+y, stt+t*t, sty+t*y
	}
	return (n*sty - st*sy) / (n*stt - st*st)
}

// slopeSD carries the parameters' covariance to the slope by differences.
func (v view) slopeSD() float64 {
	if v.f.cov == nil {
		return math.Abs(v.slope())
	}
	n := len(v.f.params())
	g := make([]float64, n)
	base := v.slope()
	for i := range n {
		h := 1e-4 * max(v.f.sdOf(i), 1e-6)
		w := v
		*w.f.params()[i] += h
		g[i] = (w.slope() - base) / h / 2
	}
	s := 0.0
	for i := range n {
		for j := range n {
			s += g[i] * g[j] * v.f.cov.At(i, j)
		}
	}
	return math.Sqrt(max(s, 0))
}

func (v view) describeBeats(d *Decay) {
	if v.f.kind != beating || v.steady {
		return
	}
	hz := math.Abs(v.f.d) / (2 * math.Pi)
	if hz*(d.FitToS-d.FitFromS) < leastBeats {
		return
	}
	for k := v.lo; k < v.hi; k++ {
		r := math.Exp(-math.Abs(v.f.lnA-v.f.lnB-2*(v.f.a-v.f.b)*v.e.t[k]) / 2)
		d.BeatDepthDB = max(d.BeatDepthDB, 20*math.Log10((1+r)/(1-min(r, 0.98))))
	}
	d.Beating, d.BeatHz = d.BeatDepthDB > 1, hz
	if !d.Beating {
		d.BeatHz, d.BeatDepthDB = 0, 0
	}
}

func (v view) describeStages(d *Decay) {
	if v.f.kind == single || v.steady || d.BeatDepthDB >= deepBeatDB || !(v.f.b > 0) || v.f.a < stageRatio*v.f.b {
		return
	}
	m := v.f.model
	knee := (m.lnA - m.lnB) / (2 * (m.a - m.b))
	level := dB(v.mean(knee) / v.start)
	last := max(dB(v.floor/v.start), v.endDB)
	if knee < v.e.t[0] || level-last < lateRangeDB || v.f.sdOf(4) > lateCertainty*m.b {
		return
	}
	d.TwoStage, d.KneeS, d.KneeDB = true, knee, level
	d.EarlyT60Seconds, d.LateT60Seconds = ln1000/m.a, ln1000/m.b
	rel := min(student(v.f.looks-5)*v.f.sdOf(4)/m.b, 0.95)
	d.LateT60Low, d.LateT60High = d.LateT60Seconds/(1+rel), d.LateT60Seconds/(1-rel)
}

// supported is the range of T60 that a deeply beating decay allows: that of
// each vibration and of both together, with their intervals.
func (v view) supported(line [3]float64) [2]float64 {
	lo, hi := line[1], line[2]
	for i, rate := range []float64{v.f.a, v.f.b} {
		sd := v.f.sdOf([]int{1, 4}[i])
		lo = min(lo, ln1000/max(rate+2*sd, ln1000/longestT60S))
		hi = max(hi, ln1000/max(rate-2*sd, ln1000/longestT60S))
	}
	return [2]float64{lo, hi}
}

// fitCurve is the model over the range and the envelope's scatter about it.
func (v view) fitCurve() ([]Point, float64) {
	var out []Point
	sum, n := 0.0, 0
	for k := v.lo; k < v.hi; k++ {
		m := v.f.signal(v.e.t[k])
		out = append(out, Point{v.e.t[k], dB(m) - v.liftDB})
		if p := v.e.p[k] - v.f.noise(); p > v.f.noise() && m > 0 {
			r := dB(p / m)
			sum += r * r
			n++
		}
	}
	return out, math.Sqrt(sum / float64(max(n, 1)))
}

func (e envelope) curve() []Point {
	out := make([]Point, len(e.t))
	for k := range e.t {
		out[k] = Point{e.t[k], dB(max(e.p[k], 1e-20))}
	}
	return out
}

func dB(power float64) float64 { return 10 * math.Log10(max(power, 1e-30)) }

// student is the 97.5 % point of Student's distribution, Cornish-Fisher
// series (Abramowitz & Stegun 26.7.5).
func student(dof float64) float64 {
	const z = 1.959963985
	n := max(dof, 2)
	return z + (z*z*z+z)/(4*n) + (5*math.Pow(z, 5)+16*z*z*z+3*z)/(96*n*n)
}
