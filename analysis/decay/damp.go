package decay

import "math"

// A note stopped by hand or cut falls stoppedDB within the filter's length or
// stopS, whichever is longer, at several times the rate before, and does not
// come back as a beat does.
const (
	stoppedDB   = 10.0
	stopS       = 0.06
	stopSteeper = 4.0
)

// beforeDamping cuts the envelope where the note is stopped. It returns the
// time of the stop; 0: none.
func (e envelope) beforeDamping() (envelope, float64) {
	p := smooth(e.p, 3)
	span := max(2, int(math.Ceil(max(stopS, 1.5*e.lengthS)/e.stepS)))
	after := make([]float64, len(p)+1) // loudest from k on
	for k := len(p) - 1; k >= 0; k-- {
		after[k] = max(after[k+1], p[k])
	}
	quiet := after[max(0, len(p)-span/2)] + 1e-20
	top, whole := argmax(p), span
	// A stop close to the end is seen by its first half.
	for k := top + 2*whole; k+whole/2 < len(p); k++ {
		span := min(whole, len(p)-1-k)
		drop := dB(p[k] / (p[k+span] + 1e-20))
		if drop < stoppedDB || p[k] < 16*quiet {
			continue
		}
		back := min(k-top, 4*span)
		before := dB(p[k-back]/p[k]) / float64(back) * float64(span)
		if drop > stopSteeper*max(before, 0.5) && dB(p[k]/(after[k+span]+1e-20)) > stoppedDB {
			stop := e.stopAfter(p, k, before/float64(span))
			return e.until(stop + 0.2*e.lengthS), stop
		}
	}
	return e, 0
}

// stopAfter is when the level leaves its trend of perPointDB. The filter looks
// ahead and gives half its amplitude, 6 dB, when the stop is at its middle.
func (e envelope) stopAfter(p []float64, k int, perPointDB float64) float64 {
	for j := k; j < len(p); j++ {
		if dB(p[k]/(p[j]+1e-20))-perPointDB*float64(j-k) > 6 {
			return e.t[j] + e.lengthS/2
		}
	}
	return e.t[len(p)-1]
}
