package analysis

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/event"
	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
)

// tapTake is what one take of taps gave.
type tapTake struct {
	found  event.Found
	taps   []tapEvent
	rateHz float64
}

// tapEvent is one tap with what could be measured of it.
type tapEvent struct {
	at       event.Event
	level    event.Level
	hasLevel bool
	motion   event.Motion
	bands    *response.TapBands // nil: double hit, too short, or not asked for
}

// Length of a tap that its spectrum is read from, and of the part before it.
const (
	tapSpectrumS = 0.25
	tapLeadS     = 0.002
	hushS        = 0.34 // of the background before; a little less than 2^14 samples at 48 kHz
)

// measureTaps keeps of each tap's spectrum what its bands hold: memory is that
// of one tap. Brief leaves the spectra out.
func measureTaps(ctx context.Context, src signal.Source, bandsPerOctave int, brief bool) (*tapTake, error) {
	found, err := event.Find(ctx, src, event.Tap)
	if err != nil {
		return nil, err
	}
	t := &tapTake{found: found, rateHz: src.Rate()}
	for _, e := range found.Events {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		tap, err := measureTap(src, e, found.NoisePower)
		if err != nil {
			return nil, err
		}
		t.taps = append(t.taps, tap)
	}
	if brief {
		return t, nil
	}
	return t, t.measureBands(ctx, src, bandsPerOctave)
}

// measureBands reads the taps' spectra, two stretches at a time.
func (t *tapTake) measureBands(ctx context.Context, src signal.Source, bandsPerOctave int) error {
	list := t.spectral(src)
	bands := response.Bands(bandsPerOctave, src.Rate())
	meter := response.NewSpectrometer(src.Rate(), int(hushS*src.Rate()))
	var hush *response.Spectrum
	for ; len(list) > 0; list = list[min(2, len(list)):] {
		if err := ctx.Err(); err != nil {
			return err
		}
		var read [2]response.Stretch
		for i, s := range list[:min(2, len(list))] {
			x, err := signal.Segment(src, s.from, s.length)
			if err != nil {
				return fmt.Errorf("read samples from %d: %w", s.from, err)
			}
			read[i] = response.Stretch{Samples: x, Lead: int(s.lead)}
		}
		first, second := meter.Both(read[0], read[1])
		for i, s := range list[:min(2, len(list))] {
			spectrum := [...]response.Spectrum{first, second}[i]
			if s.tap == nil {
				hush = &spectrum
				continue
			}
			b := response.TapFrom(spectrum, hush, bands)
			s.tap.bands = &b
		}
	}
	return nil
}

// stretch is what a spectrum is read of: a tap or, first, the background.
type stretch struct {
	from, length, lead int64
	tap                *tapEvent
}

// spectral lists the stretches to read. Double hits and taps too short for a
// spectrum are left out.
func (t *tapTake) spectral(src signal.Source) []stretch {
	var list []stretch
	if hush := background(src, t.found); float64(hush.length) >= 0.05*src.Rate() {
		list = append(list, hush)
	}
	lead := int64(tapLeadS * src.Rate())
	for i := range t.taps {
		tap := &t.taps[i]
		n := lead + min(int64(tapSpectrumS*src.Rate()), tap.at.Limit-tap.at.Onset)
		if !tap.at.DoubleHit && !tap.at.TruncatedStart && n >= response.LeastSamples {
			list = append(list, stretch{tap.at.Onset - lead, n, lead, tap})
		}
	}
	return list
}

func measureTap(src signal.Source, e event.Event, noisePower float64) (tapEvent, error) {
	tap := tapEvent{at: e}
	level, motion, levelErr, err := event.MeasureTap(src, e, noisePower)
	switch {
	case err != nil:
		return tap, err
	case levelErr == nil:
		tap.level, tap.hasLevel = level, true
	case !errors.Is(levelErr, event.ErrCutShort) && !errors.Is(levelErr, event.ErrBelowNoise):
		return tap, levelErr
	}
	tap.motion = motion
	return tap, nil
}

// background is the longest stretch before an event in which the event before
// has died away, as far as it takes to know it as well as a tap.
func background(src signal.Source, found event.Found) stretch {
	var s stretch
	for _, e := range found.Events {
		if n := e.Onset - int64(0.02*src.Rate()) - e.Prior; n > s.length {
			s.from, s.length = e.Prior, n
		}
	}
	s.length = min(s.length, int64(hushS*src.Rate()))
	s.lead = s.length
	return s
}

// tapOf gathers the taps of one string from all its takes.
func tapOf(takes []measured, indexes []int, noise *noiseReference) *result.Tap {
	t := &result.Tap{Takes: indexes, Events: []result.TapEvent{}}
	var v tapValues
	for _, k := range indexes {
		for n, tap := range takes[k].taps.taps {
			t.Events = append(t.Events, tapRecord(k, n, tap, takes[k].taps.rateHz))
			if tap.at.DoubleHit {
				t.DoubleHits++
				continue
			}
			v.add(k, n, tap, noise.levelDBFS(takes[k]))
		}
	}
	const none = "no single tap with a whole 50 ms was found"
	t.LevelDBFS, t.PeakDB = summarize(v.levels, none), summarize(v.peaks, none)
	t.SNRDB, t.ContactMS = summarize(v.snrs, none), summarize(v.rises, "no tap's first motion was clear")
	t.Polarity = voteRecord(event.VoteOf(v.signs))
	t.ThroughBody = len(v.signs) > 0 && 2*v.late > len(v.signs)
	t.Waveform = waveform(v.waves)
	return t
}

