package response

import (
	"errors"
	"fmt"
	"math"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// ErrNoSweep is a take in which the sweep cannot be used; the text around it
// says why.
var ErrNoSweep = errors.New("no usable sweep")

const (
	longestReferenceS = 150.0
	edgeShare         = 0.25 // of the median energy at which the sweep's band ends
)

// reference is the sweep as it was played, without the silence around it.
type reference struct {
	x             []float64
	rateHz        float64
	rateS         float64 // L
	lowHz, highHz float64 // where the spectrum holds full energy
}

// readReference trims the silence and finds what kind of sweep it is, by the
// delay and the energy of its spectrum: it needs no parameters.
func readReference(src signal.Source) (*reference, error) {
	if float64(src.Len()) > longestReferenceS*src.Rate() {
		return nil, fmt.Errorf("%w: the reference is longer than %g s", ErrNoSweep, longestReferenceS)
	}
	all, err := signal.Segment(src, 0, src.Len())
	if err != nil {
		return nil, fmt.Errorf("read reference: %w", err)
	}
	r := &reference{x: trim(all), rateHz: src.Rate()}
	if float64(len(r.x)) < 0.25*r.rateHz {
		return nil, fmt.Errorf("%w: the reference holds no sound", ErrNoSweep)
	}
	return r, r.understand()
}

// trim cuts off the silence at both ends.
func trim(x []float64) []float64 {
	peak := 0.0
	for _, v := range x {
		peak = math.Max(peak, math.Abs(v))
	}
	first, end := 0, len(x)
	for first < end && math.Abs(x[first]) <= 1e-5*peak {
		first++
	}
	for end > first && math.Abs(x[end-1]) <= 1e-5*peak {
		end--
	}
	return x[first:end]
}

// understand fits the delay of the spectrum, t = t0 + L ln f, and finds the
// band of even energy.
func (r *reference) understand() error {
	n := signal.PowerOfTwo(len(r.x))
	spectrum, moment := transforms(r.x, n, 0)
	bands := signal.FractionalOctaves(6, 2, 0.5*r.rateHz)
	step := r.rateHz / float64(n)
	energy := make([]float64, len(bands))
	for i, b := range bands {
		energy[i] = energyPerOctave(spectrum, step, b)
	}
	top := 0.0
	for _, e := range energy {
		top = math.Max(top, e)
	}
	var logHz, delay []float64
	var held []float64
	for i, b := range bands {
		if energy[i] > edgeShare*top {
			logHz, delay = append(logHz, math.Log(b.MidHz)), append(delay, meanDelay(spectrum, moment, step, b)/r.rateHz)
			held = append(held, b.MidHz)
		}
	}
	if len(held) < 12 {
		return fmt.Errorf("%w: the reference covers less than two octaves", ErrNoSweep)
	}
	line, err := stats.FitLine(logHz, delay)
	if err != nil {
		return fmt.Errorf("reference: %w", err)
	}
	length := float64(len(r.x)) / r.rateHz
	if line.Slope <= 0 || line.ResidualSD > 0.01*length {
		return fmt.Errorf("%w: the reference is not a rising exponential sweep", ErrNoSweep)
	}
	r.rateS = line.Slope
	start := math.Exp(-line.Intercept / line.Slope)
	r.lowHz = math.Max(start, held[0]/bandHalf)
	r.highHz = math.Min(start*math.Exp(length/line.Slope), math.Min(held[len(held)-1]*bandHalf, 0.495*r.rateHz))
	return nil
}

var bandHalf = math.Pow(10, 0.3/12)

// transforms are the spectra of x and of its first moment i·x[i], both padded
// to n and with sample zero at index zero.
func transforms(x []float64, n, zero int) (spectrum, moment []complex128) {
	padded := make([]float64, n)
	fft := signal.NewFFT(n)
	for i, v := range x {
		padded[((i-zero)%n+n)%n] = v
	}
	spectrum = fft.Forward(nil, padded)
	for i, v := range x {
		padded[((i-zero)%n+n)%n] = float64(i-zero) * v
	}
	return spectrum, fft.Forward(nil, padded)
}

func energyPerOctave(spectrum []complex128, step float64, b signal.Band) float64 {
	sum, n := 0.0, 0
	for k := int(math.Ceil(b.LowHz / step)); k < len(spectrum) && float64(k)*step < b.HighHz; k++ {
		sum += power(spectrum[k]) * float64(k) * step
		n++
	}
	return sum / float64(max(1, n))
}

// meanDelay is the group delay in samples over a band, each bin weighted by
// its energy: the spectrum of i·x[i] over that of x.
func meanDelay(spectrum, moment []complex128, step float64, b signal.Band) float64 {
	sum, weight := 0.0, 0.0
	for k := int(math.Ceil(b.LowHz / step)); k < len(spectrum) && float64(k)*step < b.HighHz; k++ {
		sum += delayProduct(spectrum[k], moment[k])
		weight += power(spectrum[k])
	}
	return sum / weight
}

func power(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }

func delayProduct(h, m complex128) float64 { return real(m)*real(h) + imag(m)*imag(h) }

// at is the reference at another rate, stretched by the share ppm of a
// million that the recorder's clock runs ahead of the player's.
func (r *reference) at(rateHz, ppm float64) *reference {
	ratio := rateHz / r.rateHz * (1 + 1e-6*ppm)
	out := *r
	out.rateHz = rateHz
	out.highHz = math.Min(r.highHz, 0.49*rateHz)
	if ratio != 1 {
		out.x = resample(r.x, ratio)
	}
	return &out
}

const (
	sincHalf   = 32   // taps on each side
	sincPhases = 1024 // between which is interpolated
	kaiserBeta = 9.0
)

// resample reads x at steps of 1/ratio samples through a Kaiser-windowed sinc
// (Smith, Digital Audio Resampling, CCRMA, 2002), band-limited to the lower
// of the two rates.
func resample(x []float64, ratio float64) []float64 {
	table := sincTable(math.Min(1, ratio))
	out := make([]float64, int(float64(len(x)-1)*ratio)+1)
	for i := range out {
		at := float64(i) / ratio
		whole := int(at)
		phase := (at - float64(whole)) * sincPhases
		p := int(phase)
		share := phase - float64(p)
		a, b := table[p], table[p+1]
		sum := 0.0
		from, to := max(0, whole-sincHalf+1), min(len(x)-1, whole+sincHalf)
		for j := from; j <= to; j++ {
			k := j - whole + sincHalf - 1
			sum += x[j] * (a[k] + share*(b[k]-a[k]))
		}
		out[i] = sum
	}
	return out
}

func sincTable(cutoff float64) [][]float64 {
	table := make([][]float64, sincPhases+1)
	for p := range table {
		table[p] = make([]float64, 2*sincHalf)
		for k := range table[p] {
			d := float64(k-sincHalf+1) - float64(p)/sincPhases
			table[p][k] = cutoff * sinc(cutoff*d) * kaiser(d/sincHalf)
		}
	}
	return table
}

func sinc(x float64) float64 {
	if math.Abs(x) < 1e-9 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

func kaiser(t float64) float64 {
	if t*t >= 1 {
		return 0
	}
	return bessel0(kaiserBeta*math.Sqrt(1-t*t)) / bessel0(kaiserBeta)
}

// bessel0 is the modified Bessel function of order zero, by its series.
func bessel0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x * x / (4 * k * k)
		sum += term
	}
	return sum
}
