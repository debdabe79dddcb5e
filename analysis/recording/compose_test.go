package recording

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"
)

// chunk is a RIFF chunk with its pad byte.
func chunk(id string, body []byte) []byte {
	out := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(body)))
	out = append(out, body...)
	if len(body)%2 == 1 {
		out = append(out, 0)
	}
	return out
}

// riffOf joins chunks to a file.
func riffOf(chunks ...[]byte) []byte {
	body := bytes.Join(chunks, nil)
	out := binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body)+4))
	return append(append(out, "WAVE"...), body...)
}

// fmtBody is the 16-byte fmt chunk's content.
func fmtBody(tag uint16, channels, rateHz, width, align int) []byte {
	b := binary.LittleEndian.AppendUint16(nil, tag)
	b = binary.LittleEndian.AppendUint16(b, uint16(channels))
	b = binary.LittleEndian.AppendUint32(b, uint32(rateHz))
	b = binary.LittleEndian.AppendUint32(b, uint32(rateHz*align))
	b = binary.LittleEndian.AppendUint16(b, uint16(align))
	return binary.LittleEndian.AppendUint16(b, uint16(width))
}

// extensible is the 40-byte fmt chunk's content.
func extensible(tag uint16, channels, rateHz, width, align, valid int) []byte {
	b := fmtBody(tagExtensible, channels, rateHz, width, align)
	b = binary.LittleEndian.AppendUint16(b, 22)
	b = binary.LittleEndian.AppendUint16(b, uint16(valid))
	b = binary.LittleEndian.AppendUint32(b, 0)
	b = binary.LittleEndian.AppendUint16(b, tag)
	return append(b, subFormatTail...)
}

// pcm keeps interleaved samples as integers of 1 to 4 bytes, rounded and
// clipped.
func pcm(x []float64, sampleBytes int) []byte {
	scale := math.Exp2(float64(8*sampleBytes - 1))
	out := make([]byte, 0, len(x)*sampleBytes)
	for _, v := range x {
		q := int64(math.Max(-scale, math.Min(scale-1, math.RoundToEven(v*scale))))
		if sampleBytes == 1 {
			q += 128
		}
		for k := range sampleBytes {
			out = append(out, byte(q>>(8*k)))
		}
	}
	return out
}

func float32s(x []float64) []byte {
	out := make([]byte, 0, 4*len(x))
	for _, v := range x {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(v)))
	}
	return out
}

// file16 is a plain recording of 16 bits, file24 one of 24.
func file16(rateHz, channels int, x []float64) []byte {
	return riffOf(chunk("fmt ", fmtBody(tagPCM, channels, rateHz, 16, 2*channels)), chunk("data", pcm(x, 2)))
}

func file24(rateHz, channels int, x []float64) []byte {
	return riffOf(chunk("fmt ", fmtBody(tagPCM, channels, rateHz, 24, 3*channels)), chunk("data", pcm(x, 3)))
}

func fileFloat(rateHz, channels int, x []float64) []byte {
	return riffOf(chunk("fmt ", fmtBody(tagFloat, channels, rateHz, 32, 4*channels)), chunk("data", float32s(x)))
}

func open(t testing.TB, b []byte) *Take {
	t.Helper()
	take, err := Read(bytes.NewReader(b), int64(len(b)), "take.wav")
	if err != nil {
		t.Fatal(err)
	}
	return take
}

func inspect(t testing.TB, b []byte) Facts {
	t.Helper()
	facts, err := open(t, b).Inspect(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return facts
}

func samples(t testing.TB, take *Take, channel int) []float64 {
	t.Helper()
	out := make([]float64, take.Format.Frames)
	if n, err := take.Channel(channel).ReadAt(out, 0); err != nil || n != len(out) {
		t.Fatalf("read %d of %d samples: %v", n, len(out), err)
	}
	return out
}

func float64s(x []float64) []byte {
	out := make([]byte, 0, 8*len(x))
	for _, v := range x {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
	}
	return out
}
