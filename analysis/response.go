package analysis

import (
	"math"

	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// bandsPerOctave of the tap response.
const bandsPerOctave = 6

// tapResponse reads the response of one string from all its taps.
func tapResponse(takes []measured, indexes []int) *result.TapResponse {
	lowestRate := math.Inf(1)
	for _, k := range indexes {
		lowestRate = math.Min(lowestRate, takes[k].taps.rateHz)
	}
	bands := response.Bands(bandsPerOctave, lowestRate)
	var taps []response.TapBands
	var low, mid, high []result.Value
	for _, k := range indexes {
		for n, tap := range takes[k].taps.taps {
			if tap.spectrum == nil {
				continue
			}
			b := response.TapFrom(*tap.spectrum, takes[k].taps.hush, bands)
			taps = append(taps, b)
			low, mid, high = appendValue(low, k, n, b.Low), appendValue(mid, k, n, b.Mid), appendValue(high, k, n, b.High)
		}
	}
	if len(taps) == 0 {
		return nil
	}
	const masked = "noise lies within 10 dB"
	r := &result.TapResponse{
		BandsPerOctave: bandsPerOctave,
		LowDB:          summarize(low, masked), MidDB: summarize(mid, masked), HighDB: summarize(high, masked),
		LowRangeHz: response.LowRangeHz, MidRangeHz: response.MidRangeHz, HighRangeHz: response.HighRangeHz,
		AgainstMedianDB: []result.Band{},
	}
	if sd := response.AgreementDB(taps); !math.IsNaN(sd) {
		r.AgreementDB = &sd
	}
	for _, b := range response.Over(taps, bands) {
		r.Bands = append(r.Bands, bandRecord(b.Band, b.Level, b.Masked))
	}
	return r
}

func appendValue(list []result.Value, take, n int, v float64) []result.Value {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return list
	}
	return append(list, result.Value{Take: take, Event: n, Value: v})
}

func bandRecord(b signal.Band, level stats.Estimate, masked bool) result.Band {
	return result.Band{MidHz: b.MidHz, LevelDB: level.Median, N: level.N, Interval: level.Interval, Masked: masked}
}

// setAgainstMedian fills in each string's response less the median of all
// strings' in the bands where all of them stand out of the noise.
func setAgainstMedian(strs []result.String) {
	var all []*result.TapResponse
	bands := math.MaxInt
	for _, s := range strs {
		if s.Tap != nil && s.Tap.Response != nil {
			all = append(all, s.Tap.Response)
			bands = min(bands, len(s.Tap.Response.Bands))
		}
	}
	if len(all) < 2 {
		return
	}
	for i := range bands {
		var levels []float64
		for _, r := range all {
			if !r.Bands[i].Masked {
				levels = append(levels, r.Bands[i].LevelDB)
			}
		}
		for _, r := range all {
			r.AgainstMedianDB = append(r.AgainstMedianDB, lessMedian(r.Bands[i], levels))
		}
	}
}

func lessMedian(b result.Band, levels []float64) result.Band {
	if len(levels) < 2 {
		b.Masked = true
		return b
	}
	mid := stats.Median(levels)
	b.LevelDB -= mid
	if iv := b.Interval; iv != nil {
		b.Interval = &stats.Interval{Low: iv.Low - mid, High: iv.High - mid, Coverage: iv.Coverage}
	}
	return b
}
