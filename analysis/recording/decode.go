package recording

import (
	"encoding/binary"
	"math"
)

// beyond is the magnitude from which a float sample is damage, re full scale:
// 2^64. NaN, infinities and what lies beyond read as 0.
const (
	beyond32 = uint32(127+64) << 23
	beyond64 = uint64(1023+64) << 52
)

// decode turns the first sample of every frame in raw into full scale ±1 and
// counts the damaged ones. Integer samples are left-justified in their bytes,
// which holds for every valid width; one byte is offset binary.
//
// Each loop advances a slice rather than an index: the compiler then needs
// one bounds check a sample.
func decode(dst []float64, raw []byte, f Format) (damaged int64) {
	if len(raw) < (len(dst)-1)*f.frameBytes+f.sampleBytes {
		return 0
	}
	if f.Encoding == Float {
		if f.sampleBytes == 4 {
			return decodeFloat32(dst, raw, f.frameBytes)
		}
		return decodeFloat64(dst, raw, f.frameBytes)
	}
	switch f.sampleBytes {
	case 1:
		for i := range dst {
			dst[i] = float64(int(raw[i*f.frameBytes])-128) * (1.0 / 128)
		}
	case 2:
		decode16(dst, raw, f.frameBytes)
	case 3:
		decode24(dst, raw, f.frameBytes)
	default:
		decode32(dst, raw, f.frameBytes)
	}
	return 0
}

func decode16(dst []float64, raw []byte, step int) {
	for len(dst) > 1 {
		dst[0] = float64(int16(binary.LittleEndian.Uint16(raw))) * (1.0 / (1 << 15))
		dst, raw = dst[1:], raw[step:]
	}
	if len(dst) == 1 {
		dst[0] = float64(int16(binary.LittleEndian.Uint16(raw))) * (1.0 / (1 << 15))
	}
}

func decode24(dst []float64, raw []byte, step int) {
	// Four bytes a time, the last of which belongs to the next sample.
	for len(dst) > 1 && len(raw) >= 4 {
		v := int32(binary.LittleEndian.Uint32(raw)<<8) >> 8
		dst[0] = float64(v) * (1.0 / (1 << 23))
		dst, raw = dst[1:], raw[step:]
	}
	if len(dst) == 1 {
		v := int32(uint32(raw[0])<<8|uint32(raw[1])<<16|uint32(raw[2])<<24) >> 8
		dst[0] = float64(v) * (1.0 / (1 << 23))
	}
}

func decode32(dst []float64, raw []byte, step int) {
	for len(dst) > 1 {
		dst[0] = float64(int32(binary.LittleEndian.Uint32(raw))) * (1.0 / (1 << 31))
		dst, raw = dst[1:], raw[step:]
	}
	if len(dst) == 1 {
		dst[0] = float64(int32(binary.LittleEndian.Uint32(raw))) * (1.0 / (1 << 31))
	}
}

func decodeFloat32(dst []float64, raw []byte, step int) (damaged int64) {
	for i := range dst {
		u := binary.LittleEndian.Uint32(raw[i*step:])
		if u&^(1<<31) >= beyond32 {
			u, damaged = 0, damaged+1
		}
		dst[i] = float64(math.Float32frombits(u))
	}
	return damaged
}

func decodeFloat64(dst []float64, raw []byte, step int) (damaged int64) {
	for i := range dst {
		u := binary.LittleEndian.Uint64(raw[i*step:])
		if u&^(1<<63) >= beyond64 {
			u, damaged = 0, damaged+1
		}
		dst[i] = math.Float64frombits(u)
	}
	return damaged
}

// littleEndian turns the bytes of every sample round, in place.
func littleEndian(raw []byte, sampleBytes int) {
	for ; len(raw) >= sampleBytes; raw = raw[sampleBytes:] {
		for i, j := 0, sampleBytes-1; i < j; i, j = i+1, j-1 {
			raw[i], raw[j] = raw[j], raw[i]
		}
	}
}
