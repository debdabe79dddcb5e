package analysis

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// tapBands is the difference of the tap responses. The standard errors of the
// levels add in squares, and with them the spread between takes of the
// summary that the band belongs to.
func tapBands(before, after *result.Results, assumedDB float64) []result.BandChange {
	spreads := regionSpreads(before, after, assumedDB)
	out := []result.BandChange{}
	for i := range min(len(before.Strings), len(after.Strings)) {
		b, a := before.Strings[i].Tap, after.Strings[i].Tap
		if b == nil || a == nil || b.Response == nil || a.Response == nil {
			continue
		}
		change := result.BandChange{String: after.Strings[i].Number, Note: after.Strings[i].Note, Leaving: []result.HzInterval{}}
		if b.Response.BandsPerOctave != a.Response.BandsPerOctave {
			continue // told among the warnings
		}
		for j := range min(len(b.Response.Bands), len(a.Response.Bands)) {
			spread := spreads[regionOf(a.Response, a.Response.Bands[j].MidHz)]
			change.Assumed = change.Assumed || spread.DF == 0 && spread.SD > 0
			sd := spread.SD * math.Sqrt(1/float64(max(1, len(b.Takes)))+1/float64(max(1, len(a.Takes))))
			if d, ok := bandDiff(b.Response.Bands[j], a.Response.Bands[j], sd, spread.DF); ok {
				change.Bands = append(change.Bands, d)
			}
		}
		if len(change.Bands) > 0 {
			out = append(out, change)
		}
	}
	markLeaving(out)
	return out
}

// Regions of a tap response, each with its summary.
const (
	lowRegion = iota
	midRegion
	highRegion
)

func regionOf(r *result.TapResponse, hz float64) int {
	switch {
	case hz >= r.HighRangeHz[0] && r.HighRangeHz[0] > 0:
		return highRegion
	case hz >= r.MidRangeHz[0] && r.MidRangeHz[0] > 0:
		return midRegion
	}
	return lowRegion
}

// regionSpreads is the spread between takes of each region's summary.
func regionSpreads(before, after *result.Results, assumedDB float64) [3]stats.Spread {
	var sets [3][][][]float64
	for _, r := range []*result.Results{before, after} {
		for _, s := range r.Strings {
			if s.Tap != nil && s.Tap.Response != nil {
				for i, q := range []result.Quantity{s.Tap.Response.LowDB, s.Tap.Response.MidDB, s.Tap.Response.HighDB} {
					sets[i] = append(sets[i], groups(q))
				}
			}
		}
	}
	var out [3]stats.Spread
	for i := range out {
		out[i] = stats.GroupSpread(assumedDB, sets[i]...)
	}
	return out
}

// bandDiff is the difference of one band, whose takes differ by spreadSD; df
// degrees of freedom are behind that, 0: it is assumed.
func bandDiff(b, a result.Band, spreadSD float64, df int) (result.BandDiff, bool) {
	if b.Masked || a.Masked || math.Abs(b.MidHz/a.MidHz-1) > 1e-6 {
		return result.BandDiff{}, false
	}
	d := result.BandDiff{MidHz: a.MidHz, DB: a.LevelDB - b.LevelDB, P: 1}
	if b.Interval == nil || a.Interval == nil {
		return d, true
	}
	coverage := math.Min(b.Interval.Coverage, a.Interval.Coverage)
	vb, va := bandVariance(b), bandVariance(a)
	variance := vb + va + spreadSD*spreadSD
	unsure := 0.0 // what the estimate of the spread adds to Satterthwaite's sum
	if df > 0 {
		unsure = math.Pow(spreadSD, 4) / float64(df)
	}
	half := times(coverage, variance*variance/unsure) * math.Sqrt(variance)
	d.Around = &stats.Interval{Low: d.DB - half, High: d.DB + half, Coverage: coverage}
	if variance > 0 {
		// Satterthwaite (Biometrics Bulletin 2, 110-114, 1946).
		nu := variance * variance / (vb*vb/float64(b.N-1) + va*va/float64(a.N-1) + unsure)
		d.P = 2 * distuv.StudentsT{Sigma: 1, Nu: math.Min(nu, manyDF)}.Survival(math.Abs(d.DB)/math.Sqrt(variance))
	}
	return d, true
}

// times is how many standard deviations to either side hold coverage of
// Student's distribution.
func times(coverage, df float64) float64 {
	if !(df < manyDF) {
		return stats.Normal(coverage)
	}
	return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile((1 + coverage) / 2)
}

// bandVariance is that of a band's level, by its interval.
func bandVariance(b result.Band) float64 { return b.Interval.SE() * b.Interval.SE() }

// markLeaving finds the bands that leave zero beyond chance among all bands
// of all strings, and joins neighbours that leave it the same way.
func markLeaving(changes []result.BandChange) {
	var p []float64
	var at []*result.BandDiff
	for i := range changes {
		for j := range changes[i].Bands {
			if d := &changes[i].Bands[j]; d.Around != nil {
				p, at = append(p, d.P), append(at, d)
			}
		}
	}
	for k, q := range stats.BenjaminiHochberg(p) {
		at[k].Leaves = q <= chance
	}
	for i := range changes {
		changes[i].Leaving = stretches(changes[i].Bands)
	}
}

