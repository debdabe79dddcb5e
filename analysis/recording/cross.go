package recording

import (
	"math"

	"saddlewise/analysis/signal"
)

// fullPairs is the channel count up to which pairs are compared on every
// sample; beyond, on a share of the tiles, so that the work per sample stays.
const fullPairs = 4

// crossMeter keeps the products of all pairs of channels.
type crossMeter struct {
	every    int // tiles
	next     int
	n        float64
	sum      []float64
	products [][]float64
}

func newCrossMeter(channels int) *crossMeter {
	if channels < 2 {
		return nil
	}
	c := &crossMeter{every: (channels + fullPairs - 1) / fullPairs, sum: make([]float64, channels)}
	for range channels {
		c.products = append(c.products, make([]float64, channels))
	}
	return c
}

// add takes the next n samples of every channel.
func (c *crossMeter) add(columns [][]float64, n int) {
	if c == nil {
		return
	}
	for from := 0; from < n; from += tileFrames {
		if c.next--; c.next < 0 {
			c.next = c.every - 1
			c.addTile(columns, from, min(from+tileFrames, n))
		}
	}
}

func (c *crossMeter) addTile(columns [][]float64, from, to int) {
	c.n += float64(to - from)
	for i, column := range columns {
		a := column[from:to]
		sum := 0.0
		for _, v := range a {
			sum += v
		}
		c.sum[i] += sum
		for j := i; j < len(columns); j++ {
			c.products[i][j] += dot(a, columns[j][from:to])
		}
	}
}

// dot has four sums, so that one does not wait for the other.
func dot(a, b []float64) float64 {
	var s0, s1, s2, s3 float64
	for len(a) >= 4 && len(b) >= 4 {
		s0 += a[0] * b[0]
		s1 += a[1] * b[1]
		s2 += a[2] * b[2]
		s3 += a[3] * b[3]
		a, b = a[4:], b[4:]
	}
	for i := range min(len(a), len(b)) {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}

func (c *crossMeter) covariance(i, j int) float64 {
	return c.products[min(i, j)][max(i, j)]/c.n - c.sum[i]/c.n*c.sum[j]/c.n
}

func (c *crossMeter) pair(chosen, other int) Pair {
	a, b := c.covariance(chosen, chosen), c.covariance(other, other)
	if silent := signal.DBToPower(signal.SilenceDB); !(a > silent && b > silent) {
		return Pair{Other: other, LevelDB: signal.SilenceDB}
	}
	r := c.covariance(chosen, other) / math.Sqrt(a*b)
	return Pair{Other: other, LevelDB: signal.PowerToDB(b / a), Correlation: math.Max(-1, math.Min(1, r))}
}
