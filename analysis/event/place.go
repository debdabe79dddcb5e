package event

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"

	"saddlewise/analysis/signal"
)

// marginS is left free before the next event.
const (
	marginS          = 0.002
	firstMotionOverS = 0.004 // a second contact comes later
	clickSeenS       = 0.02  // what a click is compared with
)

// place turns picks into events: exact onset, contacts, end.
func place(ctx context.Context, work *scratch, src signal.Source, kind Kind, s *scan, picks []pick) ([]Event, error) {
	var events []Event
	prior := int64(0)
	for i, p := range picks {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		next := s.length
		if i+1 < len(picks) {
			next = picks[i+1].frame*s.frameLen - int64(guardS*s.rateHz)
		}
		e, genuine, err := placeOne(work, src, kind, s, p, prior, next)
		if err != nil {
			return nil, err
		}
		if n := len(events); !genuine || n > 0 && e.Onset <= events[n-1].Onset {
			continue
		}
		prior = e.Onset + int64(clearS*s.rateHz)
		events = append(events, e)
	}
	for i := range events {
		limit := s.length
		if i+1 < len(events) {
			limit = max(events[i].Onset+1, events[i+1].Onset-int64(marginS*s.rateHz))
		}
		events[i].bound(s, limit)
	}
	return events, nil
}

// placeOne places one pick, and tells whether it is an event from near by.
// The next one begins no earlier than next.
func placeOne(work *scratch, src signal.Source, kind Kind, s *scan, p pick, prior, next int64) (Event, bool, error) {
	work.takeBack()
	seen := p.frame * s.frameLen
	o, v, err := refine(work, src, kind, min(prior, seen), seen)
	if err != nil {
		return Event{}, false, err
	}
	if !o.found {
		o = onset{at: float64(seen), sd: float64(s.frameLen)}
	}
	at := max(0, min(s.length-1, int64(math.Round(o.at))))
	e := Event{Onset: at, OnsetSDSamples: o.sd, Prior: min(prior, at)}
	e.TruncatedStart = at < int64(0.002*s.rateHz)
	end := max(seen, next)
	if genuine, err := v.genuine(src, kind, at, end); !genuine || err != nil {
		return e, false, err
	}
	e.background = v.upTo(e.guard(s.rateHz))
	if kind == Tap {
		err = e.contacts(src, s, p, v, end)
	}
	return e, true, err
}

// contacts notes a second contact: one that was seen as a rise of its own, or
// one that only its force gives away.
func (e *Event) contacts(src signal.Source, s *scan, p pick, v view, to int64) error {
	for _, f := range p.second {
		if gap := float64(f*s.frameLen-e.Onset) / s.rateHz; gap > firstMotionOverS && !e.DoubleHit {
			e.DoubleHit, e.SecondContactS = true, gap
		}
	}
	if e.DoubleHit {
		return nil
	}
	var err error
	e.SecondContactS, err = v.secondContact(src, e.Onset, to)
	e.DoubleHit = e.SecondContactS > 0
	return err
}

// bound finds where the event sinks into the noise: the first two blocks in a
// row within 2 dB of it.
func (e *Event) bound(s *scan, limit int64) {
	e.Limit, e.End = limit, limit
	noise := s.noisePower() * 1.6
	b := (e.Onset+int64(0.02*s.rateHz))/s.blockLen + 1
	for ; (b+2)*s.blockLen <= limit && b+1 < int64(len(s.blocks)); b++ {
		if s.blocks[b] <= noise && s.blocks[b+1] <= noise {
			e.End = b * s.blockLen
			return
		}
	}
	e.TruncatedEnd = limit == s.length
}

// genuine refuses what rises like an event and is none: a click of a sample
// or two, whose energy lies within 0.2 ms (no contact is that short), and for
// plucks a gate that opens on noise, which has no partials.
func (v view) genuine(src signal.Source, kind Kind, onset, end int64) (bool, error) {
	at := v.index(onset)
	if isClick(v.raw[at:min(len(v.raw), at+v.samples(clickSeenS))], v.samples(1e-4)) {
		return false, nil
	}
	if kind == Tap {
		return true, nil
	}
	return v.hasPartials(src, onset+int64(v.samples(0.05)), min(end, onset+int64(v.samples(0.25))))
}

// hasPartials tells whether lines hold a good part of the power from sample
// from to sample to; true when that is too short to tell.
func (v view) hasPartials(src signal.Source, from, to int64) (bool, error) {
	if to-from < int64(v.samples(0.1)) {
		return true, nil
	}
	raw, err := signal.Segment(src, from, to-from)
	if err != nil {
		return false, fmt.Errorf("read samples from %d: %w", from, err)
	}
	d := thinning(v.rateHz)
	x := v.scratch.averaged(raw, d)
	v.bg.subtract(x, from, d)
	bg := v.scratch.fitBackground(x, x, 1, 0)
	return bg.power > 0.25*bg.rest, nil
}

// isClick tells whether nearly all energy lies within half samples of the peak.
func isClick(x []float64, half int) bool {
	top := 0
	for i, v := range x {
		if math.Abs(v) > math.Abs(x[top]) {
			top = i
		}
	}
	half = max(1, half)
	core := x[max(0, top-half):min(len(x), top+half+1)]
	return len(x) > 0 && floats.Dot(core, core) > 0.9*floats.Dot(x, x)
}
