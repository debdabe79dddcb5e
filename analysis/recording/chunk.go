package recording

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math/bits"

	"github.com/go-audio/riff"
)

// Bounds on what a header may ask for.
const (
	maxFmtBytes  = 4096
	maxChunks    = 4096
	maxSizeTable = 64
	maxNotes     = 8
	unknownSize  = 0xFFFFFFFF
)

// file is what the walk over the chunks found. It reads no sample.
type file struct {
	r         io.ReaderAt
	size      int64
	container string
	order     binary.ByteOrder

	fmt      []byte
	hasFmt   bool
	hasData  bool
	dataAt   int64
	dataSize int64

	data64 int64            // data size from ds64; -1: none
	big    map[string]int64 // sizes of other chunks above 4 GiB, from ds64
	notes  []string
}

func (c *file) note(format string, args ...any) {
	if len(c.notes) == maxNotes {
		return
	}
	c.notes = append(c.notes, fmt.Sprintf(format, args...))
}

// walk reads the chunk headers from the first to the last.
func walk(r io.ReaderAt, size int64) (*file, error) {
	c := &file{r: r, size: size, data64: -1, order: binary.LittleEndian}
	head := make([]byte, 32)
	n, err := r.ReadAt(head[:min(int64(len(head)), max(size, 0))], 0)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("its header cannot be read: %w", err)
	}
	if n < 12 {
		return nil, errNotWAVE(head[:n])
	}
	c.container = string(head[:4])
	switch c.container {
	case "RIFF", "RF64", "BW64":
	case "RIFX":
		c.order = binary.BigEndian
	default:
		return nil, errNotWAVE(head[:n])
	}
	if kind := string(head[8:12]); kind != "WAVE" {
		return nil, fmt.Errorf("it is a RIFF file of another kind (%q), not a WAVE recording; export it as WAV", printable(head[8:12]))
	}
	return c, c.walkFrom(12)
}

func (c *file) walkFrom(at int64) error {
	for range maxChunks {
		if at+8 > c.size {
			return nil
		}
		var head [8]byte
		if n, err := c.r.ReadAt(head[:], at); n < len(head) {
			return fmt.Errorf("its chunk header at byte %d cannot be read: %w", at, unexpected(err))
		}
		// From memory, so that the reader's disregard of short reads and its
		// draining of chunks do not matter.
		id, length, err := riff.New(bytes.NewReader(head[:])).IDnSize()
		if err != nil {
			return fmt.Errorf("its chunk header at byte %d cannot be read: %w", at, err)
		}
		if c.order == binary.BigEndian {
			length = bits.ReverseBytes32(length)
		}
		if c.hasData && c.hasFmt && !isChunkID(id[:]) {
			c.note("%d bytes after the last chunk are none; left out", c.size-at)
			return nil
		}
		if at, err = c.take(string(id[:]), at+8, length); err != nil {
			return err
		}
	}
	if c.hasData && c.hasFmt {
		return nil
	}
	return fmt.Errorf("it has more than %d chunks and no samples among them; record or export it again", maxChunks)
}

// take notes one chunk and says where the next begins, at least body.
func (c *file) take(id string, body int64, length uint32) (int64, error) {
	size := int64(length)
	if length == unknownSize && c.big[id] > 0 {
		size = c.big[id]
	}
	switch {
	case id == "fmt " && !c.hasFmt:
		if err := c.readFmt(body, size); err != nil {
			return 0, err
		}
	case id == "ds64":
		c.readSizes(body, size)
	case id == "data" && c.hasData:
		c.note("a second data chunk of %d bytes is left out", size)
	case id == "data":
		c.hasData, c.dataAt, c.dataSize = true, body, c.dataLength(body, length)
		size = c.dataSize
	}
	return c.after(body, size), nil
}

// after is where the chunk behind one of the given size begins. Some writers
// leave out the pad byte of an odd size: the chunk id that follows decides.
func (c *file) after(body, size int64) int64 {
	if size >= c.size-body {
		return c.size
	}
	next := body + size
	if size%2 == 0 || c.chunkAt(next) && !c.chunkAt(next+1) {
		return next
	}
	return next + 1
}

func (c *file) readFmt(body, size int64) error {
	if size > maxFmtBytes || size > c.size-body {
		return fmt.Errorf("its fmt chunk claims %d bytes; the file is damaged, record or export it again", size)
	}
	c.hasFmt, c.fmt = true, make([]byte, size)
	if n, err := c.r.ReadAt(c.fmt, body); n < len(c.fmt) {
		return fmt.Errorf("its fmt chunk cannot be read: %w", unexpected(err))
	}
	return nil
}

// readSizes reads the 64-bit sizes of RF64 and BW64 (EBU Tech 3306;
// Recommendation ITU-R BS.2088): RIFF size, data size, sample count, table.
func (c *file) readSizes(body, size int64) {
	const fixed, entry = 28, 12
	raw := make([]byte, min(size, fixed+entry*maxSizeTable, c.size-body))
	if n, _ := c.r.ReadAt(raw, body); n < 16 || n < len(raw) {
		return
	}
	c.data64 = int64(min(c.order.Uint64(raw[8:]), 1<<62))
	if len(raw) < fixed {
		return
	}
	c.big = map[string]int64{}
	for at := fixed; at+entry <= len(raw); at += entry {
		c.big[string(raw[at:at+4])] = int64(min(c.order.Uint64(raw[at+4:]), 1<<62))
	}
}

// dataLength is how much of the data chunk is there, whatever it claims.
func (c *file) dataLength(body int64, claimed uint32) int64 {
	there, length := c.size-body, int64(claimed)
	if claimed == unknownSize && c.data64 > 0 {
		length = c.data64
	}
	switch {
	case claimed == unknownSize && c.data64 <= 0,
		length == 0 && there > 0 && !c.chunkAt(body):
		c.note("the recording was not closed: its header does not say how long it is; all %d bytes to the end of the file were read", there)
		return there
	case length > there:
		c.note("the recording breaks off: its header promises %d bytes of samples and %d are there; these were read", length, there)
		return there
	case c.container == "RIFF" && there-length > unknownSize && !c.chunkAt(body+length+length%2):
		wrapped := length + (there-length)>>32<<32
		c.note("the recording is longer than its header can say (4 GiB); %d bytes were read", wrapped)
		return wrapped
	}
	return length
}

// chunkAt tells whether a chunk that fits the file begins at a place: where
// an interrupted recording left its samples, none does.
func (c *file) chunkAt(at int64) bool {
	var head [8]byte
	if n, _ := c.r.ReadAt(head[:], at); n < len(head) || !isChunkID(head[:4]) {
		return false
	}
	return int64(c.order.Uint32(head[4:])) <= c.size-at-8
}

// isChunkID tells whether these are four printable characters, not only
// spaces.
func isChunkID(id []byte) bool {
	for _, b := range id {
		if b < ' ' || b > '~' {
			return false
		}
	}
	return id[0] != ' '
}

func unexpected(err error) error {
	if err == nil || err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}
