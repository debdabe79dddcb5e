package signal

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Sine is a least-squares fit of
//
//	Amplitude exp(-DecayPerS t) cos(2 pi Hz t + PhaseRad) + Offset
//
// with t = 0 at the first sample. Standard errors hold for white noise.
type Sine struct {
	Hz, Amplitude, PhaseRad, Offset float64
	DecayPerS                       float64 // 1/tau; T60 is ln(1000)/DecayPerS
	ResidualRMS                     float64 // root of the mean square over all samples
	HzSE, DecaySE                   float64 // 0 where not fitted
}

// SINADDB is the ratio of the sine to all that it leaves (IEEE 1057), of a
// sine without decay.
func (s Sine) SINADDB() float64 { return AmplitudeToDB(s.Amplitude / math.Sqrt2 / s.ResidualRMS) }

// ErrNoSine says that a fit did not settle on a sine.
var ErrNoSine = errors.New("no sine to fit")

// SineFit3 fits amplitude, phase and offset at a known frequency: the
// three-parameter fit of IEEE 1057.
func SineFit3(x []float64, rateHz, hz float64) (Sine, error) {
	f := newSineFitter(x, rateHz, 3)
	if err := f.linear(hz, 0); err != nil {
		return Sine{}, err
	}
	return f.sine(), nil
}

// SineFit4 also fits the frequency, from startHz on, which must lie within
// half a cycle over the record; 0: the strongest line. It is the
// four-parameter fit of IEEE 1057 and reaches the Cramér-Rao bound in white noise.
func SineFit4(x []float64, rateHz, startHz float64) (Sine, error) {
	return iterate(newSineFitter(x, rateHz, 4), startHz)
}

// SineFitDamped also fits an exponential decay.
func SineFitDamped(x []float64, rateHz, startHz float64) (Sine, error) {
	return iterate(newSineFitter(x, rateHz, 5), startHz)
}

func iterate(f *sineFitter, hz float64) (Sine, error) {
	if len(f.x) < 2*f.order {
		return Sine{}, fmt.Errorf("%w: %d samples are too few", ErrNoSine, len(f.x))
	}
	if hz == 0 {
		hz = strongestHz(f.x, f.rateHz)
	}
	if err := f.linear(hz, 0); err != nil {
		return Sine{}, err
	}
	for range 60 {
		done, err := f.step()
		if err != nil {
			return Sine{}, err
		}
		if done {
			return f.sine(), nil
		}
	}
	return Sine{}, ErrNoSine
}

// sineFitter holds A cos + B sin + C with frequency w and decay d, both per
// record length, so that all columns are of one size.
type sineFitter struct {
	x       []float64
	rateHz  float64
	order   int // 3: A, B, C; 4: w too; 5: d too
	a, b, c float64
	w, d    float64
	rss     float64
	normal  *mat.SymDense
	right   *mat.VecDense
}

func newSineFitter(x []float64, rateHz float64, order int) *sineFitter {
	return &sineFitter{x: x, rateHz: rateHz, order: order,
		normal: mat.NewSymDense(order, nil), right: mat.NewVecDense(order, nil)}
}

// linear solves for A, B, C at a frequency and decay.
func (f *sineFitter) linear(hz, decayPerS float64) error {
	if !(hz > 0) || hz >= f.rateHz/2 || len(f.x) < 3 {
		return fmt.Errorf("%w: %g Hz in %d samples at %g Hz", ErrNoSine, hz, len(f.x), f.rateHz)
	}
	spanS := float64(len(f.x)) / f.rateHz
	f.w, f.d = 2*math.Pi*hz*spanS, decayPerS*spanS
	f.a, f.b, f.c = 0, 0, 0
	f.accumulate(3)
	v, err := solveSym(f.normal, f.right, 3)
	if err != nil {
		return err
	}
	f.a, f.b, f.c = v[0], v[1], v[2]
	f.accumulate(f.order)
	return nil
}

