package recording

import (
	"math"

	"saddlewise/analysis/signal"
)

// tileFrames is the stretch that a channel is looked at by: long enough that
// what is rare costs nothing, short enough to stay in registers and cache.
const tileFrames = 64

// meter follows one channel tile by tile.
type meter struct {
	rateHz  float64
	n       int64
	sum     float64
	squares float64
	high    float64
	low     float64
	damaged int64

	grid   grid
	diff   differences
	past   [tileFrames]float64 // the tile before
	now    [tileFrames]float64 // fourth differences of this tile
	before [tileFrames]float64 // and of the one before

	top, bottom plateau
	zeros       zeroRuns
	clicks      clickFinder
	blocks      blocks
}

func newMeter(f Format) *meter {
	rate := float64(f.RateHz)
	return &meter{
		rateHz: rate, high: math.Inf(-1), low: math.Inf(1),
		grid: newGrid(f), top: newPlateau(), bottom: newPlateau(),
		zeros: newZeroRuns(rate), clicks: newClickFinder(rate, f.Frames), blocks: newBlocks(rate, f.Frames),
	}
}

// add takes the next samples; all calls but the last give whole tiles.
func (m *meter) add(x []float64) {
	for len(x) > 0 {
		n := min(len(x), tileFrames)
		m.addTile(x[:n:n])
		x = x[n:]
	}
}

func (m *meter) addTile(x []float64) {
	if m.n == 0 {
		m.diff.begin(x[0])
	}
	m.grid.add(x)
	s := m.diff.tile(x, &m.now)
	m.sum += s.x
	m.squares += s.xx
	m.high, m.low = math.Max(m.high, s.high), math.Min(m.low, s.low)
	quantum := m.grid.quantumFS()
	m.top.tile(x, 1, s.high, m.n, quantum)
	m.bottom.tile(x, -1, -s.low, m.n, quantum)
	m.zeros.tile(x, &m.past, m.n, quantum)
	m.clicks.tile(s, &m.now, &m.before, m.n, quantum)
	m.blocks.tile(s)
	copy(m.past[:], x)
	m.before, m.now = m.now, m.before
	m.n += int64(len(x))
}

// tileSums are a tile's sums: of samples, of first differences (d) and of
// fourth differences (y).
type tileSums struct {
	n                  int
	x, xx, dd, yy      float64
	high, low, peakSqr float64 // peakSqr: largest y²
	peakAt             int     // where, in the tile
}

// differences keeps what the next sample is compared with.
type differences struct {
	x, a, b, c float64
	fresh      int // fourth differences still void
}

func (d *differences) begin(x float64) { *d = differences{x: x, fresh: 4} }

// tile sums up one tile and leaves its fourth differences in y. A fourth
// difference takes out what a string or a bridge can do and leaves what only
// a break in the samples can: it weighs frequency f with (2 sin(pi f/rate))^4.
func (d *differences) tile(x []float64, y *[tileFrames]float64) tileSums {
	var sum, squares, moves float64
	high, low := math.Inf(-1), math.Inf(1)
	x0, a0, b0, c0 := d.x, d.a, d.b, d.c
	for i, v := range x[:min(len(x), tileFrames)] {
		a := v - x0
		b := a - a0
		c := b - b0
		y[i] = c - c0
		x0, a0, b0, c0 = v, a, b, c
		sum += v
		squares += v * v
		moves += a * a
		if v > high {
			high = v
		}
		if v < low {
			low = v
		}
	}
	d.x, d.a, d.b, d.c = x0, a0, b0, c0
	for i := 0; d.fresh > 0 && i < len(x); i++ {
		y[i], d.fresh = 0, d.fresh-1
	}
	s := tileSums{n: len(x), x: sum, xx: squares, dd: moves, high: high, low: low}
	s.yy, s.peakSqr, s.peakAt = peakOf(y[:min(len(x), tileFrames)])
	return s
}

// peakOf is the sum of squares, the largest square and its place. Sums in
// turn, so that one addition does not wait for the other.
func peakOf(y []float64) (sum, peak float64, at int) {
	var s0, s1, p0, p1 float64
	i := 0
	for ; i+2 <= len(y); i += 2 {
		e, f := y[i]*y[i], y[i+1]*y[i+1]
		s0 += e
		s1 += f
		if e > p0 {
			p0 = e
		}
		if f > p1 {
			p1 = f
		}
	}
	for ; i < len(y); i++ {
		s0 += y[i] * y[i]
		p0 = math.Max(p0, y[i]*y[i])
	}
	peak = math.Max(p0, p1)
	for at < len(y)-1 && y[at]*y[at] != peak {
		at++
	}
	return s0 + s1, peak, at
}

func (m *meter) facts() ChannelFacts {
	n, quantum := float64(m.n), m.grid.quantumFS()
	mean := m.sum / n
	m.zeros.end()
	c := ChannelFacts{
		PeakDB:       signal.AmplitudeToDB(math.Max(m.high, -m.low)),
		RMSDBFS:      signal.PowerToDBFS(math.Max(0, m.squares/n-mean*mean)),
		DCOffsetFS:   mean,
		DCOffsetDB:   signal.AmplitudeToDB(mean),
		BitsUsed:     m.grid.bits(),
		NonFinite:    m.damaged,
		Dead:         m.high-m.low <= 2*m.grid.headerFS,
		ZeroRuns:     m.zeros.runs,
		AbruptZeros:  m.zeros.abrupt,
		ZeroSeconds:  float64(m.zeros.total) / m.rateHz,
		LongestZeroS: float64(m.zeros.longest) / m.rateHz,
		FirstZeroS:   float64(m.zeros.first) / m.rateHz,
	}
	if !c.Dead {
		m.setClipping(&c, quantum)
		m.setSteps(&c)
	}
	m.blocks.end()
	m.blocks.describe(&c)
	return c
}

func (m *meter) setClipping(c *ChannelFacts, quantum float64) {
	first := int64(math.MaxInt64)
	for _, p := range []*plateau{&m.top, &m.bottom} {
		if p.runs > 0 && p.at > leastClip*quantum {
			c.ClipRuns += p.runs
			if p.first < first {
				first, c.ClipLevelDB = p.first, signal.AmplitudeToDB(p.at)
			}
		}
		if p.flats >= leastFlats && p.at*flatShare > leastBand*quantum {
			c.FlatTops += p.flats
			c.FlatTopDB = signal.AmplitudeToDB(p.at)
		}
	}
	if c.ClipRuns > 0 {
		c.FirstClipS = float64(first) / m.rateHz
	}
}

func (m *meter) setSteps(c *ChannelFacts) {
	m.clicks.end()
	at := merged(m.clicks.at, m.zeros.dropped, int64(dedupeS*m.rateHz))
	c.Steps = m.clicks.count + m.zeros.drops - (len(m.clicks.at) + len(m.zeros.dropped) - len(at))
	for _, n := range at[:min(len(at), maxPlaces)] {
		c.StepsAtS = append(c.StepsAtS, float64(n)/m.rateHz)
	}
	if len(c.StepsAtS) > 0 {
		c.FirstStepS = c.StepsAtS[0]
	}
}
