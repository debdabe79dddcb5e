package analysis

import (
	"context"
	"errors"
	"fmt"
	"math"

	"saddlewise/analysis/decay"
	"saddlewise/analysis/event"
	"saddlewise/analysis/pitch"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// longestNoteS bounds what is read of one note: memory is one event's.
const longestNoteS = 30

// pluckTake is what one take of plucks gave.
type pluckTake struct {
	found  event.Found
	plucks []pluckEvent
	rateHz float64
}

// pluckEvent is one pluck with what could be measured of it.
type pluckEvent struct {
	at        event.Event
	seconds   float64
	level     event.Level
	hasLevel  bool
	sign      int
	pitch     pitch.Pitch
	pitchErr  error
	decay     decay.Decay
	decayErr  error
	broadband decay.Decay
	broadErr  error
	spectrum  *result.Spectrum
	rattleDB  *float64
}

// measurePlucks draws the first note's spectrum only: one is shown. Brief asks
// for no more than which plucks there are and how loud.
func measurePlucks(ctx context.Context, src signal.Source, humHz []float64, brief bool) (*pluckTake, error) {
	found, err := event.Find(ctx, src, event.Pluck)
	if err != nil {
		return nil, err
	}
	t := &pluckTake{found: found, rateHz: src.Rate()}
	drawn := false
	for _, e := range found.Events {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		p, note, err := measurePluck(src, e, found.NoisePower, humHz, brief)
		if err != nil {
			return nil, err
		}
		if p.pitchErr == nil && !drawn && !brief {
			p.spectrum = drawnSpectrum(note, t.rateHz, p.pitch)
			drawn = p.spectrum != nil
		}
		t.plucks = append(t.plucks, p)
	}
	return t, nil
}

// measurePluck gives the sounding note as well.
func measurePluck(src signal.Source, e event.Event, noisePower float64, humHz []float64, brief bool) (p pluckEvent, sounding []float64, err error) {
	p.at = e
	level, err := event.MeasureLevel(src, e, event.Pluck, noisePower)
	switch {
	case err == nil:
		p.level, p.hasLevel = level, true
	case !errors.Is(err, event.ErrCutShort) && !errors.Is(err, event.ErrBelowNoise):
		return p, nil, err
	}
	if brief {
		return p, nil, nil
	}
	if m, err := event.FirstMotion(src, e, noisePower); err == nil {
		p.sign = m.Sign
	}
	rate := src.Rate()
	note, err := signal.Segment(src, e.Onset, min(e.Limit-e.Onset, int64(longestNoteS*rate)))
	if err != nil {
		return p, nil, fmt.Errorf("read pluck at sample %d: %w", e.Onset, err)
	}
	sounding = note[:min(int64(len(note)), e.End-e.Onset)]
	p.seconds = float64(len(sounding)) / rate
	p.measureNote(note, sounding, rate, humHz)
	return p, sounding, p.measureRattle(src, sounding)
}

// measureRattle compares what lies between the partials with the half second
// ahead of the pluck; the finger's pull and scrape are left out.
func (p *pluckEvent) measureRattle(src signal.Source, sounding []float64) error {
	if p.pitchErr != nil {
		return nil
	}
	rate := src.Rate()
	to := max(p.at.Prior, p.at.Onset-int64(0.35*rate))
	from := max(p.at.Prior, to-int64(0.5*rate))
	before, err := signal.Segment(src, from, to-from)
	if err != nil {
		return fmt.Errorf("read background at sample %d: %w", from, err)
	}
	p.rattleDB = rattleOf(sounding, before, rate, p.pitch)
	return nil
}

// measureNote reads pitch first: sustain is that of the fundamental. The
// decay is followed into the noise, pitch only as long as the note sounds.
func (p *pluckEvent) measureNote(note, sounding []float64, rateHz float64, humHz []float64) {
	p.broadband, p.broadErr = decay.Measure(note, rateHz, decay.Options{HumHz: humHz})
	if p.pitch, p.pitchErr = pitch.Measure(sounding, rateHz, pitch.Options{HumHz: humHz}); p.pitchErr != nil {
		p.decayErr = fmt.Errorf("no pitch to follow: %w", p.pitchErr)
		return
	}
	p.decay, p.decayErr = decay.Measure(note, rateHz, decay.Options{Hz: p.pitch.F1Hz, HumHz: humHz})
}

// pluckOf gathers the plucks of one string from all its takes.
func pluckOf(takes []measured, indexes []int, target *stage.String, a4Hz float64, noise *noiseReference) *result.Pluck {
	p := &result.Pluck{Takes: indexes, Events: []result.PluckEvent{}}
	var v pluckValues
	for _, k := range indexes {
		for n, e := range takes[k].plucks.plucks {
			p.Events = append(p.Events, pluckRecord(k, n, e, takes[k].plucks.rateHz))
			v.add(k, n, e, noise.levelDBFS(takes[k]))
		}
	}
	const none = "no pluck with a whole half second was found"
	p.LevelDBFS, p.PeakDB, p.SNRDB = summarize(v.level, none), summarize(v.peak, none), summarize(v.snr, none)
	p.F1Hz = summarizeMeasured(v.f1, orReason(v.pitchReason, "no pluck with a pitch was found"))
	p.Inharmonicity = summarize(v.b, "too few partials, or too uncertain ones")
	p.GlideCents = summarize(v.glide, "no attack glide could be told")
	p.T60S = summarizeMeasured(v.t60, orReason(v.decayReason, "no pluck rang long enough"))
	p.LateT60S = summarizeMeasured(v.late, "")
	p.KneeS = summarize(v.knee, "")
	p.BeatHz = summarize(v.beat, "")
	p.BroadbandT60S = summarizeMeasured(v.broad, "no pluck rang long enough")
	if p.T60RangeS = v.t60Range; p.T60RangeS != nil && !p.T60S.Known() {
		p.T60S.Reason = rangeNote(p.T60S.Reason, *p.T60RangeS)
	}
	p.RattleDB = summarize(v.rattle, "no pluck was long enough")
	setTarget(p, v.f1, target, a4Hz)
	p.Spectrum, p.Decay = typicalCurves(takes, indexes, p.T60S)
	return p
}

func orReason(reason, otherwise string) string {
	if reason != "" {
		return reason
	}
	return otherwise
}

// pluckValues collects the events' values, measure by measure.
type pluckValues struct {
	level, peak, snr, b, glide, knee, beat, rattle []result.Value
	f1, t60, late, broad                           measuredValues
	pitchReason, decayReason                       string
	t60Range                                       *[2]float64
}

func (v *pluckValues) add(take, n int, e pluckEvent, noiseDBFS float64) {
	put := func(list *[]result.Value, x float64) {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			*list = append(*list, result.Value{Take: take, Event: n, Value: x})
		}
	}
	if e.hasLevel {
		put(&v.level, e.level.RMSDBFS)
		put(&v.peak, e.level.PeakDB)
		put(&v.snr, e.level.RMSDBFS-noiseDBFS)
	}
	if e.rattleDB != nil {
		put(&v.rattle, *e.rattleDB)
	}
	if e.pitchErr != nil {
		v.pitchReason = e.pitchErr.Error()
	} else {
		v.f1.put(take, n, e.pitch.F1Hz, ownF1(e.pitch))
		put(&v.glide, e.pitch.GlideCents)
		if e.pitch.HasB {
			put(&v.b, e.pitch.B)
		}
	}
	v.addDecay(take, n, e, put)
}

