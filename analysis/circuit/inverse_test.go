package circuit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func TestCornerExplained(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for range 300 {
		c := draw(rng)
		exact := Interval{c.CornerHz(), c.CornerHz(), c.CornerHz()}
		ohm, err := c.OhmForCorner(exact, 0)
		if err != nil || math.Abs(ohm.Mid/c.InputOhm-1) > 1e-9 || ohm.Low > ohm.Mid || ohm.High < ohm.Mid {
			t.Errorf("%+v: %+v (%v)", c, ohm, err)
		}
		checkBounds(t, rng, c)
	}
}

// checkBounds: whatever corner and discs are drawn from their intervals, the
// true resistance lies within what they explain.
func checkBounds(t *testing.T, rng *rand.Rand, c Circuit) {
	t.Helper()
	tolerance, spread := 0.3*rng.Float64(), 1+0.2*rng.Float64()
	built := c
	built.DiscNF *= 1 + tolerance*(2*rng.Float64()-1)
	measured := built.CornerHz() * math.Pow(spread, 2*rng.Float64()-1)
	ohm, err := c.OhmForCorner(Interval{measured / spread, measured, measured * spread}, tolerance)
	if err != nil || ohm.Low > c.InputOhm*(1+1e-9) || ohm.High < c.InputOhm*(1-1e-9) {
		t.Errorf("%+v built with %g nF: %+v (%v)", c, built.DiscNF, ohm, err)
	}
}

func TestWorkingDiscs(t *testing.T) {
	c := Circuit{Discs: 4, Wiring: Parallel, DiscNF: 20, CablePF: 300, InputOhm: 1e6}
	three := c
	three.Discs = 3
	corner := three.CornerHz()
	got, err := c.WorkingDiscs(Interval{0.95 * corner, corner, 1.05 * corner}, 0.05)
	if err != nil || len(got) != 5 {
		t.Fatalf("%+v, %v", got, err)
	}
	for _, e := range got {
		if e.Fits != (e.Working == 3) {
			t.Errorf("%+v with a corner of %g Hz", e, corner)
		}
	}
	// No disc at all leaves the cable: 1/(2 pi 1e6 300e-12) Hz.
	if math.Abs(got[0].CornerHz.Mid-530.516) > 1e-3 {
		t.Errorf("no disc: %+v", got[0])
	}
	bare := c
	bare.CablePF = 0
	if got, err := bare.WorkingDiscs(Interval{1, 2, 3}, 0); err != nil || len(got) != 4 || got[0].Working != 1 {
		t.Errorf("without a cable: %+v, %v", got, err)
	}
	// With discs known to 30 % only, four cannot be told from three.
	loose, err := c.WorkingDiscs(Interval{0.95 * corner, corner, 1.05 * corner}, 0.3)
	if err != nil || !loose[3].Fits || !loose[4].Fits || loose[1].Fits {
		t.Errorf("%+v, %v", loose, err)
	}
}

