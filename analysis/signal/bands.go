package signal

import "math"

// Band is one fractional-octave band of IEC 61260-1:2014, base ten.
type Band struct {
	MidHz, LowHz, HighHz float64
}

// octaveRatio is G = 10^(3/10), IEC 61260-1 clause 5.2.
var octaveRatio = math.Pow(10, 0.3)

// FractionalOctaves lists the bands of one over fraction octave whose midband
// frequencies lie from low to high Hz (IEC 61260-1, equations 2 to 5: odd
// fractions have a band centred on 1 kHz, even ones an edge). None where the
// limits are not positive and finite.
func FractionalOctaves(fraction int, lowHz, highHz float64) []Band {
	if fraction < 1 || !(lowHz > 0) || !(highHz >= lowHz) || math.IsInf(highHz, 1) {
		return nil
	}
	b := float64(fraction)
	shift := 0.0
	if fraction%2 == 0 {
		shift = 0.5
	}
	half := math.Pow(octaveRatio, 1/(2*b))
	first := math.Ceil(b*math.Log(lowHz/1000)/math.Log(octaveRatio) - shift - 1e-9)
	var bands []Band
	for x := first; ; x++ {
		mid := 1000 * math.Pow(octaveRatio, (x+shift)/b)
		if mid > highHz*(1+1e-9) {
			return bands
		}
		bands = append(bands, Band{mid, mid / half, mid * half})
	}
}
