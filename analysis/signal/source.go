// Package signal is the mathematics that the measures share: sources of
// samples, levels, windows, spectra, bands, weightings and note names. It
// knows nothing of pickups.
package signal

import (
	"fmt"
	"io"
)

// Source is one channel of samples at a fixed rate. Full scale is ±1.
//
// Measures take a Source rather than a slice so that a take of any length is
// read block by block and no measure holds more than the event it looks at.
type Source interface {
	// Rate is the sample rate in Hz.
	Rate() float64
	// Len is the number of samples.
	Len() int64
	// ReadAt fills dst with the samples from index first on. It returns how
	// many it filled, and io.EOF when that is fewer than len(dst) because the
	// source ends. Safe for concurrent use.
	ReadAt(dst []float64, first int64) (int, error)
}

// Memory is a Source over samples held in memory.
type Memory struct {
	Samples    []float64 // full scale ±1
	SampleRate float64   // Hz
}

// Rate is the sample rate in Hz.
func (m Memory) Rate() float64 { return m.SampleRate }

// Len is the number of samples.
func (m Memory) Len() int64 { return int64(len(m.Samples)) }

// ReadAt copies the samples from index first on into dst.
func (m Memory) ReadAt(dst []float64, first int64) (int, error) {
	if first < 0 {
		return 0, fmt.Errorf("read of sample %d: the first sample is 0", first)
	}
	if first >= m.Len() {
		return 0, io.EOF
	}
	n := copy(dst, m.Samples[first:])
	if n < len(dst) {
		return n, io.EOF
	}
	return n, nil
}

// Segment gives n samples of src from index first on, clipped to what the
// source holds. The result may be shorter than n, or empty. It is not to be
// changed: of a Memory it is the samples themselves.
func Segment(src Source, first, n int64) ([]float64, error) {
	if first < 0 {
		n += first
		first = 0
	}
	if n = min(n, src.Len()-first); n <= 0 {
		return nil, nil
	}
	if m, ok := src.(Memory); ok {
		return m.Samples[first : first+n : first+n], nil
	}
	dst := make([]float64, n)
	got, err := src.ReadAt(dst, first)
	if err != nil && err != io.EOF {
		return nil, err
	}
	return dst[:got], nil
}
