package report

import (
	"fmt"
	"math"
	"math/rand/v2"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// sample invents results for n strings, so that drawing and writing can be
// tried on any number without recordings. Its numbers mean nothing.
func sample(n int) *result.Results {
	rng := rand.New(rand.NewPCG(uint64(n), 7))
	notes := []string{"E4", "B3", "G3", "D3", "A2", "E2", "B1", "F#1", "C#1", "G#0", "D#0", "A#0"}
	r := &result.Results{
		SchemaVersion: result.SchemaVersion, Tool: "saddlewise test",
		Stage: result.Stage{
			Name: "wired", Build: "Sample build", NextStep: "gluing", A4Hz: 440,
			Limits: []result.Limit{{Key: "balance_db", Value: 3, Unit: "dB", Meaning: "largest imbalance"}},
		},
		Verdict: result.Verdict{Word: result.Stop, NextStep: "gluing", Sentence: "One disc is the wrong way round."},
		Quiet:   []result.Quiet{sampleQuiet(rng, "quiet", false), sampleQuiet(rng, "quiet with hand", true)},
	}
	for i := range n {
		r.Strings = append(r.Strings, sampleString(rng, i+1, notes[i], 330*math.Pow(0.75, float64(i))))
		r.Stage.Tuning = append(r.Stage.Tuning, result.StringTarget{Number: i + 1, Note: notes[i]})
	}
	return r
}

func quantityOf(mid, half float64, n int) result.Quantity {
	return result.Quantity{Estimate: &stats.Estimate{Median: mid, N: n,
		Interval: &stats.Interval{Low: mid - half, High: mid + half, Coverage: 0.95}}}
}

func sampleString(rng *rand.Rand, number int, note string, hz float64) result.String {
	sign, rel := 1, "same"
	if number == 2 {
		sign, rel = -1, "reversed"
	}
	balance := rng.NormFloat64() * 2
	s := result.String{Number: number, Note: note}
	s.Tap = &result.Tap{
		LevelDBFS: quantityOf(-24+balance, 1, 8), BalanceDB: quantityOf(balance, 1, 8), SNRDB: quantityOf(60, 1, 8),
		Polarity: result.Polarity{Up: 8 * max(sign, 0), Down: 8 * max(-sign, 0), Sign: sign, Relative: rel},
		Waveform: sampleWaveform(float64(sign)),
		Response: sampleResponse(rng),
	}
	s.Pluck = &result.Pluck{
		LevelDBFS: quantityOf(-20, 0.5, 4), BalanceDB: quantityOf(-balance/2, 0.6, 4),
		F1Hz: quantityOf(hz, 0.02, 4), Cents: quantityOf(rng.NormFloat64()*4, 0.3, 4), T60S: quantityOf(4, 0.2, 4),
		Spectrum: sampleSpectrum(rng, hz), Decay: sampleDecay(rng),
	}
	return s
}

func sampleWaveform(sign float64) *result.Waveform {
	w := &result.Waveform{StartMS: -1, StepMS: 0.05, N: 8}
	for i := range 140 {
		t := -1 + float64(i)*0.05
		v := 0.0
		if t > 0 {
			v = sign * 0.2 * math.Sin(2*math.Pi*t/3) * math.Exp(-t/2.5)
		}
		w.Median, w.Low, w.High = append(w.Median, v), append(w.Low, v*0.8-0.004), append(w.High, v*1.2+0.004)
	}
	return w
}

func sampleResponse(rng *rand.Rand) *result.TapResponse {
	t := &result.TapResponse{BandsPerOctave: 6, HighDB: quantityOf(-12+rng.NormFloat64()*3, 1, 8)}
	for hz := 56.0; hz < 16000; hz *= math.Pow(2, 1.0/6) {
		v := -10*math.Abs(math.Log2(hz/600)) + rng.NormFloat64()
		band := result.Band{MidHz: hz, LevelDB: v, N: 8, Masked: hz > 11000,
			Interval: &stats.Interval{Low: v - 1.5, High: v + 1.5, Coverage: 0.95}}
		t.Bands = append(t.Bands, band)
		band.LevelDB, band.Interval = rng.NormFloat64()*2, &stats.Interval{Low: -3, High: 3, Coverage: 0.95}
		t.AgainstMedianDB = append(t.AgainstMedianDB, band)
	}
	return t
}

func sampleSpectrum(rng *rand.Rand, hz float64) *result.Spectrum {
	sp := &result.Spectrum{}
	for n := 1; n <= 14; n++ {
		sp.Partials = append(sp.Partials, result.Partial{N: n, Hz: float64(n) * hz, LevelDB: -4 * float64(n-1), Used: true})
	}
	for f := 20.0; f < 20000; f *= 1.006 {
		v := -85 + 3*rng.NormFloat64()
		for _, part := range sp.Partials {
			v = math.Max(v, part.LevelDB-math.Pow(math.Abs(f-part.Hz)/2, 1.2))
		}
		sp.Hz, sp.LevelDB = append(sp.Hz, f), append(sp.LevelDB, v)
	}
	return sp
}

func sampleDecay(rng *rand.Rand) *result.DecayCurve {
	noise := -58.0
	d := &result.DecayCurve{NoiseDB: &noise}
	for t := 0.0; t < 5; t += 0.02 {
		d.TimeS = append(d.TimeS, t)
		d.LevelDB = append(d.LevelDB, 10*math.Log10(math.Pow(10, -1.5*t)+1e-6)+0.3*rng.NormFloat64())
		if t < 1.7 {
			d.FitTimeS, d.FitDB = append(d.FitTimeS, t), append(d.FitDB, -15*t)
		}
	}
	return d
}

func sampleQuiet(rng *rand.Rand, label string, hand bool) result.Quiet {
	q := result.Quiet{Label: label, Hand: hand, FloorDBFS: quantityOf(-78, 0.3, 12), FloorADBFS: quantityOf(-86, 0.3, 12),
		Hum: &result.Hum{MainsHz: 50.01, MainsNominal: 50, Certain: true, TotalDBFS: -82}}
	for f := 10.0; f < 22000; f *= 1.01 {
		v := -120 - 6*math.Log2(1+f/800) + 2*rng.NormFloat64()
		for n := 1; n < 8; n++ {
			if math.Abs(f-50*float64(n)) < 0.6 {
				v = -85 - 5*float64(n)
			}
		}
		q.PSD.Hz, q.PSD.DBFSPerHz = append(q.PSD.Hz, f), append(q.PSD.DBFSPerHz, v)
	}
	for n := 1; n < 8; n++ {
		q.Hum.Lines = append(q.Hum.Lines, result.Line{Order: n, Hz: 50 * float64(n), LevelDBFS: -84, AboveFloorDB: float64(30 - 5*n)})
	}
	return q
}

func sampleName(n int) string { return fmt.Sprintf("%d-strings", n) }
