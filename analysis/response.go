package analysis

import (
	"math"

	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

// tapResponse reads the response of one string from all its taps.
func tapResponse(takes []measured, indexes []int, bandsPerOctave int) *result.TapResponse {
	lowestRate := math.Inf(1)
	for _, k := range indexes {
		lowestRate = math.Min(lowestRate, takes[k].taps.rateHz)
	}
	bands := response.Bands(bandsPerOctave, lowestRate)
	var taps []response.TapBands
	var low, mid, high []result.Value
	for _, k := range indexes {
		for n, tap := range takes[k].taps.taps {
			if tap.bands == nil {
				continue
			}
			b := *tap.bands // a take of a higher rate may have more
			b.LevelDB, b.AboveNoiseDB = b.LevelDB[:len(bands)], b.AboveNoiseDB[:len(bands)]
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

// setAgainstMedian fills in each string's response less the median of all, in
// the bands that all takes' rates hold.
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
	levels := make([][]response.BandLevel, len(all))
	for i, r := range all {
		for _, b := range r.Bands[:bands] {
			levels[i] = append(levels[i], response.BandLevel{
				Band: signal.Band{MidHz: b.MidHz}, Level: stats.Estimate{Median: b.LevelDB, N: b.N, Interval: b.Interval}, Masked: b.Masked,
			})
		}
	}
	for i, against := range response.AgainstMedian(levels) {
		for _, b := range against {
			all[i].AgainstMedianDB = append(all[i].AgainstMedianDB, bandRecord(b.Band, b.Level, b.Masked))
		}
	}
}
