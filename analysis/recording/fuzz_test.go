package recording

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"testing"
)

// What reading may allocate: a constant and a multiple of the file's size.
const (
	allocConstant = 4 << 20
	allocPerByte  = 4
)

// FuzzRead holds what must hold for any bytes: no panic, an end, bounded
// memory, finite samples and facts, or an error of one line.
func FuzzRead(f *testing.F) {
	for _, path := range glob(f, "testdata/vectors/*.wav", 27) {
		seed, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(seed)
	}
	glob(f, "testdata/fuzz/FuzzRead/*", 5)
	f.Fuzz(func(t *testing.T, b []byte) { checkAnyBytes(t, b) })
}

func checkAnyBytes(t *testing.T, b []byte) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	take, err := Read(bytes.NewReader(b), int64(len(b)), "take.wav")
	if err != nil {
		checkSentence(t, "any bytes", err, "take.wav")
		return
	}
	facts, err := take.Inspect(t.Context())
	if err != nil {
		t.Fatalf("headers were accepted and samples not: %v", err)
	}
	runtime.ReadMemStats(&after)
	if got, bound := after.TotalAlloc-before.TotalAlloc, uint64(allocConstant+allocPerByte*len(b)); got > bound {
		t.Errorf("allocated %d bytes for a file of %d, bound %d", got, len(b), bound)
	}
	checkFacts(t, facts)
	checkReads(t, take)
}

func checkFacts(t *testing.T, facts Facts) {
	t.Helper()
	finite := func(name string, values ...float64) {
		for _, v := range values {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s is %v", name, v)
			}
		}
	}
	for _, c := range facts.Channels {
		finite("channel facts", c.PeakDB, c.RMSDBFS, c.DCOffsetFS, c.DCOffsetDB, c.ClipLevelDB, c.FlatTopDB,
			c.ZeroSeconds, c.LongestZeroS, c.GainRidingDB)
		finite("steps", c.StepsAtS...)
		finite("blocks", c.BlocksDBFS...)
	}
	for _, p := range facts.Pairs {
		finite("pair", p.Correlation, p.LevelDB)
	}
	if facts.Chosen < 0 || facts.Chosen >= len(facts.Channels) || facts.Reason == "" || !(facts.DurationS > 0) {
		t.Errorf("chosen %d of %d, %q, %g s", facts.Chosen, len(facts.Channels), facts.Reason, facts.DurationS)
	}
}

// checkReads reads across the end and beyond it.
func checkReads(t *testing.T, take *Take) {
	t.Helper()
	src := take.Channel(take.Format.Channels - 1)
	dst := make([]float64, 50)
	for _, first := range []int64{0, src.Len() / 2, src.Len() - 1, src.Len(), src.Len() + 9} {
		want := int(min(50, max(0, src.Len()-first)))
		n, err := src.ReadAt(dst, first)
		if n != want || (err == io.EOF) != (n < len(dst)) {
			t.Errorf("read at %d of %d: %d samples (want %d), %v", first, src.Len(), n, want, err)
		}
		for _, v := range dst[:n] {
			if math.Abs(v) > 0x1p64 || math.IsNaN(v) {
				t.Errorf("sample %v", v)
			}
		}
	}
	if _, err := src.ReadAt(dst, -1); err == nil {
		t.Error("read before the start gave no error")
	}
	for _, k := range []int{-1, take.Format.Channels} {
		if _, err := take.Channel(k).ReadAt(dst, 0); err == nil {
			t.Errorf("read of channel %d of %d gave no error", k, take.Format.Channels)
		}
	}
}

// Files with random bytes changed, cut and stretched.
func TestDamagedFiles(t *testing.T) {
	var seeds [][]byte
	for _, path := range glob(t, "testdata/vectors/*.wav", 27) {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		seeds = append(seeds, b)
	}
	for k := range 3000 {
		rng := rand.New(rand.NewPCG(5, uint64(k)))
		b := bytes.Clone(seeds[rng.IntN(len(seeds))])
		for range 1 + rng.IntN(6) {
			at := rng.IntN(min(len(b), 80+rng.IntN(len(b))))
			b[at] = []byte{0, 1, 0x7f, 0x80, 0xff, byte(rng.IntN(256))}[rng.IntN(6)]
		}
		switch rng.IntN(4) {
		case 0:
			b = b[:rng.IntN(len(b))]
		case 1:
			b = append(b, b[:rng.IntN(len(b))]...)
		}
		checkAnyBytes(t, b)
		if t.Failed() {
			t.Fatalf("case %d: % x", k, b)
		}
	}
}
