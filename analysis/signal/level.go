package signal

import "math"

// SilenceDB stands for the level of exact silence, which has none in dB.
const SilenceDB = -400.0

// PowerToDBFS is the AES17 level of a mean square, full scale 1: a full-scale
// sine, mean square 1/2, reads 0 dBFS.
func PowerToDBFS(meanSquare float64) float64 { return PowerToDB(2 * meanSquare) }

// DBFSToPower is the mean square of an AES17 level.
func DBFSToPower(levelDBFS float64) float64 { return math.Pow(10, levelDBFS/10) / 2 }

// PowerToDB is 10 log10 of a power ratio, not below SilenceDB, which is also
// the level of zero and of what noise subtraction left negative. NaN stays NaN.
func PowerToDB(ratio float64) float64 {
	if ratio <= 0 {
		return SilenceDB
	}
	return math.Max(SilenceDB, 10*math.Log10(ratio))
}

// AmplitudeToDB is 20 log10 of an amplitude ratio, not below SilenceDB.
func AmplitudeToDB(ratio float64) float64 { return PowerToDB(ratio * ratio) }

// DBToAmplitude is the amplitude ratio of a level.
func DBToAmplitude(levelDB float64) float64 { return math.Pow(10, levelDB/20) }

// DBToPower is the power ratio of a level.
func DBToPower(levelDB float64) float64 { return math.Pow(10, levelDB/10) }

// MeanSquare is the mean of the squares of x about its mean; 0 for none.
func MeanSquare(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	m := Sum(x) / float64(len(x))
	var s [4]float64 // one addition does not wait for the other
	rest := x
	for ; len(rest) >= 4; rest = rest[4:] {
		v := (*[4]float64)(rest)
		a, b, c, d := v[0]-m, v[1]-m, v[2]-m, v[3]-m
		s[0], s[1], s[2], s[3] = s[0]+a*a, s[1]+b*b, s[2]+c*c, s[3]+d*d
	}
	for _, v := range rest {
		s[0] += (v - m) * (v - m)
	}
	return (s[0] + s[1] + s[2] + s[3]) / float64(len(x))
}

// Sum is the sum of x. It goes in four parts that do not wait for each other,
// always the same way: the library's own goes by where in memory x begins, and
// with lent memory that would let the last digits depend on what came before.
func Sum(x []float64) float64 {
	var a, b, c, d float64
	for ; len(x) >= 4; x = x[4:] {
		v := (*[4]float64)(x)
		a, b, c, d = a+v[0], b+v[1], c+v[2], d+v[3]
	}
	for _, v := range x {
		a += v
	}
	return a + b + (c + d)
}
