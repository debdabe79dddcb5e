package signal

// stages are the steps of a complex transform whose length has no prime
// factor above 5. Each step writes what it reads in another order, so that the
// result comes out sorted (Stockham's autosort: Cochran et al., Proc. IEEE 55,
// 1664-1674, 1967). gonum's transform, made for any length, takes three times
// as long.
type stages []stage

// stage joins radix transforms of length m/radix, once for each of the rest.
type stage struct {
	radix int
	turn  []complex128 // exp(-2 pi j i k/m): i from 1 to radix-1 for each k below m/radix
}

func newStages(n int) stages {
	var all stages
	for m := n; m > 1; {
		s := stage{radix: radixOf(m)}
		s.turn = make([]complex128, 0, m-m/s.radix)
		for k := range m / s.radix {
			for i := 1; i < s.radix; i++ {
				s.turn = append(s.turn, unit(-float64(i*k)/float64(m)))
			}
		}
		all = append(all, s)
		m /= s.radix
	}
	return all
}

func radixOf(n int) int {
	for _, r := range [...]int{4, 2, 3} {
		if n%r == 0 {
			return r
		}
	}
	return 5
}

// transform gives the unnormalised coefficients of x in x or y, both of which
// it overwrites.
func (all stages) transform(x, y []complex128) []complex128 {
	apart := 1 // of the values that one step joins with the same turns
	for _, s := range all {
		switch s.radix {
		case 2:
			s.two(x, y, apart)
		case 3:
			s.three(x, y, apart)
		case 4:
			s.four(x, y, apart)
		case 5:
			s.five(x, y, apart)
		}
		x, y = y, x
		apart *= s.radix
	}
	return x
}

func (s stage) two(x, y []complex128, apart int) {
	q := len(x) / 2
	for at, k := 0, 0; at < q; at, k = at+apart, k+1 {
		x0, x1 := x[at:][:apart], x[at+q:][:apart]
		y0, y1 := y[2*at:][:apart], y[2*at+apart:][:apart]
		t := s.turn[k]
		for i, a := range x0 {
			b := x1[i]
			y0[i], y1[i] = a+b, t*(a-b)
		}
	}
}

// sin60 is the sine of a third of a turn.
const sin60 = 0.86602540378443864676

func (s stage) three(x, y []complex128, apart int) {
	q := len(x) / 3
	for at, k := 0, 0; at < q; at, k = at+apart, k+2 {
		x0, x1, x2 := x[at:][:apart], x[at+q:][:apart], x[at+2*q:][:apart]
		y0, y1, y2 := y[3*at:][:apart], y[3*at+apart:][:apart], y[3*at+2*apart:][:apart]
		t1, t2 := s.turn[k], s.turn[k+1]
		for i, a := range x0 {
			sum, d := x1[i]+x2[i], x1[i]-x2[i]
			m := complex(real(a)-0.5*real(sum), imag(a)-0.5*imag(sum))
			d = complex(sin60*imag(d), -sin60*real(d))
			y0[i], y1[i], y2[i] = a+sum, t1*(m+d), t2*(m-d)
		}
	}
}

func (s stage) four(x, y []complex128, apart int) {
	q := len(x) / 4
	if apart == 1 {
		s.fourFirst(x, y)
		return
	}
	for at, k := 0, 0; at < q; at, k = at+apart, k+3 {
		x0, x1, x2, x3 := x[at:][:apart], x[at+q:][:apart], x[at+2*q:][:apart], x[at+3*q:][:apart]
		out := y[4*at:][:4*apart]
		y0, y1, y2, y3 := out[:apart], out[apart:][:apart], out[2*apart:][:apart], out[3*apart:][:apart]
		t1, t2, t3 := s.turn[k], s.turn[k+1], s.turn[k+2]
		for i, a := range x0 {
			even, odd := a+x2[i], x1[i]+x3[i]
			m, d := a-x2[i], x1[i]-x3[i]
			d = complex(imag(d), -real(d))
			y0[i], y1[i], y2[i], y3[i] = even+odd, t1*(m+d), t2*(even-odd), t3*(m-d)
		}
	}
}

// fourFirst is four for values that lie next to each other, without its inner
// loop.
func (s stage) fourFirst(x, y []complex128) {
	q := len(x) / 4
	x0, x1, x2, x3 := x[:q], x[q:][:q], x[2*q:][:q], x[3*q:][:q]
	for k, a := range x0 {
		t, out := s.turn[3*k:][:3], y[4*k:][:4]
		even, odd := a+x2[k], x1[k]+x3[k]
		m, d := a-x2[k], x1[k]-x3[k]
		d = complex(imag(d), -real(d))
		out[0], out[1], out[2], out[3] = even+odd, t[0]*(m+d), t[1]*(even-odd), t[2]*(m-d)
	}
}

// Cosines and sines of a fifth and two fifths of a turn.
const (
	cos72, sin72   = 0.30901699437494742410, 0.95105651629515357212
	cos144, sin144 = -0.80901699437494742410, 0.58778525229247312917
)

func (s stage) five(x, y []complex128, apart int) {
	q := len(x) / 5
	for at, k := 0, 0; at < q; at, k = at+apart, k+4 {
		x0, x1, x2, x3, x4 := x[at:][:apart], x[at+q:][:apart], x[at+2*q:][:apart], x[at+3*q:][:apart], x[at+4*q:][:apart]
		out := y[5*at:][:5*apart]
		y0, y1, y2, y3, y4 := out[:apart], out[apart:][:apart], out[2*apart:][:apart], out[3*apart:][:apart], out[4*apart:][:apart]
		t := s.turn[k:][:4]
		for i, a := range x0 {
			p, m := x1[i]+x4[i], x1[i]-x4[i]
			u, v := x2[i]+x3[i], x2[i]-x3[i]
			e := complex(real(a)+cos72*real(p)+cos144*real(u), imag(a)+cos72*imag(p)+cos144*imag(u))
			f := complex(sin72*imag(m)+sin144*imag(v), -sin72*real(m)-sin144*real(v))
			g := complex(real(a)+cos144*real(p)+cos72*real(u), imag(a)+cos144*imag(p)+cos72*imag(u))
			h := complex(sin144*imag(m)-sin72*imag(v), -sin144*real(m)+sin72*real(v))
			y0[i], y1[i], y2[i], y3[i], y4[i] = a+p+u, t[0]*(e+f), t[1]*(g+h), t[2]*(g-h), t[3]*(e-f)
		}
	}
}
