package stats

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	moremath "github.com/aclements/go-moremath/stats"
)

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
	if len(out) == 0 {
		t.Fatalf("%s holds no rows", name)
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

func ramp(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64((i*7)%n + 1) // 1..n in another order where 7 does not divide n
	}
	return x
}

// David & Nagaraja, Order Statistics, section 7.1: rank intervals of the median.
func TestMedianIntervalsEqualTable(t *testing.T) {
	seen := map[int]bool{}
	for _, row := range rowsOf(t, "median_interval.csv") {
		n, d := int(number(t, row, "n")), int(number(t, row, "lower_rank"))
		near(t, "coverage of rank "+row["lower_rank"]+" of "+row["n"], rankCoverage(n, d), number(t, row, "coverage"), 1e-9)
		if n%7 == 0 || n < 3 {
			continue
		}
		got := Summarize(ramp(n)).Interval
		if d == 1 && n < 6 {
			near(t, "range low", got.Low, 1, 0)
			near(t, "range high", got.High, float64(n), 0)
			near(t, "range coverage", got.Coverage, number(t, row, "coverage"), 1e-10)
			seen[n] = true
		}
		if n >= 6 && row["narrowest_at_least_95"] == "yes" {
			// The interpolated interval lies between the table's and the next inner ranks.
			if !(got.Low >= float64(d) && got.Low < float64(d+1) && got.High <= float64(n+1-d) && got.Coverage == Nominal) {
				t.Errorf("n=%d: interval %v outside rank %d to the next", n, *got, d)
			}
			seen[n] = true
		}
	}
	if len(seen) < 20 {
		t.Errorf("only sizes %v met", seen)
	}
}

// Hettmansperger & Sheather's formula by hand at n = 10: outer ranks 2 and 9
// cover 1002/1024, inner 3 and 8 cover 912/1024; share = (1002-972.8)/90 =
// 0.3244444, lambda = 8*0.3244444/(2+6*0.3244444) = 0.6576577.
func TestInterpolatedIntervalByHand(t *testing.T) {
	got := Summarize([]float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}).Interval
	near(t, "low", got.Low, 2.6576577, 1e-7)
	near(t, "high", got.High, 8.3423423, 1e-7)
}

func TestSummarizeFewOrOdd(t *testing.T) {
	for n, more := range map[int]int{0: 6, 1: 5, 2: 4, 3: 3, 5: 1, 6: 0, 40: 0} {
		e := Summarize(ramp(n))
		if e.N != n || (e.Interval != nil) != (n >= 3) || MoreForInterval(n) != more {
			t.Errorf("n=%d: %+v, %d more", n, e, MoreForInterval(n))
		}
	}
	if e := Summarize(nil); !math.IsNaN(e.Median) {
		t.Errorf("median of none is %g", e.Median)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1)} {
		e := Summarize([]float64{1, 2, 3, 4, 5, 6, bad})
		if !math.IsNaN(e.Median) || e.Interval != nil || e.N != 7 {
			t.Errorf("with %g: %+v", bad, e)
		}
	}
	text, err := json.Marshal([]Estimate{Summarize([]float64{1, 3}), Summarize([]float64{1, 2, 3})})
	if want := `[{"median":2,"n":2,"interval":null},{"median":2,"n":3,"interval":{"low":1,"high":3,"coverage":0.75}}]`; err != nil || string(text) != want {
		t.Errorf("as JSON %s, %v; want %s", text, err, want)
	}
	in := []float64{3, 1, 2}
	Summarize(in)
	if in[0] != 3 || in[1] != 1 {
		t.Error("the caller's values were sorted")
	}
}

