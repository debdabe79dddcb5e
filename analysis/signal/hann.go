package signal

// HannPowerGain is the mean of the squares of a Hann window's coefficients,
// more than two of them.
const HannPowerGain = 0.375

// HannPower is the power of x about its mean in each bin from 0 Hz to half the
// rate, under a periodic Hann window. All bins together hold the mean square of
// noise; a line's own lies within two bins of it. By frequency the window is
// half a bin less a quarter of either neighbour (Harris 1978, section VI.B),
// which costs less than making and applying it.
func HannPower(x []float64) []float64 {
	n := len(x)
	if n < 2 {
		return make([]float64, n)
	}
	f, giveBack := borrow(n)
	defer giveBack()
	c := f.lent(x)
	c[0] = 0
	power := make([]float64, len(c))
	scale := 2 / (HannPowerGain * float64(n) * float64(n))
	before := conj(c[1])
	for k, here := range c {
		var after complex128
		if k+1 < len(c) {
			after = c[k+1]
		} else { // beyond half the rate the spectrum is mirrored
			after = conj(c[n-k-1])
		}
		re := 0.5*real(here) - 0.25*(real(before)+real(after))
		im := 0.5*imag(here) - 0.25*(imag(before)+imag(after))
		power[k] = scale * (re*re + im*im)
		before = here
	}
	power[0] /= 2
	if n%2 == 0 {
		power[len(power)-1] /= 2
	}
	return power
}
