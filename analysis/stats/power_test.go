package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"saddlewise/fixtures/accuracy"
)

// Theory against the test itself on simulated normal values.
func TestRankSumPowerEqualsSimulation(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(1500, 4000)
	var off []float64
	for _, size := range [][2]int{{3, 3}, {3, 5}, {4, 4}, {5, 5}, {4, 9}, {6, 6}, {8, 8}, {12, 12}, {20, 10}, {20, 20}} {
		line := ""
		for _, shift := range []float64{0, 0.5, 1, 1.5, 2, 3} {
			r := rand.New(rand.NewPCG(uint64(100*size[0]+size[1]), uint64(10*shift)))
			seen := 0
			for range cases {
				if RankSumP(sample(r, shapes[0], size[0], 0), sample(r, shapes[0], size[1], shift)) <= 0.05 {
					seen++
				}
			}
			got, want := RankSumPower(size[0], size[1], shift, 1), float64(seen)/float64(cases)
			off = append(off, 100*(got-want))
			if math.Abs(got-want) > 0.05 {
				t.Errorf("%v, shift %g: power %.3f, simulated %.3f", size, shift, got, want)
			}
			line += fmt.Sprintf("  %.3f (%.3f)", got, want)
		}
		t.Logf("%v: %s", size, line)
	}
	reportPower(t, off)
}

func reportPower(t *testing.T, off []float64) {
	t.Helper()
	accuracy.Report(t, accuracy.Row{Measure: "power of the rank-sum test", Range: "3-20 values a side, shifts of 0-3 standard deviations",
		Unit: "points off the simulated power", Bound: "5", Source: "simulation"}, off)
}

// For many values the rank-sum test is as strong as the normal test with
// 3/pi of the values (Hodges & Lehmann, Annals of Mathematical Statistics 27,
// 324-335, 1956).
func TestRankSumPowerOfMany(t *testing.T) {
	for _, n := range []int{60, 100, 400} {
		for _, chance := range []float64{0.3, 0.5, 0.8, 0.95} {
			z := distuv.UnitNormal.Quantile(chance) + distuv.UnitNormal.Quantile(0.975)
			want := z * math.Sqrt(2/(float64(n)*3/math.Pi))
			near(t, fmt.Sprintf("smallest shift of %d at %g", n, chance), SmallestShift(n, n, 1, chance)/want, 1, 0.02)
		}
	}
}

func TestSmallestShiftAndMore(t *testing.T) {
	for _, size := range [][2]int{{0, 5}, {1, 1}, {2, 4}, {3, 3}, {3, 4}} {
		if got := SmallestShift(size[0], size[1], 1, 0.8); !math.IsInf(got, 1) {
			t.Errorf("%v: sees %g, but can see nothing at 5 %%", size, got)
		}
	}
	for _, size := range [][2]int{{4, 4}, {5, 9}, {12, 12}} {
		s := SmallestShift(size[0], size[1], 2, 0.8)
		near(t, "power at the smallest shift", RankSumPower(size[0], size[1], s, 2), 0.8, 1e-6)
	}
	more, ok := MoreForShift(4, 4, 1, 1, 0.8)
	if !ok || RankSumPower(4+more, 4+more, 1, 1) < 0.8 || RankSumPower(3+more, 3+more, 1, 1) >= 0.8 {
		t.Errorf("%d more (%v) is not the least that sees 1 sd", more, ok)
	}
	if more, ok := MoreForShift(20, 20, 3, 1, 0.8); more != 0 || !ok {
		t.Errorf("%d more, %v: they suffice", more, ok)
	}
	if _, ok := MoreForShift(5, 5, 0.01, 1, 0.8); ok {
		t.Error("a hundredth of a standard deviation seen with a thousand values")
	}
}

// Under no shift p must be below 5 % at most as often as that; at the smallest
// shift the change must be seen about as often as asked.
func TestGroupedShiftKeepsItsLevelAndPower(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(500, 3000)
	const wanted = 0.8
	for _, c := range []struct {
		k, n    int
		between float64
	}{{1, 5, 0.5}, {1, 8, 1}, {1, 20, 0.3}, {2, 5, 1}, {3, 5, 0.5}, {3, 8, 0}, {5, 4, 1}} {
		r := rand.New(rand.NewPCG(uint64(c.k), uint64(c.n)))
		var falsely, consistent int
		var least []float64
		spreadOf := func(x, y [][]float64) Spread { return GroupSpread(c.between, x, y) }
		for i := range cases {
			x, y := groupsOf(r, shapes[0], c.k, c.n, c.between, 0), groupsOf(r, shapes[0], c.k, c.n, c.between, 0)
			s := ShiftGrouped(x, y, spreadOf(x, y))
			if s.P <= 0.05 {
				falsely++
			}
			outside := s.Interval.Low > 0 || s.Interval.High < 0
			if outside == (s.P <= 1-s.Interval.Coverage) {
				consistent++
			}
			if i < 100 {
				least = append(least, SmallestShiftGrouped(x, y, spreadOf(x, y), wanted))
			}
		}
		shift, seen := Median(least), 0
		for range cases {
			x, y := groupsOf(r, shapes[0], c.k, c.n, c.between, 0), groupsOf(r, shapes[0], c.k, c.n, c.between, shift)
			if s := ShiftGrouped(x, y, spreadOf(x, y)); s.P <= 0.05 {
				seen++
			}
		}
		rate, power := float64(falsely)/float64(cases), float64(seen)/float64(cases)
		t.Logf("%+v: false %.3f, shift %.2f seen %.3f, p and interval agree %.3f", c, rate, shift, power, float64(consistent)/float64(cases))
		if rate > 0.05+3*math.Sqrt(0.05*0.95/float64(cases)) {
			t.Errorf("%+v: %.3f changes seen where there is none", c, rate)
		}
		if math.Abs(power-wanted) > 0.08 {
			t.Errorf("%+v: the smallest shift %.2f is seen with %.3f, want %g", c, shift, power, wanted)
		}
		if consistent < cases*97/100 {
			t.Errorf("%+v: p and interval disagree in %d of %d", c, cases-consistent, cases)
		}
	}
}

