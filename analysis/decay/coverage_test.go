package decay

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// coverRateHz is low, to be quick: other tests draw the rates that are used.
const coverRateHz = 12000

// twoLines is a note whose fundamental is one decay or two, with its truth.
type twoLines struct {
	hz, t1, t2, ratio, beatHz, phase, seconds, rangeDB float64
}

func (n twoLines) String() string {
	return fmt.Sprintf("%.0f Hz, T60 %.2f and %.2f s, ratio %.2f, beat %.3f Hz phase %.1f, %.1f s, %.0f dB", n.hz, n.t1, n.t2, n.ratio, n.beatHz, n.phase, n.seconds, n.rangeDB)
}

// power is the squared envelope as it is, beats and all.
func (n twoLines) power(t float64) float64 {
	z := complex(math.Exp(-ln1000*t/n.t1), 0) + cmplx.Rect(n.ratio*math.Exp(-ln1000*t/n.t2), 2*math.Pi*n.beatHz*t+n.phase)
	return real(z)*real(z) + imag(z)*imag(z)
}

// sum is the power of both lines, beats averaged out.
func (n twoLines) sum(t float64) float64 {
	a, b := math.Exp(-ln1000*t/n.t1), n.ratio*math.Exp(-ln1000*t/n.t2)
	return a*a + b*b
}

func (n twoLines) render(rng *rand.Rand) []float64 {
	x := make([]float64, int(n.seconds*coverRateHz))
	addPartial(x, coverRateHz, 0.2, n.hz, n.t1, 0)
	addPartial(x, coverRateHz, 0.2*n.ratio, n.hz+n.beatHz, n.t2, n.phase)
	for k := 2; k < 6; k++ {
		addPartial(x, coverRateHz, 0.2*math.Pow(10, (20*rng.Float64()-15)/20), 1.0005*n.hz*float64(k), n.t1*(0.4+0.5*rng.Float64()), 6*rng.Float64())
	}
	bandHz := 1.73 / min(windowMost, max(windowOfT60*n.t1, windowLobe/n.hz))
	addNoise(x, math.Sqrt(0.2*0.2/2*math.Pow(10, -n.rangeDB/10)/bandHz*coverRateHz/2), rng)
	return x
}

// drawTwoLines draws kinds 0 single, 1 two stages in quadrature, 2 beating.
func drawTwoLines(kind int, rng *rand.Rand) twoLines {
	u := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	n := twoLines{hz: 60 * math.Pow(14, rng.Float64()), t1: 0.4 * math.Pow(20, rng.Float64()), rangeDB: u(32, 60), t2: 1}
	n.seconds = min(max(0.7, u(0.6, 1.1)*n.t1), 10)
	switch kind {
	case 1:
		n.t2, n.ratio, n.phase = n.t1*u(1.5, 5), math.Pow(10, -u(3, 22)/20), math.Pi/2
	case 2:
		n.beatHz = n.hz * 0.003 * math.Pow(0.02, rng.Float64())
		n.t2, n.ratio, n.phase = n.t1*u(0.6, 1.6), u(0.05, 0.95), u(0, 2*math.Pi)
	}
	return n
}

// covered counts what one kind of decay got.
type covered struct {
	numbers, holds, ranges, rangeHolds, none int
	errs                                     []float64
}

// A number's 95 % interval holds T60 of the line through the envelope as it
// is; a range holds it, or that of both vibrations without their beats.
func TestIntervalsHoldTheTruth(t *testing.T) {
	t.Parallel()
	all := make([]covered, 3)
	t.Run("kinds", func(t *testing.T) {
		for kind, name := range []string{"one decay", "two stages", "two vibrations that beat slowly or fast"} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				for seed := range accuracy.Cases(25, 400) {
					all[kind].judge(t, kind, rand.New(rand.NewPCG(uint64(seed), 9001+uint64(kind))))
				}
				c := all[kind]
				accuracy.Report(t, accuracy.Row{Measure: "T60 of the envelope, where a number is given", Range: name + ", 32-60 dB", Unit: "%",
					Bound:  fmt.Sprintf("the 95 %% interval holds it: %.1f %% do", 100*float64(c.holds)/float64(c.numbers)),
					Source: "simulated, closed form"}, c.errs)
				t.Logf("%d numbers, %d held; %d ranges, %d held; %d cannot tell", c.numbers, c.holds, c.ranges, c.rangeHolds, c.none)
			})
		}
	})
	var sum covered
	room := 0.015
	if !accuracy.Full() {
		room = 0.12
	}
	for kind, c := range all {
		if share := float64(c.holds) / float64(c.numbers); !(math.Abs(share-0.95) <= room) { // no numbers: NaN
			t.Errorf("kind %d: %.1f %% of the intervals hold the truth", kind, 100*share)
		}
		sum.numbers, sum.holds, sum.ranges = sum.numbers+c.numbers, sum.holds+c.holds, sum.ranges+c.ranges
		sum.rangeHolds, sum.none = sum.rangeHolds+c.rangeHolds, sum.none+c.none
	}
	share := float64(sum.holds) / float64(sum.numbers)
	t.Logf("%.1f %% of %d numbers and %d of %d ranges hold the truth, %d cannot tell", 100*share, sum.numbers, sum.rangeHolds, sum.ranges, sum.none)
	if !(math.Abs(share-0.95) <= room) || sum.rangeHolds < sum.ranges*95/100 || sum.none > 60 {
		t.Error("the intervals are not honest, or tell too little")
	}
}

func (c *covered) judge(t *testing.T, kind int, rng *rand.Rand) {
	n := drawTwoLines(kind, rng)
	d, err := Measure(n.render(rng), coverRateHz, Options{Hz: n.hz})
	if err != nil {
		t.Fatal(err)
	}
	truth := lineOf(n.power)
	switch r := d.T60RangeSeconds; {
	case r[1] > 0:
		c.ranges++
		if mean := lineOf(n.sum); r[0] <= truth && truth <= r[1] || r[0] <= mean && mean <= r[1] {
			c.rangeHolds++
		}
	case d.T60Seconds > 0:
		c.numbers++
		c.errs = append(c.errs, 100*(d.T60Seconds/truth-1))
		if d.T60Low <= truth && truth <= d.T60High {
			c.holds++
		}
	default:
		c.none++
	}
}

// BenchmarkJudge tells what the fits cost, the envelopes being at hand.
func BenchmarkJudge(b *testing.B) {
	for kind, name := range []string{"one decay", "two stages", "beats", "whole band"} {
		var envelopes []envelope
		for seed := range 20 {
			rng := rand.New(rand.NewPCG(uint64(seed), 9001+uint64(kind)))
			n := drawTwoLines(kind%3, rng)
			o := Options{Hz: n.hz}
			if name == "whole band" {
				o.Hz = 0
			}
			e, why := envelopeOf(n.render(rng), coverRateHz, o)
			if why != "" {
				b.Fatal(why)
			}
			envelopes = append(envelopes, e)
		}
		b.Run(name, func(b *testing.B) {
			for k := range b.N {
				judge(envelopes[k%len(envelopes)])
			}
		})
	}
}
