package response

import (
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// quarter is a tap of a quarter second after a lead of 2 ms, a background of a
// second, and the tap without noise.
func noisyTap(rng *rand.Rand, rateHz, contactS, snrDB float64) (tap, background, clean []float64, lead int) {
	lead = int(0.002 * rateHz)
	hit := fixtures.Tap{ContactS: contactS, Sign: 1, Modes: fixtures.BridgeModes()}.Render(rateHz, 0.25)
	clean = append(make([]float64, lead), hit...)
	rms := math.Sqrt(signal.MeanSquare(hit[:int(0.05*rateHz)]))
	noise := fixtures.White(len(clean)+int(rateHz), rms*math.Pow(10, -snrDB/20), rng)
	fixtures.Hum{MainsHz: 50, Lines: []fixtures.HumLine{{Order: 1, LevelDBFS: 20*math.Log10(rms) - snrDB, Phase: rng.Float64()}}}.Add(noise, rateHz, 1)
	tap = append([]float64(nil), clean...)
	for i := range tap {
		tap[i] += noise[i] + 0.003
	}
	return tap, noise[len(clean):], clean, lead
}

func spectrumOf(x []float64, rateHz float64, lead int) Spectrum {
	s, _ := NewSpectrometer(rateHz, len(x)).Both(Stretch{x, lead}, Stretch{})
	return s
}

// Two stretches at once give what each gives alone.
func TestBothAsEachAlone(t *testing.T) {
	tap, hush, _, lead := noisyTap(rand.New(rand.NewPCG(56, 1)), 48000, 0.001, 40)
	stretches := []Stretch{{tap, lead}, {hush, len(hush)}}
	m := NewSpectrometer(48000, max(len(tap), len(hush)))
	first, second := m.Both(stretches[0], stretches[1])
	for i, got := range []Spectrum{first, second} {
		want, _ := m.Both(stretches[i], Stretch{})
		if math.Abs(got.Second/want.Second-1) > 1e-12 {
			t.Errorf("stretch %d lasts %g s beside the other, %g s alone", i, got.Second, want.Second)
		}
		for _, band := range Bands(6, 48000) {
			got, want := got.energy.Band(band.LowHz, band.HighHz), want.energy.Band(band.LowHz, band.HighHz)
			if math.Abs(got/want-1) > 1e-9 {
				t.Errorf("stretch %d at %.0f Hz: %g beside the other, %g alone", i, band.MidHz, got, want)
			}
		}
	}
}

// Truth: the same tap without noise.
func TestTapBandsAgainstCleanTap(t *testing.T) {
	var errs []float64
	for i := range accuracy.Cases(25, 500) {
		rng := rand.New(rand.NewPCG(51, uint64(i)))
		rate := []float64{44100, 48000, 96000, 192000}[rng.IntN(4)]
		tap, hush, clean, lead := noisyTap(rng, rate, 0.0005+0.0025*rng.Float64(), 20+40*rng.Float64())
		background := spectrumOf(hush, rate, len(hush))
		bands := Bands([]int{3, 6, 12}[rng.IntN(3)], rate)
		got := TapFrom(spectrumOf(tap, rate, lead), &background, bands)
		want := TapFrom(spectrumOf(clean, rate, lead), nil, bands)
		for j := range bands {
			// The hum's phase against the tap's is luck: bands beside it are left to their interval.
			if got.AboveNoiseDB[j] >= 20 && math.Abs(bands[j].MidHz-50) > 15 {
				errs = append(errs, got.LevelDB[j]-want.LevelDB[j])
			}
		}
	}
	r := accuracy.Report(t, accuracy.Row{Measure: "tap response", Range: "1/3 to 1/12 octave, bands 20 dB above noise", Unit: "dB",
		Bound: "median 0.05, 95 % within 0.3 dB", Source: "the same taps without noise"}, errs)
	if r.Median > 0.05 || r.P95 > 0.3 {
		t.Errorf("median %.2f, 95 %% %.2f dB", r.Median, r.P95)
	}
}

// Noise adds its energy to every tap: taken off, the mean energy is right
// even in bands near the mask.
func TestNoiseIsTakenOff(t *testing.T) {
	const rate, draws = 48000, 60
	bands := Bands(3, rate)
	sum, count := make([]float64, len(bands)), 0
	rng := rand.New(rand.NewPCG(52, 1))
	_, _, clean, lead := noisyTap(rng, rate, 0.001, 30)
	want := TapFrom(spectrumOf(clean, rate, lead), nil, bands)
	rms := math.Sqrt(signal.MeanSquare(clean)) / 3
	for range draws {
		noise := fixtures.White(len(clean)+rate, rms, rng)
		hush := noise[len(clean):]
		background := spectrumOf(hush, rate, len(hush))
		tap := append([]float64(nil), clean...)
		for i := range tap {
			tap[i] += noise[i]
		}
		got := TapFrom(spectrumOf(tap, rate, lead), &background, bands)
		for j := range bands {
			sum[j] += math.Pow(10, (got.LevelDB[j]-want.LevelDB[j])/10) / draws
		}
	}
	cleanSpectrum, density := spectrumOf(clean, rate, lead), 2*rms*rms/rate
	for j, b := range bands {
		noise := density * (b.HighHz - b.LowHz) * cleanSpectrum.Second
		over := 10 * math.Log10(cleanSpectrum.energy.Band(b.LowHz, b.HighHz)/noise)
		if over < 1 || over > 20 || b.MidHz < 200 {
			continue
		}
		count++
		if math.Abs(sum[j]-1) > 0.05 {
			t.Errorf("%.0f Hz, %.1f dB over the noise: %.2f of the tap's energy", b.MidHz, over, sum[j])
		}
	}
	if count < 2 {
		t.Errorf("only %d bands tested", count)
	}
}

// A first-order low-pass (a weak bond) against two sound strings: the
// difference is its closed form, 10 log10(1 + (f/fc)^2), at each midband.
func TestDullStringAgainstMedian(t *testing.T) {
	const rate, corner = 192000.0, 1500.0
	bands := Bands(6, rate)
	hit := fixtures.Tap{ContactS: 0.0005, Sign: 1}.Render(rate, 0.25)
	dull := append([]float64(nil), hit...)
	a := math.Exp(-2 * math.Pi * corner / rate)
	y := 0.0
	for i, v := range dull {
		y = a*y + (1-a)*v
		dull[i] = y
	}
	read := func(x []float64) []BandLevel {
		one := TapFrom(spectrumOf(x, rate, 0), nil, bands)
		return Over([]TapBands{one, one, one}, bands)
	}
	strings := [][]BandLevel{read(hit), read(dull), read(hit)}
	against := AgainstMedian(strings)
	shift := func(hz float64) float64 { return -10 * math.Log10(1+hz*hz/(corner*corner)) }
	at := func(hz float64) int {
		for j, b := range bands {
			if b.LowHz <= hz && hz < b.HighHz {
				return j
			}
		}
		t.Fatalf("no band at %g Hz", hz)
		return 0
	}
	base := against[1][at(500)].Level.Median - shift(bands[at(500)].MidHz)
	for _, hz := range []float64{100, 250, 1100, 1500, 3000} {
		j := at(hz)
		got, want := against[1][j].Level.Median-base, shift(bands[j].MidHz)
		if math.Abs(got-want) > 0.15 {
			t.Errorf("at %.0f Hz the dull string lies %.2f dB below, want %.2f", bands[j].MidHz, -got, -want)
		}
		if d := against[0][j].Level.Median; math.Abs(d) > 1e-9 {
			t.Errorf("at %.0f Hz a sound string lies %.3f dB off the median", bands[j].MidHz, d)
		}
	}
}

func TestBandsInNoiseAreMasked(t *testing.T) {
	const rate = 48000
	rng := rand.New(rand.NewPCG(53, 1))
	bands := Bands(6, rate)
	hush := fixtures.White(rate, 0.01, rng)
	background := spectrumOf(hush, rate, len(hush))
	var taps []TapBands
	for range 5 {
		only := fixtures.White(rate/4, 0.01, rng)
		taps = append(taps, TapFrom(spectrumOf(only, rate, 96), &background, bands))
	}
	for _, b := range Over(taps, bands) {
		if !b.Masked {
			t.Errorf("noise alone counts as a tap in the band at %.0f Hz", b.Band.MidHz)
		}
	}
	if !math.IsNaN(taps[0].High) {
		t.Errorf("noise alone gives a treble of %g dB", taps[0].High)
	}
}

// Parseval: the energy of a spectrum is the sum of squares over the rate.
func TestSpectrumKeepsEnergy(t *testing.T) {
	for _, n := range []int{64, 1001, 12000, 48001} {
		x := fixtures.White(n, 0.1, rand.New(rand.NewPCG(54, uint64(n))))
		s := spectrumOf(x, 48000, 0)
		want := 0.0
		for i, v := range x {
			g := halfCosine(n-1-i, n/10)
			want += v * v * g * g / 48000
		}
		if got := s.energy.Band(0, 24000); math.Abs(got/want-1) > 0.03 {
			t.Errorf("%d samples: energy %g, want %g", n, got, want)
		}
	}
}

func TestAgreement(t *testing.T) {
	same := TapBands{LevelDB: []float64{1, 2, 3}}
	other := TapBands{LevelDB: []float64{3, 4, 5}}
	if got := AgreementDB([]TapBands{same, other}); math.Abs(got-math.Sqrt2) > 1e-12 {
		t.Errorf("taps 2 dB apart agree within %g dB, want √2", got)
	}
	if !math.IsNaN(AgreementDB([]TapBands{same})) {
		t.Error("one tap agrees with itself")
	}
}

func BenchmarkTapResponse(b *testing.B) {
	rng := rand.New(rand.NewPCG(55, 1))
	tap, hush, _, lead := noisyTap(rng, 48000, 0.001, 40)
	background := spectrumOf(hush, 48000, len(hush))
	bands := Bands(6, 48000)
	m := NewSpectrometer(48000, len(tap))
	for b.Loop() {
		for _, s := range both(m.Both(Stretch{tap, lead}, Stretch{tap, lead})) {
			TapFrom(s, &background, bands)
		}
	}
}

func both(a, b Spectrum) [2]Spectrum { return [2]Spectrum{a, b} }