// stretches joins neighbouring bands that leave zero the same way.
func stretches(bands []result.BandDiff) []result.HzInterval {
	out := []result.HzInterval{}
	open := false
	for i, d := range bands {
		if !d.Leaves {
			open = false
			continue
		}
		last := len(out) - 1
		if open && out[last].DB*d.DB > 0 {
			out[last].HighHz = d.MidHz
			if math.Abs(d.DB) > math.Abs(out[last].DB) {
				out[last].DB = d.DB
			}
			continue
		}
		out, open = append(out, result.HzInterval{LowHz: bands[i].MidHz, HighHz: d.MidHz, DB: d.DB}), true
	}
	return out
}

// sweepBandsPerOctave is how finely sweeps are compared.
const sweepBandsPerOctave = 6

// clearSweepDB is the least signal-to-noise ratio of a band that is compared.
const clearSweepDB = 10

// sweepBands is the difference of the sweep responses at the same place. Each
// is beside its own level from 200 Hz to 2 kHz, so gain does not enter. Where a
// side holds several sweeps of one place their scatter makes the interval,
// else the default spread between takes: an exciter set down anew never sits
// alike.
func sweepBands(before, after *result.Results, assumedDB float64) []result.BandChange {
	out := []result.BandChange{}
	for _, str := range sweptStrings(after) {
		b, a := sweptAt(before, str), sweptAt(after, str)
		if len(b) == 0 {
			continue
		}
		change := result.BandChange{String: str, Bands: []result.BandDiff{}, Leaving: []result.HzInterval{}, Assumed: len(a)+len(b) == 2}
		if str > 0 && str <= len(after.Strings) {
			change.Note = after.Strings[str-1].Note
		}
		law := distuv.StudentsT{Sigma: 1, Nu: manyDF}
		if df := len(a) + len(b) - 2; df > 0 {
			law.Nu = float64(df)
		}
		times := law.Quantile((1 + stats.Nominal) / 2)
		for k := -30; k <= 30; k++ {
			mid := 1000 * math.Pow(10, 0.3*float64(k)/sweepBandsPerOctave)
			d, sd, ok := sweepBand(mid, b, a, assumedDB)
			if !ok {
				continue
			}
			d.P = 2 * law.Survival(math.Abs(d.DB)/sd)
			d.Around = &stats.Interval{Low: d.DB - times*sd, High: d.DB + times*sd, Coverage: stats.Nominal}
			change.Bands = append(change.Bands, d)
		}
		if len(change.Bands) > 0 {
			out = append(out, change)
		}
	}
	markLeaving(out)
	return out
}

// sweptStrings are the places that were swept, once each, in order.
func sweptStrings(r *result.Results) []int {
	var out []int
	seen := map[int]bool{}
	for _, s := range r.Sweeps {
		if !seen[s.String] {
			seen[s.String] = true
			out = append(out, s.String)
		}
	}
	return out
}

func sweptAt(r *result.Results, str int) []result.Sweep {
	var out []result.Sweep
	for _, s := range r.Sweeps {
		if s.String == str {
			out = append(out, s)
		}
	}
	return out
}

// sweepBand is the change of one band and its standard error, false where
// either side lacks it.
func sweepBand(midHz float64, before, after []result.Sweep, assumedDB float64) (d result.BandDiff, sd float64, ok bool) {
	var levels [2][]float64
	noise := 0.0
	for side, sweeps := range [][]result.Sweep{before, after} {
		for _, s := range sweeps {
			v, sd, ok := bandOf(s, midHz)
			if !ok {
				return d, 0, false
			}
			levels[side] = append(levels[side], v)
			noise += sd * sd / float64(len(sweeps)*len(sweeps))
		}
	}
	spread := stats.GroupSpread(assumedDB, singles(levels[0]), singles(levels[1]))
	variance := spread.SD * spread.SD * (1/float64(len(before)) + 1/float64(len(after)))
	if spread.DF == 0 {
		variance += noise // where sweeps were repeated, their scatter holds it
	}
	d = result.BandDiff{MidHz: midHz, DB: stats.Describe(levels[1]).Mean - stats.Describe(levels[0]).Mean, P: 1}
	return d, math.Sqrt(math.Max(math.Max(variance, noise), 1e-12)), true
}

// manyDF makes Student's distribution a normal one.
const manyDF = 1e6

func singles(v []float64) [][]float64 {
	out := make([][]float64, len(v))
	for i := range v {
		out[i] = v[i : i+1]
	}
	return out
}

// bandOf is a band's mean level in dB and its standard error from the noise.
func bandOf(s result.Sweep, midHz float64) (levelDB, sdDB float64, ok bool) {
	reach := math.Pow(10, 0.15/sweepBandsPerOctave)
	sum, variance, n := 0.0, 0.0, 0.0
	for i, hz := range s.Hz {
		if hz < midHz/reach || hz > midHz*reach || i >= len(s.MagnitudeDB) {
			continue
		}
		if i < len(s.SNRDB) {
			if s.SNRDB[i] < clearSweepDB {
				return 0, 0, false
			}
			sd := 20 / math.Ln10 / math.Sqrt2 * math.Pow(10, -s.SNRDB[i]/20)
			variance += sd * sd
		}
		sum, n = sum+s.MagnitudeDB[i], n+1
	}
	if n < 2 {
		return 0, 0, false
	}
	// Neighbouring points share noise: count the band as one point.
	return sum / n, math.Sqrt(variance / n), true
}