// Mann & Whitney 1947, and go-moremath as an independent implementation.
func TestRankSumEqualsTable(t *testing.T) {
	counts := map[int][]float64{}
	for _, row := range rowsOf(t, "rank_sum_exact.csv") {
		n, u := int(number(t, row, "n")), int(number(t, row, "u"))
		if counts[n] == nil {
			counts[n] = rankSumCounts(n, n)
		}
		near(t, "count", counts[n][u], number(t, row, "count_le_u"), 0)
		near(t, "arrangements", counts[n][n*n], number(t, row, "arrangements"), 0)
		x, y := withU(n, n, u)
		near(t, "p of "+row["n"]+", U "+row["u"], RankSumP(x, y), number(t, row, "p_two_sided"), 1e-9)
	}
	for m := 1; m <= 12; m++ {
		for n := 1; n <= 12; n++ {
			cum := rankSumCounts(m, n)
			for u := range cum {
				near(t, "go-moremath", cum[u]/cum[len(cum)-1], moremath.UDist{N1: m, N2: n}.CDF(float64(u)), 1e-12)
			}
		}
	}
}

// withU makes samples of m and n whose statistic is u: n*m pairs of which u
// have x above y.
func withU(m, n, u int) (x, y []float64) {
	for i := range n {
		y = append(y, float64(i))
	}
	for range m {
		above := min(u, n)
		u -= above
		x = append(x, float64(above)-0.5-1e-3*float64(len(x)+1))
	}
	return x, y
}

func TestShiftRanksEqualTable(t *testing.T) {
	for _, row := range rowsOf(t, "rank_sum_critical.csv") {
		m, n := int(number(t, row, "m")), int(number(t, row, "n"))
		for _, swap := range []bool{false, true} {
			if swap {
				m, n = n, m
			}
			k, coverage := shiftRank(m, n, Nominal)
			near(t, "rank "+row["m"]+" "+row["n"], float64(k), number(t, row, "shift_interval_k"), 0)
			near(t, "coverage", coverage, number(t, row, "shift_interval_coverage"), 1e-8)
			u, reached := criticalU(m, n)
			if reached != (row["u_crit_p05"] != "") {
				t.Errorf("%d, %d: 5 %% reached: %v", m, n, reached)
			}
			if reached {
				near(t, "critical value", u, number(t, row, "u_crit_p05"), 0)
			}
		}
	}
}

// Hollander & Wolfe 1973, p. 69 (permeability), and the SAS example with ties
// (reaction times).
func TestHodgesLehmannWorkedExamples(t *testing.T) {
	var h struct {
		Permeability struct {
			X, Y  []float64
			P     float64                               `json:"p_two_sided"`
			Shift float64                               `json:"hodges_lehmann_shift"`
			At95  struct{ Low, High, Coverage float64 } `json:"interval_95"`
		} `json:"two_sample_permeability"`
		Ties struct {
			Group1, Group2 []float64
			P              float64 `json:"p_exact_two_sided"`
			Shift          float64 `json:"hodges_lehmann_shift"`
		} `json:"two_sample_with_ties_reaction_times"`
	}
	readJSON(t, "hodges_lehmann.json", &h)
	got := HodgesLehmann(h.Permeability.Y, h.Permeability.X) // the example's shift is x minus y
	near(t, "shift", got.Estimate, h.Permeability.Shift, 1e-12)
	near(t, "p", got.P, h.Permeability.P, 1e-12)
	near(t, "low", got.Interval.Low, h.Permeability.At95.Low, 1e-12)
	near(t, "high", got.Interval.High, h.Permeability.At95.High, 1e-12)
	near(t, "coverage", got.Interval.Coverage, h.Permeability.At95.Coverage, 1e-12)
	tied := HodgesLehmann(h.Ties.Group1, h.Ties.Group2)
	near(t, "tied shift", tied.Estimate, h.Ties.Shift, 1e-12)
	near(t, "tied p", tied.P, h.Ties.P, 1e-12)
}

// testdata/vectors.json is made by testdata/vectors.py with scipy 1.10.1.
type vectors struct {
	Untied, Tied []struct {
		X, Y     []float64
		P, Shift float64
	}
	Many []struct {
		X, Y []float64
		P    float64
	}
	Lines []struct {
		X, Y             []float64
		Slope, Intercept float64
		SlopeSE          float64 `json:"slope_se"`
		InterceptSE      float64 `json:"intercept_se"`
		TheilSen         float64 `json:"theil_sen"`
		SlopeHalf        float64 `json:"slope_half_95"`
	}
	Thrombolysis struct {
		P, Adjusted []float64
		Rejected    int `json:"rejected_at_5_percent"`
	}
}

