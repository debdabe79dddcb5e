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
	damaged int64

	grid   grid
	diff   differences
	past   [tileFrames]float64    // the tile before
	fourth [2][tileFrames]float64 // fourth differences of this tile and of the one before, in turn
	turn   int

	top, bottom plateau
	zeros       zeroRuns
	clicks      clickFinder
	blocks      blocks
}

func newMeter(f Format) *meter {
	rate := float64(f.RateHz)
	return &meter{
		rateHz: rate,
		grid:   newGrid(f), top: newPlateau(), bottom: newPlateau(),
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
	now, before := &m.fourth[m.turn], &m.fourth[1-m.turn]
	s := m.diff.tile(x, now)
	m.sum += s.x
	m.squares += s.xx
	quantum := m.grid.quantumFS()
	m.top.tile(x, 1, s.xx, m.n, quantum)
	m.bottom.tile(x, -1, s.xx, m.n, quantum)
	m.zeros.tile(x, &m.past, m.n, quantum)
	m.clicks.tile(s, now, before, m.n, quantum)
	m.blocks.tile(s)
	copy(m.past[:], x)
	m.turn = 1 - m.turn
	m.n += int64(len(x))
}

// tileSums are a tile's sums: of samples, of first differences (d) and of
// fourth differences (y).
type tileSums struct {
	n             int
	x, xx, dd, yy float64
	peakSqr       float64 // largest y²
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
	s := tileSums{n: len(x)}
	var peak uint64
	w := y[:len(x)]
	for len(x) >= 4 && len(w) >= 4 {
		peak = max(peak, d.four(&s, (*[4]float64)(x), (*[4]float64)(w)))
		x, w = x[4:], w[4:]
	}
	for i, v := range x {
		a := v - d.x
		b := a - d.a
		c := b - d.b
		w[i] = c - d.c
		d.x, d.a, d.b, d.c = v, a, b, c
		s.x, s.xx, s.dd, s.yy = s.x+v, s.xx+v*v, s.dd+a*a, s.yy+w[i]*w[i]
		peak = max(peak, math.Float64bits(w[i]*w[i]))
	}
	s.peakSqr = math.Float64frombits(peak)
	if d.fresh > 0 {
		d.refresh(&s, y[:s.n])
	}
	return s
}

// four takes four neighbours at once, whose sums wait less for one another,
// and gives the bits of the largest y²: those of numbers that are not negative
// rise as they do, and the largest of whole numbers is found without a branch.
func (d *differences) four(s *tileSums, v, y *[4]float64) uint64 {
	a0, a1, a2, a3 := v[0]-d.x, v[1]-v[0], v[2]-v[1], v[3]-v[2]
	b0, b1, b2, b3 := a0-d.a, a1-a0, a2-a1, a3-a2
	c0, c1, c2, c3 := b0-d.b, b1-b0, b2-b1, b3-b2
	y0, y1, y2, y3 := c0-d.c, c1-c0, c2-c1, c3-c2
	d.x, d.a, d.b, d.c = v[3], a3, b3, c3
	s.x += (v[0] + v[1]) + (v[2] + v[3])
	s.xx += (v[0]*v[0] + v[1]*v[1]) + (v[2]*v[2] + v[3]*v[3])
	s.dd += (a0*a0 + a1*a1) + (a2*a2 + a3*a3)
	y[0], y[1], y[2], y[3] = y0, y1, y2, y3
	y0, y1, y2, y3 = y0*y0, y1*y1, y2*y2, y3*y3
	s.yy += (y0 + y1) + (y2 + y3)
	return max(math.Float64bits(y0), math.Float64bits(y1), math.Float64bits(y2), math.Float64bits(y3))
}

// refresh leaves out the fourth differences of a take's first samples, before
// which there is nothing.
func (d *differences) refresh(s *tileSums, y []float64) {
	for i := 0; i < len(y) && d.fresh > 0; i++ {
		y[i], d.fresh = 0, d.fresh-1
	}
	s.yy, s.peakSqr = 0, 0
	for _, v := range y {
		s.yy, s.peakSqr = s.yy+v*v, max(s.peakSqr, v*v)
	}
}

func (m *meter) facts() ChannelFacts {
	n, quantum := float64(m.n), m.grid.quantumFS()
	mean := m.sum / n
	m.zeros.end()
	c := ChannelFacts{
		PeakDB:       signal.AmplitudeToDB(math.Max(m.top.at, m.bottom.at)),
		RMSDBFS:      signal.PowerToDBFS(math.Max(0, m.squares/n-mean*mean)),
		DCOffsetFS:   mean,
		DCOffsetDB:   signal.AmplitudeToDB(mean),
		BitsUsed:     m.grid.bits(),
		NonFinite:    m.damaged,
		Dead:         m.top.at+m.bottom.at <= 2*m.grid.headerFS,
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
	c.Envelope = Envelope{StepS: float64(m.blocks.tiles*tileFrames) / m.rateHz, DBFS: m.blocks.halvesDBFS}
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
