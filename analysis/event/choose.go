package event

import (
	"math"
	"slices"
)

// Times and ratios that tell events from what comes with them. Common
// practice, no source: people tap at most about four times a second, a
// rebound comes within 150 ms, and a pluck's scrape and touch within 300 ms
// before the string is let go.
const (
	tapApartS      = 0.15
	pluckApartS    = 0.35
	precursorRatio = 25.0 // energy; a contact 14 dB stronger than what came just before makes that a touch
	reboundRatio   = 63.0 // energy; a contact 18 dB weaker just after is not a second contact
	faintTap       = 1e-2 * 0.316
	faintPluck     = 1e-2
)

// pick is a rise that counts as an event.
type pick struct {
	rise
	energy float64 // what the take's events are compared by
	second []int64 // frames of possible second contacts
}

// choose keeps the rises that are events of the kind, in order, and counts
// those left out for being far weaker than the others.
func choose(s *scan, kind Kind) ([]pick, int) {
	var picks []pick
	if kind == Tap {
		picks = groupTaps(s)
	} else {
		picks = groupPlucks(s)
	}
	return dropFaint(picks, kind)
}

// groupTaps joins each tap's contacts.
func groupTaps(s *scan) []pick {
	var picks []pick
	apart := s.frames(tapApartS)
	for _, r := range s.rises {
		if !tapLike(s, r) {
			continue
		}
		next := pick{rise: r, energy: r.peak}
		if n := len(picks); n > 0 && r.frame-picks[n-1].frame < apart {
			last := &picks[n-1]
			switch {
			case r.peak > precursorRatio*last.peak:
				*last = next
			case r.peak*reboundRatio > last.peak:
				last.second = append(last.second, r.frame)
				last.energy = max(last.energy, r.peak)
			}
			continue
		}
		picks = append(picks, next)
	}
	return picks
}

// tapLike asks for energy above the noise that passes again.
func tapLike(s *scan, r rise) bool {
	return r.peak > 4*s.quietWide && r.peak > 4*(r.after-r.before)
}

// groupPlucks keeps the rises where a string is let go: those that leave it
// ringing, unless one ten times as strong follows soon (then this was the
// finger), or the string has only just been let go.
func groupPlucks(s *scan) []pick {
	var picks []pick
	apart, last := s.frames(pluckApartS), int64(math.MinInt64/2)
	for i, r := range s.rises {
		if !rings(s, r) || r.frame-last < apart || s.outdone(i, apart) {
			continue
		}
		last = r.frame
		r.frame = r.start
		picks = append(picks, pick{rise: r, energy: r.sustained})
	}
	return picks
}

// outdone tells whether a far stronger pluck follows rise i within apart, or
// one that is stronger after this has died away like a thump.
func (s *scan) outdone(i int, apart int64) bool {
	r := s.rises[i]
	for _, q := range s.rises[i+1:] {
		if q.frame-r.frame >= apart {
			return false
		}
		if stronger := q.early / r.early; rings(s, q) && (stronger > 10 || q.peak > 8*r.peak || stronger > 1 && r.dip < 0.03*r.early) {
			return true
		}
	}
	return false
}

// rings asks for a string that sounds after the rise, louder than before it.
// A hand that damps the string thumps and leaves it quieter.
func rings(s *scan, r rise) bool {
	louder := r.grows && r.peak > r.before && (r.dip > 0.7*r.before || r.peak > 100*r.before)
	return louder && r.sustained > 2*s.quietWide && r.sustained > 3e-4*r.peak
}

// dropFaint leaves out what is far below the take's usual event: the lifting
// finger, a touch, the table.
func dropFaint(picks []pick, kind Kind) ([]pick, int) {
	if len(picks) == 0 {
		return nil, 0
	}
	energies := make([]float64, len(picks))
	for i, p := range picks {
		energies[i] = p.energy
	}
	slices.Sort(energies)
	limit := energies[len(energies)*3/4] * faintTap
	if kind == Pluck {
		limit = energies[len(energies)*3/4] * faintPluck
	}
	kept := slices.DeleteFunc(picks, func(p pick) bool { return p.energy < limit })
	return kept, len(energies) - len(kept)
}

func (s *scan) frames(seconds float64) int64 {
	return int64(seconds * s.rateHz / float64(s.frameLen))
}
