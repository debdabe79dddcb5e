package decay

import (
	"fmt"
	"math"
)

// Judgement limits; common practice, no source.
const (
	deepBeatDB     = 6.0   // beats deeper than this leave a range, not one number
	leastBeats     = 1.0   // beats above the noise that make them beats
	weakSecondDB   = 15.0  // below the first at the start
	strayingDB     = 1.5   // scatter about the fit above which it is no decay
	clearOfNoise   = 4.0   // signal over noise power where scatter is judged
	returnDB       = 1.0   // of a level that has left the range: beats
	steadyDB       = 3.0   // decay over the record below which a component is a hum
	cutSeconds     = 0.65  // of a decay that the record cuts short
	cutInterval    = 1.3   // and the widest interval such a one may have
	widestNumber   = 1.5   // upper over lower end of the interval, above which a range is given instead
	widestRange    = 5.0   // above which nothing is told
	leastSD        = 0.002 // of ln T60: no note decays quite as the models do
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
	v.measure(&d, v.lineAcross(models, top, float64(len(e.t)-top)/e.correlated()))
	if d.Reason != "" && d.NotEnoughRange {
		d.T60Seconds, d.T60Low, d.T60High, d.T60RangeSeconds = 0, 0, 0, [2]float64{}
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
	if why := v.deepBeat(d); why != "" {
		d.T60RangeSeconds = v.supported(line)
		d.T60Seconds, d.T60Low, d.T60High = 0, 0, 0
		d.Reason = why
	}
	d.Fit, d.FitRMSdB = v.fitCurve()
	if v.e.broad {
		return
	}
	v.doubt(d)
}

// doubt takes back what the fit does not bear out.
func (v view) doubt(d *Decay) {
	deep := d.T60RangeSeconds[1] > 0
	switch {
	case v.straying() > strayingDB && !deep:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the level strays %.1f dB from any smooth decay", v.straying())
	case !deep && d.T60Seconds > longestT60S:
		d.NotEnoughRange, d.Reason = true, "no decay is seen"
	case !deep && v.rises && !v.beats():
		d.NotEnoughRange, d.Reason = true, "the level rises first: beats slower than the decay, or no free decay"
	case !v.beats() && v.returnDB() > returnDB:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the level falls and returns by %.0f dB: beats slower than the decay", v.returnDB())
	case !deep && d.T60High > widestRange*d.T60Low:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the decay is too irregular: T60 between %.2g and %.2g s", d.T60Low, d.T60High)
	case deep && d.T60RangeSeconds[1] > widestRange*d.T60RangeSeconds[0]:
		d.NotEnoughRange, d.Reason = true, "part of a slow beat leaves T60 open"
		if d.Beating {
			d.Reason = fmt.Sprintf("two vibrations beat %.0f dB deep and leave T60 open", d.BeatDepthDB)
		}
	case !deep && v.bottom > rangeBottomDB && d.FitToS-d.FitFromS < cutSeconds:
		d.NotEnoughRange, d.Reason = true, fmt.Sprintf("the record ends after %.0f dB of decay; 25 dB are needed", -v.bottom)
	case !deep && (d.T60High > widestNumber*d.T60Low || v.bottom > rangeBottomDB && d.T60High > cutInterval*d.T60Low):
		d.T60RangeSeconds = [2]float64{d.T60Low, d.T60High}
		d.T60Seconds, d.T60Low, d.T60High = 0, 0, 0
		d.Reason = "the decay may be one of two stages or part of a slow beat: it supports a range only"
	case !deep && v.bottom > rangeBottomDB:
		d.Reason = fmt.Sprintf("from %.0f dB of decay only: the record ends there", -v.bottom)
	}
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

// deepBeat says why two vibrations leave a range, if so.
func (v view) deepBeat(d *Decay) string {
	switch {
	case v.f.kind != beating || v.steady:
	case d.Beating && d.BeatDepthDB >= deepBeatDB:
		return fmt.Sprintf("two vibrations beat %.0f dB deep: the decay supports a range only", d.BeatDepthDB)
	case !v.beats() && v.rises:
		return "the level rises first, as part of a slow beat does: the decay supports a range only"
	}
	return ""
}

// supported is the range of T60 that a deeply beating decay allows: that of
// the envelope as it is, of both vibrations together and of each, with their
// intervals. A second vibration that starts weak is a late stage, and its own
// T60 is not the note's.
func (v view) supported(line [3]float64) [2]float64 {
	lo, hi := line[1], line[2]
	for _, m := range []model{v.m, v.m.withoutBeats()} {
		t60 := v.lineT60(m, v.bottom)
		lo, hi = min(lo, t60*line[1]/line[0]), max(hi, t60*line[2]/line[0])
	}
	for i, rate := range []float64{v.f.a, v.f.b} {
		if !v.beats() || i == 1 && v.f.lnA-v.f.lnB > weakSecondDB*math.Ln10/10 {
			break
		}
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
