package recording

import (
	"context"
	"fmt"
	"math"

	"saddlewise/analysis/stats"
)

// Facts are what one pass over a recording tells.
type Facts struct {
	DurationS float64
	Channels  []ChannelFacts
	Chosen    int    // the channel that carries the signal, from 0
	Reason    string // why it was chosen, in words
	Pairs     []Pair // of the chosen channel with every other one

	cross *crossMeter
}

// ChannelFacts are those of one channel.
type ChannelFacts struct {
	PeakDB     float64 // largest sample, dB re full scale
	RMSDBFS    float64 // without DC
	DCOffsetFS float64 // fraction of full scale
	DCOffsetDB float64 // its magnitude, dB re full scale
	BitsUsed   int     // from full scale down to the finest step seen; 0: float that lies on no grid
	NonFinite  int64   // NaN, infinite and absurd (2^64 times full scale) samples, read as 0
	Dead       bool    // the samples move by two quantisation steps at most

	ClipRuns    int     // runs of 3 or more samples at one extreme, entered at a slope
	ClipLevelDB float64 // that extreme, dB re full scale
	FirstClipS  float64
	FlatTops    int     // tops of 8 or more samples that are flat within 0.5 %, three at least at one level: clipping with or without noise on it
	FlatTopDB   float64 // that level, dB re full scale

	ZeroRuns     int // stretches of exact zeros, 10 ms and longer
	AbruptZeros  int // those of them that cut off a live signal; the others may be a signal below the last bit
	ZeroSeconds  float64
	LongestZeroS float64
	FirstZeroS   float64

	Steps      int       // clicks and drop-outs: breaks that nothing near them explains, and short runs of zeros amid a live signal
	StepsAtS   []float64 // where, the first 16
	FirstStepS float64

	Gaps               int             // pauses after loud events in which the background could be followed
	GainRidingDB       float64         // median rise of the background through such a pause
	GainRidingInterval *stats.Interval // of that median; nil below three pauses
	GainRiding         bool            // it rises by 3 dB or more in three quarters of at least three pauses

	BlocksDBFS []float64 // quantiles 0, 0.1 .. 1 of the level of 50 ms blocks
	Envelope   Envelope
}

// Envelope is the level of every block of about 25 ms, each without its mean.
// A last block that is not whole is left out.
type Envelope struct {
	StepS float64
	DBFS  []float32
}

// Pair compares the chosen channel with another.
type Pair struct {
	Other       int
	Correlation float64 // -1: inverted
	LevelDB     float64 // of the other re the chosen one
	Relation    string  // dead, identical, inverted or different
}

// sameFrom is the correlation from which two channels carry one signal:
// common practice, no source.
const sameFrom = 0.98

// Inspect reads the whole recording once, all channels, in memory that a
// header cannot raise: 1 MiB, 4 KiB a channel, for the last 0.2 s two bytes a
// sample, and 20 bytes a channel for each 50 ms. It keeps the samples of a
// short take for Channel, until Close. Not safe for concurrent use.
func (t *Take) Inspect(ctx context.Context) (Facts, error) {
	f := t.Format
	meters := make([]*meter, f.Channels)
	for i := range meters {
		meters[i] = newMeter(f)
	}
	cross := newCrossMeter(f.Channels)
	raw, give := t.block()
	defer give()
	frames := max(len(raw)/f.frameBytes/tileFrames*tileFrames, 1)
	held, block := t.hold(), make([][]float64, f.Channels)
	for i := range block {
		if held == nil {
			block[i] = make([]float64, frames)
		}
	}
	for at := int64(0); at < f.Frames; at += int64(frames) {
		if err := ctx.Err(); err != nil {
			return Facts{}, err
		}
		n := int(min(int64(frames), f.Frames-at))
		if err := t.readFrames(raw[:n*f.frameBytes], at); err != nil {
			return Facts{}, err
		}
		for i, m := range meters {
			if held != nil {
				block[i] = held[i][at:]
			}
			block[i] = block[i][:n]
			m.damaged += decode(block[i], raw[i*f.sampleBytes:n*f.frameBytes], f)
			m.add(block[i])
		}
		cross.add(block, n)
	}
	t.held = held
	return t.conclude(meters, cross), nil
}

func (t *Take) conclude(meters []*meter, cross *crossMeter) Facts {
	facts := Facts{DurationS: t.Seconds(), cross: cross}
	for _, m := range meters {
		facts.Channels = append(facts.Channels, m.facts())
	}
	facts.Chosen, facts.Reason = choose(facts.Channels)
	facts.Pairs = facts.pairs()
	return facts
}

// Force chooses channel number 1..N whatever the samples say.
func (f Facts) Force(number int) (Facts, error) {
	if number < 1 || number > len(f.Channels) {
		return f, fmt.Errorf("channel %d was asked for and the recording has %d", number, len(f.Channels))
	}
	f.Chosen, f.Reason = number-1, "asked for"
	f.Pairs = f.pairs()
	return f, nil
}

func (f Facts) pairs() []Pair {
	var out []Pair
	for i, c := range f.Channels {
		if i == f.Chosen {
			continue
		}
		p := f.cross.pair(f.Chosen, i)
		switch {
		case c.Dead:
			p.Relation = "dead"
		case p.Correlation >= sameFrom:
			p.Relation = "identical"
		case p.Correlation <= -sameFrom:
			p.Relation = "inverted"
		default:
			p.Relation = "different"
		}
		out = append(out, p)
	}
	return out
}

// choose takes the loudest of the channels whose events stand out from their
// own background by 12 dB or more; the loudest of all where none does.
func choose(all []ChannelFacts) (int, string) {
	if len(all) == 1 {
		return 0, "the only channel"
	}
	alive, events, best := 0, 0, 0
	for i, c := range all {
		if !c.Dead {
			alive++
			if standsOut(c) {
				events++
			}
		}
		if score(c) > score(all[best])+0.5 {
			best = i
		}
	}
	switch {
	case alive == 0:
		return 0, "no channel carries a signal"
	case alive == 1 && len(all) == 2:
		return best, "the other carries no signal"
	case alive == 1:
		return best, "the others carry no signal"
	case events == 1:
		return best, "only here events stand out from the background"
	case events > 1:
		return best, "its events are the loudest"
	}
	return best, "it is the loudest"
}

func standsOut(c ChannelFacts) bool {
	return c.BlocksDBFS[len(c.BlocksDBFS)-1]-c.BlocksDBFS[1] > 12
}

func score(c ChannelFacts) float64 {
	loud := c.BlocksDBFS[len(c.BlocksDBFS)-1]
	switch {
	case c.Dead:
		return math.Inf(-1)
	case standsOut(c):
		return 2000 + loud
	}
	return loud
}
