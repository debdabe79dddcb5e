package recording

import (
	"encoding/binary"
	"fmt"
	"io"

	"github.com/go-audio/riff"
)

// Format is how a recording's samples are kept.
type Format struct {
	Container   string // RIFF, RF64 or BW64
	Float       bool   // IEEE float, nominal full scale ±1; else integer PCM
	Bits        int    // width of one sample in the file
	ValidBits   int    // of these, how many carry the sample
	Channels    int
	RateHz      int
	Extensible  bool
	Frames      int64 // samples of each channel
	dataAt      int64
	frameBytes  int
	sampleBytes int
}

// String is the format in words.
func (f Format) String() string {
	kind := "integer"
	if f.Float {
		kind = "float"
	}
	width := fmt.Sprintf("%d-bit %s", f.Bits, kind)
	if f.ValidBits != f.Bits {
		width = fmt.Sprintf("%d in %d-bit %s", f.ValidBits, f.Bits, kind)
	}
	if f.Extensible {
		width += ", extensible header"
	}
	return f.Container + " WAVE, " + width
}

// Limits of what is read. They keep a lying header from asking for memory.
const (
	minRateHz   = 1000
	maxRateHz   = 768000
	maxChannels = 64
	maxFmtBytes = 4096
	maxChunks   = 100000
	unknownSize = 0xFFFFFFFF
)

// Format tags of the fmt chunk.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagExtensible = 0xFFFE
)

var compressed = map[uint16]string{
	0x0002: "ADPCM", 0x0006: "A-law", 0x0007: "µ-law", 0x0011: "IMA ADPCM",
	0x0050: "MPEG audio", 0x0055: "MP3", 0x0031: "GSM", 0x00FF: "AAC", 0x1610: "AAC",
}

// chunks is what the walk over the file found.
type chunks struct {
	container string
	fmt       []byte
	dataAt    int64
	dataSize  int64
	hasData   bool
	data64    int64 // from ds64; -1: none
	notes     []string
}

// walk reads chunk headers from the start to the end of the file; it reads
// no sample.
func walk(r io.ReaderAt, size int64) (chunks, error) {
	c := chunks{data64: -1}
	head := make([]byte, 12)
	if n, err := r.ReadAt(head, 0); n < 12 {
		if err != nil && err != io.EOF {
			return c, err
		}
		return c, errNotWAVE(head[:n], size)
	}
	c.container = string(head[:4])
	switch c.container {
	case "RIFF", "RF64", "BW64":
	default:
		return c, errNotWAVE(head, size)
	}
	if string(head[8:12]) != "WAVE" {
		return c, fmt.Errorf("it is a RIFF file of another kind (%q), not a WAVE recording; export it as WAV", printable(head[8:12]))
	}
	return c, c.walkFrom(r, size, 12)
}

func (c *chunks) walkFrom(r io.ReaderAt, size, at int64) error {
	for range maxChunks {
		if at+8 > size {
			return nil
		}
		id, length, err := riff.New(io.NewSectionReader(r, at, 8)).IDnSize()
		if err != nil {
			return fmt.Errorf("read chunk header at byte %d: %w", at, err)
		}
		body := at + 8
		next, err := c.take(r, size, string(id[:]), body, int64(length))
		if err != nil {
			return err
		}
		if next <= at {
			return nil
		}
		at = next
	}
	return nil
}

// take notes one chunk and says where the next begins.
func (c *chunks) take(r io.ReaderAt, size int64, id string, body, length int64) (int64, error) {
	switch id {
	case "fmt ":
		if length > maxFmtBytes || body+length > size {
			return 0, fmt.Errorf("its fmt chunk claims %d bytes; the file is damaged, record or export it again", length)
		}
		c.fmt = make([]byte, length)
		if _, err := r.ReadAt(c.fmt, body); err != nil && err != io.EOF {
			return 0, fmt.Errorf("read fmt chunk: %w", err)
		}
	case "ds64":
		var sizes [16]byte
		if _, err := r.ReadAt(sizes[:], body); err == nil && length >= 16 {
			c.data64 = int64(binary.LittleEndian.Uint64(sizes[8:]) & (1<<63 - 1))
		}
	case "data":
		if c.hasData {
			return c.pastData(r, size, body, length), nil
		}
		c.hasData, c.dataAt = true, body
		length = c.dataLength(r, size, body, length)
		c.dataSize = length
		return c.pastData(r, size, body, length), nil
	}
	return body + length + length%2, nil
}

