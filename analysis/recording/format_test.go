package recording

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// container is testdata/wav_container.json: byte examples from the published
// layouts of RIFF, WAVE and RF64; its sources are named in it.
type container struct {
	Chunk struct {
		OddHex string `json:"example_odd_data_hex"`
	}
	PCMSamples struct {
		Checks []struct {
			Bits  int
			Hex   string
			Value float64
		}
	} `json:"pcm_samples"`
	RF64 struct {
		Hex string `json:"example_hex"`
	} `json:"rf64"`
	ExtensibleHex string `json:"extensible_example_hex"`
	FloatHex      string `json:"float_example_hex"`
}

func published(t *testing.T) container {
	t.Helper()
	text, err := os.ReadFile("testdata/wav_container.json")
	if err != nil {
		t.Fatal(err)
	}
	var c container
	if err := json.Unmarshal(text, &c); err != nil {
		t.Fatal(err)
	}
	return c
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

var formatOnly = cmpopts.IgnoreUnexported(Format{})

// The examples are headers of files written by independent libraries; their
// samples are appended here as zeros.
func TestPublishedExamples(t *testing.T) {
	t.Parallel()
	c := published(t)
	for _, e := range []struct {
		name   string
		header string
		data   int
		want   Format
	}{
		{"odd data", c.Chunk.OddHex, 0, Format{Container: "RIFF", Encoding: PCM, ContainerBits: 8, ValidBits: 8, Channels: 1, RateHz: 8000, Frames: 3}},
		{"RF64", c.RF64.Hex, 60, Format{Container: "RF64", Encoding: PCM, ContainerBits: 24, ValidBits: 24, Channels: 2, RateHz: 48000, Extensible: true, Frames: 10}},
		{"extensible", c.ExtensibleHex, 288, Format{Container: "RIFF", Encoding: PCM, ContainerBits: 24, ValidBits: 24, Channels: 2, RateHz: 48000, Extensible: true, Frames: 48}},
		{"float", c.FloatHex, 192, Format{Container: "RIFF", Encoding: Float, ContainerBits: 32, ValidBits: 32, Channels: 1, RateHz: 48000, Frames: 48}},
	} {
		take := open(t, append(unhex(t, e.header), make([]byte, e.data)...))
		if diff := cmp.Diff(e.want, take.Format, formatOnly); diff != "" {
			t.Errorf("%s (-want +got):\n%s", e.name, diff)
		}
		if len(take.Notes) > 0 {
			t.Errorf("%s: sound file got notes %q", e.name, take.Notes)
		}
	}
}

func TestPublishedSamples(t *testing.T) {
	t.Parallel()
	for _, c := range published(t).PCMSamples.Checks {
		bytes := c.Bits / 8
		// Before and after, so that the loop and its end are both tried.
		data := append(unhex(t, c.Hex), unhex(t, c.Hex)...)
		take := open(t, riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 48000, c.Bits, bytes)), chunk("data", data)))
		want := c.Value / math.Exp2(float64(c.Bits-1))
		if got := samples(t, take, 0); got[0] != want || got[1] != want {
			t.Errorf("%d bits %s: got %v, want %v", c.Bits, c.Hex, got, want)
		}
	}
}

// with returns a copy of b with a 32-bit number written at a place.
func with(b []byte, at int, v uint32) []byte {
	b = bytes.Clone(b)
	binary.LittleEndian.PutUint32(b[at:], v)
	return b
}

func ds64(riffSize, dataSize uint64) []byte {
	b := binary.LittleEndian.AppendUint64(nil, riffSize)
	b = binary.LittleEndian.AppendUint64(b, dataSize)
	return append(b, make([]byte, 12)...)
}

// rf64 is a two-sample recording whose sizes are in ds64.
func rf64(id string, dataSize uint64) []byte {
	b := riffOf(chunk("ds64", ds64(88, dataSize)), chunk("fmt ", fmtBody(tagPCM, 1, 48000, 16, 2)), chunk("data", []byte{1, 0, 2, 0}))
	copy(b, id)
	return with(with(b, 4, unknownSize), len(b)-8, unknownSize)
}

