package stats

import (
	"math"
	"strconv"
	"testing"
)

// NIST Statistical Reference Datasets. Accuracy is asked for in digits, as
// NIST does: -log10 of the relative error.

func certified(t *testing.T) map[string]map[string]float64 {
	t.Helper()
	out := map[string]map[string]float64{}
	for _, row := range rowsOf(t, "nist/certified.csv") {
		if out[row["dataset"]] == nil {
			out[row["dataset"]] = map[string]float64{}
		}
		out[row["dataset"]][row["quantity"]] = number(t, row, "value")
	}
	return out
}

func column(t *testing.T, set, name string) []float64 {
	t.Helper()
	var out []float64
	for _, row := range rowsOf(t, "nist/"+set+".csv") {
		out = append(out, number(t, row, name))
	}
	return out
}

func digits(t *testing.T, what string, got, want, least float64) {
	t.Helper()
	have := 15.0
	if got != want {
		have = -math.Log10(math.Abs(got-want) / math.Abs(want))
	}
	if !(have >= least) {
		t.Errorf("%s: got %.15g, certified %.15g: %.1f digits, want %.1f", what, got, want, have, least)
	}
}

func TestMomentsEqualNIST(t *testing.T) {
	all := certified(t)
	for _, c := range []struct {
		set      string
		sd, lag1 float64 // digits; the data's own binary rounding limits NumAcc3 and 4
	}{
		{"Lew", 14, 13}, {"Lottery", 14, 13}, {"Mavro", 12, 12}, {"Michelso", 13, 13},
		{"NumAcc1", 15, 15}, {"NumAcc2", 14, 13}, {"NumAcc3", 9, 9}, {"NumAcc4", 8, 8},
	} {
		y, want := column(t, c.set, "y"), all[c.set]
		got := Describe(y)
		near(t, c.set+" n", float64(got.N), want["n"], 0)
		digits(t, c.set+" mean", got.Mean, want["mean"], 14)
		digits(t, c.set+" sd", got.SD, want["sample_sd"], c.sd)
		digits(t, c.set+" lag-1", got.Lag1, want["lag1_autocorrelation"], c.lag1)
	}
}

func TestLinesEqualNIST(t *testing.T) {
	want := certified(t)["Norris"]
	l, err := FitLine(column(t, "Norris", "x"), column(t, "Norris", "y"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		got  float64
	}{
		{"b0", l.Intercept}, {"b1", l.Slope}, {"sd_b0", l.InterceptSE}, {"sd_b1", l.SlopeSE},
		{"residual_sd", l.ResidualSD}, {"r_squared", l.RSquared},
	} {
		digits(t, "Norris "+c.name, c.got, want[c.name], 11)
	}
	var rows [][]float64
	for _, x := range column(t, "Pontius", "x") {
		rows = append(rows, []float64{1, x, x * x})
	}
	fit, err := FitLinear(rows, column(t, "Pontius", "y"))
	if err != nil {
		t.Fatal(err)
	}
	want = certified(t)["Pontius"]
	for j := range fit.Params {
		digits(t, "Pontius b", fit.Params[j], want["b"+strconv.Itoa(j)], 10)
		digits(t, "Pontius sd", fit.SE[j], want["sd_b"+strconv.Itoa(j)], 10)
	}
	digits(t, "Pontius residuals", fit.ResidualSD, want["residual_sd"], 10)
}

var nonlinear = map[string]func(b []float64, x float64) float64{
	"Misra1a":  func(b []float64, x float64) float64 { return b[0] * -math.Expm1(-b[1]*x) },
	"BoxBOD":   func(b []float64, x float64) float64 { return b[0] * -math.Expm1(-b[1]*x) },
	"Chwirut2": func(b []float64, x float64) float64 { return math.Exp(-b[0]*x) / (b[1] + b[2]*x) },
	"MGH17": func(b []float64, x float64) float64 {
		return b[0] + b[1]*math.Exp(-x*b[3]) + b[2]*math.Exp(-x*b[4])
	},
	"Lanczos3": func(b []float64, x float64) float64 {
		return b[0]*math.Exp(-b[1]*x) + b[2]*math.Exp(-b[3]*x) + b[4]*math.Exp(-b[5]*x)
	},
}

// From both published starting points, the far one included.
func TestCurvesEqualNIST(t *testing.T) {
	all := certified(t)
	for set, model := range nonlinear {
		x, y := column(t, set, "x"), column(t, set, "y")
		for _, from := range []string{"start1_b", "start2_b"} {
			var start []float64
			for j := 1; ; j++ {
				v, ok := all[set][from+strconv.Itoa(j)]
				if !ok {
					break
				}
				start = append(start, v)
			}
			fit, err := FitCurve(Numeric(func(b, res []float64) {
				for i := range res {
					res[i] = y[i] - model(b, x[i])
				}
			}), len(y), start)
			if err != nil {
				t.Errorf("%s from %s: %v at %v", set, from, err, fit.Params)
				continue
			}
			for j := range fit.Params {
				name := set + " " + from + strconv.Itoa(j+1)
				digits(t, name, fit.Params[j], all[set]["b"+strconv.Itoa(j+1)], 6)
				digits(t, name+" error", fit.SE[j], all[set]["sd_b"+strconv.Itoa(j+1)], 5)
			}
			digits(t, set+" residuals", fit.RSS, all[set]["residual_sum_of_squares"], 8)
		}
	}
}

func TestFitsRefuse(t *testing.T) {
	if _, err := FitLine([]float64{1, 1, 1}, []float64{1, 2, 3}); err == nil {
		t.Error("a line through one x")
	}
	if _, err := FitLine([]float64{1}, []float64{1}); err == nil {
		t.Error("a line through one point")
	}
	if l, err := FitLine([]float64{1, 2}, []float64{3, 5}); err != nil || math.Abs(l.Slope-2) > 1e-12 || l.SlopeInterval(0.95) != nil {
		t.Errorf("two points: %+v, %v", l, err)
	}
	wild := Numeric(func(b, res []float64) { res[0], res[1] = math.NaN(), 0 })
	if _, err := FitCurve(wild, 2, []float64{1}); err == nil {
		t.Error("a curve that is not a number")
	}
	idle := Numeric(func(b, res []float64) { res[0], res[1] = 1, 2 })
	if _, err := FitCurve(idle, 2, []float64{1}); err == nil {
		t.Error("a parameter that does nothing")
	}
	if slope, _ := TheilSen([]float64{1, 1}, []float64{0, 1}); !math.IsNaN(slope) {
		t.Errorf("slope %g through one x", slope)
	}
}
