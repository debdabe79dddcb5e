package recording

import (
	"encoding/binary"
	"math"
	"math/bits"

	"saddlewise/analysis/signal"
)

// Limits of the capture facts: common practice, no source.
const (
	blockS       = 0.050 // level blocks
	leastZeroS   = 0.010 // shorter runs of zeros happen by themselves
	stepWindow   = 64    // samples before and after a jump
	stepFactor   = 24    // times the RMS difference of both sides
	loudAboveDB  = 20    // a block this far above the background is loud
	leastPauseS  = 0.6
	ridingRiseDB = 3
)

// meter follows one channel sample by sample.
type meter struct {
	f       Format
	quantum float64 // smallest step of integer samples; 0 for float
	n       int64
	sum     float64
	squares float64
	used    uint32
	bad     int64

	high, low extreme
	zeros     zeroRuns
	steps     stepFinder
	blocks    blockLevels
}

func newMeter(f Format) *meter {
	m := &meter{f: f, high: extreme{at: math.Inf(-1)}, low: extreme{at: math.Inf(-1)}}
	if !f.Float {
		m.quantum = 1 / float64(int64(1)<<(min(f.ValidBits, 8*f.sampleBytes)-1))
	}
	m.zeros.least = int64(leastZeroS * float64(f.RateHz))
	m.blocks.size = max(1, int(blockS*float64(f.RateHz)))
	return m
}

func (m *meter) add(x []float64) {
	for _, v := range x {
		m.sum += v
		m.squares += v * v
		m.high.add(v, m.n, m.quantum)
		m.low.add(-v, m.n, m.quantum)
		m.zeros.add(v, m.n)
		m.steps.add(v, m.n)
		m.blocks.add(v)
		m.n++
	}
	if !m.f.Float {
		for _, v := range x {
			m.used |= uint32(int64(v * (1 << 31)))
		}
	}
}

// countNonFinite looks at the raw samples, which decoding made finite.
func (m *meter) countNonFinite(raw []byte, n int) {
	if !m.f.Float {
		return
	}
	for i := range n {
		at := raw[i*m.f.frameBytes:]
		if m.f.sampleBytes == 4 && binary.LittleEndian.Uint32(at)&0x7f800000 == 0x7f800000 ||
			m.f.sampleBytes == 8 && binary.LittleEndian.Uint64(at)&0x7ff0000000000000 == 0x7ff0000000000000 {
			m.bad++
		}
	}
}

func (m *meter) facts() ChannelFacts {
	rate, n := float64(m.f.RateHz), float64(m.n)
	mean := m.sum / n
	m.zeros.end()
	c := ChannelFacts{
		PeakDB:     signal.AmplitudeToDB(math.Max(math.Abs(m.high.at), math.Abs(m.low.at))),
		RMSDBFS:    signal.PowerToDBFS(math.Max(0, m.squares/n-mean*mean)),
		DCOffsetFS: mean,
		NonFinite:  m.bad,
		Dead:       m.high.at == -m.low.at,
		ZeroRuns:   m.zeros.runs, ZeroSeconds: float64(m.zeros.total) / rate,
		LongestZeroS: float64(m.zeros.longest) / rate, FirstZeroS: float64(m.zeros.first) / rate,
		Steps: m.steps.count, FirstStepS: float64(m.steps.first) / rate,
	}
	if m.used != 0 {
		c.BitsUsed = 32 - bits.TrailingZeros32(m.used)
	}
	m.setClipping(&c, rate)
	levels := m.blocks.levelsDBFS()
	c.BlocksDBFS = quantiles(levels)
	c.Gaps, c.GainRidingDB, c.GainRiding = gainRiding(levels, c.BlocksDBFS[2], float64(m.blocks.size)/rate)
	return c
}

func (m *meter) setClipping(c *ChannelFacts, rateHz float64) {
	if c.Dead {
		return
	}
	c.ClipRuns = m.high.runs + m.low.runs
	if c.ClipRuns == 0 {
		return
	}
	at, first := m.high.at, m.high.first
	if m.high.runs == 0 || m.low.runs > 0 && m.low.first < first {
		at, first = m.low.at, m.low.first
	}
	c.ClipLevelDB, c.FirstClipS = signal.AmplitudeToDB(at), float64(first)/rateHz
}

