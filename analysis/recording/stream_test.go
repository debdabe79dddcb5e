package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// endless is a recording of any size in no memory: a header, then a second of
// samples again and again.
type endless struct {
	header []byte
	loop   []byte
	size   int64
}

func newEndless(rateHz, channels int, seconds int64) endless {
	x := noisySine(rateHz, channels, float64(rateHz))
	e := endless{loop: pcm(x, 3)}
	dataSize := seconds * int64(len(e.loop))
	e.header = riffOf(chunk("ds64", ds64(uint64(dataSize), uint64(dataSize))), chunk("fmt ", fmtBody(tagPCM, channels, rateHz, 24, 3*channels)), chunk("data", nil))
	copy(e.header, "RF64")
	binary.LittleEndian.PutUint32(e.header[len(e.header)-4:], unknownSize)
	e.size = int64(len(e.header)) + dataSize
	return e
}

func (e endless) ReadAt(p []byte, at int64) (int, error) {
	done := 0
	for done < len(p) && at < e.size {
		var n int
		if at < int64(len(e.header)) {
			n = copy(p[done:], e.header[at:])
		} else {
			n = copy(p[done:], e.loop[(at-int64(len(e.header)))%int64(len(e.loop)):])
		}
		n = int(min(int64(n), e.size-at))
		done, at = done+n, at+int64(n)
	}
	if done < len(p) {
		return done, io.EOF
	}
	return done, nil
}

// An hour of 96 kHz 24-bit stereo: 2 GB of file, a few MB of memory. Quick
// runs take 20 s of it; the bound is in proportion.
func TestAnHourInLittleMemory(t *testing.T) {
	seconds := int64(accuracy.Cases(20, 3600))
	file := newEndless(96000, 2, seconds)
	take, err := Read(file, file.size, "long.wav")
	if err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	facts, err := take.Inspect(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	near(t, "duration", facts.DurationS, float64(seconds), 0.01)
	got := after.TotalAlloc - before.TotalAlloc
	bound := uint64(4<<20 + seconds*20*2*12*4)
	t.Logf("%d s: %.1f MB allocated in all, bound %.1f MB", seconds, float64(got)/1e6, float64(bound)/1e6)
	if got > bound {
		t.Errorf("%d bytes allocated, bound %d", got, bound)
	}
}

func TestInspectStopsWhenAsked(t *testing.T) {
	file := newEndless(96000, 2, 36000)
	take, err := Read(file, file.size, "long.wav")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := take.Inspect(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if _, err := take.SHA256(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// More than 4 GiB with a plain RIFF header: its 32-bit size has wrapped.
func TestWrappedSize(t *testing.T) {
	file := newEndless(96000, 2, 8000)
	copy(file.header, "RIFF")
	data := file.size - int64(len(file.header))
	binary.LittleEndian.PutUint32(file.header[len(file.header)-4:], uint32(data))
	take, err := Read(file, file.size, "long.wav")
	if err != nil {
		t.Fatal(err)
	}
	if take.Format.Frames != 8000*96000 || len(take.Notes) != 1 {
		t.Errorf("%d frames, notes %q", take.Format.Frames, take.Notes)
	}
}

// Any split of a channel into reads, from any number of goroutines, gives
// the same samples.
func TestReadsInAnyOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 1))
	x := make([]float64, 3*70001)
	for i := range x {
		x[i] = rng.Float64() - 0.5
	}
	take := open(t, file24(48000, 3, x))
	want := samples(t, take, 1)
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			rng := rand.New(rand.NewPCG(52, uint64(g)))
			for range 200 {
				first, n := rng.IntN(len(want)), rng.IntN(30000)
				n = min(n, len(want)-first)
				got := make([]float64, n)
				if _, err := take.Channel(1).ReadAt(got, int64(first)); err != nil || !slices.Equal(got, want[first:first+n]) {
					t.Errorf("read of %d at %d differs (%v)", n, first, err)
					return
				}
			}
		})
	}
	wg.Wait()
}

// FIPS 180-4's example: SHA-256 of "abc" (from memory).
func TestSHA256(t *testing.T) {
	abc := &Take{Name: "abc", r: bytes.NewReader([]byte("abc")), size: 3}
	got, err := abc.SHA256(t.Context())
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if err != nil || got != want {
		t.Errorf("got %s, %v", got, err)
	}
	if b, err := hex.DecodeString(got); err != nil || len(b) != 32 {
		t.Errorf("not 32 bytes: %v", err)
	}
}

// The samples' kind makes no difference to the facts.
func TestFactsDoNotDependOnWidth(t *testing.T) {
	rng := rand.New(rand.NewPCG(53, 1))
	s := randomScene(rng)
	a, b := inspect(t, file24(int(s.rateHz), 1, s.x)).Channels[0], inspect(t, fileFloat(int(s.rateHz), 1, s.x)).Channels[0]
	near(t, "RMS", a.RMSDBFS, b.RMSDBFS, 0.01)
	near(t, "peak", a.PeakDB, b.PeakDB, 0.01)
	if a.Steps != b.Steps || a.Gaps != b.Gaps || len(a.BlocksDBFS) != 11 {
		t.Errorf("24 bits: %+v\nfloat: %+v", a, b)
	}
}