// tapValues collects the single taps' values, measure by measure.
type tapValues struct {
	levels, peaks, snrs, rises []result.Value
	signs                      []int
	waves                      [][]float64
	late                       int
}

func (v *tapValues) add(take, n int, tap tapEvent, noiseDBFS float64) {
	v.signs = append(v.signs, tap.motion.Sign)
	v.waves = append(v.waves, tap.motion.Waveform)
	if !tap.motion.Direct {
		v.late++
	}
	if tap.motion.Sign != 0 {
		v.rises = append(v.rises, result.Value{Take: take, Event: n, Value: tap.motion.RiseMS})
	}
	if tap.hasLevel {
		v.levels = append(v.levels, result.Value{Take: take, Event: n, Value: tap.level.RMSDBFS})
		v.peaks = append(v.peaks, result.Value{Take: take, Event: n, Value: tap.level.PeakDB})
		v.snrs = append(v.snrs, result.Value{Take: take, Event: n, Value: tap.level.RMSDBFS - noiseDBFS})
	}
}

func tapRecord(take, n int, tap tapEvent, rateHz float64) result.TapEvent {
	e := result.TapEvent{
		Take: take, Event: n, OnsetS: float64(tap.at.Onset) / rateHz,
		Sign: tap.motion.Sign, Direct: tap.motion.Direct, DoubleHit: tap.at.DoubleHit,
	}
	if tap.at.DoubleHit {
		e.SecondContactMS = pointer(1000 * tap.at.SecondContactS)
	}
	return e
}

func voteRecord(v event.Vote) result.Polarity {
	return result.Polarity{Up: v.Up, Down: v.Down, Undecided: v.Undecided, Sign: v.Sign, P: v.P}
}

// markThroughBridge tells taps that only the other strings' discs hear.
func markThroughBridge(strs []result.String) {
	levels, rises := make([]float64, len(strs)), make([]float64, len(strs))
	for i, s := range strs {
		levels[i], rises[i] = math.NaN(), math.NaN()
		if s.Tap != nil {
			levels[i], rises[i] = middleOf(s.Tap.LevelDBFS), middleOf(s.Tap.ContactMS)
		}
	}
	for i, through := range event.ThroughBridge(levels, rises) {
		if t := strs[i].Tap; t != nil && through {
			t.ThroughBody = true
		}
	}
}

// middleOf is the median; NaN where it is not known.
func middleOf(q result.Quantity) float64 {
	if !q.Known() {
		return math.NaN()
	}
	return q.Estimate.Median
}

// relatePolarities compares the strings' votes and waveforms.
func relatePolarities(strs []result.String) {
	var votes []event.Vote
	var waves [][]float64
	var taps []*result.Tap
	for i := range strs {
		t := strs[i].Tap
		if t == nil {
			continue
		}
		v := t.Polarity
		vote := event.Vote{Up: v.Up, Down: v.Down, Undecided: v.Undecided, Sign: v.Sign, P: v.P}
		if t.ThroughBody {
			vote.Sign = 0
		}
		taps, votes = append(taps, t), append(votes, vote)
		waves = append(waves, medianOf(t.Waveform))
	}
	p := event.Polarities(votes, waves)
	for i, t := range taps {
		t.Polarity.Relative = relation(p.Relations[i])
		t.Polarity.Reason = whyUnrelated(p, i, t, len(taps))
	}
}

func medianOf(w *result.Waveform) []float64 {
	if w == nil {
		return nil
	}
	return w.Median
}

func relation(r event.Relation) string {
	switch r {
	case event.Same:
		return "same"
	case event.Reversed:
		return "reversed"
	case event.GroupUp:
		return "group A"
	case event.GroupDown:
		return "group B"
	default:
		return "cannot tell"
	}
}

func whyUnrelated(p event.Polarity, i int, t *result.Tap, n int) string {
	switch {
	case p.Relations[i] != event.CannotTell:
		return ""
	case t.ThroughBody:
		return "heard only through the bridge"
	case n < 2:
		return "no other string to compare with"
	case t.Polarity.Sign != 0 && p.Correlation[i] < 0:
		return "the waveform contradicts the vote"
	default:
		return "the taps do not agree on a direction"
	}
}

// waveform is the median and quartiles of the taps' first motion.
func waveform(waves [][]float64) *result.Waveform {
	waves = slices.DeleteFunc(slices.Clone(waves), func(w []float64) bool { return len(w) == 0 })
	if len(waves) == 0 {
		return nil
	}
	w := &result.Waveform{StartMS: 1000 * event.WaveformStartS, StepMS: 1000 * event.WaveformStepS, N: len(waves)}
	column := make([]float64, len(waves))
	for i := range waves[0] {
		for j, x := range waves {
			column[j] = x[i]
		}
		slices.Sort(column)
		w.Low = append(w.Low, rounded(quantile(column, 0.25)))
		w.Median = append(w.Median, rounded(quantile(column, 0.5)))
		w.High = append(w.High, rounded(quantile(column, 0.75)))
	}
	return w
}

// quantile interpolates between the order statistics of sorted values.
func quantile(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// rounded keeps what a plot can show, so that results.json stays small.
func rounded(v float64) float64 { return math.Round(v*1e7) / 1e7 }