// Every variant that recorders and editors write.
func TestVariantsAreRead(t *testing.T) {
	t.Parallel()
	two := []byte{0, 0x40, 0, 0xC0} // 0.5, -0.5
	plain := chunk("fmt ", fmtBody(tagPCM, 1, 48000, 16, 2))
	data := chunk("data", two)
	whole := riffOf(plain, data)
	sizeAt := len(whole) - 8
	noPad := append(riffOf(plain, []byte("junk\x03\x00\x00\x00abc"), data), 0)
	for _, c := range []struct {
		name string
		file []byte
		want []float64
		note string // part of the first note; "": none
	}{
		{"plain", whole, []float64{0.5, -0.5}, ""},
		{"fmt of 18 bytes", riffOf(chunk("fmt ", append(fmtBody(tagPCM, 1, 48000, 16, 2), 0, 0)), data), []float64{0.5, -0.5}, ""},
		{"extensible", riffOf(chunk("fmt ", extensible(tagPCM, 1, 48000, 16, 2, 16)), data), []float64{0.5, -0.5}, ""},
		{"valid bits 0", riffOf(chunk("fmt ", extensible(tagPCM, 1, 48000, 16, 2, 0)), data), []float64{0.5, -0.5}, ""},
		{"chunks around", riffOf(chunk("JUNK", make([]byte, 28)), chunk("bext", make([]byte, 602)), plain, chunk("LIST", []byte("INFO")), data, chunk("iXML", []byte("<a/>"))), []float64{0.5, -0.5}, ""},
		{"odd chunk with pad", riffOf(plain, chunk("junk", []byte("abc")), data), []float64{0.5, -0.5}, ""},
		{"odd chunk without pad", noPad[:len(noPad)-1], []float64{0.5, -0.5}, ""},
		{"fmt after data", riffOf(data, plain), []float64{0.5, -0.5}, ""},
		{"data size 0", with(whole, sizeAt, 0), []float64{0.5, -0.5}, "not closed"},
		{"data size unknown", with(whole, sizeAt, unknownSize), []float64{0.5, -0.5}, "not closed"},
		{"data beyond the file", with(whole, sizeAt, 1000), []float64{0.5, -0.5}, "breaks off"},
		{"RIFF size 0", with(whole, 4, 0), []float64{0.5, -0.5}, ""},
		{"half a sample more", append(with(whole, sizeAt, 5), 7), []float64{0.5, -0.5}, "unfinished sample"},
		{"trailing junk", append(bytes.Clone(whole), "\x00\x01\x02\x03\x04\x05\x06\x07\x08\x09"...), []float64{0.5, -0.5}, "after the last chunk"},
		{"trailing byte", append(bytes.Clone(whole), 0), []float64{0.5, -0.5}, ""},
		{"second data chunk", riffOf(plain, data, data), []float64{0.5, -0.5}, "second data chunk"},
		{"RF64", rf64("RF64", 4), []float64{1.0 / 32768, 2.0 / 32768}, ""},
		{"BW64", rf64("BW64", 4), []float64{1.0 / 32768, 2.0 / 32768}, ""},
		{"RF64 not closed", rf64("RF64", 0), []float64{1.0 / 32768, 2.0 / 32768}, "not closed"},
		{"RF64 of absurd size", rf64("RF64", math.MaxUint64), []float64{1.0 / 32768, 2.0 / 32768}, "breaks off"},
		{"no block size", riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 48000, 16, 0)), data), []float64{0.5, -0.5}, "block size"},
		{"8 bits", riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 8000, 8, 1)), chunk("data", []byte{0, 128, 192})), []float64{-1, 0, 0.5}, ""},
		{"12 in 16 bits", riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 48000, 12, 2)), data), []float64{0.5, -0.5}, ""},
		{"20 in 24 bits", riffOf(chunk("fmt ", extensible(tagPCM, 1, 48000, 24, 3, 20)), chunk("data", []byte{0x10, 0, 0, 0, 0, 0x40})), []float64{1.0 / (1 << 19), 0.5}, ""},
		{"24 in 32 bits", riffOf(chunk("fmt ", extensible(tagPCM, 1, 48000, 32, 4, 24)), chunk("data", []byte{0, 1, 0, 0, 0, 0, 0, 0x40})), []float64{1.0 / (1 << 23), 0.5}, ""},
		{"24 bits in blocks of 4", riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 48000, 24, 4)), chunk("data", []byte{0, 0, 0, 0x40})), []float64{0.5}, ""},
		{"float 64", riffOf(chunk("fmt ", fmtBody(tagFloat, 1, 384000, 64, 8)), chunk("data", binary.LittleEndian.AppendUint64(nil, math.Float64bits(0.1)))), []float64{0.1}, ""},
		{"float extensible", riffOf(chunk("fmt ", extensible(tagFloat, 1, 48000, 32, 4, 32)), chunk("data", float32s([]float64{1.5}))), []float64{1.5}, ""},
		{"not a number", riffOf(chunk("fmt ", fmtBody(tagFloat, 1, 48000, 32, 4)), chunk("data", float32s([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e30, -0.25}))), []float64{0, 0, 0, 0, -0.25}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			take := open(t, c.file)
			if diff := cmp.Diff(c.want, samples(t, take, 0)); diff != "" {
				t.Errorf("samples (-want +got):\n%s", diff)
			}
			switch {
			case c.note == "" && len(take.Notes) > 0:
				t.Errorf("unexpected note %q", take.Notes)
			case c.note != "" && (len(take.Notes) == 0 || !strings.Contains(take.Notes[0], c.note)):
				t.Errorf("notes %q do not say %q", take.Notes, c.note)
			}
		})
	}
}

func TestChannelsAreKeptApart(t *testing.T) {
	t.Parallel()
	for _, channels := range []int{1, 2, 3, 8, 64} {
		x := make([]float64, 37*channels) // the loops that take eight at a time, and a rest
		for i := range x {
			x[i] = float64(i-len(x)/2) / 4096
		}
		for name, file := range map[string][]byte{"16": file16(48000, channels, x), "24": file24(48000, channels, x), "float": fileFloat(48000, channels, x)} {
			take := open(t, file)
			for k := range channels {
				for i, got := range samples(t, take, k) {
					if want := x[i*channels+k]; got != want {
						t.Fatalf("%s, channel %d of %d, sample %d: got %v, want %v", name, k+1, channels, i, got, want)
					}
				}
			}
		}
	}
}
