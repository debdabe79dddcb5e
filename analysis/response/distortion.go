package response

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/signal"
)

// Distortion is the level of one harmonic by the frequency of its
// fundamental, each over a twelfth of an octave. Frequencies at which noise
// would move it by more than 0.25 dB (one standard error) are left out.
type Distortion struct {
	Order   int // 2 to 5
	Hz      []float64
	LevelDB []float64 // re the fundamental at the same moment
}

const (
	highestOrder     = 5
	distortionPerOct = 12
	orderPreShare    = 0.5 // of the time to the next higher order's response
	orderPostShare   = 0.6 // of the time to the next lower order's
	orderLongestS    = 0.2
	orderErrorDB     = 0.25 // standard error by noise that is let through
	orderLeast       = 1.0  // of power over noise, whose own level is not known better
)

// distortion cuts out the response of each order, L ln k before the linear
// one. What order k answers at k f is set against the linear response at f:
// both sweep through their frequency at the same speed in octaves, so that
// their ratio is that of the amplitudes.
func distortion(im *impulse, at float64, l linear, n noiseIn) []Distortion {
	var out []Distortion
	low, high := im.ref.validHz()
	for order := 2; order <= highestOrder; order++ {
		d := Distortion{Order: order, Hz: []float64{}, LevelDB: []float64{}}
		w := im.weigh(at-im.ref.rateS*math.Log(float64(order)), im.room(order, order+1, orderPreShare), im.room(order-1, order, orderPostShare), 1, 0.5)
		s := w.powers(im.rateHz)
		for i := 0; ; i++ {
			hz := low * math.Pow(2, float64(i)/distortionPerOct)
			if hz*float64(order) > high {
				break
			}
			b := signal.Band{LowHz: hz * float64(order) / distortionHalf, HighHz: hz * float64(order) * distortionHalf}
			noise := n.power(hz*float64(order), w.energy)
			p := meanPower(s, b) - noise
			if p > orderLeast*noise && errorDB(p, noise, (b.HighHz-b.LowHz)*w.energy/im.rateHz) <= orderErrorDB {
				d.Hz, d.LevelDB = append(d.Hz, hz), append(d.LevelDB, 10*math.Log10(p/l.meanPower(hz)))
			}
		}
		out = append(out, d)
	}
	return out
}

var distortionHalf = math.Pow(2, 0.5/distortionPerOct)

// errorDB is the standard error in dB of a power read in noise over so many
// independent values: the noise's own power scatters by itself, and its beat
// with what is read by twice the product of both.
func errorDB(power, noise, values float64) float64 {
	return 10 / math.Ln10 * math.Sqrt(noise*(2*power+noise)/math.Max(1, values)) / power
}

// meanPower is the response's mean power over a band as wide as distortion is
// read in.
func (l linear) meanPower(hz float64) float64 {
	const steps = 4
	sum := 0.0
	for i := -steps; i <= steps; i++ {
		h, _, _ := l.at(hz * math.Pow(distortionHalf, float64(i)/steps))
		sum += power(h)
	}
	return sum / (2*steps + 1)
}

// room is a share of the time between the responses of two orders.
func (im *impulse) room(lower, higher int, share float64) float64 {
	return math.Min(orderLongestS, share*im.ref.rateS*math.Log(float64(higher)/float64(lower)))
}

func student95(dof int) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(max(1, dof))}.Quantile(0.975)
}
