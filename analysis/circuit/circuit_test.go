package circuit

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// row is one line of the table of losses.
type row struct {
	circuit                                                             Circuit
	cornerHz, divisionDB, frequencyHz, highpassDB, totalDB, phaseDegree float64
}

// table reads testdata/piezo_rc_loss.csv. Its source stands in its first
// lines: textbook RC high-pass and capacitive divider (Horowitz & Hill, The
// Art of Electronics, 3rd ed., section 1.7), checked there against nodal
// analysis.
func table(t *testing.T) []row {
	t.Helper()
	f, err := os.Open("testdata/piezo_rc_loss.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	for _, rec := range records[1:] {
		v := make([]float64, len(rec))
		for i := 1; i < len(rec); i++ {
			if v[i], err = strconv.ParseFloat(rec[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		c := Circuit{Discs: int(v[1]), Wiring: Wiring(rec[0]), DiscNF: 20, CablePF: v[3], InputOhm: v[4]}
		if rec[0] == "single" {
			c.Wiring = Parallel
		}
		if got := c.SourceFarad() * 1e9; math.Abs(got-v[2]) > 1e-5*v[2] {
			t.Errorf("%v: source %g nF", rec, got)
		}
		rows = append(rows, row{c, v[5], v[6], v[7], v[8], v[9], v[10]})
	}
	return rows
}

func TestTabulatedLosses(t *testing.T) {
	rows := table(t)
	if len(rows) != 420 {
		t.Fatalf("read %d rows, want 420", len(rows))
	}
	for _, r := range rows {
		c := r.circuit
		if err := c.Check(); err != nil {
			t.Errorf("%+v: %v", c, err)
		}
		for _, x := range []struct {
			what           string
			got, want, tol float64
		}{ // the table's last digits
			{"corner Hz", c.CornerHz(), r.cornerHz, 5e-6 * r.cornerHz},
			{"division dB", c.CableDivisionDB(), r.divisionDB, 5.1e-6},
			{"loss dB", c.LossDB(r.frequencyHz), r.highpassDB, 5.1e-6},
			{"total dB", c.TotalLossDB(r.frequencyHz), r.totalDB, 5.1e-6},
			{"phase degrees", c.PhaseDegrees(r.frequencyHz), r.phaseDegree, 5.1e-5},
		} {
			if !(math.Abs(x.got-x.want) <= x.tol) {
				t.Errorf("%+v at %g Hz: %s %.7g, want %g", c, r.frequencyHz, x.what, x.got, x.want)
			}
		}
	}
}

// At the frequency where the capacitor's impedance equals the resistance, the
// loss is 10 log10(2) and the phase 45 degrees. Impedances of 20 nF, five
// digits: 1/(2 pi f C), computed.
func TestHalfPowerWhereImpedancesAreEqual(t *testing.T) {
	for hz, ohm := range map[float64]float64{41.2: 193150, 82.4: 96575, 110: 72343, 440: 18086, 1000: 7957.7, 4000: 1989.4} {
		c := Circuit{Discs: 1, Wiring: Parallel, DiscNF: 20, InputOhm: ohm}
		if got := c.LossDB(hz); math.Abs(got-10*math.Log10(2)) > 1e-4 {
			t.Errorf("%g Hz: %g dB", hz, got)
		}
		if got := c.PhaseDegrees(hz); math.Abs(got-45) > 1e-3 {
			t.Errorf("%g Hz: %g degrees", hz, got)
		}
	}
}

func TestCircuitsThatCannotBe(t *testing.T) {
	good := Circuit{Discs: 4, Wiring: "2s2p", DiscNF: 20, CablePF: 300, InputOhm: 1e6}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Circuit){
		"no disc":           func(c *Circuit) { c.Discs = 0 },
		"no capacitance":    func(c *Circuit) { c.DiscNF = 0 },
		"not a number":      func(c *Circuit) { c.DiscNF = math.NaN() },
		"endless":           func(c *Circuit) { c.InputOhm = math.Inf(1) },
		"no resistance":     func(c *Circuit) { c.InputOhm = 0 },
		"negative cable":    func(c *Circuit) { c.CablePF = -1 },
		"negative input":    func(c *Circuit) { c.InputPF = -1 },
		"unknown wiring":    func(c *Circuit) { c.Wiring = "star" },
		"no wiring":         func(c *Circuit) { c.Wiring = "" },
		"discs left over":   func(c *Circuit) { c.Discs = 5 },
		"groups of nothing": func(c *Circuit) { c.Wiring = "0s4p" },
	} {
		c := good
		spoil(&c)
		if c.Check() == nil {
			t.Errorf("%s: %+v passed", name, c)
		}
	}
}

// draw makes a random possible circuit.
func draw(rng *rand.Rand) Circuit {
	each, groups := 1+rng.IntN(4), 1+rng.IntN(4)
	c := Circuit{
		Discs: each * groups, DiscNF: math.Pow(10, 2.3*rng.Float64()), CablePF: 2000 * rng.Float64(),
		InputPF: 200 * rng.Float64(), InputOhm: math.Pow(10, 4+3*rng.Float64()),
	}
	between := []string{"s", "p"}
	if rng.IntN(2) == 1 {
		between = []string{"p", "s"}
	}
	c.Wiring = Wiring(strconv.Itoa(each) + between[0] + strconv.Itoa(groups) + between[1])
	switch rng.IntN(4) {
	case 0:
		c.Wiring = Parallel
	case 1:
		c.Wiring = Series
	}
	return c
}

func TestProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 2))
	for range 500 {
		c := draw(rng)
		if err := c.Check(); err != nil {
			t.Fatalf("%+v: %v", c, err)
		}
		more := func(change func(*Circuit)) Circuit {
			d := c
			change(&d)
			return d
		}
		hz := math.Pow(10, 1+3*rng.Float64())
		ohms := more(func(d *Circuit) { d.InputOhm *= 1.5 })
		cable := more(func(d *Circuit) { d.CablePF += 100 })
		same := more(func(d *Circuit) { d.CablePF, d.InputPF = d.InputPF, d.CablePF })
		for what, holds := range map[string]bool{
			"more ohm, lower corner":            ohms.CornerHz() < c.CornerHz(),
			"more ohm, less loss":               ohms.LossDB(hz) < c.LossDB(hz),
			"more cable, lower corner":          cable.CornerHz() < c.CornerHz(),
			"more cable, more division":         cable.CableDivisionDB() > c.CableDivisionDB(),
			"higher, less loss":                 c.LossDB(1.5*hz) < c.LossDB(hz),
			"at most 6 dB an octave":            c.LossDB(hz)-c.LossDB(2*hz) <= 20*math.Log10(2)+1e-9,
			"cable or input, all the same":      math.Abs(same.TotalLossDB(hz)-c.TotalLossDB(hz)) < 1e-9,
			"3 dB down at the corner":           math.Abs(c.LossDB(c.CornerHz())-10*math.Log10(2)) < 1e-9,
			"the resistance found loses so":     math.Abs(more(func(d *Circuit) { d.InputOhm = c.OhmForLoss(1.3, hz) }).LossDB(hz)-1.3) < 1e-9,
			"each disc from all":                math.Abs(c.EachNF(c.SourceFarad()+c.ShuntFarad())/c.DiscNF-1) < 1e-9,
			"losses are never negative":         c.LossDB(hz) >= 0 && c.CableDivisionDB() >= 0,
			"total is the sum of what it is of": math.Abs(c.TotalLossDB(hz)-c.LossDB(hz)-c.CableDivisionDB()) < 1e-12,
		} {
			if !holds {
				t.Errorf("%+v at %g Hz: not %s", c, hz, what)
			}
		}
	}
}

func TestMixedWirings(t *testing.T) {
	for _, tc := range []struct {
		wiring Wiring
		discs  int
		want   float64 // source over one disc
	}{
		{Parallel, 4, 4}, {Series, 4, 0.25}, {"2s2p", 4, 1}, {"2p2s", 4, 1}, {"2s3p", 6, 1.5}, {"3s2p", 6, 2. / 3}, {"3p2s", 6, 1.5}, {"1s6p", 6, 6}, {"6s1p", 6, 1. / 6},
	} {
		c := Circuit{Discs: tc.discs, Wiring: tc.wiring, DiscNF: 20, InputOhm: 1e6}
		if got := c.SourceFarad() / 20e-9; math.Abs(got-tc.want) > 1e-12 {
			t.Errorf("%s: %g discs' capacitance, want %g", tc.wiring, got, tc.want)
		}
	}
}