func TestRankSumEqualsReferenceLibrary(t *testing.T) {
	var v vectors
	readJSON(t, "vectors.json", &v)
	if len(v.Untied) != 10 || len(v.Tied) != 8 {
		t.Fatalf("%d and %d cases, want 10 and 8", len(v.Untied), len(v.Tied))
	}
	for i, c := range append(v.Untied, v.Tied...) {
		near(t, "p of case "+strconv.Itoa(i), RankSumP(c.X, c.Y), c.P, 1e-10)
		near(t, "p, swapped", RankSumP(c.Y, c.X), c.P, 1e-10)
		near(t, "shift", HodgesLehmann(c.X, c.Y).Estimate, c.Shift, 1e-12)
		near(t, "shift, swapped", HodgesLehmann(c.Y, c.X).Estimate, -c.Shift, 1e-12)
	}
}

// Beyond the exact limits: normal, with corrections for ties and continuity.
func TestRankSumOfManyEqualsReferenceLibrary(t *testing.T) {
	var v vectors
	readJSON(t, "vectors.json", &v)
	if len(v.Many) != 3 {
		t.Fatalf("%d cases, want 3", len(v.Many))
	}
	for _, c := range v.Many {
		near(t, "p", RankSumP(c.X, c.Y), c.P, 1e-10)
	}
}

func TestRankSumOfOddSamples(t *testing.T) {
	for _, c := range []struct{ x, y []float64 }{
		{nil, []float64{1}}, {[]float64{1}, nil}, {[]float64{1, math.NaN()}, []float64{2, 3}},
		{[]float64{5, 5, 5}, []float64{5, 5, 5}}, {make([]float64, 200), make([]float64, 200)},
	} {
		if p := RankSumP(c.x, c.y); p != 1 {
			t.Errorf("%v, %v: p = %g, want 1", len(c.x), len(c.y), p)
		}
	}
	if s := HodgesLehmann([]float64{1, 2, math.NaN()}, []float64{1, 2, 3}); !math.IsNaN(s.Estimate) || s.Interval != nil || s.P != 1 {
		t.Errorf("with NaN: %+v", s)
	}
	if s := HodgesLehmann([]float64{1, 2}, []float64{1, 2, 3}); s.Estimate != 0.5 || s.Interval != nil {
		t.Errorf("two against three: %+v", s)
	}
}

func TestLinesEqualReferenceLibrary(t *testing.T) {
	var v vectors
	readJSON(t, "vectors.json", &v)
	for _, c := range v.Lines {
		l, err := FitLine(c.X, c.Y)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "slope", l.Slope, c.Slope, 1e-10)
		near(t, "intercept", l.Intercept, c.Intercept, 1e-10)
		near(t, "slope error", l.SlopeSE, c.SlopeSE, 1e-10)
		near(t, "intercept error", l.InterceptSE, c.InterceptSE, 1e-10)
		near(t, "slope interval", l.SlopeInterval(0.95).High-l.Slope, c.SlopeHalf, 1e-8)
		slope, _ := TheilSen(c.X, c.Y)
		near(t, "Theil-Sen", slope, c.TheilSen, 1e-10)
	}
}

// Benjamini & Hochberg 1995, section 3.1.
func TestBenjaminiHochbergWorkedExample(t *testing.T) {
	var v vectors
	readJSON(t, "vectors.json", &v)
	got, rejected := BenjaminiHochberg(v.Thrombolysis.P), 0
	for i, p := range got {
		near(t, "adjusted", p, v.Thrombolysis.Adjusted[i], 1e-12)
		if p <= 0.05 {
			rejected++
		}
	}
	if rejected != v.Thrombolysis.Rejected {
		t.Errorf("%d rejected, want %d", rejected, v.Thrombolysis.Rejected)
	}
	shuffled := BenjaminiHochberg([]float64{0.04, 0.01, 0.9})
	for i, want := range []float64{0.06, 0.03, 0.9} {
		near(t, "order kept", shuffled[i], want, 1e-12)
	}
	if len(BenjaminiHochberg(nil)) != 0 {
		t.Error("something from nothing")
	}
}
