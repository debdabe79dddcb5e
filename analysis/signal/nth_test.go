package signal

import (
	"math/rand/v2"
	"slices"
	"testing"
)

func TestNthIsThatOfSorted(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for n := 1; n < 200; n += 7 {
		v := noise(uint64(n), n)
		if n%2 == 0 {
			v[0], v[n/2] = v[n-1], v[n-1]
		}
		sorted := slices.Sorted(slices.Values(v))
		k := r.IntN(n)
		if got := Nth(v, k); got != sorted[k] {
			t.Errorf("place %d of %d: %g, want %g", k, n, got, sorted[k])
		}
	}
}
