package decay

import "math"

// model is a squared envelope: one or two decaying components that beat, and
// noise power.
//
//	m(t) = A exp(-2 a t) + B exp(-2 b t) + 2 sqrt(A B) exp(-(a+b) t) cos(d t + phi) + N
type model struct {
	lnA, a float64 // ln power, amplitude decay rate 1/s
	lnB, b float64
	d, phi float64 // difference frequency, rad/s
	lnN    float64
	kind   kind
}

type kind int

const (
	single  kind = iota // A, a, N
	twoRate             // A, a, B, b, N; the powers add
	beating             // all
)

// mostParams is the number of parameters of the richest kind.
const mostParams = 7

// Where a parameter stands among the parameters.
const (
	atLnA = iota
	atA
	atLnN
	atLnB
	atB
	atD
	atPhi
)

// params is the number of free parameters.
func (k kind) params() int { return [...]int{3, 5, 7}[k] }

// param is parameter i.
func (m *model) param(i int) *float64 {
	return [...]*float64{&m.lnA, &m.a, &m.lnN, &m.lnB, &m.b, &m.d, &m.phi}[i]
}

// signal is the model without noise.
func (m model) signal(t float64) float64 {
	s := math.Exp(m.lnA - 2*m.a*t)
	if m.kind == single {
		return s
	}
	s2 := math.Exp(m.lnB - 2*m.b*t)
	if m.kind == twoRate {
		return s + s2
	}
	return s + s2 + 2*math.Sqrt(s*s2)*math.Cos(m.d*t+m.phi)
}

func (m model) noise() float64 { return math.Exp(m.lnN) }

// withoutBeats is the power of both components.
func (m model) withoutBeats() model {
	m.kind = min(m.kind, twoRate)
	return m
}

// walk is a model seen at equally spaced times: a decay is a factor a step,
// and costs no exponential.
type walk struct {
	a, b   float64    // power of each component
	beat   complex128 // the beat's term is its real part
	fallA  float64    // factors a step
	fallB  float64
	turned complex128
}

func (m model) walk(t0, step float64) walk {
	w := walk{a: math.Exp(m.lnA - 2*m.a*t0), fallA: math.Exp(-2 * m.a * step)}
	if m.kind == single {
		return w
	}
	w.b, w.fallB = math.Exp(m.lnB-2*m.b*t0), math.Exp(-2*m.b*step)
	if m.kind == twoRate {
		return w
	}
	s, c := math.Sincos(m.d*t0 + m.phi)
	r := 2 * math.Sqrt(w.a*w.b)
	w.beat = complex(r*c, r*s)
	s, c = math.Sincos(m.d * step)
	r = math.Sqrt(w.fallA * w.fallB)
	w.turned = complex(r*c, r*s)
	return w
}

func (w *walk) power() float64 { return w.a + w.b + real(w.beat) }

func (w *walk) next() {
	w.a *= w.fallA
	w.b *= w.fallB
	w.beat *= w.turned
}
