package pitch

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// pluck is a plucked string with known truth, as it is recorded.
type pluck struct {
	fixtures.PluckedString
	rateHz, seconds float64
	snrDB           float64 // RMS of the first 0.5 s over the noise
	humHz, humDB    float64 // RMS of the mains' first line re the same
	seed            uint64
}

func (p pluck) String() string {
	second := "one polarisation"
	if p.Second != nil {
		second = fmt.Sprintf("second %.4f %.1f dB T60 %.2f", p.Second.Detune, p.Second.LevelDB, p.Second.T60S)
	}
	return fmt.Sprintf("%d: %.0f Hz %.2f s f1 %.3f B %.2g glide %.1f/%.2f %s first %.0f dB T60 %.2f rise %.2f at %.2f SNR %.0f hum %.1f %.0f dB",
		p.seed, p.rateHz, p.seconds, p.F1Hz, p.B, p.GlideCents, p.GlideTauS, second, p.FundamentalDB, p.T60S, p.DampingRise,
		p.PluckAt, p.snrDB, p.humHz, p.humDB)
}

// drawn is a random pluck from the ranges that the measure promises.
func drawn(seed uint64) pluck {
	r := rand.New(rand.NewPCG(seed, 7))
	u := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	p := pluck{seed: seed, rateHz: [...]float64{44100, 48000, 96000, 192000}[r.IntN(4)], seconds: u(0.5, 6), snrDB: u(20, 60)}
	p.F1Hz = 30 * math.Exp(r.Float64()*math.Log(1000.0/30))
	p.PluckAt, p.ReleaseS = u(0.08, 0.5), u(0, 0.0008)
	p.T60S = math.Min(12, u(150, 900)/p.F1Hz+u(0.3, 3))
	p.DampingRise = u(0.02, 0.3)
	if r.Float64() < 0.85 {
		p.B = 1e-5 * math.Exp(r.Float64()*math.Log(200))
	}
	if r.Float64() < 0.6 {
		p.GlideCents, p.GlideTauS = u(1, 30), u(0.02, 0.1)
	}
	if r.Float64() < 0.5 {
		p.Second = &fixtures.Polarisation{Detune: u(0.0002, 0.003), LevelDB: -u(3, 20), T60S: p.T60S * u(0.5, 2)}
		if r.IntN(2) == 0 {
			p.Second.Detune *= -1
		}
	}
	if r.Float64() < 0.4 {
		p.FundamentalDB = -u(5, 30)
	}
	if r.Float64() < 0.5 {
		p.humHz, p.humDB = [...]float64{50, 60}[r.IntN(2)]*u(0.995, 1.005), -u(15, 40)
		if r.Float64() < 0.3 { // right beside a partial
			k := math.Max(1, math.Round(p.F1Hz/p.humHz))
			p.humHz = p.F1Hz / k * u(0.995, 1.005)
		}
	}
	return p
}

// render is the pluck 3 ms after the take's start, with noise and hum.
func (p pluck) render() []float64 {
	r := rand.New(rand.NewPCG(p.seed, 11))
	lead := int(0.003 * p.rateHz)
	x := append(make([]float64, lead), p.PluckedString.Render(p.rateHz, p.seconds, r)...)
	head := x[lead:min(len(x), lead+int(0.5*p.rateHz))]
	var power float64
	for _, v := range head {
		power += v * v / float64(len(head))
	}
	rms := math.Sqrt(power)
	for i, v := range fixtures.White(len(x), rms*math.Pow(10, -p.snrDB/20), r) {
		x[i] += v
	}
	for _, h := range p.hum() {
		z := cmplx.Rect(rms*math.Sqrt2*math.Pow(10, p.humDB/20)*p.humHz/h, h)
		turn := cmplx.Rect(1, 2*math.Pi*h/p.rateHz)
		for i := range x {
			x[i] += imag(z)
			z *= turn
		}
	}
	return x
}

// hum is where its lines lie.
func (p pluck) hum() []float64 {
	if p.humHz == 0 {
		return nil
	}
	return []float64{p.humHz, 2 * p.humHz, 3 * p.humHz, 5 * p.humHz, 7 * p.humHz}
}

