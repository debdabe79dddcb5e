package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// Every interval must hold the truth as often as it says, within 1.5 points.
// The tables are printed with go test -v.

type shape struct {
	name string
	draw func(*rand.Rand) float64 // median 0
}

var shapes = []shape{
	{"normal", func(r *rand.Rand) float64 { return r.NormFloat64() }},
	{"log-normal", func(r *rand.Rand) float64 { return 2 * (math.Exp(0.5*r.NormFloat64()) - 1) }},
	{"exponential", func(r *rand.Rand) float64 { return r.ExpFloat64() - math.Ln2 }},
	{"Laplace", func(r *rand.Rand) float64 {
		if v := r.ExpFloat64(); r.IntN(2) == 0 {
			return v
		} else {
			return -v
		}
	}},
	{"uniform", func(r *rand.Rand) float64 { return 3 * (r.Float64() - 0.5) }},
	{"log-exponential", func(r *rand.Rand) float64 { return math.Log(r.ExpFloat64() / math.Ln2) }},
}

func sample(r *rand.Rand, s shape, n int, shift float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = s.draw(r) + shift
	}
	return x
}

// groupsOf draws k groups of n values that share a normal offset of sd between.
func groupsOf(r *rand.Rand, s shape, k, n int, between, shift float64) [][]float64 {
	out := make([][]float64, k)
	for i := range out {
		out[i] = sample(r, s, n, shift+between*r.NormFloat64())
	}
	return out
}

// tally counts how often intervals hold 0.
type tally struct {
	held, cases int
	stated      float64
	width       float64
}

func (c *tally) add(i *Interval, truth float64) {
	c.cases++
	if i == nil {
		return
	}
	c.stated = i.Coverage
	c.width += i.High - i.Low
	if i.Low <= truth && truth <= i.High {
		c.held++
	}
}

func (c *tally) check(t *testing.T, name string, points float64) string {
	t.Helper()
	got := float64(c.held) / float64(c.cases)
	// Three standard errors of the simulation itself come on top.
	slack := points + 300*math.Sqrt(c.stated*(1-c.stated)/float64(c.cases))
	if off := 100 * (got - c.stated); math.Abs(off) > slack {
		t.Errorf("%s: covers %.1f %% of %d, states %.1f %%", name, 100*got, c.cases, 100*c.stated)
	}
	return fmt.Sprintf(" %5.1f", 100*got)
}

func report(t *testing.T, measure, range_ string, off []float64, bound string) {
	t.Helper()
	accuracy.Report(t, accuracy.Row{Measure: "coverage of " + measure, Range: range_, Unit: "points off the stated coverage",
		Bound: bound, Source: "simulation with known truth"}, off)
}

func (c *tally) off() float64 { return 100 * (float64(c.held)/float64(c.cases) - c.stated) }

func TestMedianIntervalCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(1000, 6000)
	var off []float64
	t.Logf("%-4s %-7s %v", "n", "stated", shapeNames())
	for n := 3; n <= 20; n++ {
		line := ""
		var c tally
		for i, s := range shapes {
			r := rand.New(rand.NewPCG(uint64(n), uint64(i)))
			c = tally{}
			for range cases {
				c.add(Summarize(sample(r, s, n, 0)).Interval, 0)
			}
			line += c.check(t, fmt.Sprintf("median of %d, %s", n, s.name), 1.5)
			off = append(off, c.off())
		}
		t.Logf("%-4d %-7.2f %s", n, 100*c.stated, line)
	}
	report(t, "a median's interval", "3-20 values, six distributions", off, "1.5")
}

func shapeNames() string {
	out := ""
	for _, s := range shapes {
		out += s.name + " "
	}
	return out
}

func TestShiftIntervalCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(500, 4000)
	var off []float64
	for _, size := range [][2]int{{3, 3}, {3, 5}, {4, 4}, {5, 8}, {6, 6}, {10, 10}, {12, 20}, {20, 20}} {
		line := ""
		var c tally
		for i, s := range shapes {
			r := rand.New(rand.NewPCG(uint64(100*size[0]+size[1]), uint64(i)))
			c = tally{}
			for range cases {
				got := HodgesLehmann(sample(r, s, size[0], 0), sample(r, s, size[1], 2))
				c.add(got.Interval, 2)
			}
			line += c.check(t, fmt.Sprintf("shift of %v, %s", size, s.name), 1.5)
			off = append(off, c.off())
		}
		t.Logf("%-8v stated %.2f: %s", size, 100*c.stated, line)
	}
	report(t, "a shift's interval", "3-20 values a side, six distributions", off, "1.5")
}

