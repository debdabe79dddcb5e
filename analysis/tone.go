package analysis

import (
	"math"

	"saddlewise/analysis/result"
)

// toneOf gathers the reference tone of one string from all its takes.
func toneOf(takes []measured, indexes []int, nominalHz float64) *result.Tone {
	t := &result.Tone{Takes: indexes, Harmonics: []result.Harmonic{}}
	var hz, level, t60, thd, thdn []result.Value
	for _, k := range indexes {
		for n, s := range takes[k].tone.Strikes {
			hz, level = appendValue(hz, k, n, s.Hz), appendValue(level, k, n, s.LevelDBFS)
			thd, thdn = appendValue(thd, k, n, s.THDDB), appendValue(thdn, k, n, s.THDNDB)
			if s.T60Seconds > 0 {
				t60 = appendValue(t60, k, n, s.T60Seconds)
			}
			if s.ClangHz > 0 && t.ClangHz == nil {
				t.ClangHz, t.ClangDB = pointer(s.ClangHz), pointer(s.ClangRelDB)
			}
			if len(t.Harmonics) == 0 {
				for _, h := range s.Harmonics {
					t.Harmonics = append(t.Harmonics, result.Harmonic{Order: h.Order, Hz: h.Hz, LevelDB: h.RelDB, Masked: h.Masked})
				}
			}
		}
	}
	t.Hz, t.LevelDBFS = summarize(hz, "no strike could be measured"), summarize(level, "no strike could be measured")
	t.T60S = summarize(t60, "steady: no decay seen")
	t.THDDB, t.THDNDB = summarize(thd, "no harmonic could be measured"), summarize(thdn, "no residue could be measured")
	if nominalHz > 0 {
		t.NominalHz = &nominalHz
		t.OffsetPPM = mapped(t.Hz, func(f float64) float64 { return 1e6 * (f/nominalHz - 1) })
		t.Cents = mapped(t.Hz, func(f float64) float64 { return 1200 * math.Log2(f/nominalHz) })
	} else {
		t.Cents.Reason = "no reference_tone_hz is given"
	}
	return t
}
