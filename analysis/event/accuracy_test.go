package event

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

var ratesHz = []float64{44100, 48000, 96000, 192000}

func TestTapsFound(t *testing.T) {
	n := accuracy.Cases(40, 500)
	var onset40, onsetAll, levels []float64
	taps, found, extra, wrong, right, none, doubles, doubleHit, falseDouble := 0, 0, 0, 0, 0, 0, 0, 0, 0
	for c := range n {
		r := rand.New(rand.NewPCG(1, uint64(c)))
		snr := 20 + 40*r.Float64()
		b := randomBench(r, ratesHz[r.IntN(4)])
		src, want := tapTake{taps: 4 + r.IntN(3), snrDB: snr, doubles: 0.15, drift: r.IntN(2) == 0,
			undamped: r.IntN(2) == 0, gapS: 0.25, noise: true}.render(r, b)
		got, err := Find(context.Background(), src, Tap)
		if err != nil {
			t.Fatal(err)
		}
		matched := make([]bool, len(got.Events))
		for _, w := range want {
			taps++
			hit := -1
			for i, e := range got.Events {
				if math.Abs(float64(e.Onset)-w.onset) < 0.004*b.rate {
					hit = i
				}
			}
			if hit < 0 {
				t.Logf("case %d: snr %.0f rate %.0f: tap at %.4f s missed (double %.4f) contact %.2g", c, snr, b.rate, w.onset/b.rate, w.double, b.contactS)
				continue
			}
			found++
			matched[hit] = true
			e := got.Events[hit]
			err := (float64(e.Onset) - w.onset) / b.rate * 1000
			onsetAll = append(onsetAll, err)
			if snr > 38 {
				onset40 = append(onset40, err)
				if math.Abs(err) > 0.1 {
					t.Logf("case %d: snr %.0f rate %.0f onset off by %.3f ms (sd %.3f) contact %.2g shape %d corner %.0f at %.3f", c, snr, b.rate, err, e.OnsetSDSamples/b.rate*1000, b.contactS, b.shape, b.cornerHz, w.onset/b.rate)
				}
			}
			if w.double > 0 {
				doubles++
				if e.DoubleHit {
					doubleHit++
				}
			} else {
				if e.DoubleHit {
					falseDouble++
				}
				l, lerr := MeasureLevel(src, e, Tap, got.NoisePower)
				if lerr != nil {
					t.Errorf("case %d: %v", c, lerr)
				} else {
					levels = append(levels, l.RMSDBFS-w.level)
					if math.Abs(l.RMSDBFS-w.level) > 0.3 {
						t.Logf("case %d: snr %.0f level off by %.3f dB undamped %.2g", c, snr, l.RMSDBFS-w.level, b.stringGain)
					}
				}
			}
			m, merr := FirstMotion(src, e, got.NoisePower)
			if merr != nil {
				t.Fatal(merr)
			}
			switch m.Sign {
			case 0:
				none++
			case w.sign:
				right++
			default:
				wrong++
				t.Logf("case %d: snr %.0f rate %.0f WRONG SIGN onset err %.3f ms conf %.1f rise %.2f contact %.2g corner %.0f", c, snr, b.rate, err, m.Confidence, m.RiseMS, b.contactS, b.cornerHz)
			}
		}
		for i, m := range matched {
			if !m {
				extra++
				t.Logf("case %d: snr %.0f: false event at %.4f s", c, snr, float64(got.Events[i].Onset)/b.rate)
			}
		}
	}
	t.Logf("taps %d found %d (%.2f %%) false %d (%.2f %%)", taps, found, 100*float64(found)/float64(taps), extra, 100*float64(extra)/float64(taps))
	t.Logf("sign right %d none %d wrong %d; doubles %d flagged %d, singles flagged %d", right, none, wrong, doubles, doubleHit, falseDouble)
	accuracy.Report(t, accuracy.Row{Measure: "tap onset", Range: "38-60 dB", Unit: "ms"}, onset40)
	accuracy.Report(t, accuracy.Row{Measure: "tap onset", Range: "20-60 dB", Unit: "ms"}, onsetAll)
	accuracy.Report(t, accuracy.Row{Measure: "tap level", Range: "20-60 dB", Unit: "dB"}, levels)
}
