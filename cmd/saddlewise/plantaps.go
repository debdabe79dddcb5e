package main

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/stage"
)

// tapSpreadDB is the standard deviation of one hand's taps on one saddle:
// common practice, no source.
const tapSpreadDB = 2

// takeSpreadDB is the standard deviation between takes of one string: the
// limit's default.
func takeSpreadDB() float64 {
	for _, l := range stage.Defaults() {
		if l.Key == "take_spread_db" {
			return l.Value
		}
	}
	return 0
}

// What a maker can be asked for.
const (
	fewestTakes, mostTakes = 2, 8
	fewestTaps, mostTaps   = 6, 20 // a take; six make a 95 % interval
)

// shownDB is the change of one string between two stages, each of so many
// takes of so many taps, that is seen at 5 % four times in five. A stage's
// value is the mean of its takes' medians; the spread of all takes is
// estimated from all strings of both stages, and Student's t has those
// degrees of freedom. A median of n normal values has the variance
// pi/(2n + pi - 2), nearly (Kendall & Stuart, The Advanced Theory of
// Statistics, chapter 14, with its small-sample term; from memory).
func shownDB(takes, taps, strings int) float64 {
	median := math.Pi / (2*float64(taps) + math.Pi - 2)
	sd := math.Sqrt(2 / float64(takes) * (takeSpreadDB()*takeSpreadDB() + median*tapSpreadDB*tapSpreadDB))
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(2 * strings * (takes - 1))}
	return sd * (t.Quantile(0.975) + t.Quantile(0.8))
}

// tapsFor is the least work that shows a change: takes, and taps in each.
func tapsFor(changeDB float64, strings int) (takes, taps int, ok bool) {
	for k := fewestTakes; k <= mostTakes; k++ {
		for n := fewestTaps; n <= mostTaps; n++ {
			if shownDB(k, n, strings) <= changeDB && (!ok || k*n < takes*taps) {
				takes, taps, ok = k, n, true
			}
		}
	}
	return takes, taps, ok
}

// finestDB is the smallest change that can be asked for.
func finestDB(strings int) float64 { return shownDB(mostTakes, mostTaps, strings) }
