package recording

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// Format is how a recording's samples are kept.
type Format struct {
	Container     string // RIFF, RIFX, RF64 or BW64
	Encoding      string // PCM or float
	ContainerBits int    // width of one sample in the file, whole bytes
	ValidBits     int    // of these, how many the header says carry the sample
	Channels      int
	RateHz        int
	Extensible    bool
	Frames        int64 // samples of each channel

	bigEndian   bool
	dataAt      int64
	sampleBytes int
	frameBytes  int
}

// Encodings.
const (
	PCM   = "PCM"
	Float = "float"
)

// Limits of what is read.
const (
	minRateHz   = 1000
	maxRateHz   = 768000
	maxChannels = 64
)

// Format tags of the fmt chunk.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagExtensible = 0xFFFE
)

// subFormatTail ends the GUID of every sub-format that stands for a format
// tag: {0000TTTT-0000-0010-8000-00AA00389B71}.
var subFormatTail = []byte{0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71}

// String is the format in words.
func (f Format) String() string {
	kind := "integer"
	if f.Encoding == Float {
		kind = "float"
	}
	width := fmt.Sprintf("%d-bit %s", f.ContainerBits, kind)
	if f.ValidBits != f.ContainerBits {
		width = fmt.Sprintf("%d in %d-bit %s", f.ValidBits, f.ContainerBits, kind)
	}
	if f.Extensible {
		width += ", extensible header"
	}
	return f.Container + " WAVE, " + width
}

// quantumFS is the smallest step the header allows, 0 for float.
func (f Format) quantumFS() float64 {
	if f.Encoding == Float {
		return 0
	}
	return 1 / float64(uint64(1)<<(f.ValidBits-1))
}

// parseFormat checks the fmt chunk against itself (IBM & Microsoft,
// Multimedia Programming Interface and Data Specifications 1.0, 1991;
// Microsoft, Multiple channel audio data and WAVE files).
func parseFormat(c *file) (Format, error) {
	f := Format{Container: c.container, bigEndian: c.order == binary.BigEndian, dataAt: c.dataAt}
	if !c.hasFmt {
		return f, errors.New("it has no fmt chunk, so nobody can tell how its samples are kept; record or export it again")
	}
	if len(c.fmt) < 14 {
		return f, fmt.Errorf("its fmt chunk has %d bytes where 16 are needed; record or export it again", len(c.fmt))
	}
	tag := c.order.Uint16(c.fmt)
	if name, ok := compressed[tag]; ok {
		return f, errCompressed(name)
	}
	if len(c.fmt) < 16 {
		return f, fmt.Errorf("its fmt chunk has %d bytes where 16 are needed; record or export it again", len(c.fmt))
	}
	f.Channels = int(c.order.Uint16(c.fmt[2:]))
	rate := c.order.Uint32(c.fmt[4:])
	align := int(c.order.Uint16(c.fmt[12:]))
	width := int(c.order.Uint16(c.fmt[14:]))
	f.ValidBits = width
	if tag == tagExtensible {
		var err error
		if tag, err = f.readExtension(c); err != nil {
			return f, err
		}
	}
	if err := f.setEncoding(tag); err != nil {
		return f, err
	}
	if f.Channels < 1 || f.Channels > maxChannels {
		return f, fmt.Errorf("its header claims %d channels (1 to %d can be read); record or export it again", f.Channels, maxChannels)
	}
	if rate < minRateHz || rate > maxRateHz {
		return f, fmt.Errorf("its header claims a sample rate of %d Hz (%d to %d can be read); record or export it again", rate, minRateHz, maxRateHz)
	}
	f.RateHz = int(rate)
	return f, f.setWidth(c, width, align)
}

// readExtension returns the format tag that the sub-format stands for.
func (f *Format) readExtension(c *file) (uint16, error) {
	if len(c.fmt) < 40 {
		return 0, errors.New("its extensible header is cut short; export it again as plain WAV")
	}
	f.Extensible = true
	if valid := int(c.order.Uint16(c.fmt[18:])); valid > 0 {
		f.ValidBits = valid
	}
	guid := c.fmt[24:40]
	if c.order == binary.BigEndian {
		guid = turnedGUID(guid)
	}
	if bytes.Equal(guid[2:], subFormatTail) {
		return binary.LittleEndian.Uint16(guid), nil
	}
	return 0, fmt.Errorf("its sub-format is unknown (%x); export it as plain WAV, PCM or float", guid)
}

// turnedGUID undoes what big-endian writers do to the GUID: some turn its
// numbers round, some the format tag only, some nothing.
func turnedGUID(guid []byte) []byte {
	all := append([]byte{guid[3], guid[2], guid[1], guid[0], guid[5], guid[4], guid[7], guid[6]}, guid[8:]...)
	if bytes.Equal(all[2:], subFormatTail) {
		return all
	}
	if guid[0] == 0 {
		return append([]byte{guid[1], 0}, guid[2:]...)
	}
	return guid
}

func (f *Format) setEncoding(tag uint16) error {
	switch tag {
	case tagPCM:
		f.Encoding = PCM
	case tagFloat:
		f.Encoding = Float
	default:
		if name, ok := compressed[tag]; ok {
			return errCompressed(name)
		}
		return errCompressed(fmt.Sprintf("format tag 0x%04x", tag))
	}
	return nil
}

// setWidth settles how many bytes a sample has. The block align decides, as
// it alone tells 24 bits in 4 bytes from 24 in 3; it must fit.
func (f *Format) setWidth(c *file, width, align int) error {
	f.sampleBytes = (width + 7) / 8
	if align == 0 {
		c.note("the header gives no block size; %d bytes were taken from the sample width", f.sampleBytes*f.Channels)
		align = f.sampleBytes * f.Channels
	}
	if align%f.Channels != 0 || align/f.Channels < f.sampleBytes {
		return fmt.Errorf("its header contradicts itself (%d channels of %d bits in blocks of %d bytes); record or export it again", f.Channels, width, align)
	}
	f.sampleBytes, f.frameBytes = align/f.Channels, align
	f.ContainerBits = 8 * f.sampleBytes
	ok := f.sampleBytes <= 4 && f.ValidBits >= 1 && f.ValidBits <= f.ContainerBits && width >= 1
	if f.Encoding == Float {
		ok = width == f.ContainerBits && (width == 32 || width == 64)
		f.ValidBits = width
	}
	if !ok {
		return fmt.Errorf("its header claims %d-bit %s samples (%d valid) in %d bytes, which cannot be read; export it with 16, 24 or 32 bits",
			width, f.Encoding, f.ValidBits, f.sampleBytes)
	}
	return nil
}
