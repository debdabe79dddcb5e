package decay

import "math"

// lineAcross is T60 with an interval that holds what every model that
// explains the envelope makes of it: the line through the envelope as it is
// and through the power of both vibrations without their beats, which a note
// that ends within one beat cannot tell apart; and, where the record ends
// early, the line to the foot of the evaluation range that the model implies.
func (v view) lineAcross(models []fitted, top int) [3]float64 {
	line := v.lineFit()
	line[1], line[2] = min(line[1], line[0]/(1+leastInterval)), max(line[2], line[0]*(1+leastInterval))
	if len(models) == 1 && v.f.kind == single {
		return line
	}
	for _, f := range models {
		w := v.e.viewOf(f, top)
		if w.hi-w.lo < 4 || w.bottom > rangeTopDB-minUsableDB {
			continue
		}
		own := w.lineFit()
		line[1], line[2] = min(line[1], own[1]), max(line[2], own[2])
		for _, t60 := range []float64{w.curveT60(w.m.signal), w.curveT60(w.summed)} {
			line[1] = min(line[1], t60*own[1]/own[0])
			line[2] = max(line[2], t60*own[2]/own[0])
		}
	}
	line[2] = min(line[2], 2*longestT60S)
	return line
}

// summed is the power of both components, without beats.
func (v view) summed(t float64) float64 {
	s := math.Exp(v.m.lnA - 2*v.m.a*t)
	if v.m.kind != single && !v.steady {
		s += math.Exp(v.m.lnB - 2*v.m.b*t)
	}
	return s
}

// curveT60 is T60 of the line through a noise-free curve over the whole
// evaluation range, beyond the end of the record where that comes first.
func (v view) curveT60(power func(t float64) float64) float64 {
	const steps = 400
	start := power(v.beginS)
	end := v.toS + (v.toS-v.beginS)*0.5
	for dB(power(end)/start) > rangeBottomDB && end < longestT60S {
		end = v.beginS + 1.5*(end-v.beginS)
	}
	var n, st, sy, stt, sty float64
	for i := range steps {
		t := v.beginS + (end-v.beginS)*float64(i)/steps
		y := dB(power(t) / start)
		if y < rangeBottomDB {
			break
		}
		if y <= rangeTopDB {
			n, st, sy, stt, sty = n+1, st+t, sy+y, stt+t*t, sty+t*y
		}
	}
	if n < 3 || n*sty >= st*sy {
		return longestT60S
	}
	return -60 * (n*stt - st*st) / (n*sty - st*sy)
}