func TestQuestionsWithoutAnswer(t *testing.T) {
	c := Circuit{Discs: 4, Wiring: Series, DiscNF: 20, InputOhm: 1e6}
	if _, err := c.WorkingDiscs(Interval{1, 2, 3}, 0); !errors.Is(err, ErrParallelOnly) {
		t.Errorf("series: %v", err)
	}
	c.Wiring = Parallel
	for _, bad := range []Interval{{}, {0, 1, 2}, {2, 1, 3}, {1, 3, 2}, {1, 2, math.Inf(1)}, {1, math.NaN(), 3}} {
		if _, err := c.OhmForCorner(bad, 0); !errors.Is(err, ErrInterval) {
			t.Errorf("%+v: %v", bad, err)
		}
		if _, err := c.WorkingDiscs(bad, 0); !errors.Is(err, ErrInterval) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	for _, tolerance := range []float64{-0.1, 1, math.NaN()} {
		if _, err := c.OhmForCorner(Interval{1, 2, 3}, tolerance); err == nil {
			t.Errorf("tolerance %g passed", tolerance)
		}
	}
}

// levelDB is a tone's level behind the high-pass of ohm and farad.
func highpassDB(hz, ohm, farad float64) float64 {
	return -10 * math.Log10(1+math.Pow(1/(2*math.Pi*ohm*farad*hz), 2))
}

// The table's losses for two resistances of the same discs and cable give the
// capacitance back.
func TestTwoLoadsGiveTheTabulatedCapacitance(t *testing.T) {
	rows := table(t)
	pairs := 0
	for i, a := range rows {
		for _, b := range rows[i+1:] {
			same := a.circuit
			same.InputOhm = b.circuit.InputOhm
			if same != b.circuit || a.frequencyHz != b.frequencyHz || !(a.highpassDB-b.highpassDB > 1) {
				continue
			}
			pairs++
			want := same.SourceFarad() + same.ShuntFarad()
			got, err := FaradFromLoads(a.frequencyHz, Load{a.circuit.InputOhm, -a.highpassDB}, Load{b.circuit.InputOhm, -b.highpassDB}, 1e-5)
			if err != nil || math.Abs(got.Mid/want-1) > 1e-4 || got.Low > want || got.High < want {
				t.Errorf("%+v and %g ohm at %g Hz: %+v (%v), want %g F", a.circuit, b.circuit.InputOhm, a.frequencyHz, got, err, want)
			}
		}
	}
	if pairs < 50 {
		t.Errorf("only %d pairs of rows", pairs)
	}
}

func TestTwoLoadsWithSpread(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for range 500 {
		farad := math.Pow(10, -9+2.5*rng.Float64())
		hz := 100 + 1000*rng.Float64()
		small := math.Pow(10, -0.5+rng.Float64()) / (2 * math.Pi * hz * farad)
		large := small * (2 + 100*rng.Float64())
		spread := rng.Float64()
		off := spread * (2*rng.Float64() - 1)
		got, err := FaradFromLoads(hz, Load{small, highpassDB(hz, small, farad) - 20}, Load{large, highpassDB(hz, large, farad) - 20 + off}, spread)
		if err != nil {
			continue // the error left no fall, or more than the resistors allow
		}
		if got.Low > farad*(1+1e-9) || got.High < farad*(1-1e-9) || got.Low > got.Mid || got.High < got.Mid {
			t.Errorf("%g F at %g Hz with %g and %g ohm, %g dB off: %+v", farad, hz, small, large, off, got)
		}
	}
}

func TestLoadsThatTellNothing(t *testing.T) {
	for name, f := range map[string]func() (Interval, error){
		"no fall":              func() (Interval, error) { return FaradFromLoads(440, Load{1e4, -1}, Load{1e3, -1}, 0) },
		"rise":                 func() (Interval, error) { return FaradFromLoads(440, Load{1e4, -2}, Load{1e3, -1}, 0) },
		"more than the ratio":  func() (Interval, error) { return FaradFromLoads(440, Load{1e4, 0}, Load{1e3, -21}, 0) },
		"one resistor":         func() (Interval, error) { return FaradFromLoads(440, Load{1e3, 0}, Load{1e3, -3}, 0) },
		"no resistor":          func() (Interval, error) { return FaradFromLoads(440, Load{1e3, 0}, Load{0, -3}, 0) },
		"no frequency":         func() (Interval, error) { return FaradFromLoads(0, Load{1e4, 0}, Load{1e3, -3}, 0) },
		"level not a number":   func() (Interval, error) { return FaradFromLoads(440, Load{1e4, math.NaN()}, Load{1e3, -3}, 0) },
		"spread not a number":  func() (Interval, error) { return FaradFromLoads(440, Load{1e4, 0}, Load{1e3, -3}, math.NaN()) },
		"spread below nothing": func() (Interval, error) { return FaradFromLoads(440, Load{1e4, 0}, Load{1e3, -3}, -1) },
	} {
		if got, err := f(); !errors.Is(err, ErrLoads) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	// A spread wider than the fall leaves the upper bound open.
	got, err := FaradFromLoads(440, Load{1e4, 0}, Load{1e3, -3}, 4)
	if err != nil || !math.IsInf(got.High, 1) || got.Low <= 0 {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestTwoCorners(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	for range 500 {
		farad, own := math.Pow(10, -9+2.5*rng.Float64()), math.Pow(10, 5+2*rng.Float64())
		small := own * (0.02 + 0.2*rng.Float64())
		large := small * (1.5 + 5*rng.Float64())
		spread := 1 + 0.1*rng.Float64()
		corner := func(ohm float64) Corner {
			hz := math.Pow(spread, 2*rng.Float64()-1) / (2 * math.Pi * ParallelOhm(ohm, own) * farad)
			return Corner{ohm, Interval{hz / spread, hz, hz * spread}}
		}
		c, r, err := FromCorners(corner(large), corner(small))
		if err != nil {
			continue // the spread put the corners out of order
		}
		if c.Low > farad || c.High < farad || r.Low > own || r.High < own || !(c.Low <= c.Mid && c.Mid <= c.High) || !(r.Low <= r.Mid && r.Mid <= r.High) {
			t.Errorf("%g F, %g ohm, loads %g and %g: %+v, %+v", farad, own, small, large, c, r)
		}
	}
	exact := func(ohm float64) Corner {
		hz := 1 / (2 * math.Pi * ParallelOhm(ohm, 1e6) * 80.3e-9)
		return Corner{ohm, Interval{hz, hz, hz}}
	}
	c, r, err := FromCorners(exact(10e3), exact(100e3))
	if err != nil || math.Abs(c.Mid/80.3e-9-1) > 1e-9 || math.Abs(r.Mid/1e6-1) > 1e-9 {
		t.Errorf("%+v, %+v, %v", c, r, err)
	}
	if _, _, err := FromCorners(exact(10e3), exact(10e3)); err == nil {
		t.Error("one corner twice was solved")
	}
}
