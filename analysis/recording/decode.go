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

// The loops below take four or eight neighbours at a time where there is one
// channel: constant places in arrays need no bounds checks.

func decode16(dst []float64, raw []byte, step int) {
	const scale = 1.0 / (1 << 15)
	for step == 2 && len(dst) >= 4 && len(raw) >= 8 {
		d, u := (*[4]float64)(dst), binary.LittleEndian.Uint64(raw)
		d[0] = float64(int16(u)) * scale
		d[1] = float64(int16(u>>16)) * scale
		d[2] = float64(int16(u>>32)) * scale
		d[3] = float64(int16(u>>48)) * scale
		dst, raw = dst[4:], raw[8:]
	}
	for i := range dst {
		dst[i] = float64(int16(binary.LittleEndian.Uint16(raw[i*step:]))) * scale
	}
}

func decode24(dst []float64, raw []byte, step int) {
	const scale = 1.0 / (1 << 23)
	for step == 3 && len(dst) >= 8 && len(raw) >= 25 {
		decodeEight24((*[8]float64)(dst), (*[25]byte)(raw))
		dst, raw = dst[8:], raw[24:]
	}
	// Four bytes at a time, the last of which belongs to the next sample.
	i := 0
	for ; i < len(dst)-1; i++ {
		dst[i] = float64(int32(binary.LittleEndian.Uint32(raw[i*step:])<<8)>>8) * scale
	}
	if i < len(dst) {
		b := raw[i*step : i*step+3]
		dst[i] = float64(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)>>8) * scale
	}
}

func decodeEight24(d *[8]float64, r *[25]byte) {
	const scale = 1.0 / (1 << 23)
	d[0] = float64(int32(binary.LittleEndian.Uint32(r[0:4])<<8)>>8) * scale
	d[1] = float64(int32(binary.LittleEndian.Uint32(r[3:7])<<8)>>8) * scale
	d[2] = float64(int32(binary.LittleEndian.Uint32(r[6:10])<<8)>>8) * scale
	d[3] = float64(int32(binary.LittleEndian.Uint32(r[9:13])<<8)>>8) * scale
	d[4] = float64(int32(binary.LittleEndian.Uint32(r[12:16])<<8)>>8) * scale
	d[5] = float64(int32(binary.LittleEndian.Uint32(r[15:19])<<8)>>8) * scale
	d[6] = float64(int32(binary.LittleEndian.Uint32(r[18:22])<<8)>>8) * scale
	d[7] = float64(int32(binary.LittleEndian.Uint32(r[21:25])<<8)>>8) * scale
}

func decode32(dst []float64, raw []byte, step int) {
	const scale = 1.0 / (1 << 31)
	for step == 4 && len(dst) >= 4 && len(raw) >= 16 {
		d, r := (*[4]float64)(dst), (*[16]byte)(raw)
		d[0] = float64(int32(binary.LittleEndian.Uint32(r[0:4]))) * scale
		d[1] = float64(int32(binary.LittleEndian.Uint32(r[4:8]))) * scale
		d[2] = float64(int32(binary.LittleEndian.Uint32(r[8:12]))) * scale
		d[3] = float64(int32(binary.LittleEndian.Uint32(r[12:16]))) * scale
		dst, raw = dst[4:], raw[16:]
	}
	for i := range dst {
		dst[i] = float64(int32(binary.LittleEndian.Uint32(raw[i*step:]))) * scale
	}
}

func decodeFloat32(dst []float64, raw []byte, step int) (damaged int64) {
	for step == 4 && len(dst) >= 4 && len(raw) >= 16 && soundFour((*[16]byte)(raw)) {
		d, r := (*[4]float64)(dst), (*[16]byte)(raw)
		d[0] = float64(math.Float32frombits(binary.LittleEndian.Uint32(r[0:4])))
		d[1] = float64(math.Float32frombits(binary.LittleEndian.Uint32(r[4:8])))
		d[2] = float64(math.Float32frombits(binary.LittleEndian.Uint32(r[8:12])))
		d[3] = float64(math.Float32frombits(binary.LittleEndian.Uint32(r[12:16])))
		dst, raw = dst[4:], raw[16:]
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

// soundFour tells that four samples are surely not beyond: none has a
// magnitude of 2 or more.
func soundFour(r *[16]byte) bool {
	const exponents = 1<<62 | 1<<30
	return (binary.LittleEndian.Uint64(r[0:8])|binary.LittleEndian.Uint64(r[8:16]))&exponents == 0
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
