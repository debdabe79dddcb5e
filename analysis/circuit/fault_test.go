package circuit

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// One open disc of two in parallel without cable leaves the other alone: its
// voltage is no longer divided in two, 6.02 dB more. The rule for n discs is
// 20 log10(C_total/(C_total - C_disc)).
func TestOneDiscOpen(t *testing.T) {
	for discs, want := range map[int]float64{2: 6.0206, 3: 3.5218, 4: 2.4988, 6: 1.5836} { // 20 log10(n/(n-1))
		c := Circuit{Discs: discs, Wiring: Parallel, DiscNF: 20, InputOhm: 1e6}
		e := c.WithFault(Open)
		if math.Abs(e.OtherGroupsDB-want) > 1e-4 || !math.IsNaN(e.SameGroupDB) {
			t.Errorf("%d discs: %+v, want %g dB", discs, e, want)
		}
		if math.Abs(e.CornerHz/c.CornerHz()-float64(discs)/float64(discs-1)) > 1e-12 {
			t.Errorf("%d discs: corner %g Hz", discs, e.CornerHz)
		}
	}
	c := Circuit{Discs: 4, Wiring: Parallel, DiscNF: 20, CablePF: 1000, InputPF: 200, InputOhm: 1e6}
	if got, want := c.WithFault(Open).OtherGroupsDB, 20*math.Log10(81.2/61.2); math.Abs(got-want) > 1e-12 {
		t.Errorf("with a cable: %g dB, want %g", got, want)
	}
}

func TestFaultsThatSilence(t *testing.T) {
	parallel := Circuit{Discs: 4, Wiring: Parallel, DiscNF: 20, CablePF: 300, InputOhm: 1e6}
	if e := parallel.WithFault(Shorted); !math.IsInf(e.OtherGroupsDB, -1) || !math.IsInf(e.SourceFarad, 1) || e.CornerHz != 0 {
		t.Errorf("a shorted disc in parallel: %+v", e)
	}
	for _, cablePF := range []float64{0, 300} {
		series := Circuit{Discs: 4, Wiring: Series, DiscNF: 20, CablePF: cablePF, InputOhm: 1e6}
		if e := series.WithFault(Open); !math.IsInf(e.SameGroupDB, -1) || e.SourceFarad != 0 || !math.IsNaN(e.OtherGroupsDB) {
			t.Errorf("an open disc in series: %+v", e)
		}
	}
}

// Any wiring, any fault, against nodal analysis of the whole circuit well
// above its corner: an independent way to the same numbers.
func TestFaultsAgreeWithNodalAnalysis(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for range 300 {
		c := draw(rng)
		c.CablePF += 1
		c.InputOhm = 1e15
		s, _ := c.shape()
		for _, f := range []Fault{Open, Shorted} {
			e := c.WithFault(f)
			if s.each > 1 {
				agree(t, c, f, 1, e.SameGroupDB)
			}
			if s.groups > 1 {
				agree(t, c, f, s.each, e.OtherGroupsDB)
			}
		}
	}
}

func agree(t *testing.T, c Circuit, f Fault, moved int, gotDB float64) {
	t.Helper()
	want := 20 * math.Log10(nodal(c, moved, f, 1000)/nodal(c, moved, sound, 1000))
	if want < -100 && math.IsInf(gotDB, -1) { // a short of 1 F is not quite silent
		return
	}
	if !(math.Abs(gotDB-want) < 1e-4) {
		t.Errorf("%+v, fault %d, disc %d moved: %g dB, nodal analysis %g", c, f, moved, gotDB, want)
	}
}

// The high-pass and divider themselves, off the table's values: nodal analysis
// with the input's resistance at any frequency.
func TestLossAgreesWithNodalAnalysis(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	for range 200 {
		c := draw(rng)
		hz := math.Pow(10, 1+3*rng.Float64())
		open := c
		open.CablePF, open.InputPF, open.InputOhm = 1e-9, 0, 1e18
		want := 20 * math.Log10(nodal(open, 0, sound, hz)/nodal(c, 0, sound, hz))
		if got := c.TotalLossDB(hz); !(math.Abs(got-want) < 1e-4) {
			t.Errorf("%+v at %g Hz: %g dB, nodal analysis %g", c, hz, got, want)
		}
	}
}

// nodal is the output in volts at hz when disc number moved makes 1 V and disc
// 0 has fault f: node voltages from the admittance matrix, a disc's voltage as
// the current of its capacitance.
func nodal(c Circuit, moved int, f Fault, hz float64) float64 {
	s, _ := c.shape()
	w := complex(0, 2*math.Pi*hz)
	nodes := 1 + c.Discs // the output is 1, ground 0, more than enough between
	y := make([][]complex128, nodes)
	for i := range y {
		y[i] = make([]complex128, nodes+1)
		y[i][i] += 1e-18
	}
	stamp := func(a, b int, siemens, ampere complex128) {
		for _, at := range [][3]int{{a, b, 1}, {b, a, -1}} {
			if i, j := at[0]-1, at[1]-1; i >= 0 {
				y[i][i] += siemens
				if j >= 0 {
					y[i][j] -= siemens
				}
				y[i][nodes] += complex(float64(at[2]), 0) * ampere
			}
		}
	}
	for k := range c.Discs {
		farad := c.DiscNF * 1e-9
		if k == 0 {
			farad = map[Fault]float64{sound: farad, Open: 1e-24, Shorted: 1}[f]
		}
		ampere := complex128(0)
		if k == moved {
			ampere = w * complex(farad, 0)
		}
		a, b := ends(s, k)
		stamp(a, b, w*complex(farad, 0), ampere)
	}
	stamp(1, 0, complex(1/c.InputOhm, 0)+w*complex(c.ShuntFarad(), 0), 0)
	return cmplx.Abs(solve(y)[0])
}

// ends are the nodes that disc k lies between.
func ends(s shape, k int) (upper, lower int) {
	g, d := k/s.each, k%s.each
	node := func(level, levels, chain int) int {
		switch level {
		case 0:
			return 1
		case levels:
			return 0
		}
		return 2 + chain*(levels-1) + level - 1
	}
	if s.parallelIn {
		return node(g, s.groups, 0), node(g+1, s.groups, 0)
	}
	return node(d, s.each, g), node(d+1, s.each, g)
}

// solve is Gauss elimination with pivots on an augmented matrix.
func solve(m [][]complex128) []complex128 {
	n := len(m)
	for i := range n {
		p := i
		for r := i; r < n; r++ {
			if cmplx.Abs(m[r][i]) > cmplx.Abs(m[p][i]) {
				p = r
			}
		}
		m[i], m[p] = m[p], m[i]
		for r := range n {
			if r == i {
				continue
			}
			k := m[r][i] / m[i][i]
			for j := i; j <= n; j++ {
				m[r][j] -= k * m[i][j]
			}
		}
	}
	x := make([]complex128, n)
	for i := range x {
		x[i] = m[i][n] / m[i][i]
	}
	return x
}

func Example() {
	c := Circuit{Discs: 4, Wiring: Parallel, DiscNF: 20, CablePF: 300, InputOhm: 47e3}
	fmt.Printf("corner %.1f Hz, C2 loses %.1f dB\n", c.CornerHz(), c.LossDB(65.4))
	// Output: corner 42.2 Hz, C2 loses 1.5 dB
}
