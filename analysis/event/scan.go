package event

import (
	"context"
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/signal"
)

const (
	ringFrames  = 512 // a power of two longer than before + after
	pastFrames  = 60  // 60 ms spans two periods of a 30 Hz string and of any hum
	frontFrame  = 250 // how many frames after a rise its features need
	blockFrames = 25
)

// rise is a sudden increase of energy and what surrounds it.
type rise struct {
	frame     int64   // where it was seen
	last      int64   // last frame of the same rise
	peak      float64 // largest 2-frame mean square while it lasts and 20 frames on, less before
	early     float64 // mean square over the first 8 frames
	sustained float64 // mean square over the 30th to 130th frame
	after     float64 // mean square over the 60th to 160th frame
	before    float64 // mean square over the 45th to 5th frame before
	lowBefore float64 // the same in the low band
	midBefore float64 // and in the middle one
	dip       float64 // least mean square of any 30 frames among the 8th to 120th
	start     int64   // frame where the energy left the level of the 60 frames before
	grows     bool    // low or middle band stay louder than before
}

// scan is the outcome of the one pass over the take.
type scan struct {
	rises      []rise
	blocks     []float64 // variance of each block of frames, full bandwidth
	blockLen   int64     // samples
	frameLen   int64     // samples
	length     int64
	rateHz     float64
	quietWide  float64 // noise in frame.wide
	noise      float64 // quiet of blocks
	wideBlocks []float64
}

// scanTake reads the take once.
func scanTake(ctx context.Context, work *scratch, src signal.Source, kind Kind) (*scan, error) {
	s := newScanner(src)
	if kind == Pluck {
		s.ratio = risePluck
	}
	blocks := int(src.Len()/s.out.blockLen) + 1
	s.out.blocks, s.out.wideBlocks = make([]float64, 0, blocks), make([]float64, 0, blocks)
	if err := s.prime(ctx, work, src); err != nil {
		return nil, err
	}
	for _, f := range work.ready {
		s.push(f)
	}
	if err := s.frames.read(ctx, src, src.Len(), s.push); err != nil {
		return nil, err
	}
	return s.finish(), nil
}

// scanner turns frames into rises.
type scanner struct {
	out        *scan
	frames     frames
	ring       [ringFrames]frame
	smooth     [ringFrames]frame // low over 6 frames, mid and high over 2
	n          int64             // frames so far
	open       []rise            // rises whose aftermath is still to come
	startPast  frame             // stands for the past before the first frame
	block      frame             // sums over the frames of a block
	blockCount int
	detect     bool
	ratio      float64 // of energies that make a rise
}

func newScanner(src signal.Source) *scanner {
	f := newFrames(src.Rate())
	return &scanner{frames: f, detect: true, ratio: riseTap, out: &scan{
		frameLen: int64(f.length), blockLen: blockFrames * int64(f.length), length: src.Len(), rateHz: src.Rate(),
	}}
}

// prime looks at the first seconds to learn the baseline, so that DC makes no
// step, and how quiet the take gets, which stands for the past of an event at the very first sample.
func (s *scanner) prime(ctx context.Context, work *scratch, src signal.Source) error {
	head, err := signal.Segment(src, 0, int64(0.02*src.Rate()))
	if err != nil {
		return fmt.Errorf("read the take's start: %w", err)
	}
	trial := newScanner(src)
	trial.detect = false
	s.frames.bands.base.settle(work.median(head))
	work.ready = work.ready[:0]
	quietest := frame{low: math.Inf(1), mid: math.Inf(1), high: math.Inf(1)}
	look := func(f frame) {
		work.ready = append(work.ready, f)
		trial.push(f)
		if k := trial.n; k%20 == 0 && k >= pastFrames+40 {
			p := trial.past(k, 0)
			quietest.low, quietest.mid, quietest.high = min(quietest.low, p.low), min(quietest.mid, p.mid), min(quietest.high, p.high)
		}
	}
	if err := s.frames.read(ctx, src, int64(3*src.Rate()), look); err != nil {
		return err
	}
	if !math.IsInf(quietest.low, 1) {
		s.startPast = quietest
	}
	return nil
}

