package signal

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"
)

// longestQuick is the longest transform of a power of two that is done without
// a plan: the errors of its turning phasors grow with the length, here to
// 1e-12 of the strongest coefficient.
const longestQuick = 1 << 17

func quick(n int) bool { return n >= 4 && n <= longestQuick && n&(n-1) == 0 }

// InPlace turns z, whose length is a power of two, into its unnormalised
// coefficients.
func InPlace(z []complex128) []complex128 {
	if powerOfFour(len(z)) {
		return fourier.CoefficientsRadix4(z)
	}
	return fourier.CoefficientsRadix2(z)
}

// byHalves transforms x, whose length n is a power of two, into dst, n/2+1
// long: the even samples and j times the odd ones as one complex sequence,
// whose two parts are then told from each other and joined (Cooley, Lewis and
// Welch, J. Sound Vib. 12, 315-337, 1970). That takes a third of the time of
// a real transform of any length.
func byHalves(dst []complex128, x []float64) {
	m := len(x) / 2
	z := dst[:m]
	if powerOfFour(m) {
		for i := range z {
			z[i] = complex(x[2*i], x[2*i+1])
		}
		InPlace(z)
	} else {
		even, odd := z[:m/2], z[m/2:]
		for i := range even {
			v := (*[4]float64)(x[4*i:])
			even[i], odd[i] = complex(v[0], v[1]), complex(v[2], v[3])
		}
		InPlace(even)
		InPlace(odd)
		join(even, odd)
	}
	dst[0], dst[m] = complex(real(z[0])+imag(z[0]), 0), complex(real(z[0])-imag(z[0]), 0)
	step := unit(-1 / float64(len(x)))
	for from := 1; from <= m/2; from += exactEvery {
		turn := unit(-float64(from) / float64(len(x)))
		for k := from; k < min(m/2+1, from+exactEvery); k++ {
			u, v := z[k], conj(z[m-k])
			even, odd := u+v, turn*complex(imag(u-v), -real(u-v))
			dst[k] = halved(even + odd)
			dst[m-k] = conj(halved(even - odd))
			turn *= step
		}
	}
}

// join makes one transform, its lower and its upper half, of those of a
// sequence's even and odd values.
func join(even, odd []complex128) {
	step := unit(-0.5 / float64(len(even)))
	for from := 0; from < len(even); from += exactEvery {
		turn := unit(-0.5 * float64(from) / float64(len(even)))
		for k := from; k < min(len(even), from+exactEvery); k++ {
			u, v := even[k], turn*odd[k]
			even[k], odd[k] = u+v, u-v
			turn *= step
		}
	}
}

// powerOfFour tells it of a power of two.
func powerOfFour(n int) bool { return bits.TrailingZeros(uint(n))%2 == 0 }

// unit is exp(2 pi j turns).
func unit(turns float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * turns)
	return complex(c, s)
}

func conj(z complex128) complex128   { return complex(real(z), -imag(z)) }
func halved(z complex128) complex128 { return complex(real(z)/2, imag(z)/2) }
