package analysis

import (
	"testing"

	"saddlewise/analysis/decay"
	"saddlewise/analysis/pitch"
	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// Plucks that agree better than each is known share their errors: the string
// is known no better than they are.
func TestStringIsNoSurerThanItsPlucks(t *testing.T) {
	for _, c := range []struct {
		name   string
		plucks int
		known  float64 // how well each pluck is known, relative, either way
		surest float64 // the least relative half-width of the string's interval
		most   float64
	}{
		{"each known well", 3, 1e-5, 0, 1.2e-3},
		{"each known ill", 3, 0.1, 0.09, 0.12},
		{"six known ill", 6, 0.1, 0.09, 0.12},
	} {
		var take pluckTake
		for i := range c.plucks {
			v := 1 + 1e-3*float64(i%3-1)
			d := decay.Decay{T60Seconds: 4 * v, T60Low: 4 * v / (1 + c.known), T60High: 4 * v * (1 + c.known)}
			take.plucks = append(take.plucks, pluckEvent{
				pitch: pitch.Pitch{F1Hz: 220 * v, F1SDHz: 220 * v * c.known / 2}, decay: d, broadband: d,
			})
		}
		p := pluckOf([]measured{{plucks: &take}}, []int{0}, &stage.String{Number: 1, Note: "A3", Hz: 220}, 440, &noiseReference{})
		for name, q := range map[string]result.Quantity{"T60": p.T60S, "broadband T60": p.BroadbandT60S, "fundamental": p.F1Hz} {
			half := (q.Estimate.Interval.High - q.Estimate.Interval.Low) / 2 / q.Estimate.Median
			if half < c.surest || half > c.most {
				t.Errorf("%s: %s is known to %.2g of itself, want %g to %g", c.name, name, half, c.surest, c.most)
			}
		}
		if cents := p.Cents.Estimate.Interval; c.known > 0.01 && cents.High-cents.Low < 300 {
			t.Errorf("%s: %.0f cents wide", c.name, cents.High-cents.Low)
		}
		if i := p.Events[0].T60Interval; i == nil || i.High != take.plucks[0].decay.T60High {
			t.Errorf("%s: the first pluck's T60 has the interval %v", c.name, i)
		}
	}
}

// A change of sustain is no surer than the plucks on either side.
func TestChangeIsNoSurerThanItsPlucks(t *testing.T) {
	side := func(t60, known float64, takes int) result.Quantity {
		var m measuredValues
		for i := range 6 {
			v := t60 * (1 + 1e-3*float64(i-3))
			m.put(i%takes, i, v, stats.Interval{Low: v / (1 + known), High: v * (1 + known), Coverage: stats.Nominal})
		}
		return summarizeMeasured(m, "")
	}
	for _, c := range []struct {
		known float64
		takes int
		other int // takes of another string
		seen  bool
	}{{1e-5, 1, 1, true}, {0.2, 1, 1, false}, {0.2, 1, 2, false}, {1e-5, 2, 2, true}, {0.2, 2, 2, false}} {
		row := result.Row{Test: "pluck", Measure: "T60", Unit: "s"}
		before, after := row, row
		before.Quantity, after.Quantity = side(4, c.known, c.takes), side(4.2, c.known, c.takes)
		p := pair{before, after, 0.5}
		other := groups(side(3, c.known, c.other))
		ch := p.blank()
		p.compare(&ch, stats.GroupSpread(0, groups(before.Quantity), groups(after.Quantity), other), &effort{})
		if (ch.P < 0.05) != c.seen || (ch.Interval.Low > 0) != c.seen {
			t.Errorf("plucks known to %g, %d takes, %d of another string: from 4.0 to 4.2 s with p %.2g, %+v", c.known, c.takes, c.other, ch.P, *ch.Interval)
		}
	}
}
