package event

import (
	"context"
	"math"

	"saddlewise/analysis/signal"
)

// marginS is left free before the next event.
const marginS = 0.002

// place turns picks into events: exact onset, contacts, end.
func place(ctx context.Context, src signal.Source, kind Kind, s *scan, picks []pick) ([]Event, error) {
	var events []Event
	prior := int64(0)
	for _, p := range picks {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		e, err := placeOne(src, kind, s, p, prior)
		if err != nil {
			return nil, err
		}
		if n := len(events); n > 0 && e.Onset <= events[n-1].Onset {
			continue
		}
		genuine, err := looksLike(src, kind, e)
		if err != nil {
			return nil, err
		}
		if !genuine {
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
		if kind == Tap && !events[i].DoubleHit {
			t, err := secondContact(src, events[i], limit)
			if err != nil {
				return nil, err
			}
			events[i].DoubleHit, events[i].SecondContactS = t > 0, t
		}
	}
	return events, nil
}

func placeOne(src signal.Source, kind Kind, s *scan, p pick, prior int64) (Event, error) {
	seen := p.frame * s.frameLen
	o, err := refine(src, kind, min(prior, seen), seen)
	if err != nil {
		return Event{}, err
	}
	if !o.found {
		o = onset{at: float64(seen), sd: float64(s.frameLen)}
	}
	at := max(0, min(s.length-1, int64(math.Round(o.at))))
	e := Event{Onset: at, OnsetSDSamples: o.sd, Prior: min(prior, at)}
	e.TruncatedStart = at < int64(0.002*s.rateHz)
	for _, f := range p.second {
		if gap := float64(f*s.frameLen-at) / s.rateHz; gap > 0.004 && !e.DoubleHit {
			e.DoubleHit, e.SecondContactS = true, gap
		}
	}
	return e, nil
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

// looksLike refuses what rises like an event and is none: a click of a sample
// or two, whose energy lies within 0.2 ms (no contact is that short), and for
// plucks a gate that opens on noise, which has no partials.
func looksLike(src signal.Source, kind Kind, e Event) (bool, error) {
	rate := src.Rate()
	v, err := look(src, e.Prior, e.guard(rate), e.Onset+int64(0.25*rate))
	if err != nil {
		return false, err
	}
	at := v.index(e.Onset)
	if isClick(v.raw[at:min(len(v.raw), at+v.samples(0.02))], v.samples(1e-4)) {
		return false, nil
	}
	after := v.raw[min(len(v.raw), at+v.samples(0.05)):]
	if kind == Tap || len(after) < v.samples(0.1) {
		return true, nil
	}
	bg := fitBackground(after, 0, rate)
	return bg.power > 0.25*bg.sd*bg.sd, nil
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
	return len(x) > 0 && dot(core, core) > 0.9*dot(x, x)
}
