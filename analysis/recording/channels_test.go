package recording

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"saddlewise/analysis/signal"
)

// interleaved puts channels of one length together.
func interleaved(channels ...[]float64) []float64 {
	out := make([]float64, 0, len(channels)*len(channels[0]))
	for i := range channels[0] {
		for _, c := range channels {
			out = append(out, c[i])
		}
	}
	return out
}

func times(x []float64, gain float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = gain * v
	}
	return out
}

// The channel with the taps is chosen, wherever it is and however loud the
// hum of an open input beside it; what the others are is told.
func TestChannelIsChosen(t *testing.T) {
	t.Parallel()
	const rate = 48000
	rng := rand.New(rand.NewPCG(41, 1))
	s := scene{rateHz: rate, kind: "modelled tap", x: make([]float64, 3*rate), noise: 1e-5}
	s.addEvents(rng)
	for i := range s.x {
		s.x[i] += 1e-5 * rng.NormFloat64()
	}
	taps := times(s.x, 0.3)
	hum := sine(len(taps), 50, rate, 0.5, 1)
	faint := times(sine(len(taps), 997, rate, 1, 0), 1e-5)
	zeros := make([]float64, len(taps))
	for _, c := range []struct {
		name     string
		channels [][]float64
		chosen   int
		reason   string
		relation string // of the first other channel
		levelDB  float64
	}{
		{"mono", [][]float64{taps}, 0, "only channel", "", 0},
		{"second dead", [][]float64{taps, zeros}, 0, "no signal", "dead", 0},
		{"first dead", [][]float64{zeros, taps}, 1, "no signal", "dead", 0},
		{"both alike", [][]float64{taps, taps}, 0, "loudest", "identical", 0},
		{"louder copy", [][]float64{times(taps, 0.5), taps}, 1, "loudest", "identical", -6.0206},
		{"inverted", [][]float64{taps, times(taps, -0.5)}, 0, "loudest", "inverted", -6.0206},
		{"humming input", [][]float64{hum, taps}, 1, "stand out", "different", 0},
		{"third of four", [][]float64{hum, faint, taps, zeros}, 2, "stand out", "different", 0},
		{"all dead", [][]float64{zeros, zeros}, 0, "no channel", "dead", 0},
	} {
		f := inspect(t, file24(rate, len(c.channels), interleaved(c.channels...)))
		if f.Chosen != c.chosen || !strings.Contains(f.Reason, c.reason) {
			t.Errorf("%s: channel %d (%s), want %d (%s)", c.name, f.Chosen, f.Reason, c.chosen, c.reason)
			continue
		}
		if len(f.Pairs) != len(c.channels)-1 {
			t.Fatalf("%s: %d pairs", c.name, len(f.Pairs))
		}
		if c.relation == "" {
			continue
		}
		if p := f.Pairs[0]; p.Relation != c.relation || c.levelDB != 0 && (p.LevelDB < c.levelDB-0.01 || p.LevelDB > c.levelDB+0.01) {
			t.Errorf("%s: %+v, want %s at %.2f dB", c.name, p, c.relation, c.levelDB)
		}
	}
}

func TestChannelIsForced(t *testing.T) {
	t.Parallel()
	x := sine(4800, 440, 48000, 0.5, 0)
	f := inspect(t, file24(48000, 3, interleaved(x, times(x, -0.1), make([]float64, len(x)))))
	forced, err := f.Force(2)
	if err != nil || forced.Chosen != 1 || forced.Pairs[0].Other != 0 || forced.Pairs[0].Relation != "inverted" {
		t.Errorf("forced to 2: %+v, %v", forced, err)
	}
	near(t, "level of the first re the second", forced.Pairs[0].LevelDB, 20, 0.01)
	for _, number := range []int{0, -1, 4} {
		if _, err := f.Force(number); err == nil {
			t.Errorf("channel %d of 3 was accepted", number)
		}
	}
	if f.Chosen != 0 {
		t.Errorf("forcing changed the facts it was asked of")
	}
}

// Sixty-four channels are compared on a share of the samples; polarity still
// comes out.
func TestManyChannels(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(42, 1))
	x := make([]float64, 24000)
	for i := range x {
		x[i] = 0.1 * rng.NormFloat64()
	}
	all := make([][]float64, 64)
	for k := range all {
		all[k] = times(x, []float64{1, -1}[k%2]*(0.5+float64(k)/200))
	}
	f := inspect(t, file16(48000, 64, interleaved(all...)))
	for _, p := range f.Pairs {
		want := "identical"
		if (p.Other-f.Chosen)%2 != 0 {
			want = "inverted"
		}
		if p.Relation != want {
			t.Errorf("channel %d beside %d: %+v, want %s", p.Other, f.Chosen, p, want)
		}
	}
}

// What is kept of a short take is what is read of it, on every channel.
func TestShortTakesAreKept(t *testing.T) {
	t.Parallel()
	const frames, channels = 10000, 3
	take := open(t, file24(48000, channels, noisySine(frames, channels, 48000)))
	read := make([][]float64, channels)
	for i := range read {
		read[i] = make([]float64, frames)
		if _, err := take.Channel(i).ReadAt(read[i], 0); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := take.Inspect(t.Context()); err != nil {
		t.Fatal(err)
	}
	for i := range read {
		kept, ok := take.Channel(i).(signal.Memory)
		if !ok || kept.SampleRate != 48000 || !slices.Equal(kept.Samples, read[i]) {
			t.Errorf("channel %d is not kept as it is read", i)
		}
	}
	if _, err := take.Channel(channels).ReadAt(read[0], 0); err == nil {
		t.Error("a channel that is not there was read")
	}
	if err := take.Close(); err != nil {
		t.Fatal(err)
	}
	if _, kept := take.Channel(0).(signal.Memory); kept {
		t.Error("samples are kept after the take was closed")
	}
}