// Truth is the string that was rendered. The ranges are those of the measure:
// f1 30 to 1000 Hz, B 0 to 2e-3, 20 to 60 dB over noise, first partial down to
// 30 dB under its due, two polarisations up to 0.3 % apart, hum anywhere and on
// a partial, glides up to 30 cents, 0.5 to 6 s.
func TestFundamentalOfRandomPlucks(t *testing.T) {
	t.Parallel()
	var errs, bErrs, z, bz []float64
	for seed := range accuracy.Cases(30, 1000) {
		p := drawn(uint64(seed))
		got, err := Measure(p.render(), p.rateHz, Options{HumHz: p.hum()})
		if err != nil {
			t.Errorf("%v: %v", p, err)
			continue
		}
		e := cents(got.F1Hz / p.F1Hz)
		if math.Abs(e) > 40 {
			t.Errorf("%v: got %.3f Hz, another partial or octave", p, got.F1Hz)
		}
		if math.Abs(e) > 2 {
			t.Logf("%v: off by %.2f cents, standard error %.2f", p, e, sdCents(got))
		}
		errs = append(errs, e)
		z = append(z, e/sdCents(got))
		if got.HasB && p.B > 0 {
			bz = append(bz, (got.B-p.B)/got.BSD)
		}
		if p.B >= 5e-5 && used(got) >= 8 && got.HasB {
			bErrs = append(bErrs, 100*(got.B/p.B-1))
		}
	}
	ranges := "30-1000 Hz, B 0-2e-3, SNR 20-60 dB, 44.1-192 kHz, 0.5-6 s, beats, hum, glide"
	row := accuracy.Report(t, accuracy.Row{Measure: "fundamental", Range: ranges, Unit: "cents",
		Bound: "no octave or partial error, median 0.3, 95 % 2", Source: "rendered stiff string"}, errs)
	if row.Median > 0.3 || row.P95 > 2 {
		t.Errorf("fundamental: median %.3f, 95 %% %.3f cents", row.Median, row.P95)
	}
	row = accuracy.Report(t, accuracy.Row{Measure: "inharmonicity B", Range: "5e-5 to 2e-3, 8 partials and more", Unit: "%",
		Bound: "95 % within 10", Source: "rendered stiff string"}, bErrs)
	if row.P95 > 10 {
		t.Errorf("B: 95 %% %.2f %%", row.P95)
	}
	row = accuracy.Report(t, accuracy.Row{Measure: "fundamental, error over its standard error", Range: ranges, Unit: "",
		Bound: "95 % within 2.5", Source: "rendered stiff string"}, z)
	if row.P95 > 2.5 {
		t.Errorf("standard errors too small: 95 %% of errors within %.2f of them", row.P95)
	}
	row = accuracy.Report(t, accuracy.Row{Measure: "inharmonicity B, error over its standard error", Range: ranges, Unit: "",
		Bound: "95 % within 2.5", Source: "rendered stiff string"}, bz)
	if row.P95 > 2.5 {
		t.Errorf("standard errors of B too small: 95 %% of errors within %.2f of them", row.P95)
	}
}

// Notes shorter than the measure's range: errors grow, and so must the
// standard error, that two of them hold 95 % of the plucks.
func TestShortNotesSayHowWellTheyAreKnown(t *testing.T) {
	t.Parallel()
	var errs []float64
	held := 0
	for seed := range accuracy.Cases(40, 400) {
		p := drawn(800000 + uint64(seed))
		p.rateHz, p.seconds = 22050, 0.3+0.2*rand.New(rand.NewPCG(uint64(seed), 12)).Float64()
		got, err := Measure(p.render(), p.rateHz, Options{HumHz: p.hum()})
		if err != nil {
			continue
		}
		e := cents(got.F1Hz / p.F1Hz)
		errs = append(errs, e)
		if math.Abs(e) <= 2*sdCents(got) {
			held++
		}
	}
	share := float64(held) / float64(len(errs))
	accuracy.Report(t, accuracy.Row{Measure: "fundamental of short notes", Range: "0.3-0.5 s, else as above", Unit: "cents",
		Bound: fmt.Sprintf("two standard errors hold 95 %%: %.1f %% do", 100*share), Source: "rendered stiff string"}, errs)
	if room := 0.015 + 1/float64(len(errs)); share < 0.95-room {
		t.Errorf("two standard errors hold %.1f %% of %d", 100*share, len(errs))
	}
}

func sdCents(p Pitch) float64 { return 1200 / math.Ln2 * p.F1SDHz / p.F1Hz }

func used(p Pitch) int {
	n := 0
	for _, q := range p.Partials {
		if q.Used {
			n++
		}
	}
	return n
}

// A second polarisation nearly as strong as the first may be taken for it: two
// standard errors must hold the first all the same.
func TestNearEqualPolarisationsSayHowWellTheyAreKnown(t *testing.T) {
	t.Parallel()
	held, count := 0, accuracy.Cases(20, 200)
	for seed := range count {
		p := drawn(600000 + uint64(seed))
		r := rand.New(rand.NewPCG(uint64(seed), 99))
		u := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
		p.Second = &fixtures.Polarisation{Detune: u(0.0002, 0.003), LevelDB: -u(0, 6), T60S: p.T60S * u(0.5, 2)}
		if r.IntN(2) == 0 {
			p.Second.Detune *= -1
		}
		got, err := Measure(p.render(), p.rateHz, Options{HumHz: p.hum()})
		if err != nil {
			t.Errorf("%v: %v", p, err)
			continue
		}
		if e := cents(got.F1Hz / p.F1Hz); math.Abs(e) <= 2*sdCents(got) {
			held++
		} else {
			t.Logf("%v: off by %.2f cents, standard error %.2f", p, e, sdCents(got))
		}
	}
	share := float64(held) / float64(count)
	t.Logf("two standard errors hold %.1f %% of %d", 100*share, count)
	if room := 0.015 + 1/float64(count); share < 0.95-room {
		t.Errorf("two standard errors hold %.1f %% of %d", 100*share, count)
	}
}
