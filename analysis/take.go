package analysis

import (
	"context"
	"errors"
	"fmt"
	"math"

	"saddlewise/analysis/noise"
	"saddlewise/analysis/recording"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/tone"
)

// measured is one take with what its kind of test gave; at most one of the
// pointers is set.
type measured struct {
	at      stage.Take
	brief   bool // facts and counts of events only
	record  result.Take
	taps    *tapTake
	plucks  *pluckTake
	tone    *tone.Tone
	quiet   *noise.Noise
	sweep   *sweepTake
	problem string
}

// measureTake fills in out, whose brief is set. A take that cannot be used is no error: it says
// so in its problem. The error is for interruption.
func measureTake(ctx context.Context, st *stage.Stage, at stage.Take, humHz []float64, out *measured) error {
	out.at = at
	out.record = result.Take{File: at.File, Test: string(at.Test), String: at.String, Hand: at.Hand}
	err := out.measure(ctx, st, humHz)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		out.problem = err.Error()
		out.record.Problem = out.problem
	}
	return nil
}

func (m *measured) measure(ctx context.Context, st *stage.Stage, humHz []float64) (err error) {
	take, err := recording.Open(m.at.Path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, take.Close()) }()
	facts, err := take.Inspect(ctx)
	if err != nil {
		return err
	}
	if m.record.SHA256, err = take.SHA256(ctx); err != nil {
		return err
	}
	index, reason, err := channelOf(take, facts, st.Capture.Channel)
	if err != nil {
		return err
	}
	m.describe(take, facts, index, reason)
	if facts.Channels[index].Dead {
		return fmt.Errorf("%s holds no signal: every sample of channel %d is the same; check input and lead and record it again", m.at.File, index+1)
	}
	if m.record.Contents, err = contentsOf(take.Channel(index), facts.Channels[index].Envelope); err != nil {
		return err
	}
	return m.measureSource(ctx, st, take.Channel(index), humHz)
}

// channelOf is the channel to measure: the one that was asked for, else the
// one with the signal.
func channelOf(take *recording.Take, facts recording.Facts, asked int) (int, string, error) {
	if asked == 0 {
		return facts.Chosen, facts.Reason, nil
	}
	if asked > take.Format.Channels {
		return 0, "", fmt.Errorf("%s has %d channels and capture.channel asks for channel %d; correct it in stage.toml", take.Name, take.Format.Channels, asked)
	}
	return asked - 1, "asked for in the TOML", nil
}

func (m *measured) measureSource(ctx context.Context, st *stage.Stage, src signal.Source, humHz []float64) error {
	var err error
	switch m.at.Test {
	case stage.Tap:
		m.taps, err = measureTaps(ctx, src, st.BandsPerOctave, m.brief)
		return m.settleEvents(err, func() { m.countTaps() })
	case stage.Pluck:
		m.plucks, err = measurePlucks(ctx, src, humHz, m.brief)
		return m.settleEvents(err, func() { m.countPlucks() })
	case stage.Tone:
		t, err := tone.Measure(ctx, src, tone.Options{NominalHz: st.Capture.ReferenceToneHz, MainsHz: lowest(humHz)})
		if err != nil {
			return fmt.Errorf("%s: no reference tone was found (%w); set a struck fork on the saddle and let it ring, then record it again", m.at.File, err)
		}
		m.tone, m.record.Events = &t, len(t.Strikes)
	case stage.Sweep:
		if m.sweep, err = measureSweep(ctx, st, src, m.at.File); err != nil {
			return err
		}
		m.record.Events = 1
	case stage.Quiet:
		n, err := noise.Measure(ctx, src, noise.Options{MainsHz: st.Capture.MainsHz})
		if err != nil {
			return fmt.Errorf("%s cannot be used: %w; record ten seconds of silence", m.at.File, err)
		}
		m.quiet = &n
		m.record.NoiseDBFS, m.record.Hum = pointer(n.FloorDBFS.Median), humRecord(n.Hum)
	}
	return nil
}

// lowest is the mains frequency of a list of its multiples; 0 for none.
func lowest(hz []float64) float64 {
	low := 0.0
	for _, f := range hz {
		if low == 0 || f < low {
			low = f
		}
	}
	return low
}

// settleEvents turns an empty take of taps or plucks into a problem.
func (m *measured) settleEvents(err error, count func()) error {
	if err != nil {
		m.taps, m.plucks = nil, nil
		return fmt.Errorf("%s cannot be used: %w", m.at.File, err)
	}
	count()
	if m.record.Events+m.record.DoubleHits+m.record.EdgeEvents == 0 {
		m.taps, m.plucks = nil, nil
		return fmt.Errorf("%s holds no %s that stands out of its background; check that the pickup was plugged in and record it again", m.at.File, m.at.Test)
	}
	return nil
}