func (s *scanner) push(f frame) {
	k := s.n
	*s.at(k) = f
	sm, prev := &s.smooth[k&(ringFrames-1)], s.at(k-1)
	sm.mid, sm.high, sm.wide = (f.mid+prev.mid)/2, (f.high+prev.high)/2, (f.wide+prev.wide)/2
	low := 0.0
	for j := k - 5; j <= k; j++ {
		low += s.at(j).low
	}
	sm.low = low / 6
	s.n++
	s.block.wide, s.block.sum, s.block.square = s.block.wide+f.wide, s.block.sum+f.sum, s.block.square+f.square
	if s.blockCount++; s.blockCount == blockFrames {
		s.endBlock()
	}
	if !s.detect {
		return
	}
	if s.risen(k, sm) {
		s.note(k)
	}
	for len(s.open) > 0 && k >= s.open[0].frame+frontFrame {
		s.close()
	}
}

func (s *scanner) endBlock() {
	n := float64(s.blockCount) * float64(s.out.frameLen)
	mean := s.block.sum / n
	s.out.blocks = append(s.out.blocks, max(0, s.block.square/n-mean*mean))
	s.out.wideBlocks = append(s.out.wideBlocks, s.block.wide/float64(s.blockCount))
	s.block, s.blockCount = frame{}, 0
}

// at is frame k, one of the last ringFrames; those before the take are empty.
func (s *scanner) at(k int64) *frame { return &s.ring[k&(ringFrames-1)] }

// past is the largest smoothed energy of the 60 frames that end gap before k
// (the low band's window is longer, so its gap is as well).
func (s *scanner) past(k, gap int64) frame {
	var p frame
	from := max(0, k-gap-pastFrames-4)
	for j := from; j <= k-gap; j++ {
		f := &s.smooth[j&(ringFrames-1)]
		if f.mid > p.mid {
			p.mid = f.mid
		}
		if f.high > p.high {
			p.high = f.high
		}
		if j <= k-gap-4 && f.low > p.low {
			p.low = f.low
		}
	}
	return p
}

// Energy ratio that makes a rise, and the least energy that counts (far below
// the last bit of any converter).
// A pluck may come into its own string's ringing and is judged by what
// it leaves; a tap stands out by itself.
const (
	riseTap     = 4.0
	risePluck   = 2.5
	leastEnergy = 1e-22
)

func (s *scanner) risen(k int64, sm *frame) bool {
	if k >= pastFrames && s.plainlyNot(k, sm) {
		return false
	}
	p := s.past(k, 4)
	if k < pastFrames {
		p.low, p.mid, p.high = max(p.low, s.startPast.low), max(p.mid, s.startPast.mid), max(p.high, s.startPast.high)
	}
	return sm.high > s.ratio*p.high+leastEnergy || sm.mid > s.ratio*p.mid+leastEnergy || sm.low > s.ratio*p.low+leastEnergy
}

// plainlyNot tells from a few of the frames before k that it is no rise: most
// frames need no look at all sixty.
func (s *scanner) plainlyNot(k int64, sm *frame) bool {
	low, mid, high := (sm.low-leastEnergy)/s.ratio, (sm.mid-leastEnergy)/s.ratio, (sm.high-leastEnergy)/s.ratio
	var notLow, notMid, notHigh bool
	for _, back := range [...]int64{8, 16, 28, 44} {
		f := &s.smooth[(k-back)&(ringFrames-1)]
		notLow, notMid, notHigh = notLow || f.low >= low, notMid || f.mid >= mid, notHigh || f.high >= high
	}
	return notLow && notMid && notHigh
}

// note opens a rise, or prolongs the one that is still going on.
func (s *scanner) note(k int64) {
	if n := len(s.open); n > 0 && k-s.open[n-1].last <= 8 && k-s.open[n-1].frame < 60 {
		s.open[n-1].last = k
		return
	}
	r := rise{frame: k, last: k}
	for j := k - 45; j < k-5; j++ {
		f := s.at(j)
		r.before += f.wide / 40
		r.lowBefore += f.low / 40
		r.midBefore += f.mid / 40
	}
	s.open = append(s.open, r)
}

