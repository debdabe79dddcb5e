package event

import (
	"math"
	"testing"
)

func TestVoteOf(t *testing.T) {
	t.Parallel()
	tests := []struct {
		signs []int
		sign  int
		p     float64 // two-sided sign test, by hand: 2 sum_{k>=most} C(n,k) / 2^n
	}{
		{nil, 0, 1},
		{[]int{1}, 0, 1},
		{[]int{1, 1}, 1, 0.5},
		{[]int{-1, -1, -1, -1, -1}, -1, 2.0 / 32},
		{[]int{1, 1, 1, 1, 1, 1, -1}, 1, 2 * 8.0 / 128},
		{[]int{1, 1, -1}, 0, 1},
		{[]int{1, -1}, 0, 1},
		{[]int{1, 1, 0, 0, 0}, 0, 0.5},
		{[]int{1, 1, 1, 0, 0}, 1, 0.25},
		{[]int{0, 0}, 0, 1},
	}
	for _, tt := range tests {
		v := VoteOf(tt.signs)
		if v.Sign != tt.sign || math.Abs(v.P-tt.p) > 1e-12 {
			t.Errorf("%v: sign %d, p %g; want %d, %g", tt.signs, v.Sign, v.P, tt.sign, tt.p)
		}
		if v.Up+v.Down+v.Undecided != len(tt.signs) {
			t.Errorf("%v: counted %+v", tt.signs, v)
		}
	}
}

// push is a waveform of one half sine of 1 ms and its sign.
func push(sign float64) []float64 {
	w := make([]float64, waveformPoints)
	for i := range 50 {
		w[100+i] = sign * math.Sin(math.Pi*float64(i)/50)
	}
	return w
}

func votes(signs ...int) []Vote {
	var out []Vote
	for _, s := range signs {
		out = append(out, VoteOf([]int{s, s, s, s, s}))
	}
	return out
}

func TestPolarities(t *testing.T) {
	t.Parallel()
	up, down := push(1), push(-1)
	tests := []struct {
		name    string
		votes   []Vote
		waves   [][]float64
		want    []Relation
		tie     bool
		inverts bool
	}{
		{"all up", votes(1, 1, 1, 1), [][]float64{up, up, up, up}, []Relation{Same, Same, Same, Same}, false, false},
		{"all down", votes(-1, -1, -1), [][]float64{down, down, down}, []Relation{Same, Same, Same}, false, true},
		{"one reversed", votes(1, 1, -1, 1), [][]float64{up, up, down, up}, []Relation{Same, Same, Reversed, Same}, false, false},
		{"reversed in an inverting chain", votes(-1, 1, -1, -1), [][]float64{down, up, down, down}, []Relation{Same, Reversed, Same, Same}, false, false},
		{"a tie is two groups", votes(1, -1, 1, -1), [][]float64{up, down, up, down}, []Relation{GroupUp, GroupDown, GroupUp, GroupDown}, true, false},
		{"one dead", votes(1, 1, 0, 1), [][]float64{up, up, nil, up}, []Relation{Same, Same, CannotTell, Same}, false, false},
		{"waveform contradicts vote", votes(1, 1, 1, 1), [][]float64{up, up, down, up}, []Relation{Same, Same, CannotTell, Same}, false, false},
		{"no waveforms", votes(1, -1, 1), nil, []Relation{Same, Reversed, Same}, false, false},
		{"one string alone", votes(1), [][]float64{up}, []Relation{CannotTell}, false, false},
		{"none", nil, nil, []Relation{}, false, false},
	}
	for _, tt := range tests {
		p := Polarities(tt.votes, tt.waves)
		for i, want := range tt.want {
			if p.Relations[i] != want {
				t.Errorf("%s: string %d is %q, want %q (correlation %.2f)", tt.name, i+1, p.Relations[i], want, p.Correlation[i])
			}
		}
		if p.Tie != tt.tie || p.Inverts != tt.inverts {
			t.Errorf("%s: tie %v, inverts %v", tt.name, p.Tie, p.Inverts)
		}
	}
}

func TestMedianWaveform(t *testing.T) {
	t.Parallel()
	if MedianWaveform(nil) != nil || MedianWaveform([][]float64{make([]float64, 3)}) != nil {
		t.Error("a median of nothing")
	}
	loud := push(1)
	for i := range loud {
		loud[i] *= 7
	}
	odd := push(-1)
	got := MedianWaveform([][]float64{push(1), loud, odd})
	for i, v := range push(1) {
		if math.Abs(got[i]-v) > 1e-3 {
			t.Fatalf("point %d: %g, want %g", i, got[i], v)
		}
	}
}

func TestThroughBridge(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	tests := []struct {
		name          string
		level, riseMS []float64
		want          []bool
	}{
		{"balanced", []float64{-20, -21, -19, -22}, []float64{0.5, 0.5, 0.6, 0.5}, []bool{false, false, false, false}},
		{"dead", []float64{-20, -21, -38, -22}, []float64{0.5, 0.5, nan, 0.5}, []bool{false, false, true, false}},
		{"weak and slow", []float64{-20, -21, -30, -22}, []float64{0.5, 0.5, 0.8, 0.5}, []bool{false, false, true, false}},
		{"weak and quick", []float64{-20, -21, -30, -22}, []float64{0.5, 0.5, 0.5, 0.5}, []bool{false, false, false, false}},
		{"two dead of four", []float64{-20, -40, -41, -21}, []float64{0.5, 0.9, 0.9, 0.5}, []bool{false, true, true, false}},
		{"one string", []float64{-60}, []float64{2}, []bool{false}},
		{"unknown", []float64{nan, -20}, []float64{nan, nan}, []bool{false, false}},
	}
	for _, tt := range tests {
		got := ThroughBridge(tt.level, tt.riseMS)
		for i := range tt.want {
			if got[i] != tt.want[i] {
				t.Errorf("%s: string %d %v, want %v", tt.name, i+1, got[i], tt.want[i])
			}
		}
	}
}
