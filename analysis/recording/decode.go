package recording

import (
	"encoding/binary"
	"math"
)

// decode turns every frame's first sample in raw into full scale ±1. Integer
// samples are taken as left-justified in their bytes, which holds for every
// valid width; 8 bits and fewer are offset binary (IBM & Microsoft,
// Multimedia Programming Interface and Data Specifications 1.0, 1991).
func decode(dst []float64, raw []byte, f Format) {
	step := f.frameBytes
	switch {
	case f.Float && f.sampleBytes == 4:
		for i := range dst {
			dst[i] = finite(float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[i*step:]))))
		}
	case f.Float:
		for i := range dst {
			dst[i] = finite(math.Float64frombits(binary.LittleEndian.Uint64(raw[i*step:])))
		}
	case f.sampleBytes == 1:
		for i := range dst {
			dst[i] = float64(int(raw[i*step])-128) * (1.0 / 128)
		}
	case f.sampleBytes == 2:
		for i := range dst {
			dst[i] = float64(int16(binary.LittleEndian.Uint16(raw[i*step:]))) * (1.0 / (1 << 15))
		}
	case f.sampleBytes == 3:
		decode24(dst, raw, step)
	default:
		for i := range dst {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(raw[i*step:]))) * (1.0 / (1 << 31))
		}
	}
}

func decode24(dst []float64, raw []byte, step int) {
	for i := range dst {
		b := raw[i*step : i*step+3 : i*step+3]
		v := int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24) >> 8
		dst[i] = float64(v) * (1.0 / (1 << 23))
	}
}

// finite reads NaN and infinities as 0; they are counted elsewhere.
func finite(v float64) float64 {
	if v-v != 0 {
		return 0
	}
	return v
}
