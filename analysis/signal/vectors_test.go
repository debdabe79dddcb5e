package signal

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// rowsOf reads a table of testdata by its header's names.
func rowsOf(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, cell := range line {
			row[all[0][i]] = cell
		}
		out = append(out, row)
	}
	if len(out) < 5 {
		t.Fatalf("%s holds %d rows only", name, len(out))
	}
	return out
}

func number(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("%s of %v: %v", column, row, err)
	}
	return v
}

func readJSON(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

// vectors are made by testdata/vectors.py with scipy 1.10.1.
type vectors struct {
	RateHz float64   `json:"rate_hz"`
	X      []float64 `json:"x"`
	Welch  []struct {
		Window  string    `json:"window"`
		Length  int       `json:"length"`
		Detrend bool      `json:"detrend"`
		Median  bool      `json:"median"`
		PSD     []float64 `json:"psd"`
	} `json:"welch"`
}

var byName = map[string]func(int) Window{
	"hann": Hann, "hamming": Hamming, "flattop": FlatTop, "blackmanharris": BlackmanHarris, "boxcar": Rectangular,
}

func TestWelchEqualsReferenceLibrary(t *testing.T) {
	var v vectors
	readJSON(t, "vectors.json", &v)
	if len(v.Welch) != 24 {
		t.Fatalf("%d cases, want 24", len(v.Welch))
	}
	var off []float64
	for _, c := range v.Welch {
		w := NewWelch(v.RateHz, byName[c.Window](c.Length), nil)
		w.KeepMean, w.Robust = !c.Detrend, c.Median
		for i := 0; i < len(v.X); i += 37 { // blocks that fit no segment
			w.Add(v.X[i:min(i+37, len(v.X))])
		}
		p, err := w.PSD()
		if err != nil {
			t.Fatal(err)
		}
		if len(p.Power) != len(c.PSD) {
			t.Fatalf("%s %d: %d bins, want %d", c.Window, c.Length, len(p.Power), len(c.PSD))
		}
		worst, largest := 0.0, 0.0
		for k := range c.PSD {
			worst = math.Max(worst, math.Abs(p.Power[k]-c.PSD[k]))
			largest = math.Max(largest, c.PSD[k])
		}
		off = append(off, worst/largest)
		if worst > 1e-9*largest {
			t.Errorf("%s %d detrend %v median %v: off by %g of %g", c.Window, c.Length, c.Detrend, c.Median, worst, largest)
		}
	}
	accuracy.Report(t, accuracy.Row{Measure: "power spectral density", Range: "six windows, odd and even lengths, mean and median",
		Unit: "of the largest bin", Bound: "1e-9", Source: "scipy.signal.welch 1.10.1"}, off)
}