func (m *measured) countTaps() {
	if m.taps == nil {
		return
	}
	m.record.NoiseDBFS, m.record.FaintEvents = pointer(m.taps.found.NoiseDBFS), m.taps.found.Faint
	for _, t := range m.taps.taps {
		switch {
		case t.at.DoubleHit:
			m.record.DoubleHits++
		case t.at.TruncatedStart || !t.hasLevel:
			m.record.EdgeEvents++
		default:
			m.record.Events++
		}
	}
}

func (m *measured) countPlucks() {
	if m.plucks == nil {
		return
	}
	m.record.NoiseDBFS, m.record.FaintEvents = pointer(m.plucks.found.NoiseDBFS), m.plucks.found.Faint
	for _, p := range m.plucks.plucks {
		if p.hasLevel {
			m.record.Events++
		} else {
			m.record.EdgeEvents++
		}
	}
}

// describe records what the recording is.
func (m *measured) describe(take *recording.Take, facts recording.Facts, index int, reason string) {
	r := &m.record
	r.Format, r.RateHz, r.Channels = take.Format.String(), take.Format.RateHz, take.Format.Channels
	r.Channel, r.ChannelReason = index+1, reason
	r.DurationS, r.Notes = facts.DurationS, take.Notes
	c := facts.Channels[index]
	f := &result.TakeFacts{
		PeakDB: c.PeakDB, DCOffsetFS: c.DCOffsetFS, BitsUsed: c.BitsUsed, ClipRuns: c.ClipRuns,
		FlatTops: c.FlatTops, AbruptZeros: c.AbruptZeros, ZeroRuns: c.ZeroRuns, ZeroSeconds: c.ZeroSeconds, LongestZeroS: c.LongestZeroS,
		Steps: c.Steps, NonFinite: c.NonFinite, GainRidingSure: c.GainRiding, Dead: c.Dead,
	}
	if c.RMSDBFS > signal.SilenceDB {
		f.RMSDBFS = pointer(c.RMSDBFS)
	}
	if c.ClipRuns > 0 {
		f.ClipLevelDB, f.FirstClipS = pointer(c.ClipLevelDB), pointer(c.FirstClipS)
	}
	if c.FlatTops > 0 {
		f.FlatTopDB = pointer(c.FlatTopDB)
	}
	if c.ZeroRuns > 0 {
		f.FirstZeroS = pointer(c.FirstZeroS)
	}
	if c.Steps > 0 {
		f.FirstStepS = pointer(c.FirstStepS)
	}
	if c.Gaps > 0 {
		f.GainRidingDB = pointer(c.GainRidingDB)
	}
	if m.at.Test == stage.Tone && c.BlocksDBFS[0] > signal.SilenceDB {
		r.NoiseDBFS = pointer(c.BlocksDBFS[0]) // the quietest 50 ms
	}
	f.OtherChannel, f.OtherChannelDB = otherChannel(facts)
	r.Facts = f
}

// otherChannel describes the loudest other channel beside the chosen one.
func otherChannel(facts recording.Facts) (string, *float64) {
	word, level := "", (*float64)(nil)
	for _, p := range facts.Pairs {
		if level != nil && *level >= p.LevelDB {
			continue
		}
		level = pointer(p.LevelDB)
		switch {
		case facts.Channels[p.Other].Dead:
			word = "dead"
		case p.Correlation > 0.98:
			word = "identical"
		case p.Correlation < -0.98:
			word = "inverted"
		default:
			word = "different"
		}
	}
	return word, level
}

// humOf lists the hum lines of the silent takes, for the other takes' sake. It
// touches no other take: they may be at work.
func humOf(takes []stage.Take, all []measured) []float64 {
	for i, at := range takes {
		if at.Test != stage.Quiet || at.Hand || all[i].quiet == nil || all[i].quiet.Hum == nil {
			continue
		}
		mains := all[i].quiet.Hum.MainsHz
		var hz []float64
		for n := 1.0; n*mains < 1000; n++ {
			hz = append(hz, n*mains)
		}
		return hz
	}
	return nil
}

// noiseReference is the floor that signal-to-noise is taken against: the
// quiet take's, else that of the take's own gaps.
type noiseReference struct {
	quietDBFS float64 // NaN: no quiet take
}

func noiseOf(takes []measured) *noiseReference {
	for _, m := range takes {
		if m.quiet != nil && !m.at.Hand {
			return &noiseReference{m.quiet.FloorDBFS.Median}
		}
	}
	return &noiseReference{math.NaN()}
}

func (r *noiseReference) levelDBFS(m measured) float64 {
	if !math.IsNaN(r.quietDBFS) {
		return r.quietDBFS
	}
	if m.record.NoiseDBFS != nil {
		return *m.record.NoiseDBFS
	}
	return math.NaN()
}