// dataLength is how much of the data chunk is there, whatever it claims.
func (c *chunks) dataLength(r io.ReaderAt, size, body, length int64) int64 {
	if length == unknownSize && c.data64 >= 0 {
		length = c.data64
	}
	there := size - body
	switch {
	case length == unknownSize || length == 0 && there > 8 && !chunkAt(r, body, size):
		c.notes = append(c.notes, "the recording was not closed properly; its length was taken from the file's")
		return there
	case length > there:
		c.notes = append(c.notes, fmt.Sprintf("the header promises %d bytes of samples and %d are there; these were read", length, there))
		return there
	}
	return length
}

// chunkAt tells whether a chunk that fits the file begins at a place. After a
// data chunk of length 0 it does not, when an interrupted recording left its
// samples there.
func chunkAt(r io.ReaderAt, at, size int64) bool {
	var head [8]byte
	if n, _ := r.ReadAt(head[:], at); n < 8 || !isChunkID(head[:4]) {
		return false
	}
	return at+8+int64(binary.LittleEndian.Uint32(head[4:])) <= size
}

// pastData is where the chunk after the samples begins. Some writers leave
// out the pad byte of an odd length: the next four bytes decide.
func (c *chunks) pastData(r io.ReaderAt, size, body, length int64) int64 {
	next := body + length
	if length%2 == 0 || next >= size {
		return next
	}
	var id [4]byte
	if n, _ := r.ReadAt(id[:], next); n == 4 && isChunkID(id[:]) {
		return next
	}
	return next + 1
}

func isChunkID(id []byte) bool {
	for _, b := range id {
		if b < 0x20 || b > 0x7e {
			return false
		}
	}
	return true
}

// parseFormat checks the fmt chunk against itself.
func parseFormat(c chunks) (Format, error) {
	f := Format{Container: c.container, dataAt: c.dataAt}
	if len(c.fmt) < 16 {
		return f, fmt.Errorf("it has no usable fmt chunk, so its samples cannot be told from noise; record or export it again")
	}
	tag := binary.LittleEndian.Uint16(c.fmt)
	f.Channels = int(binary.LittleEndian.Uint16(c.fmt[2:]))
	f.RateHz = int(binary.LittleEndian.Uint32(c.fmt[4:]))
	align := int(binary.LittleEndian.Uint16(c.fmt[12:]))
	f.Bits = int(binary.LittleEndian.Uint16(c.fmt[14:]))
	f.ValidBits = f.Bits
	if tag == tagExtensible {
		if len(c.fmt) < 40 {
			return f, fmt.Errorf("its extensible header is cut short; export it again as plain WAV")
		}
		f.Extensible = true
		if valid := int(binary.LittleEndian.Uint16(c.fmt[18:])); valid > 0 {
			f.ValidBits = valid
		}
		tag = binary.LittleEndian.Uint16(c.fmt[24:])
	}
	if err := f.setCoding(tag); err != nil {
		return f, err
	}
	return f, f.setLayout(align)
}

func (f *Format) setCoding(tag uint16) error {
	switch tag {
	case tagPCM:
	case tagFloat:
		f.Float = true
	default:
		name := compressed[tag]
		if name == "" {
			name = fmt.Sprintf("coding 0x%04x", tag)
		}
		return fmt.Errorf("its samples are compressed (%s); export it as uncompressed WAV, PCM or float", name)
	}
	return nil
}

func (f *Format) setLayout(align int) error {
	if f.Channels < 1 || f.Channels > maxChannels {
		return fmt.Errorf("its header claims %d channels (1 to %d can be read); record or export it again", f.Channels, maxChannels)
	}
	if f.RateHz < minRateHz || f.RateHz > maxRateHz {
		return fmt.Errorf("its header claims a sample rate of %d Hz (%d to %d can be read); record or export it again", f.RateHz, minRateHz, maxRateHz)
	}
	bytes := (f.Bits + 7) / 8
	if align > 0 && align%f.Channels == 0 && align/f.Channels >= bytes && align/f.Channels <= 8 {
		bytes = align / f.Channels
	}
	ok := bytes >= 1 && bytes <= 4 && f.Bits >= 1
	if f.Float {
		ok = f.Bits == 32 && bytes == 4 || f.Bits == 64 && bytes == 8
	}
	if !ok || f.ValidBits < 1 || f.ValidBits > 8*bytes {
		return fmt.Errorf("its header claims %d-bit samples in %d bytes, which cannot be read; export it with 16, 24 or 32 bits", f.Bits, bytes)
	}
	f.sampleBytes, f.frameBytes = bytes, bytes*f.Channels
	return nil
}
