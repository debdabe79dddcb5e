package signal

import "math"

// Pole frequencies of IEC 61672-1:2013, annex E.
const (
	pole1Hz = 20.598997057568145
	pole2Hz = 107.65264864304628
	pole3Hz = 737.8622307362899
	pole4Hz = 12194.21714799801
)

// AWeightingDB is the A frequency weighting of IEC 61672-1:2013 (equation
// E.6) at hz, in dB.
func AWeightingDB(hz float64) float64 { return aCurve(hz) - aAtReference }

// CWeightingDB is the C frequency weighting of IEC 61672-1:2013 (equation
// E.1) at hz, in dB.
func CWeightingDB(hz float64) float64 { return cCurve(hz) - cAtReference }

// The curves are 0 dB at 1 kHz.
var aAtReference, cAtReference = aCurve(1000), cCurve(1000)

func aCurve(hz float64) float64 {
	s := hz * hz
	return AmplitudeToDB(pole4Hz * pole4Hz * s * s / ((s + pole1Hz*pole1Hz) *
		math.Sqrt((s+pole2Hz*pole2Hz)*(s+pole3Hz*pole3Hz)) * (s + pole4Hz*pole4Hz)))
}

func cCurve(hz float64) float64 {
	s := hz * hz
	return AmplitudeToDB(pole4Hz * pole4Hz * s / ((s + pole1Hz*pole1Hz) * (s + pole4Hz*pole4Hz)))
}
