package recording

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures/accuracy"
)

func clipped(x []float64, low, high float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Max(low, math.Min(high, v))
	}
	return out
}

// A sine of 1.2 times the limit is cut once each half period.
func TestClippingIsCounted(t *testing.T) {
	t.Parallel()
	const rate, hz = 48000, 110.0
	for _, c := range []struct {
		name      string
		low, high float64
		runs      int // in one second
		level     float64
	}{
		{"at full scale", -1, 1, 220, 0},
		{"at 0.7, ahead of the converter", -0.7, 0.7, 220, -3.0980},
		{"upper side only", -2, 0.5, 110, -6.0206},
		{"none", -2, 2, 0, 0},
	} {
		x := clipped(sine(rate, hz, rate, math.Min(1.2*c.high, 0.99), 0), c.low, c.high)
		if c.high == 1 {
			x = clipped(sine(rate, hz, rate, 1.2, 0), c.low, c.high)
		}
		for width, file := range map[string][]byte{"16": file16(rate, 1, x), "24": file24(rate, 1, x), "float": fileFloat(rate, 1, x)} {
			f := inspect(t, file).Channels[0]
			if math.Abs(float64(f.ClipRuns-c.runs)) > 2 {
				t.Errorf("%s, %s: %d runs, want %d", c.name, width, f.ClipRuns, c.runs)
			}
			if c.runs > 0 {
				near(t, c.name+" level", f.ClipLevelDB, c.level, 0.01)
				near(t, c.name+" first", f.FirstClipS, math.Asin(1/1.2)/(2*math.Pi*hz), 0.006)
			}
		}
	}
}

// Converter noise on flat tops leaves no two samples alike; the tops are
// still flat.
func TestFlatTopsUnderNoise(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(50, 500)
	found := 0
	for k := range cases {
		rng := rand.New(rand.NewPCG(21, uint64(k)))
		rate := sceneRates[2+rng.IntN(3)]
		limit := 0.2 + 0.6*rng.Float64()
		x := clipped(sine(int(rate), 60+300*rng.Float64(), rate, limit*(1.15+rng.Float64()), 6*rng.Float64()), -limit, limit)
		for i := range x {
			x[i] += limit * 5e-4 * rng.NormFloat64()
		}
		f := inspect(t, file24(int(rate), 1, x)).Channels[0]
		if f.FlatTops >= 3 && math.Abs(f.FlatTopDB-signal.AmplitudeToDB(limit)) < 0.1 {
			found++
		}
	}
	t.Logf("flat tops found in %d of %d takes", found, cases)
	if float64(found) < 0.98*float64(cases) {
		t.Errorf("flat tops found in %d of %d takes", found, cases)
	}
}

// Neither the events of healthy takes nor steady tones of any coding have
// clipped tops.
func TestSmoothTopsAreNotClipped(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(90, 800)
	clips, flats := 0, 0
	for k := range cases {
		rng := rand.New(rand.NewPCG(22, uint64(k)))
		f := inspect(t, smoothTake(rng, k)).Channels[0]
		if f.ClipRuns > 0 {
			clips++
			t.Logf("case %d: %d clip runs at %.2f dB, bits %d", k, f.ClipRuns, f.ClipLevelDB, f.BitsUsed)
		}
		if f.FlatTops > 0 {
			flats++
			t.Logf("case %d: %d flat tops at %.2f dB", k, f.FlatTops, f.FlatTopDB)
		}
	}
	t.Logf("false clipping: %d exact and %d flat of %d takes", clips, flats, cases)
	if limit := 1 + 0.005*float64(cases); float64(clips) > limit || float64(flats) > limit {
		t.Errorf("false clipping: %d exact and %d flat of %d takes", clips, flats, cases)
	}
}

// smoothTake is a scene that does not reach full scale, or a tone, clean or
// noisy, of few bits or many.
func smoothTake(rng *rand.Rand, k int) []byte {
	if k%2 == 0 {
		s := randomScene(rng)
		peak := 0.0
		for _, v := range s.x {
			peak = math.Max(peak, math.Abs(v))
		}
		for i := range s.x {
			s.x[i] *= math.Min(1, 0.9/peak)
		}
		return s.keep(rng)
	}
	rate := sceneRates[rng.IntN(5)]
	x := sine(int(rate), 15*math.Pow(100, rng.Float64()), rate, 0.95*math.Pow(10, -2*rng.Float64()), 6*rng.Float64())
	noise := math.Pow(10, -6+3*rng.Float64()) * float64(rng.IntN(2))
	for i := range x {
		x[i] += noise * rng.NormFloat64()
	}
	switch rng.IntN(4) {
	case 0: // 16 bits scaled down and kept as float
		for i := range x {
			x[i] = 0.7 * math.Round(x[i]*32768) / 32768
		}
		return fileFloat(int(rate), 1, x)
	case 1:
		return riffOf(chunk("fmt ", fmtBody(tagPCM, 1, int(rate), 8, 1)), chunk("data", pcm(x, 1)))
	case 2:
		return file16(int(rate), 1, x)
	}
	return file24(int(rate), 1, x)
}

func TestBitsInUse(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 3))
	x := make([]float64, 5000)
	for i := range x {
		x[i] = rng.Float64() - 0.5
	}
	rounded := func(bits float64) []float64 {
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = math.Round(v*math.Exp2(bits-1)) / math.Exp2(bits-1)
		}
		return out
	}
	for _, c := range []struct {
		name string
		file []byte
		want int
	}{
		{"24 in 24", file24(48000, 1, x), 24},
		{"16 in 24", file24(48000, 1, rounded(16)), 16},
		{"20 in 24", file24(48000, 1, rounded(20)), 20},
		{"12 in 16", file16(48000, 1, rounded(12)), 12},
		{"16 in float", fileFloat(48000, 1, rounded(16)), 16},
		{"24 in float", fileFloat(48000, 1, rounded(24)), 24},
		{"double precision", riffOf(chunk("fmt ", fmtBody(tagFloat, 1, 48000, 64, 8)), chunk("data", float64s(x))), 0},
	} {
		if got := inspect(t, c.file).Channels[0].BitsUsed; got != c.want {
			t.Errorf("%s: %d bits, want %d", c.name, got, c.want)
		}
	}
}