// step makes one Gauss-Newton step, halved until it improves the fit.
func (f *sineFitter) step() (done bool, err error) {
	v, err := solveSym(f.normal, f.right, f.order)
	if err != nil {
		return false, err
	}
	size := math.Abs(v[3])
	if f.order == 5 {
		size = math.Max(size, math.Abs(v[4]))
	}
	from, scale := *f, math.Min(1, math.Pi/size)
	for range 40 {
		f.a, f.b, f.c = from.a+scale*v[0], from.b+scale*v[1], from.c+scale*v[2]
		f.w = from.w + scale*v[3]
		if f.order == 5 {
			f.d = from.d + scale*v[4]
		}
		f.accumulate(f.order)
		if f.rss <= from.rss*(1+1e-13) {
			return scale*size < 1e-10*math.Max(1, from.w), nil
		}
		scale /= 2
	}
	return true, nil
}

// accumulate builds the normal equations of the step from the present state.
func (f *sineFitter) accumulate(order int) {
	var row [5]float64
	var n [5][5]float64
	var right [5]float64
	f.rss = 0
	step := 1 / float64(len(f.x))
	for i, v := range f.x {
		t := float64(i) * step
		s, c := math.Sincos(f.w * t)
		g := 1.0
		if f.d != 0 {
			g = math.Exp(-f.d * t)
		}
		row[0], row[1], row[2] = g*c, g*s, 1
		wave := f.a*row[0] + f.b*row[1]
		row[3], row[4] = t*(f.b*row[0]-f.a*row[1]), -t*wave
		r := v - wave - f.c
		f.rss += r * r
		for j := range order {
			right[j] += row[j] * r
			for k := j; k < order; k++ {
				n[j][k] += row[j] * row[k]
			}
		}
	}
	for j := range order {
		f.right.SetVec(j, right[j])
		for k := j; k < order; k++ {
			f.normal.SetSym(j, k, n[j][k])
		}
	}
}

// sine converts the state to units, with standard errors.
func (f *sineFitter) sine() Sine {
	n := float64(len(f.x))
	perSecond := f.rateHz / n
	s := Sine{
		Hz: f.w / (2 * math.Pi) * perSecond, DecayPerS: f.d * perSecond, Offset: f.c,
		Amplitude: math.Hypot(f.a, f.b), PhaseRad: math.Atan2(-f.b, f.a), ResidualRMS: math.Sqrt(f.rss / n),
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if f.order < 4 || !chol.Factorize(f.normal) || chol.InverseTo(&inverse) != nil {
		return s
	}
	noise := math.Sqrt(f.rss / math.Max(1, n-float64(f.order)))
	s.HzSE = noise * math.Sqrt(inverse.At(3, 3)) / (2 * math.Pi) * perSecond
	if f.order == 5 {
		s.DecaySE = noise * math.Sqrt(inverse.At(4, 4)) * perSecond
	}
	return s
}

func solveSym(normal *mat.SymDense, right *mat.VecDense, order int) ([]float64, error) {
	var chol mat.Cholesky
	if !chol.Factorize(normal.SliceSym(0, order).(*mat.SymDense)) {
		return nil, fmt.Errorf("%w: nothing at this frequency", ErrNoSine)
	}
	var v mat.VecDense
	if err := chol.SolveVecTo(&v, right.SliceVec(0, order)); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoSine, err)
	}
	return v.RawVector().Data, nil
}

// strongestHz is the peak of the Hann-windowed spectrum, interpolated by a
// parabola over the logarithms.
func strongestHz(x []float64, rateHz float64) float64 {
	n := FastLength(2 * len(x))
	padded := make([]float64, n)
	w, m := Hann(len(x)), mean(x)
	for i, v := range x {
		padded[i] = (v - m) * w.Coefficients[i]
	}
	power := make([]float64, n/2+1)
	best := 1
	for k, c := range Transform(padded) {
		power[k] = real(c)*real(c) + imag(c)*imag(c)
		if k > 0 && k < n/2 && power[k] > power[best] {
			best = k
		}
	}
	return (float64(best) + PeakOffset(power[best-1], power[best], power[best+1])) * rateHz / float64(n)
}

// PeakOffset is where, in bins from the middle one, the peak of a parabola
// through the logarithms of three powers lies; 0 where there is no peak.
func PeakOffset(before, at, after float64) float64 {
	a, b, c := math.Log(before), math.Log(at), math.Log(after)
	bend := a - 2*b + c
	if !(bend < 0) || math.IsInf(bend, 0) {
		return 0
	}
	return math.Max(-0.5, math.Min(0.5, (a-c)/(2*bend)))
}