// Balance adds half-widths of intervals that are free of the distribution;
// their sum is not quite, least so with three or four values.
func TestBalanceIntervalCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(300, 4000)
	var off []float64
	for _, k := range []int{2, 3, 4, 5, 8, 12} {
		for _, n := range []int{3, 4, 5, 6, 7, 10, 20} {
			for _, draw := range []struct {
				name   string
				groups func(*rand.Rand, shape) [][]float64
			}{
				{"alike", func(r *rand.Rand, s shape) [][]float64 { return groupsOf(r, s, k, n, 0, 0) }},
				{"unequal", func(r *rand.Rand, s shape) [][]float64 { return uneven(r, s, k, n) }},
			} {
				line := ""
				for i, s := range shapes {
					r := rand.New(rand.NewPCG(uint64(100*k+n), uint64(i)))
					c := balances(k, cases, func() [][]float64 { return draw.groups(r, s) })
					line += c.check(t, fmt.Sprintf("balance of %d groups of %d, %s, %s", k, n, draw.name, s.name), 1.5)
					off = append(off, c.off())
				}
				t.Logf("%2d groups of %-2d, %-7s %s", k, n, draw.name, line)
			}
		}
	}
	report(t, "a balance's interval", "2-12 groups of 3-20 values, alike or of unequal sizes and spreads, six distributions", off, "1.5")
}

// balances tallies each group's balance. Of few groups they hold alike, and one
// is taken; of many they are worth about half as many drawn one by one.
func balances(k, cases int, draw func() [][]float64) tally {
	taken := 1
	if k >= 5 {
		taken, cases = k, 2*cases
	}
	var c tally
	for c.cases < cases {
		for _, e := range Balance(draw())[:taken] {
			c.add(e.Interval, 0)
		}
	}
	return c
}

// uneven draws k groups of n to 20 values, one of n, whose scatter differs up
// to fourfold.
func uneven(r *rand.Rand, s shape, k, n int) [][]float64 {
	out := make([][]float64, k)
	fewest := r.IntN(k)
	for i := range out {
		size := n + r.IntN(21-n)
		if i == fewest {
			size = n
		}
		out[i] = sample(r, s, size, 0)
		scale := 0.5 * math.Pow(4, r.Float64())
		for j := range out[i] {
			out[i][j] *= scale
		}
	}
	return out
}

// One group each: the spread is assumed, here rightly so.
func TestAssumedSpreadCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(800, 6000)
	var off []float64
	for _, inside := range []float64{0.3, 1, 3} { // scatter inside the group, in spreads
		for _, n := range []int{3, 5, 8, 20} {
			spread := Spread{SD: 1 / inside}
			r := rand.New(rand.NewPCG(uint64(n), uint64(10*inside)))
			var shift tally
			for range cases {
				g := func() [][]float64 { return groupsOf(r, shapes[0], 1, n, spread.SD, 0) }
				shift.add(ShiftGrouped(g(), g(), spread).Interval, 0)
			}
			name := fmt.Sprintf("one group of %d, scatter %g", n, inside)
			t.Logf("%s: %s of %.1f", name, shift.check(t, name, 1.5), 100*shift.stated)
			off = append(off, shift.off())
		}
	}
	report(t, "a shift's interval with an assumed spread of takes", "one take a side, 3-20 values", off, "1.5")
}

// Several groups: the spread is estimated from them, or from other sets too.
func TestEstimatedSpreadCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(300, 4000)
	var off []float64
	for _, between := range []float64{0, 0.3, 1, 3} {
		for _, k := range []int{2, 3, 5} {
			for _, n := range []int{1, 3, 8} {
				r := rand.New(rand.NewPCG(uint64(10*k+n), uint64(10*between)))
				var shift, pooled tally
				for range cases {
					sets := make([][][]float64, 8)
					for i := range sets {
						sets[i] = groupsOf(r, shapes[i%2], k, n, between, 0)
					}
					shift.add(ShiftGrouped(sets[0], sets[2], GroupSpread(0, sets[0], sets[2])).Interval, 0)
					pooled.add(ShiftGrouped(sets[0], sets[2], GroupSpread(0, sets...)).Interval, 0)
				}
				name := fmt.Sprintf("%d groups of %d, spread %g", k, n, between)
				t.Logf("%s: own spread %s (width %.2f), pooled %s (%.2f)", name,
					shift.check(t, name+", own spread", 1.5), shift.width/float64(cases),
					pooled.check(t, name+", pooled", 1.5), pooled.width/float64(cases))
				off = append(off, shift.off(), pooled.off())
			}
		}
	}
	report(t, "a shift's interval with an estimated spread of takes", "2-5 groups of 1-8 values", off, "1.5")
}
