package result

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"saddlewise/analysis/stats"
)

func small() *Results {
	return &Results{
		SchemaVersion: SchemaVersion, Verdict: Verdict{Word: Ready}, Takes: []Take{{File: "tap-1.wav"}},
		Strings: []String{{Number: 1, Tap: &Tap{LevelDBFS: Quantity{
			Estimate: &stats.Estimate{Median: -20, N: 1, Interval: &stats.Interval{Low: -21, High: -19, Coverage: 0.95}},
			Values:   []Value{{Take: 0, Value: -20}},
		}}}},
	}
}

func TestDecode(t *testing.T) {
	level := func(r *Results) *Quantity { return &r.Strings[0].Tap.LevelDBFS }
	cases := map[string]struct {
		edit func(*Results)
		want string // part of the error; empty: none
	}{
		"as written":        {func(*Results) {}, ""},
		"another version":   {func(r *Results) { r.SchemaVersion = 9 }, "schema_version is 9"},
		"unknown verdict":   {func(r *Results) { r.Verdict.Word = "fine" }, "unknown verdict"},
		"string left out":   {func(r *Results) { r.Strings[0].Number = 2 }, "string 2 stands where"},
		"take out of range": {func(r *Results) { level(r).Values[0].Take = 1 }, "take 1"},
		"huge value":        {func(r *Results) { level(r).Values[0].Value = 1e300 }, "impossible"},
		"interval reversed": {func(r *Results) { level(r).Estimate.Interval.Low = 3 }, "interval"},
		"coverage of 1":     {func(r *Results) { level(r).Estimate.Interval.Coverage = 1 }, "coverage"},
	}
	for name, k := range cases {
		r := small()
		k.edit(r)
		text, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		_, err = Decode(text)
		if k.want == "" && err != nil || k.want != "" && (err == nil || !strings.Contains(err.Error(), k.want)) {
			t.Errorf("%s: got %v, want %q", name, err, k.want)
		}
	}
	for text, want := range map[string]string{"": "not whole JSON", "[]": "no results", `{"a":1}`: "no results", `{"schema_version":1,"takes":3}`: "does not hold"} {
		if _, err := Decode([]byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: got %v, want %q", text, err, want)
		}
	}
}

// FuzzDecode feeds broken files: what is let pass must be finite and encode again.
func FuzzDecode(f *testing.F) {
	text, err := json.Marshal(small())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(text[:len(text)/2])
	f.Add([]byte(`{"schema_version":1}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := Decode(text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one line: %q", err)
			}
			return
		}
		for _, row := range r.Rows() {
			if e := row.Quantity.Estimate; e != nil && math.IsNaN(e.Median) {
				t.Error("NaN let pass")
			}
		}
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
	})
}
