package event

// Damped sinusoids by recurrences of second order: with z = exp(growth + i
// omega), Re(a z^n) obeys s[n] = 2 Re(z) s[n-1] - |z|^2 s[n-2] (Goertzel 1958).
// Four recurrences by z^4 run side by side, so that one product does not wait
// for the other.

// subtractSinusoid takes Re(start z^n) away from x[n].
func subtractSinusoid(x []float64, start, z complex128) {
	step := z * z * z * z
	c, d := 2*real(step), real(step)*real(step)+imag(step)*imag(step)
	a0, a1, a2, a3 := start, start*z, start*z*z, start*z*z*z
	p0, p1, p2, p3 := real(a0), real(a1), real(a2), real(a3)
	q0, q1, q2, q3 := real(a0*step), real(a1*step), real(a2*step), real(a3*step)
	for ; len(x) >= 4; x = x[4:] {
		v := (*[4]float64)(x)
		v[0], v[1], v[2], v[3] = v[0]-p0, v[1]-p1, v[2]-p2, v[3]-p3
		p0, q0 = q0, c*q0-d*p0
		p1, q1 = q1, c*q1-d*p1
		p2, q2 = q2, c*q2-d*p2
		p3, q3 = q3, c*q3-d*p3
	}
	last := [...]float64{p0, p1, p2}
	for i := range x {
		x[i] -= last[i]
	}
}

// polynomial is y[0] z^(n-1) + y[1] z^(n-2) + ... + y[n-1].
func polynomial(y []float64, z complex128) complex128 {
	step := z * z * z * z
	c, d := 2*real(step), real(step)*real(step)+imag(step)*imag(step)
	lead := len(y) % 4
	var first complex128
	for _, v := range y[:lead] {
		first = first*z + complex(v, 0)
	}
	var p0, p1, p2, p3, q0, q1, q2, q3 float64
	for y = y[lead:]; len(y) >= 4; y = y[4:] {
		v := (*[4]float64)(y)
		p0, q0 = (v[0]-d*q0)+c*p0, p0
		p1, q1 = (v[1]-d*q1)+c*p1, p1
		p2, q2 = (v[2]-d*q2)+c*p2, p2
		p3, q3 = (v[3]-d*q3)+c*p3, p3
		first *= step
	}
	back := complex(real(step), -imag(step))
	end := func(p, q float64) complex128 { return complex(p, 0) - back*complex(q, 0) }
	return first + ((end(p0, q0)*z+end(p1, q1))*z+end(p2, q2))*z + end(p3, q3)
}
