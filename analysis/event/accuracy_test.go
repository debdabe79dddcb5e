package event

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"saddlewise/analysis/signal"
	"saddlewise/fixtures/accuracy"
)

var ratesHz = []float64{44100, 48000, 96000, 192000}

// tapScore counts what a run over random takes of taps gave.
type tapScore struct {
	taps, found, extra                         int
	right, wrong, wrongAbove30, none           int
	doubles, doublesTold, singles, singlesTold int
	onsetMS, onset40MS, levelDB                []float64
}

func TestTapsFound(t *testing.T) {
	t.Parallel()
	var s tapScore
	for c := range accuracy.Cases(24, 500) {
		r := rand.New(rand.NewPCG(1, uint64(c)))
		snr := 20 + 40*r.Float64()
		b := randomBench(r, ratesHz[r.IntN(4)])
		src, want := tapTake{taps: 4 + r.IntN(3), snrDB: snr, doubles: 0.15, drift: r.IntN(2) == 0,
			undamped: r.IntN(2) == 0, touch: r.IntN(2) == 0, gapS: 0.25, noise: true}.render(r, b)
		s.take(t, src, want, snr, c)
	}
	t.Logf("of %d taps %d found, %d false", s.taps, s.found, s.extra)
	t.Logf("sign: %d right, %d cannot tell, %d wrong (%d above 30 dB)", s.right, s.none, s.wrong, s.wrongAbove30)
	t.Logf("double hits: %d of %d told; %d of %d single taps taken for one", s.doublesTold, s.doubles, s.singlesTold, s.singles)
	if float64(s.found) < 0.995*float64(s.taps) || float64(s.extra) > 0.005*float64(s.taps) {
		t.Error("want 99.5 % found and under 0.5 % false")
	}
	if s.wrongAbove30 > 0 || float64(s.wrong) > 0.001*float64(s.taps) {
		t.Error("want signs 99.9 % right or cannot tell, and none wrong above 30 dB")
	}
	if float64(s.none) > 0.05*float64(s.taps) {
		t.Error("want a sign for 95 % of taps")
	}
	if float64(s.doublesTold) < 0.8*float64(s.doubles) || float64(s.singlesTold) > 0.01*float64(s.singles) {
		t.Error("want 80 % of double hits told and under 1 % of single taps taken for one")
	}
	const ranges, source = "44.1-192 kHz, hum, drift, touch, undamped strings", "rendered onset"
	if row := accuracy.Report(t, accuracy.Row{Measure: "tap onset", Range: "38-60 dB SNR, " + ranges, Unit: "ms", Bound: "95 % within 0.1 ms", Source: source}, s.onset40MS); row.P95 > 0.1 || row.Worst > 0.5 {
		t.Error("onsets above 38 dB off")
	}
	if row := accuracy.Report(t, accuracy.Row{Measure: "tap onset", Range: "20-60 dB SNR, " + ranges, Unit: "ms", Bound: "95 % within 0.2 ms", Source: source}, s.onsetMS); row.P95 > 0.2 {
		t.Error("onsets off")
	}
	if row := accuracy.Report(t, accuracy.Row{Measure: "tap level", Range: "20-60 dB SNR, " + ranges, Unit: "dB", Bound: "95 % within 0.1 dB", Source: "exact level of the rendered tap"}, s.levelDB); row.P95 > 0.1 {
		t.Error("levels off")
	}
}

func (s *tapScore) take(t *testing.T, src signal.Memory, want []truth, snr float64, c int) {
	got := mustFind(t, src, Tap)
	matched := make([]bool, len(got.Events))
	for _, w := range want {
		s.taps++
		hit := slices.IndexFunc(got.Events, func(e Event) bool { return math.Abs(float64(e.Onset)-w.onset) < 0.004*src.SampleRate })
		if hit < 0 {
			t.Logf("case %d, %.0f dB, %.0f Hz: tap at %.4f s missed", c, snr, src.SampleRate, w.onset/src.SampleRate)
			continue
		}
		s.found++
		matched[hit] = true
		s.onset(t, src, got.Events[hit], w, snr, c)
		s.sign(t, src, got, got.Events[hit], w, snr, c)
		s.level(t, src, got, got.Events[hit], w)
	}
	for i, m := range matched {
		if !m {
			s.extra++
			t.Logf("case %d, %.0f dB, %.0f Hz: false event at %.4f s", c, snr, src.SampleRate, float64(got.Events[i].Onset)/src.SampleRate)
		}
	}
}

func (s *tapScore) onset(t *testing.T, src signal.Memory, e Event, w truth, snr float64, c int) {
	ms := (float64(e.Onset) - w.onset) / src.SampleRate * 1000
	s.onsetMS = append(s.onsetMS, ms)
	if snr > 38 {
		s.onset40MS = append(s.onset40MS, ms)
	}
	if math.Abs(ms) > 0.5 {
		t.Logf("case %d, %.0f dB, %.0f Hz: onset at %.4f s off by %.3f ms (sd %.3f)", c, snr, src.SampleRate, w.onset/src.SampleRate, ms, e.OnsetSDSamples/src.SampleRate*1000)
	}
}

func (s *tapScore) sign(t *testing.T, src signal.Memory, got Found, e Event, w truth, snr float64, c int) {
	m, err := FirstMotion(src, e, got.NoisePower)
	if err != nil {
		t.Fatal(err)
	}
	switch m.Sign {
	case 0:
		s.none++
	case w.sign:
		s.right++
	default:
		s.wrong++
		if snr > 30 {
			s.wrongAbove30++
		}
		t.Logf("case %d, %.0f dB, %.0f Hz: wrong sign at %.4f s, %+.1f deviations, rise %.2f ms", c, snr, src.SampleRate, w.onset/src.SampleRate, m.Confidence, m.RiseMS)
	}
}

func (s *tapScore) level(t *testing.T, src signal.Memory, got Found, e Event, w truth) {
	if w.double > 0 {
		s.doubles++
		s.doublesTold += b2i(e.DoubleHit)
		return
	}
	s.singles++
	s.singlesTold += b2i(e.DoubleHit)
	l, err := MeasureLevel(src, e, Tap, got.NoisePower)
	if err != nil {
		t.Error(err)
		return
	}
	s.levelDB = append(s.levelDB, l.RMSDBFS-w.level)
}
