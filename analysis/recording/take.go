// Package recording turns the bytes of a WAV file into samples and says what
// can be told of the recording itself.
//
// Integer PCM of 8 to 32 bits and IEEE float of 32 and 64 bits are read, with
// plain and extensible headers, in RIFF, RF64 and BW64 files, with any number
// of channels up to 64. An interrupted recording is read as far as it goes. A
// file is opened for reading only. Memory does not grow with its length.
//
// Levels follow AES17: a full-scale sine has 0 dBFS RMS. Peaks are in dB re
// full scale.
package recording

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"saddlewise/analysis/signal"
)

// Take is one open recording.
type Take struct {
	Name   string // base name
	Format Format
	Notes  []string // what had to be repaired in reading it

	r      io.ReaderAt
	size   int64
	closer io.Closer
	blocks sync.Pool   // of *[]byte
	held   [][]float64 // every channel's samples, after Inspect of a short take
	room   *[]float64  // that they are kept in
}

// Open reads the headers of the file at path. The error is one sentence that
// names the file, says what is wrong and what to do.
func Open(path string) (*Take, error) {
	name := filepath.Base(path)
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, linkErr := os.Lstat(path); linkErr == nil {
			return nil, fmt.Errorf("%s is a link to a file that is not there; copy the recording itself here", name)
		}
		return nil, fmt.Errorf("%s is not there; check the name", name)
	case err != nil:
		return nil, fmt.Errorf("%s cannot be looked at: %w", name, err)
	case info.IsDir():
		return nil, fmt.Errorf("%s is a folder, not a recording; rename or move it", name)
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a plain file; copy the recording itself here", name)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be opened (check its permissions): %w", name, err)
	}
	t, err := Read(f, info.Size(), name)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	t.closer = f
	return t, nil
}

// Read reads the headers of a recording of size bytes. It keeps no more
// than 16 KiB, whatever they claim.
func Read(r io.ReaderAt, size int64, name string) (*Take, error) {
	c, err := walk(r, size)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be used: %w", name, err)
	}
	f, err := parseFormat(c)
	switch {
	case err != nil:
	case !c.hasData:
		err = errors.New("it holds a header and no samples; record it again")
	case c.dataSize < int64(f.frameBytes):
		err = errors.New("it holds no samples; record it again")
	}
	if err != nil {
		return nil, fmt.Errorf("%s cannot be used: %w", name, err)
	}
	f.Frames = c.dataSize / int64(f.frameBytes)
	if rest := c.dataSize % int64(f.frameBytes); rest > 0 {
		c.note("%d bytes of an unfinished sample at the end are left out", rest)
	}
	return &Take{Name: name, Format: f, Notes: c.notes, r: r, size: size}, nil
}

// Close closes the file, if Open opened it, and takes back the samples kept: no
// channel's may be looked at any more.
func (t *Take) Close() error {
	t.release()
	if t.closer == nil {
		return nil
	}
	return t.closer.Close()
}

// Seconds is how long the recording lasts.
func (t *Take) Seconds() float64 { return float64(t.Format.Frames) / float64(t.Format.RateHz) }

// SHA256 is the hash of the file's bytes, in hexadecimal.
func (t *Take) SHA256(ctx context.Context) (string, error) {
	h := sha256.New()
	block := make([]byte, 1<<17)
	for at := int64(0); at < t.size; at += int64(len(block)) {
		if err := ctx.Err(); err != nil {
			return "", err
		}
		part := block[:min(int64(len(block)), t.size-at)]
		if n, err := t.r.ReadAt(part, at); n < len(part) {
			return "", fmt.Errorf("%s cannot be read at byte %d (was it moved or cut meanwhile?): %w", t.Name, at, unexpected(err))
		}
		h.Write(part)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// Channel is one channel of the take, counted from 0, as samples with full
// scale ±1. Samples that are not numbers read as 0. Those of a short take that
// was inspected are not read again; they are not to be changed.
func (t *Take) Channel(i int) signal.Source {
	if i >= 0 && i < len(t.held) {
		return signal.Memory{Samples: t.held[i], SampleRate: float64(t.Format.RateHz)}
	}
	return channel{t, i}
}

type channel struct {
	take  *Take
	index int
}

func (c channel) Rate() float64 { return float64(c.take.Format.RateHz) }
func (c channel) Len() int64    { return c.take.Format.Frames }

// blockBytes is how much of the file is read at once.
const blockBytes = 1 << 16

// ReadAt implements signal.Source.
func (c channel) ReadAt(dst []float64, first int64) (int, error) {
	f := c.take.Format
	switch {
	case first < 0:
		return 0, fmt.Errorf("read of sample %d: the first sample is 0", first)
	case c.index < 0 || c.index >= f.Channels:
		return 0, fmt.Errorf("read of channel %d: %s has %d", c.index+1, c.take.Name, f.Channels)
	}
	want := min(int64(len(dst)), max(0, f.Frames-first))
	for done := int64(0); done < want; {
		n, err := c.take.readBlock(dst[done:want], first+done, c.index)
		if err != nil {
			return int(done), err
		}
		done += int64(n)
	}
	if want < int64(len(dst)) {
		return int(want), io.EOF
	}
	return int(want), nil
}

// readBlock fills the start of dst from one block of the file.
func (t *Take) readBlock(dst []float64, first int64, index int) (int, error) {
	raw, give := t.block()
	defer give()
	n := min(len(dst), max(1, len(raw)/t.Format.frameBytes))
	raw = raw[:n*t.Format.frameBytes]
	if err := t.readFrames(raw, first); err != nil {
		return 0, err
	}
	decode(dst[:n], raw[index*t.Format.sampleBytes:], t.Format)
	return n, nil
}

func (t *Take) readFrames(raw []byte, first int64) error {
	n, err := t.r.ReadAt(raw, t.Format.dataAt+first*int64(t.Format.frameBytes))
	if n < len(raw) {
		return fmt.Errorf("%s cannot be read at %.3f s (was it moved or cut meanwhile?): %w",
			t.Name, float64(first)/float64(t.Format.RateHz), unexpected(err))
	}
	if t.Format.bigEndian {
		littleEndian(raw, t.Format.sampleBytes)
	}
	return nil
}

// block lends a buffer of at least one frame.
func (t *Take) block() ([]byte, func()) {
	size := max(blockBytes/t.Format.frameBytes, 1) * t.Format.frameBytes
	if b, ok := t.blocks.Get().(*[]byte); ok {
		return *b, func() { t.blocks.Put(b) }
	}
	b := make([]byte, size)
	return b, func() { t.blocks.Put(&b) }
}
