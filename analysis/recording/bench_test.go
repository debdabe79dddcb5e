package recording

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// noisySine is a sine with a little noise, interleaved.
func noisySine(frames, channels int, rateHz float64) []float64 {
	rng := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, frames*channels)
	for i := range x {
		x[i] = 0.5*math.Sin(2*math.Pi*220*float64(i/channels)/rateHz) + 1e-4*rng.NormFloat64()
	}
	return x
}

// benchFiles are takes in every common width.
func benchFiles(seconds, channels int) map[string][]byte {
	x := noisySine(seconds*48000, channels, 48000)
	return map[string][]byte{
		"16 bit":   file16(48000, channels, x),
		"24 bit":   file24(48000, channels, x),
		"32 bit":   riffOf(chunk("fmt ", fmtBody(tagPCM, channels, 48000, 32, 4*channels)), chunk("data", pcm(x, 4))),
		"float 32": fileFloat(48000, channels, x),
	}
}

// decodedSeconds is a take that stays in the processor's caches and one that
// does not.
var decodedSeconds = []int{1, 60}

// BenchmarkDecode reads one channel; MB/s are of samples written.
func BenchmarkDecode(b *testing.B) {
	for _, seconds := range decodedSeconds {
		for _, channels := range []int{1, 2} {
			for name, file := range benchFiles(seconds, channels) {
				b.Run(fmt.Sprintf("%d s, %s, %d channels", seconds, name, channels), func(b *testing.B) {
					take := open(b, file)
					dst := make([]float64, take.Format.Frames)
					src := take.Channel(0)
					b.SetBytes(int64(8 * len(dst)))
					for b.Loop() {
						if _, err := src.ReadAt(dst, 0); err != nil {
							b.Fatal(err)
						}
					}
				})
			}
		}
	}
}

// BenchmarkCopy is the plain copy of as many samples that decoding is held
// against.
func BenchmarkCopy(b *testing.B) {
	for _, seconds := range decodedSeconds {
		b.Run(fmt.Sprintf("%d s", seconds), func(b *testing.B) {
			src, dst := make([]float64, seconds*48000), make([]float64, seconds*48000)
			b.SetBytes(int64(8 * len(dst)))
			for b.Loop() {
				copy(dst, src)
			}
		})
	}
}

func BenchmarkInspect(b *testing.B) {
	for _, channels := range []int{1, 2, 8, 64} {
		for name, file := range benchFiles(1, channels) {
			b.Run(fmt.Sprintf("%s %d channels", name, channels), func(b *testing.B) {
				take := open(b, file)
				b.SetBytes(int64(len(file)))
				for b.Loop() {
					if _, err := take.Inspect(b.Context()); err != nil {
						b.Fatal(err)
					}
				}
				perSample := float64(b.Elapsed().Nanoseconds()) / float64(b.N) / float64(48000*channels)
				b.ReportMetric(perSample, "ns/sample")
			})
		}
	}
}

func BenchmarkOpen(b *testing.B) {
	file := file24(48000, 2, noisySine(4800, 2, 48000))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(bytes.NewReader(file), int64(len(file)), "take.wav"); err != nil {
			b.Fatal(err)
		}
	}
}