// close measures the oldest open rise.
func (s *scanner) close() {
	r := s.open[0]
	s.open = s.open[1:]
	for j := max(0, r.frame-2); j < min(s.n, r.last+20); j++ {
		r.peak = max(r.peak, s.smooth[j&(ringFrames-1)].wide)
	}
	r.frame = s.contactOf(r)
	r.peak -= r.before
	r.early = s.mean(r.frame, r.frame+8, func(f *frame) float64 { return f.wide })
	r.sustained = s.mean(r.frame+30, r.frame+130, func(f *frame) float64 { return f.wide })
	r.after = s.mean(r.frame+60, r.frame+160, func(f *frame) float64 { return f.wide })
	r.grows = s.mean(r.frame+30, r.frame+130, func(f *frame) float64 { return f.low }) > 1.25*r.lowBefore ||
		s.mean(r.frame+30, r.frame+130, func(f *frame) float64 { return f.mid }) > 1.25*r.midBefore
	r.dip = s.dip(r.frame)
	r.start = s.startOf(r)
	s.out.rises = append(s.out.rises, r)
}

// contactOf passes over a finger that settles before it taps, or scrapes
// before it lets go: the first frame within 14 dB of the peak.
func (s *scanner) contactOf(r rise) int64 {
	for j := r.frame; j < min(s.n, r.last+20); j++ {
		if s.smooth[j&(ringFrames-1)].wide*precursorRatio > r.peak {
			return j
		}
	}
	return r.frame
}

// dip is the least mean over 30 frames soon after frame k, as far as the take
// goes. 30 frames hold a period of the lowest string.
func (s *scanner) dip(k int64) float64 {
	least := math.Inf(1)
	for j := k + 8; j+30 <= min(s.n, k+120); j += 4 {
		least = min(least, s.mean(j, j+30, func(f *frame) float64 { return f.wide }))
	}
	return least
}

// startOf follows a rise back to where the energy left the quiet before it: a
// low string may push hardest on its second swing.
func (s *scanner) startOf(r rise) int64 {
	from := max(0, r.frame-pastFrames)
	quietest, floor := from, math.Inf(1)
	for j := from; j+6 <= r.frame; j++ {
		if m := s.mean(j, j+6, func(f *frame) float64 { return f.wide }); m <= floor {
			quietest, floor = j+6, m
		}
	}
	limit := max(4*floor, 0.1*r.peak)
	for j := max(0, quietest-36); j < quietest; j++ { // a period of the lowest string
		limit = max(limit, 1.5*s.at(j).wide)
	}
	for j := quietest; j < r.frame; j++ {
		if s.at(j).wide > limit {
			return j
		}
	}
	return r.frame
}

// mean averages what get takes from frames from..to, as far as there are any.
func (s *scanner) mean(from, to int64, get func(*frame) float64) float64 {
	from, to = max(0, from), min(to, s.n)
	if to <= from {
		return 0
	}
	sum := 0.0
	for j := from; j < to; j++ {
		sum += get(s.at(j))
	}
	return sum / float64(to-from)
}

func (s *scanner) finish() *scan {
	for len(s.open) > 0 {
		s.close()
	}
	if len(s.out.blocks) == 0 && s.blockCount > 0 {
		s.endBlock()
	}
	s.out.quietWide, s.out.noise = quiet(s.out.wideBlocks), quiet(s.out.blocks)
	return s.out
}

// noisePower is the variance of the take's quietest stretches.
func (s *scan) noisePower() float64 { return s.noise }

// quiet averages the blocks within 3 dB of the quietest twentieth.
func quiet(blocks []float64) float64 {
	if len(blocks) == 0 {
		return 0
	}
	sorted := slices.Clone(blocks)
	slices.Sort(sorted)
	level := 2 * sorted[len(sorted)/20]
	sum, n := 0.0, 0
	for _, b := range sorted {
		if b > level {
			break
		}
		sum += b
		n++
	}
	return sum / float64(max(1, n))
}