// Eight strings asked at once and none changed: a family is falsely called
// changed in at most 5 %; with one changed by much, it and hardly another is seen.
func TestFamiliesKeepTheirLevel(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(300, 2000)
	for _, n := range []int{4, 6, 12, 20} {
		r := rand.New(rand.NewPCG(uint64(n), 9))
		falsely, others := 0, 0
		for range cases {
			p := make([]float64, 8)
			for i := range p {
				p[i] = RankSumP(sample(r, shapes[1], n, 0), sample(r, shapes[1], n, 0))
			}
			if slices.Min(BenjaminiHochberg(p)) <= 0.05 {
				falsely++
			}
			p[0] = 1e-9
			for _, q := range BenjaminiHochberg(p)[1:] {
				if q <= 0.05 {
					others++
					break
				}
			}
		}
		rate := float64(falsely) / float64(cases)
		t.Logf("%d values: %.3f of families false, %.3f beside a true change", n, rate, float64(others)/float64(cases))
		if rate > 0.05+3*math.Sqrt(0.05*0.95/float64(cases)) {
			t.Errorf("%d values: %.3f of families called changed", n, rate)
		}
	}
}

// A take on either side borrows the spread of the others.
func TestBorrowedSpreadCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(500, 3000)
	for _, between := range []float64{0.3, 1, 3} {
		for _, n := range []int{4, 8} {
			r := rand.New(rand.NewPCG(uint64(n), uint64(10*between)))
			var one, unequal tally
			for range cases {
				x, y := groupsOf(r, shapes[0], 1, n, between, 0), groupsOf(r, shapes[0], 1, n, between, 0)
				sets := [][][]float64{x, y}
				for range 6 {
					sets = append(sets, groupsOf(r, shapes[0], 2, 6, between, 0))
				}
				mixed := append(groupsOf(r, shapes[0], 1, 3, between, 0), groupsOf(r, shapes[0], 1, 12, between, 0)...)
				spread := GroupSpread(0, append(sets, mixed)...)
				one.add(ShiftGrouped(x, y, spread).Interval, 0)
				unequal.add(ShiftGrouped(sets[2], mixed, spread).Interval, 0)
			}
			name := fmt.Sprintf("%d values, spread %g", n, between)
			t.Logf("%s: one group %s of %.1f, two unequal %s of 95", name, one.check(t, name, 1.5), 100*one.stated, unequal.check(t, name+", unequal", 1.5))
		}
	}
}

func TestGroupedOfNothing(t *testing.T) {
	if s := ShiftGrouped(nil, [][]float64{{1, 2, 3}}, Spread{}); !math.IsNaN(s.Estimate) || s.P != 1 {
		t.Errorf("shift from nothing: %+v", s)
	}
	if s := ShiftGrouped([][]float64{{1}, {1}}, [][]float64{{1}, {1}}, GroupSpread(0, [][]float64{{1}, {1}})); s.Estimate != 0 || s.P != 1 {
		t.Errorf("no scatter at all: %+v", s)
	}
	for _, e := range Balance([][]float64{{1, 2}, {1, 2, 3}}) {
		if e.Interval != nil {
			t.Errorf("interval with two values in a group: %+v", e)
		}
	}
	if b := Balance([][]float64{{1, 2, 3}}); b[0].Median != 0 || b[0].Interval != nil {
		t.Errorf("one group against itself: %+v", b[0])
	}
	if len(Balance(nil)) != 0 {
		t.Error("balance of nothing")
	}
}

func BenchmarkHodgesLehmann(b *testing.B) {
	for _, n := range []int{5, 20, 100} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			r := rand.New(rand.NewPCG(1, 1))
			x, y := sample(r, shapes[0], n, 0), sample(r, shapes[0], n, 1)
			for b.Loop() {
				HodgesLehmann(x, y)
			}
		})
	}
}

func BenchmarkSummarize(b *testing.B) {
	x := ramp(20)
	for b.Loop() {
		Summarize(x)
	}
}