// ownF1 is the interval of one pluck's fundamental.
func ownF1(p pitch.Pitch) stats.Interval {
	times := 1 + stats.Normal(stats.Nominal)*p.F1SDHz/p.F1Hz
	return stats.Interval{Low: p.F1Hz / times, High: p.F1Hz * times, Coverage: stats.Nominal}
}

func (v *pluckValues) addDecay(take, n int, e pluckEvent, put func(*[]result.Value, float64)) {
	if d := e.broadband; e.broadErr == nil && d.T60Seconds > 0 {
		v.broad.put(take, n, d.T60Seconds, own(d.T60Low, d.T60High))
	}
	switch d := e.decay; {
	case e.decayErr != nil:
		v.decayReason = e.decayErr.Error()
	case d.T60RangeSeconds[1] > 0 && d.T60Seconds == 0:
		v.decayReason = orReason(d.Reason, "two polarisations beat too deeply for one number")
		v.widen(d.T60RangeSeconds)
		if d.Beating {
			put(&v.beat, d.BeatHz)
		}
	case d.T60Seconds == 0:
		v.decayReason = d.Reason
	default:
		v.t60.put(take, n, d.T60Seconds, own(d.T60Low, d.T60High))
		if d.TwoStage {
			v.late.put(take, n, d.LateT60Seconds, own(d.LateT60Low, d.LateT60High))
			put(&v.knee, d.KneeS)
		}
		if d.Beating {
			put(&v.beat, d.BeatHz)
		}
	}
}

