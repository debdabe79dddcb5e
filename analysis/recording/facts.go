package recording

import (
	"context"
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/signal"
)

// Facts are what one pass over a recording tells.
type Facts struct {
	DurationS float64
	Channels  []ChannelFacts
	Chosen    int    // the channel that carries the signal, from 0
	Reason    string // why it was chosen, in words
	Pairs     []Pair // of the chosen channel with every other one; none beyond 8 channels
}

// ChannelFacts are those of one channel.
type ChannelFacts struct {
	PeakDB     float64 // largest sample, dB re full scale
	RMSDBFS    float64 // without DC
	DCOffsetFS float64 // fraction of full scale
	BitsUsed   int     // of the integer samples; 0 for float
	NonFinite  int64   // NaN and infinite samples, read as 0
	Dead       bool    // every sample has the same value

	ClipRuns    int     // runs of 3 or more samples at one extreme, entered at a slope
	ClipLevelDB float64 // that extreme, dB re full scale
	FirstClipS  float64

	ZeroRuns     int // stretches of exact zeros, 10 ms and longer
	ZeroSeconds  float64
	LongestZeroS float64
	FirstZeroS   float64

	Steps      int // single jumps that neither what comes before nor after explains
	FirstStepS float64

	Gaps         int     // pauses after loud events in which the background could be followed
	GainRidingDB float64 // median rise of the background through such a pause
	GainRiding   bool    // it rises by 3 dB or more in three quarters of at least three pauses

	BlocksDBFS []float64 // quantiles 0, 0.1 .. 1 of the level of 50 ms blocks
}

// Pair compares the chosen channel with another.
type Pair struct {
	Other       int
	Correlation float64
	LevelDB     float64 // of the other re the chosen one
}

// Inspect reads the whole recording once, all channels. Memory does not grow
// with length beyond one number for each 50 ms.
func (t *Take) Inspect(ctx context.Context) (Facts, error) {
	f := t.Format
	meters := make([]*meter, f.Channels)
	for i := range meters {
		meters[i] = newMeter(f)
	}
	cross := newCrossMeter(f.Channels)
	raw, give := t.block()
	defer give()
	frames := len(raw) / f.frameBytes
	columns := make([][]float64, f.Channels)
	for i := range columns {
		columns[i] = make([]float64, frames)
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
			decode(columns[i][:n], raw[i*f.sampleBytes:n*f.frameBytes], f)
			m.add(columns[i][:n])
			m.countNonFinite(raw[i*f.sampleBytes:n*f.frameBytes], n)
		}
		cross.add(columns, n)
	}
	return t.conclude(meters, cross), nil
}

func (t *Take) conclude(meters []*meter, cross *crossMeter) Facts {
	facts := Facts{DurationS: t.Seconds()}
	for _, m := range meters {
		facts.Channels = append(facts.Channels, m.facts())
	}
	facts.Chosen, facts.Reason = choose(facts.Channels)
	for i := range meters {
		if i != facts.Chosen && cross != nil {
			facts.Pairs = append(facts.Pairs, cross.pair(facts.Chosen, i))
		}
	}
	return facts
}

// choose takes the channel whose loudest block stands out most: from its own
// background where any does, else by level.
func choose(all []ChannelFacts) (int, string) {
	if len(all) == 1 {
		return 0, "the only channel"
	}
	alive, best := 0, 0
	for i, c := range all {
		if !c.Dead {
			alive++
		}
		if score(c) > score(all[best])+0.1 {
			best = i
		}
	}
	switch {
	case alive == 0:
		return 0, "no channel carries a signal"
	case alive == 1:
		return best, fmt.Sprintf("the other %s no signal", plural(len(all)-1, "carries", "carry"))
	default:
		return best, "its events stand out most"
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func score(c ChannelFacts) float64 {
	if c.Dead {
		return math.Inf(-1)
	}
	loud := c.BlocksDBFS[len(c.BlocksDBFS)-1]
	if rise := loud - c.BlocksDBFS[1]; rise > 12 {
		return 1000 + loud
	}
	return loud
}

// crossMeter keeps the products of all pairs of up to eight channels.
type crossMeter struct {
	n        float64
	sum      []float64
	products [][]float64
}

func newCrossMeter(channels int) *crossMeter {
	if channels < 2 || channels > 8 {
		return nil
	}
	c := &crossMeter{sum: make([]float64, channels), products: make([][]float64, channels)}
	for i := range c.products {
		c.products[i] = make([]float64, channels)
	}
	return c
}

func (c *crossMeter) add(columns [][]float64, n int) {
	if c == nil {
		return
	}
	c.n += float64(n)
	for i, a := range columns {
		for _, v := range a[:n] {
			c.sum[i] += v
		}
		for j := i; j < len(columns); j++ {
			b, dot := columns[j][:n], 0.0
			for k, v := range a[:n] {
				dot += v * b[k]
			}
			c.products[i][j] += dot
		}
	}
}

func (c *crossMeter) covariance(i, j int) float64 {
	return c.products[min(i, j)][max(i, j)]/c.n - c.sum[i]/c.n*c.sum[j]/c.n
}

func (c *crossMeter) pair(chosen, other int) Pair {
	a, b := c.covariance(chosen, chosen), c.covariance(other, other)
	p := Pair{Other: other, LevelDB: signal.PowerToDB(b / a)}
	if a > 0 && b > 0 {
		p.Correlation = c.covariance(chosen, other) / math.Sqrt(a*b)
	} else {
		p.LevelDB = signal.SilenceDB
	}
	return p
}

// quantiles are the 0, 0.1 .. 1 quantiles of values.
func quantiles(values []float64) []float64 {
	s := slices.Sorted(slices.Values(values))
	out := make([]float64, 11)
	for i := range out {
		out[i] = s[int(math.Round(float64(i)/10*float64(len(s)-1)))]
	}
	return out
}
