package circuit

import (
	"encoding/csv"
	"errors"
	"io"
	"math"
	"os"
	"strconv"
	"testing"
)

// The table's source stands in its first lines: textbook RC high-pass and
// capacitive divider, checked there against nodal analysis.
func TestTabulatedLosses(t *testing.T) {
	f, err := os.Open("testdata/piezo_rc_loss.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows := 0
	for head := true; ; head = false {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if head {
			continue
		}
		rows++
		checkRow(t, rec)
	}
	if rows != 420 {
		t.Errorf("read %d rows, want 420", rows)
	}
}

func checkRow(t *testing.T, rec []string) {
	t.Helper()
	v := make([]float64, len(rec))
	for i := 1; i < len(rec); i++ {
		x, err := strconv.ParseFloat(rec[i], 64)
		if err != nil {
			t.Fatal(err)
		}
		v[i] = x
	}
	w := Parallel
	if rec[0] == "series" {
		w = Series
	}
	c := Circuit{Discs: int(v[1]), Wiring: w, CablePF: v[3], InputOhm: v[4]}
	c.DiscNF = v[2] / v[1]
	if w == Series {
		c.DiscNF = v[2] * v[1]
	}
	for _, x := range []struct {
		what           string
		got, want, tol float64
	}{
		{"corner Hz", c.CornerHz(), v[5], 1e-3 * v[5]},
		{"cable dB", c.CableDivisionDB(), v[6], 1e-4},
		{"loss dB", c.LossDB(v[7]), v[8], 1e-4},
	} {
		if math.Abs(x.got-x.want) > x.tol {
			t.Errorf("%v: %s %g, want %g", rec, x.what, x.got, x.want)
		}
	}
}

func TestInversesReturn(t *testing.T) {
	c := Circuit{Discs: 4, Wiring: Parallel, DiscNF: 20, CablePF: 300, InputOhm: 1e6}
	if got := c.OhmForCorner(c.CornerHz()); math.Abs(got/1e6-1) > 1e-9 {
		t.Errorf("resistance from corner: %g", got)
	}
	if got := c.DiscsForCorner(c.CornerHz()); math.Abs(got-4) > 1e-9 {
		t.Errorf("discs from corner: %g", got)
	}
	lossy := c
	lossy.InputOhm = c.OhmForLoss(1, 65.4)
	if got := lossy.LossDB(65.4); math.Abs(got-1) > 1e-9 {
		t.Errorf("loss with the resistance for 1 dB: %g", got)
	}
}

func TestTwoLoadsGiveTheCapacitance(t *testing.T) {
	const hz, farad = 440, 80e-9
	level := func(ohm float64) float64 {
		return -10 * math.Log10(1+math.Pow(1/(2*math.Pi*ohm*farad*hz), 2))
	}
	got, err := FaradFromLoads(hz, 10e3, level(10e3), 1e3, level(1e3))
	if err != nil || math.Abs(got/farad-1) > 1e-9 {
		t.Errorf("got %g F (%v), want %g", got, err, farad)
	}
	if _, err := FaradFromLoads(hz, 10e3, -1, 1e3, -1); err == nil {
		t.Error("equal levels gave a capacitance")
	}
}

// One open disc of two in parallel, no cable: the other doubles, 6.02 dB.
func TestOpenDisc(t *testing.T) {
	c := Circuit{Discs: 2, Wiring: Parallel, DiscNF: 20, InputOhm: 1e6}
	if got := c.OpenDiscDB(); math.Abs(got-20*math.Log10(2)) > 1e-12 {
		t.Errorf("got %g dB", got)
	}
}
