package response

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"saddlewise/analysis/stats"
)

// vectors are what testdata/sweep_vectors.py computes with scipy.
type vectors struct {
	RateHz    float64      `json:"rate_hz"`
	F1        float64      `json:"f1_hz"`
	F2        float64      `json:"f2_hz"`
	Seconds   float64      `json:"seconds"`
	Step      int          `json:"chirp_step"`
	Chirp     []float64    `json:"chirp"`
	Sections  [][6]float64 `json:"sos"`
	Hz        []float64    `json:"hz"`
	Magnitude []float64    `json:"magnitude_db"`
	DelayMS   []float64    `json:"group_delay_ms"`
}

func readVectors(t *testing.T) vectors {
	t.Helper()
	text, err := os.ReadFile("testdata/sweep_vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var v vectors
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func TestStimulusEqualsScipyChirp(t *testing.T) {
	v := readVectors(t)
	x, err := Sweep(SweepParams{RateHz: v.RateHz, LowHz: v.F1, HighHz: v.F2, Seconds: v.Seconds})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range v.Chirp {
		if got := x[i*v.Step]; math.Abs(got-want) > 1e-6 {
			t.Errorf("sample %d is %.9f, want %.9f", i*v.Step, got, want)
		}
	}
}

// A take filtered section by section reads as scipy computes the filter:
// magnitude, and group delay but for a constant.
func TestSweepReadsScipyFilter(t *testing.T) {
	v := readVectors(t)
	p := DefaultSweep(v.RateHz)
	p.Seconds = 5
	take := system{snrDB: 80, gain: 1, delayS: 0.1}.record(p, rand.New(rand.NewPCG(71, 1)))
	for _, s := range v.Sections {
		biquad(take, s)
	}
	r := respond(t, p, take, v.RateHz)
	var off, late []float64
	for i, hz := range v.Hz {
		j := nearestStep(r.Hz, hz)
		if math.Abs(math.Log2(r.Hz[j]/hz)) > 1.0/perOctave {
			t.Fatalf("no response at %g Hz", hz)
		}
		off = append(off, between(r.Hz, r.MagnitudeDB, hz)-v.Magnitude[i])
		late = append(late, between(r.Hz, r.GroupDelayMS, hz)-v.DelayMS[i])
	}
	level, delay := stats.Median(off), stats.Median(late)
	for i, hz := range v.Hz {
		if math.Abs(off[i]-level) > 0.1 {
			t.Errorf("%.0f Hz: off by %.3f dB", hz, off[i]-level)
		}
		if math.Abs(late[i]-delay) > 0.05+2/hz {
			t.Errorf("%.0f Hz: group delay off by %.3f ms", hz, late[i]-delay)
		}
	}
}

func biquad(x []float64, s [6]float64) {
	var z1, z2 float64
	for i, v := range x {
		y := s[0]*v + z1
		z1 = s[1]*v - s[4]*y + z2
		z2 = s[2]*v - s[5]*y
		x[i] = y
	}
}

func nearestStep(hz []float64, at float64) int {
	best := 0
	for i, f := range hz {
		if math.Abs(math.Log(f/at)) < math.Abs(math.Log(hz[best]/at)) {
			best = i
		}
	}
	return best
}

// between interpolates y at a frequency by a cubic through four steps.
func between(hz, y []float64, at float64) float64 {
	i := min(max(nearestStep(hz, at)-1, 0), len(hz)-4)
	sum := 0.0
	for a := i; a < i+4; a++ {
		w := y[a]
		for b := i; b < i+4; b++ {
			if a != b {
				w *= math.Log(at/hz[b]) / math.Log(hz[a]/hz[b])
			}
		}
		sum += w
	}
	return sum
}