// extreme counts the runs of 3 or more samples at the largest value so far.
// The top of a slow wave is flat by rounding, too, but it is reached in steps
// of the smallest size; a clipped wave arrives at a slope.
type extreme struct {
	at    float64
	runs  int
	first int64
	run   int
	steep bool
	last  float64
}

func (e *extreme) add(v float64, n int64, quantum float64) {
	switch {
	case v > e.at:
		e.at, e.runs, e.run = v, 0, 1
		e.steep = n > 0 && v-e.last > 3.5*quantum
	case v == e.at:
		if e.run == 0 {
			e.steep = e.at-e.last > 3.5*quantum
		}
		e.run++
		if e.run == 3 && e.steep && math.Abs(v) > 16*quantum {
			if e.runs == 0 {
				e.first = n - 2
			}
			e.runs++
		}
	default:
		e.run = 0
	}
	e.last = v
}

// zeroRuns counts stretches of exact zeros.
type zeroRuns struct {
	least, run, total, longest, first, start int64
	runs                                     int
}

func (z *zeroRuns) add(v float64, n int64) {
	if v == 0 {
		if z.run == 0 {
			z.start = n
		}
		z.run++
		return
	}
	z.end()
}

func (z *zeroRuns) end() {
	if z.run >= z.least {
		if z.runs == 0 {
			z.first = z.start
		}
		z.runs++
		z.total += z.run
		z.longest = max(z.longest, z.run)
	}
	z.run = 0
}

// stepFinder looks for a jump far larger than the differences on both of its
// sides. The start of a tap is no such jump: what follows it is as large.
type stepFinder struct {
	diffs   [2*stepWindow + 1]float64 // ring of squared differences
	before  float64                   // sum of those before the middle
	after   float64                   // sum of those behind it
	seen    int64
	last    float64
	count   int
	first   int64
	skipped int
}

func (s *stepFinder) add(v float64, n int64) {
	const width = 2*stepWindow + 1
	d := (v - s.last) * (v - s.last)
	s.last = v
	if n == 0 {
		return
	}
	slot := int(s.seen % width)
	old := s.diffs[slot]
	mid := int((s.seen + stepWindow + 1) % width) // becomes the middle
	left := int((s.seen + stepWindow) % width)    // was the middle, now before it
	if s.seen >= width {
		s.before += s.diffs[left] - old
		s.after += d - s.diffs[mid]
		s.diffs[slot] = d
		s.judge(s.diffs[mid], n)
	} else {
		s.diffs[slot] = d
		s.fill()
	}
	s.seen++
}

// fill sums the ring once it is full.
func (s *stepFinder) fill() {
	const width = 2*stepWindow + 1
	if s.seen != width-1 {
		return
	}
	for i, d := range s.diffs {
		switch {
		case i < stepWindow:
			s.before += d
		case i > stepWindow:
			s.after += d
		}
	}
}

func (s *stepFinder) judge(mid float64, n int64) {
	if s.skipped > 0 {
		s.skipped--
		return
	}
	floor := math.Max(math.Max(s.before, s.after)/stepWindow, 1e-14)
	if mid > stepFactor*stepFactor*floor {
		if s.count == 0 {
			s.first = n - stepWindow
		}
		s.count++
		s.skipped = stepWindow
	}
}

// blockLevels keeps the mean square of every 50 ms, without its mean.
type blockLevels struct {
	size         int
	held         int
	sum, squares float64
	powers       []float32
}

func (b *blockLevels) add(v float64) {
	b.sum += v
	b.squares += v * v
	b.held++
	if b.held == b.size {
		b.flush()
	}
}

func (b *blockLevels) flush() {
	n := float64(b.held)
	b.powers = append(b.powers, float32(math.Max(0, b.squares/n-(b.sum/n)*(b.sum/n))))
	b.held, b.sum, b.squares = 0, 0, 0
}

func (b *blockLevels) levelsDBFS() []float64 {
	if len(b.powers) == 0 {
		b.flush()
	}
	out := make([]float64, len(b.powers))
	for i, p := range b.powers {
		out[i] = signal.PowerToDBFS(float64(p))
	}
	return out
}
