package decay

import (
	"fmt"
	"math"
)

// Judgement limits; common practice, no source.
const (
	deepBeatDB     = 6.0   // beats deeper than this leave a range, not one number
	leastBeats     = 1.0   // beats above the noise that make them beats
	strayingDB     = 1.5   // scatter about the fit above which it is no decay
	clearOfNoise   = 4.0   // signal over noise power where scatter is judged
	returnDB       = 3.0   // of a level that has left the range: beats
	steadyDB       = 3.0   // decay over the record below which a component is a hum
	cutSeconds     = 0.65  // of a decay that the record cuts short
	cutInterval    = 1.5   // and the widest interval such a one may have
	widestNumber   = 1.5   // upper over lower end of the interval, above which a range is given instead
	widestRange    = 5.0   // above which nothing is told
	leastInterval  = 0.006 // half width, relative: no note decays quite as the models do
	stageRatio     = 1.5   // late over early T60 that makes two stages
	lateRangeDB    = 6.0   // of late decay that must be seen
	lateCertainty  = 0.25  // relative standard error of the late decay at most
	neededRangeDB  = -rangeBottomDB
	longestT60S    = 60.0
	shortestPoints = 8
)

// judge turns the envelope into the numbers.
func judge(e envelope) Decay {
	var d Decay
	e, d.DampedAtS = e.beforeDamping()
	top := e.top()
	if len(e.t)-top < shortestPoints {
		d.NotEnoughRange, d.Reason = true, "the note is over before its decay can be followed"
		return d
	}
	pr := e.noisePrior()
	models := e.models(top, pr)
	v := e.viewOf(models[0], top)
	d.Envelope = e.curve(v.liftDB)
	d.StartDBFS, d.RangeDB = dB(v.start), v.rangeDB
	if d.Reason = v.reason(d.DampedAtS); d.Reason != "" {
		d.NotEnoughRange = true
		return d
	}
	v.measure(&d, v.lineAcross(models, top))
	if d.Reason != "" && d.NotEnoughRange {
		d.T60Seconds, d.T60Low, d.T60High = 0, 0, 0
		d.TwoStage, d.EarlyT60Seconds, d.LateT60Seconds, d.LateT60Low, d.LateT60High, d.KneeS, d.KneeDB = false, 0, 0, 0, 0, 0, 0
	}
	return d
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
func (v view) measure(d *Decay, line [3]float64) {
	d.FitFromS, d.FitToS, d.FitToDB = v.fromS, v.toS, v.bottom
	v.describeBeats(d)
	v.describeStages(d)
	d.T60Seconds, d.T60Low, d.T60High = line[0], line[1], line[2]
	if d.Beating && d.BeatDepthDB >= deepBeatDB && !v.steady {
		d.T60RangeSeconds = v.supported(line)
		d.T60Seconds, d.T60Low, d.T60High = 0, 0, 0
		d.Reason = fmt.Sprintf("two vibrations beat %.0f dB deep: the decay supports a range only", d.BeatDepthDB)
	}
	d.Fit, d.FitRMSdB = v.fitCurve()
	if v.e.broad {
		return
	}
	v.doubt(d, v.lineFit())
}

// doubt takes back what the fit does not bear out.
func (v view) doubt(d *Decay, own [3]float64) {
	deep := d.T60RangeSeconds[1] > 0
	switch {
	case v.straying() > strayingDB && !deep:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the level strays %.1f dB from any smooth decay", v.straying())
	case !deep && d.T60Seconds > longestT60S:
		d.NotEnoughRange, d.Reason = true, "no decay is seen"
	case !v.beats() && v.returnDB() > returnDB:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the level falls and returns by %.0f dB: beats slower than the decay", v.returnDB())
	case !deep && d.T60High > widestRange*d.T60Low:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the decay is too irregular: T60 between %.2g and %.2g s", d.T60Low, d.T60High)
	case deep && d.T60RangeSeconds[1] > widestRange*d.T60RangeSeconds[0]:
		d.T60RangeSeconds = [2]float64{}
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("two vibrations beat %.0f dB deep and leave T60 open", d.BeatDepthDB)
	case !deep && v.bottom > rangeBottomDB && (d.FitToS-d.FitFromS < cutSeconds || own[2] > cutInterval*own[1]):
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the record ends after %.0f dB of decay; 25 dB are needed", -v.bottom)
	case !deep && d.T60High > widestNumber*d.T60Low:
		d.T60RangeSeconds = [2]float64{d.T60Low, d.T60High}
		d.T60Seconds, d.T60Low, d.T60High = 0, 0, 0
		d.Reason = "the decay may be one of two stages or part of a slow beat: it supports a range only"
	case !deep && v.bottom > rangeBottomDB:
		d.Reason = fmt.Sprintf("from %.0f dB of decay only: the record ends there", -v.bottom)
	}
}

// lineFit is T60 with its interval: the decay rate of a single decay, else
// the regression line through the noise-free model over the range.
func (v view) lineFit() [3]float64 {
	noise := math.Log(v.f.noise())
	m := model{lnA: math.Log(max(v.mean(v.e.t[v.lo]), 1e-300)) + 2*v.f.a*v.e.t[v.lo], a: v.f.a, lnN: noise}
	sdN := min(max(v.f.sdOf(atLnN), 0.02), 1)
	g := v.e.fit(m, v.lo, v.hi, prior{noise, sdN})
	rate, sd := g.a, g.sdOf(atA)
	if v.f.kind == single {
		// The whole decay says the same of a truly single one, and says it better.
		if s := v.f.sdOf(atA); s < sd && math.Abs(rate-v.f.a) < 2*sd {
			rate, sd = v.f.a, s
		}
	} else {
		// A model with more freedom than the decay needs knows its slope better
		// than its parameters: the straight fit's scatter is the upper limit.
		rate = -v.slope(v.envelope) / 2
		sd = min(v.slopeSD(), sd)
	}
	rate = max(rate, ln1000/longestT60S/4)
	t := student(v.f.looks - float64(v.f.kind.params()))
	rel := min(t*sd/rate, 0.95)
	t60 := ln1000 / rate
	line := [3]float64{t60, t60 / (1 + rel), t60 / (1 - rel)}
	if v.beats() {
		// Part of a beat tilts the envelope: the line without the beats belongs
		// into the interval.
		without := 2 * ln1000 / max(-v.slope(v.mean), ln1000/longestT60S)
		line[1], line[2] = min(line[1], without), max(line[2], without)
	}
	return line
}

// envelope is the squared envelope at t as it is: with shallow beats, and
// without those so deep that their nulls would rule the line.
func (v view) envelope(t float64) float64 {
	if v.steady || v.beatDepthDB() >= deepBeatDB {
		return v.mean(t)
	}
	return v.m.signal(t)
}

// slope is the regression slope of a log power over the range, 1/s.
func (v view) slope(power func(t float64) float64) float64 {
	var n, st, sy, stt, sty float64
	const steps = 200
	for i := range steps + 1 {
		t := v.fromS + (v.toS-v.fromS)*float64(i)/steps
		y := math.Log(max(power(t), 1e-300))
		n, st, sy, stt, sty = n+1, st+t, sy+y, stt+t*t, sty+t*y
	}
	return (n*sty - st*sy) / (n*stt - st*st)
}

// slopeSD carries the parameters' covariance to the slope by differences.
func (v view) slopeSD() float64 {
	if !v.f.known {
		return math.Abs(v.slope(v.mean))
	}
	n := v.f.kind.params()
	g := make([]float64, n)
	base := v.slope(v.mean)
	for i := range n {
		h := 1e-4 * max(v.f.sdOf(i), 1e-6)
		w := v
		*w.m.param(i) += h
		g[i] = (w.slope(w.mean) - base) / h / 2
	}
	s := 0.0
	for i := range n {
		for j := range n {
			s += g[i] * g[j] * v.f.cov[i][j]
		}
	}
	return math.Sqrt(max(s, 0))
}

func (v view) describeBeats(d *Decay) {
	if !v.beats() {
		return
	}
	hz := math.Abs(v.f.d) / (2 * math.Pi)
	d.BeatDepthDB = v.beatDepthDB()
	d.Beating, d.BeatHz = d.BeatDepthDB > 1, hz
	if !d.Beating {
		d.BeatHz, d.BeatDepthDB = 0, 0
	}
}

// beatDepthDB is the largest over the smallest envelope of one beat, where
// the beats in the range are deepest.
func (v view) beatDepthDB() float64 {
	if !v.beats() {
		return 0
	}
	depth := 0.0
	for k := v.lo; k < v.hi; k++ {
		r := math.Exp(-math.Abs(v.f.lnA-v.f.lnB-2*(v.f.a-v.f.b)*v.e.t[k]) / 2)
		depth = max(depth, 20*math.Log10((1+r)/(1-min(r, 0.98))))
	}
	return depth
}

func (v view) describeStages(d *Decay) {
	if v.f.kind == single || v.steady || d.BeatDepthDB >= deepBeatDB || !(v.f.b > 0) || v.f.a < stageRatio*v.f.b {
		return
	}
	m := v.m
	if m.kind == beating && !v.beats() {
		return
	}
	knee := (m.lnA - m.lnB) / (2 * (m.a - m.b))
	level := dB(v.mean(knee) / v.start)
	last := max(dB(v.floor/v.start), v.endDB)
	if knee < v.e.t[0] || level-last < lateRangeDB || v.f.sdOf(atB) > lateCertainty*m.b {
		return
	}
	d.TwoStage, d.KneeS, d.KneeDB = true, knee, level
	d.EarlyT60Seconds, d.LateT60Seconds = ln1000/m.a, ln1000/m.b
	rel := min(student(v.f.looks-5)*v.f.sdOf(atB)/m.b, 0.95)
	d.LateT60Low, d.LateT60High = d.LateT60Seconds/(1+rel), d.LateT60Seconds/(1-rel)
}

// supported is the range of T60 that a deeply beating decay allows: that of
// each vibration and of both together, with their intervals.
func (v view) supported(line [3]float64) [2]float64 {
	lo, hi := line[1], line[2]
	for i, rate := range []float64{v.f.a, v.f.b} {
		sd := v.f.sdOf([]int{atA, atB}[i])
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
		out = append(out, Point{v.e.t[k], dB(m) + v.liftDB})
		if p := v.e.p[k] - v.f.noise(); m > clearOfNoise*v.f.noise() && p > 0 {
			r := dB(p / m)
			sum += r * r
			n++
		}
	}
	return out, math.Sqrt(sum / float64(max(n, 1)))
}

// curve is the envelope for the eye, lifted by what the filter took.
func (e envelope) curve(liftDB float64) []Point {
	out := make([]Point, len(e.t))
	for k := range e.t {
		out[k] = Point{e.t[k], dB(max(e.p[k], 1e-20)) + liftDB}
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
