//go:build unix

package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"saddlewise/analysis"
	"saddlewise/fixtures"
)

// A whole stage, as a maker of a seven-string instrument records it: 30 takes,
// five minutes in all, 48 kHz, 24 bits.
const (
	stageTakes   = 30
	stageSeconds = 300
)

func renderStage(b *testing.B) (dir string, seconds float64) {
	b.Helper()
	s := fixtures.DemoStages(1)[1].Session
	cello := s.Strings
	s.Strings = nil
	for i, note := range []string{"E4", "B3", "G3", "D3", "A2", "E2", "B1"} {
		str := cello[i%len(cello)]
		str.Note, str.Hz = note, 1.001*fixtures.NoteHz(note)
		s.Strings = append(s.Strings, str)
	}
	s.TapGapS = 0.9
	dir = filepath.Join(b.TempDir(), "strung")
	takes, err := s.Write(b.Context(), dir)
	if err != nil {
		b.Fatal(err)
	}
	for _, k := range takes {
		info, err := os.Stat(filepath.Join(dir, k.File))
		if err != nil {
			b.Fatal(err)
		}
		seconds += float64(info.Size()) / 3 / float64(s.RateHz)
	}
	if len(takes) != stageTakes || seconds < 0.95*stageSeconds || seconds > 1.05*stageSeconds {
		b.Fatalf("%d takes of %.0f s, want %d of %d", len(takes), seconds, stageTakes, stageSeconds)
	}
	toml := "[instrument]\nstrings = [\"E4\", \"B3\", \"G3\", \"D3\", \"A2\", \"E2\", \"B1\"]\n[capture]\nreference_tone_hz = 440.0\n"
	if err := os.WriteFile(filepath.Join(dir, "stage.toml"), []byte(toml), 0o644); err != nil {
		b.Fatal(err)
	}
	return dir, seconds
}

// BenchmarkStage tells how many seconds of recording pass in one of work, on
// the clock and of processor time on all cores, with the memory that the
// command allows itself.
func BenchmarkStage(b *testing.B) {
	spareCollection()
	dir, seconds := renderStage(b)
	out := filepath.Join(b.TempDir(), "report")
	o := analysis.Options{Tool: "benchmark"}
	b.Run("measured and judged", func(b *testing.B) {
		timed(b, seconds, func() error {
			_, err := analysis.Analyze(b.Context(), dir, o)
			return err
		})
	})
	for _, f := range []analyzeFlags{{html: true}, {html: true, svg: true}} {
		b.Run(fmt.Sprintf("with report and pictures, svg %v", f.svg), func(b *testing.B) {
			timed(b, seconds, func() error {
				_, err := analyzeInto(b.Context(), dir, out, o, f.formats()...)
				return err
			})
		})
	}
	for _, take := range []string{"tap-7.wav", "pluck-B1.wav", "tone-7.wav", "quiet.wav"} {
		b.Run("check "+take, func(b *testing.B) {
			timed(b, seconds/stageTakes, func() error {
				if status := run(b.Context(), []string{"check", filepath.Join(dir, take)}, io.Discard, io.Discard); status != exitDone {
					b.Fatalf("exit status %d", status)
				}
				return nil
			})
		})
	}
}

func timed(b *testing.B, seconds float64, work func() error) {
	before := processorSeconds(b)
	for b.Loop() {
		if err := work(); err != nil {
			b.Fatal(err)
		}
	}
	n := float64(b.N)
	b.ReportMetric(1000*(processorSeconds(b)-before)/n, "cpu-ms/op")
	b.ReportMetric(seconds/(b.Elapsed().Seconds()/n), "x-realtime")
}

func processorSeconds(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
