package recording

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// gate mutes what follows each event after hold seconds, with a short ramp,
// until the next event.
func (s *scene) gate(holdS, rampS float64) (muted int) {
	ramp := int(rampS * s.rateHz)
	for k := -1; k < len(s.onsets); k++ {
		from, to := 0, len(s.x)
		if k >= 0 {
			from = s.onsets[k] + int(holdS*s.rateHz)
		}
		if k+1 < len(s.onsets) {
			to = s.onsets[k+1]
		}
		for i := from; i < to; i++ {
			if i-from < ramp {
				s.x[i] *= 1 - float64(i-from)/float64(ramp)
				continue
			}
			s.x[i] = 0
			muted++
		}
	}
	return muted
}

func TestGatesAreMeasured(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(40, 500)
	var offS []float64
	abrupt, runs := 0, 0
	for k := range cases {
		rng := rand.New(rand.NewPCG(31, uint64(k)))
		s := randomScene(rng)
		muted := float64(s.gate(0.1, 0.005*rng.Float64())) / s.rateHz
		f := inspect(t, file24(int(s.rateHz), 1, s.x)).Channels[0]
		offS = append(offS, f.ZeroSeconds-muted)
		abrupt, runs = abrupt+f.AbruptZeros, runs+f.ZeroRuns
	}
	t.Logf("cut off a live signal: %d of %d runs", abrupt, runs)
	row := accuracy.Report(t, accuracy.Row{
		Measure: "digital silence", Range: "gated taps and plucks, 8 to 192 kHz", Unit: "s",
		Bound: "0.02 s", Source: "muted samples counted",
	}, offS)
	if row.P95 > 0.02 {
		t.Errorf("muted time is off by %.4f s at the 95th percentile", row.P95)
	}
}

// Noise below the last bit is rounded to zeros by itself: such runs are
// counted and known for what they are.
func TestSilenceUnderTheLastBitIsNoGate(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(30, 500)
	runs, abrupt, steps := 0, 0, 0
	for k := range cases {
		rng := rand.New(rand.NewPCG(32, uint64(k)))
		s := randomScene(rng)
		clear(s.x)
		s.onsets = nil
		rms := (0.02 + 0.2*rng.Float64()) / 32768
		for i := range s.x {
			s.x[i] = rms * rng.NormFloat64()
		}
		s.addEvents(rng)
		f := inspect(t, file16(int(s.rateHz), 1, s.x)).Channels[0]
		if f.Steps > 0 {
			t.Logf("case %d, %s at %g Hz: steps at %v, onsets %v", k, s.kind, s.rateHz, f.StepsAtS, seconds(s.onsets, s.rateHz))
		}
		runs, abrupt, steps = runs+f.ZeroRuns, abrupt+f.AbruptZeros, steps+f.Steps
	}
	t.Logf("%d runs of zeros, %d called abrupt, %d steps", runs, abrupt, steps)
	if runs == 0 || float64(abrupt) > 0.01*float64(runs) || steps > 1+cases/200 {
		t.Errorf("%d runs of zeros, %d called abrupt, %d steps", runs, abrupt, steps)
	}
}

func TestDeadChannels(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		x    float64
		step float64
		dead bool
	}{
		{"zeros", 0, 0, true},
		{"constant", 0.25, 0, true},
		{"last bit", 0, 1.0 / 32768, true},
		{"quiet", 0, 4.0 / 32768, false},
	} {
		x := make([]float64, 4800)
		for i := range x {
			x[i] = c.x + c.step*float64(i%2)
		}
		if f := inspect(t, file16(48000, 1, x)).Channels[0]; f.Dead != c.dead || f.ClipRuns+f.FlatTops+f.Steps > 0 {
			t.Errorf("%s: dead %v, want %v; %d clips, %d steps", c.name, f.Dead, c.dead, f.ClipRuns, f.Steps)
		}
	}
}

// levelled is what a recorder's automatic gain makes of x: the gain falls at
// once to keep peaks at target and rises again at a steady rate.
func levelled(x []float64, rateHz, target, fullDB, recoverDBPerS float64) []float64 {
	out := make([]float64, len(x))
	gain, rise := math.Pow(10, fullDB/20), math.Pow(10, recoverDBPerS/20/rateHz)
	most := gain
	for i, v := range x {
		gain = math.Min(most, gain*rise)
		if a := math.Abs(v) * gain; a > target {
			gain *= 1 - (1-target/a)*0.2
		}
		out[i] = gain * v
	}
	return out
}

// A gain that creeps back by 8 to 20 dB a second is found where there are
// three pauses to see it in; healthy takes do not seem to have one. A string
// that rings through the pauses hides it.
func TestGainRiding(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(40, 500)
	found, drawn, wrong := 0, 0, 0 // drawn: with three pauses or more
	for k := range cases {
		rng := rand.New(rand.NewPCG(33, uint64(k)))
		s := randomTake(rng)
		if f := inspect(t, s.keep(rng)).Channels[0]; f.GainRiding {
			wrong++
			t.Logf("case %d, %s at %g Hz: %d pauses, %.1f dB", k, s.kind, s.rateHz, f.Gaps, f.GainRidingDB)
		}
		peak := 0.0
		for _, v := range s.x {
			peak = math.Max(peak, math.Abs(v))
		}
		fullDB := 12 + 12*rng.Float64()
		s.x = levelled(s.x, s.rateHz, peak*0.5, fullDB, 8+12*rng.Float64())
		f := inspect(t, s.keep(rng)).Channels[0]
		if f.Gaps < 3 {
			continue
		}
		drawn++
		if f.GainRiding {
			found++
		}
	}
	t.Logf("gain riding: found %d of %d with pauses; wrongly seen %d of %d", found, drawn, wrong, cases)
	if drawn < cases/4 || float64(wrong) > 1+0.005*float64(cases) || float64(found) < 0.8*float64(drawn) {
		t.Errorf("gain riding: found %d of %d; wrongly seen %d of %d", found, drawn, wrong, cases)
	}
}

// randomTake is a scene long enough for pauses: five events over 8 s.
func randomTake(rng *rand.Rand) scene {
	s := scene{rateHz: sceneRates[rng.IntN(4)], kind: sceneKinds[rng.IntN(4)]}
	n := int(8 * s.rateHz)
	s.noise = math.Pow(10, (-90+20*rng.Float64())/20) / math.Sqrt2
	s.x = make([]float64, n)
	for i := range s.x {
		s.x[i] = s.noise * rng.NormFloat64()
	}
	for k := range 5 {
		at := int((0.7 + 1.4*float64(k) + 0.2*rng.Float64()) * s.rateHz)
		gain := 0.3 * math.Pow(10, 0.1*rng.NormFloat64())
		for i, v := range s.event(rng, 1.3) {
			s.x[min(at+i, n-1)] += gain * v
		}
	}
	return s
}
