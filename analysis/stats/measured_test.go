package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// Errors of each value's own measuring, or shared by all, beside what the
// values scatter by. Where each has its own, few values lie together by luck
// now and then, and get more than they need. Shared errors as large as the
// scatter cannot be told from none; that is not asserted.
func TestMeasuredIntervalCovers(t *testing.T) {
	t.Parallel()
	cases := accuracy.Cases(1000, 20000)
	var off []float64
	for _, c := range []struct {
		name                   string
		scatter, alone, shared float64
	}{
		{"scatter alone", 1, 0, 0}, {"scatter and small errors", 1, 0.3, 0}, {"alike", 1, 1, 0}, {"errors of each alone", 0, 1, 0},
		{"shared, nearly all", 0.03, 0, 1},
	} {
		line := ""
		for _, n := range []int{3, 4, 5, 6, 8, 12} {
			r := rand.New(rand.NewPCG(uint64(n), 5))
			held, stated := 0, 0.0
			for range cases {
				common := c.shared * r.NormFloat64()
				values, own := make([]float64, n), make([]Interval, n)
				for i := range values {
					values[i] = common + c.alone*r.NormFloat64() + c.scatter*r.NormFloat64()
					half := 1.96 * math.Hypot(c.alone, c.shared)
					own[i] = Interval{values[i] - half, values[i] + half, Nominal}
				}
				e := SummarizeMeasured(values, own).Interval
				stated += e.Coverage
				if e.Low <= 0 && 0 <= e.High {
					held++
				}
			}
			got := 100 * (float64(held) - stated) / float64(cases)
			off = append(off, got)
			if slack := 300 * math.Sqrt(0.1/float64(cases)); got < -1.5-slack || got > 5+slack {
				t.Errorf("%s, %d values: %+.1f points off the stated coverage", c.name, n, got)
			}
			line += fmt.Sprintf(" %d: %+.1f of %.1f", n, got, 100*stated/float64(cases))
		}
		t.Logf("%-26s %s", c.name, line)
	}
	report(t, "a median's interval, where each value has its own", "3-12 values, errors of each or shared", off, "-1.5 to 5")
}
