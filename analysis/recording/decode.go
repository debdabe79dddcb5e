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

// Whole numbers become floats by their bits: a sample's, its sign turned, stand
// at the end of a number so large that its last bit is worth one step of the
// sample, and that number is subtracted. Nothing is rounded, and it takes less
// than a conversion and a scaling.
const (
	large16, less16 = (1023+37)<<52 | 1<<15, 1<<37 + 1 // last bit 2^-15
	large24, less24 = (1023+29)<<52 | 1<<23, 1<<29 + 1 // last bit 2^-23
	large32, less32 = (1023+21)<<52 | 1<<31, 1<<21 + 1 // last bit 2^-31
)

func full16(u uint16) float64 { return math.Float64frombits(large16^uint64(u)) - less16 }

// full24 takes a sample in the low three bytes and anything in the fourth.
func full24(u uint32) float64 { return math.Float64frombits(large24^uint64(u&0xFFFFFF)) - less24 }

func full32(u uint32) float64 { return math.Float64frombits(large32^uint64(u)) - less32 }

// The loops below take neighbours together where there are one or two
// channels: constant places in arrays need no bounds checks.

func decode16(dst []float64, raw []byte, step int) {
	for step == 2 && len(dst) >= 4 && len(raw) >= 8 {
		d, r := (*[4]float64)(dst), (*[8]byte)(raw)
		d[0], d[1] = full16(binary.LittleEndian.Uint16(r[0:2])), full16(binary.LittleEndian.Uint16(r[2:4]))
		d[2], d[3] = full16(binary.LittleEndian.Uint16(r[4:6])), full16(binary.LittleEndian.Uint16(r[6:8]))
		dst, raw = dst[4:], raw[8:]
	}
	for step == 4 && len(dst) >= 4 && len(raw) >= 16 {
		d, r := (*[4]float64)(dst), (*[16]byte)(raw)
		d[0], d[1] = full16(binary.LittleEndian.Uint16(r[0:2])), full16(binary.LittleEndian.Uint16(r[4:6]))
		d[2], d[3] = full16(binary.LittleEndian.Uint16(r[8:10])), full16(binary.LittleEndian.Uint16(r[12:14]))
		dst, raw = dst[4:], raw[16:]
	}
	for i := range dst {
		dst[i] = full16(binary.LittleEndian.Uint16(raw[i*step:]))
	}
}

func decode24(dst []float64, raw []byte, step int) {
	for step == 3 && len(dst) >= 8 && len(raw) >= 25 {
		d, r := (*[8]float64)(dst), (*[25]byte)(raw)
		d[0], d[1] = full24(binary.LittleEndian.Uint32(r[0:4])), full24(binary.LittleEndian.Uint32(r[3:7]))
		d[2], d[3] = full24(binary.LittleEndian.Uint32(r[6:10])), full24(binary.LittleEndian.Uint32(r[9:13]))
		d[4], d[5] = full24(binary.LittleEndian.Uint32(r[12:16])), full24(binary.LittleEndian.Uint32(r[15:19]))
		d[6], d[7] = full24(binary.LittleEndian.Uint32(r[18:22])), full24(binary.LittleEndian.Uint32(r[21:25]))
		dst, raw = dst[8:], raw[24:]
	}
	for step == 6 && len(dst) >= 8 && len(raw) >= 48 {
		d, r := (*[8]float64)(dst), (*[48]byte)(raw)
		d[0], d[1] = full24(binary.LittleEndian.Uint32(r[0:4])), full24(binary.LittleEndian.Uint32(r[6:10]))
		d[2], d[3] = full24(binary.LittleEndian.Uint32(r[12:16])), full24(binary.LittleEndian.Uint32(r[18:22]))
		d[4], d[5] = full24(binary.LittleEndian.Uint32(r[24:28])), full24(binary.LittleEndian.Uint32(r[30:34]))
		d[6], d[7] = full24(binary.LittleEndian.Uint32(r[36:40])), full24(binary.LittleEndian.Uint32(r[42:46]))
		dst, raw = dst[8:], raw[48:]
	}
	for i := range dst {
		b := raw[i*step : i*step+3]
		dst[i] = full24(uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16)
	}
}

func decode32(dst []float64, raw []byte, step int) {
	for step == 4 && len(dst) >= 4 && len(raw) >= 16 {
		d, r := (*[4]float64)(dst), (*[16]byte)(raw)
		d[0], d[1] = full32(binary.LittleEndian.Uint32(r[0:4])), full32(binary.LittleEndian.Uint32(r[4:8]))
		d[2], d[3] = full32(binary.LittleEndian.Uint32(r[8:12])), full32(binary.LittleEndian.Uint32(r[12:16]))
		dst, raw = dst[4:], raw[16:]
	}
	for step == 8 && len(dst) >= 4 && len(raw) >= 32 {
		d, r := (*[4]float64)(dst), (*[32]byte)(raw)
		d[0], d[1] = full32(binary.LittleEndian.Uint32(r[0:4])), full32(binary.LittleEndian.Uint32(r[8:12]))
		d[2], d[3] = full32(binary.LittleEndian.Uint32(r[16:20])), full32(binary.LittleEndian.Uint32(r[24:28]))
		dst, raw = dst[4:], raw[32:]
	}
	for i := range dst {
		dst[i] = full32(binary.LittleEndian.Uint32(raw[i*step:]))
	}
}

// decodeFloat32 takes neighbours together as long as none has a magnitude of
// 2 or more, which none beyond lacks.
func decodeFloat32(dst []float64, raw []byte, step int) (damaged int64) {
	const two = 1 << 30
	for step == 4 && len(dst) >= 4 && len(raw) >= 16 {
		d, r := (*[4]float64)(dst), (*[16]byte)(raw)
		a, b := binary.LittleEndian.Uint32(r[0:4]), binary.LittleEndian.Uint32(r[4:8])
		c, e := binary.LittleEndian.Uint32(r[8:12]), binary.LittleEndian.Uint32(r[12:16])
		if (a|b|c|e)&two != 0 {
			break
		}
		d[0], d[1] = float64(math.Float32frombits(a)), float64(math.Float32frombits(b))
		d[2], d[3] = float64(math.Float32frombits(c)), float64(math.Float32frombits(e))
		dst, raw = dst[4:], raw[16:]
	}
	for step == 8 && len(dst) >= 4 && len(raw) >= 32 {
		d, r := (*[4]float64)(dst), (*[32]byte)(raw)
		a, b := binary.LittleEndian.Uint32(r[0:4]), binary.LittleEndian.Uint32(r[8:12])
		c, e := binary.LittleEndian.Uint32(r[16:20]), binary.LittleEndian.Uint32(r[24:28])
		if (a|b|c|e)&two != 0 {
			break
		}
		d[0], d[1] = float64(math.Float32frombits(a)), float64(math.Float32frombits(b))
		d[2], d[3] = float64(math.Float32frombits(c)), float64(math.Float32frombits(e))
		dst, raw = dst[4:], raw[32:]
	}
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