func own(low, high float64) stats.Interval {
	return stats.Interval{Low: low, High: high, Coverage: stats.Nominal}
}

func (v *pluckValues) widen(r [2]float64) {
	if v.t60Range == nil {
		v.t60Range = &r
		return
	}
	v.t60Range[0], v.t60Range[1] = min(v.t60Range[0], r[0]), max(v.t60Range[1], r[1])
}

func rangeNote(reason string, r [2]float64) string {
	return fmt.Sprintf("%s: between %.2g and %.2g s", reason, r[0], r[1])
}

func pluckRecord(take, n int, e pluckEvent, rateHz float64) result.PluckEvent {
	r := result.PluckEvent{
		Take: take, Event: n, OnsetS: float64(e.at.Onset) / rateHz, Sign: e.sign,
		SecondsOut: e.seconds, RangeDB: e.decay.RangeDB,
	}
	if e.pitchErr != nil {
		r.PitchNote = e.pitchErr.Error()
	} else {
		r.F1SDHz = e.pitch.F1SDHz
	}
	switch {
	case e.decayErr != nil:
		r.DecayNote = e.decayErr.Error()
	case e.decay.T60Seconds > 0:
		i := own(e.decay.T60Low, e.decay.T60High)
		r.T60Interval = &i
	default:
		r.DecayNote = e.decay.Reason
		if e.decay.T60RangeSeconds[1] > 0 {
			r.DecayNote = rangeNote(r.DecayNote, e.decay.T60RangeSeconds)
		}
	}
	return r
}

// setTarget compares the pitch with the instrument's string, else with the
// nearest equal-tempered note.
func setTarget(p *result.Pluck, f1 measuredValues, target *stage.String, a4Hz float64) {
	if !p.F1Hz.Known() {
		p.Cents.Reason = p.F1Hz.Reason
		return
	}
	if target != nil && target.Hz > 0 {
		p.TargetHz, p.TargetNote, p.TargetGiven = pointer(target.Hz), target.Note, true
	} else {
		note, _ := signal.NearestNote(p.F1Hz.Estimate.Median, a4Hz)
		p.TargetHz, p.TargetNote = pointer(note.Hz(a4Hz)), note.Name
	}
	hz := *p.TargetHz
	p.Cents = summarizeMeasured(f1.mapped(func(f float64) float64 { return 1200 * math.Log2(f/hz) }), "")
}

// typicalCurves picks the pluck whose T60 is nearest the median, to be drawn.
func typicalCurves(takes []measured, indexes []int, t60 result.Quantity) (*result.Spectrum, *result.DecayCurve) {
	var spectrum *result.Spectrum
	var curve *result.DecayCurve
	best := math.Inf(1)
	for _, k := range indexes {
		for n, e := range takes[k].plucks.plucks {
			if spectrum == nil && e.spectrum != nil {
				spectrum = e.spectrum
				spectrum.Take, spectrum.Event = k, n
			}
			if e.decayErr != nil || len(e.decay.Envelope) < 2 {
				continue
			}
			off := 1e9 // drawn only if no pluck has a T60
			if t60.Known() && e.decay.T60Seconds > 0 {
				off = math.Abs(e.decay.T60Seconds - t60.Estimate.Median)
			}
			if off < best {
				best, curve = off, decayCurve(k, n, e.decay)
			}
		}
	}
	return spectrum, curve
}

func decayCurve(take, n int, d decay.Decay) *result.DecayCurve {
	c := &result.DecayCurve{Take: take, Event: n, FitFromS: d.FitFromS, FitToS: d.FitToS}
	for _, p := range d.Envelope {
		c.TimeS, c.LevelDB = append(c.TimeS, p.TimeS), append(c.LevelDB, p.LevelDB-d.StartDBFS)
	}
	for _, p := range d.Fit {
		c.FitTimeS, c.FitDB = append(c.FitTimeS, p.TimeS), append(c.FitDB, p.LevelDB-d.StartDBFS)
	}
	if len(c.FitTimeS) > 0 {
		c.FitRMSDB = pointer(d.FitRMSdB)
	}
	if d.RangeDB > 0 && d.DampedAtS == 0 {
		c.NoiseDB = pointer(-d.RangeDB)
	}
	return c
}
