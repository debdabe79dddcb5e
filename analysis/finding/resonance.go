package finding

import (
	"fmt"
	"math"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// Where a resonance of disc or saddle is looked for, and how wide it may be.
const (
	resonanceLowHz  = 150
	resonanceHighHz = 6000
)

// resonant: in a narrow range one string's taps have far more energy than the
// other strings' and than its own neighbouring bands.
func resonant(r *result.Results) []result.Finding {
	var out []result.Finding
	for _, s := range living(r) {
		band, height, ok := resonance(r, s)
		if !ok {
			continue
		}
		limit := limitOf(r, "resonance_db")
		out = append(out, result.Finding{
			ID: "strange resonance", Severity: result.SeverityRecheck, About: "pickup", Strings: []int{s.Number},
			Title: fmt.Sprintf("%s rings near %s Hz as the others do not", upper(stringName(s)), num(band.MidHz, 0)),
			Evidence: []result.Evidence{against(limit, "Tap energy near %s Hz lies %s dB above the median of the strings, beside the bands around it",
				num(band.MidHz, 0), num(height, 1))},
			Causes: []string{"a saddle or disc that is free to rock or ring", "a hollow or loose spot under the disc", "a lead or part that vibrates along"},
			Next:   []string{"Damp saddle, disc and leads with a finger one after another while tapping: what stops the ringing is its cause.", "Bed the disc flat and press it while tapping."},
		})
	}
	return out
}

func rings(r *result.Results, s result.String) bool {
	_, _, ok := resonance(r, s)
	return ok
}

// resonance is the band that stands out most from the bands half an octave to
// an octave away, all taken less the median of the strings.
func resonance(r *result.Results, s result.String) (band result.Band, heightDB float64, ok bool) {
	if s.Tap == nil || s.Tap.Response == nil || len(living(r)) < 3 {
		return band, 0, false
	}
	bands := s.Tap.Response.AgainstMedianDB
	for i, b := range bands {
		if b.Masked || b.Interval == nil || b.MidHz < resonanceLowHz || b.MidHz > resonanceHighHz {
			continue
		}
		around := aroundBand(bands, i, max(s.Tap.Response.BandsPerOctave, 3))
		if h := b.LevelDB - around; !math.IsNaN(h) && h > heightDB {
			band, heightDB = b, h
			ok = b.Interval.Low-around > limitOf(r, "resonance_db").Value
		}
	}
	return band, heightDB, ok
}

// aroundBand is the middle level of the bands half an octave to an octave away.
func aroundBand(bands []result.Band, at, perOctave int) float64 {
	var levels []float64
	for i, b := range bands {
		if d := max(i-at, at-i); 2*d >= perOctave && d <= perOctave && !b.Masked {
			levels = append(levels, b.LevelDB)
		}
	}
	if len(levels) < 4 {
		return math.NaN()
	}
	return stats.Median(levels)
}
