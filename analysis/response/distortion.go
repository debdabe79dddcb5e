package response

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Distortion is the level of one harmonic by the frequency of its
// fundamental. Frequencies at which noise is within 10 dB are left out.
type Distortion struct {
	Order   int // 2 to 5
	Hz      []float64
	LevelDB []float64 // re the fundamental at the same moment
}

const (
	highestOrder     = 5
	distortionPerOct = 12
	orderPreShare    = 0.35 // of the time to the next higher order's response
	orderPostShare   = 0.6  // of the time to the next lower order's
	orderLongestS    = 0.2
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
		w := im.cut(at-im.ref.rateS*math.Log(float64(order)), im.room(order, order+1, orderPreShare), im.room(order-1, order, orderPostShare))
		s := w.transform(im.rateHz)
		for i := 0; ; i++ {
			hz := low * math.Pow(2, float64(i)/distortionPerOct)
			if hz*float64(order) > high {
				break
			}
			c, _ := s.at(hz * float64(order))
			noise := n.power(hz*float64(order), w.energy)
			h, _, _ := l.at(hz)
			if p := power(c); p > noise*math.Pow(10, clearDB/10) {
				d.Hz, d.LevelDB = append(d.Hz, hz), append(d.LevelDB, 10*math.Log10((p-noise)/power(h)))
			}
		}
		out = append(out, d)
	}
	return out
}

// room is a share of the time between the responses of two orders.
func (im *impulse) room(lower, higher int, share float64) float64 {
	return math.Min(orderLongestS, share*im.ref.rateS*math.Log(float64(higher)/float64(lower)))
}

func student95(dof int) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: float64(max(1, dof))}.Quantile(0.975)
}
