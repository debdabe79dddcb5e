package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strconv"
	"testing"

	"saddlewise/analysis/result"
)

func TestCSVHoldsEveryMeasure(t *testing.T) {
	for name, r := range cases() {
		data, err := CSV(r)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		want := r.Rows()
		if len(rows) != len(want)+1 {
			t.Fatalf("%s: %d rows, want %d", name, len(rows), len(want)+1)
		}
		for i, row := range want {
			checkCSVRow(t, rows[i+1], row)
		}
	}
}

func checkCSVRow(t *testing.T, got []string, want result.Row) {
	t.Helper()
	if got[1] != want.Note || got[3] != want.Measure || got[4] != want.Unit || got[10] != want.Quantity.Reason {
		t.Errorf("got %q for %s %s", got, want.Note, want.Measure)
	}
	if est := want.Quantity.Estimate; est != nil {
		median, err := strconv.ParseFloat(got[5], 64)
		if diff := median - est.Median; err != nil || diff > 1e-3 || diff < -1e-3 {
			t.Errorf("median %q, want %g", got[5], est.Median)
		}
		if (got[6] == "") != (est.Interval == nil) || got[9] != strconv.Itoa(est.N) {
			t.Errorf("interval or count lost: %q", got)
		}
	} else if got[5] != "" || got[9] != "0" {
		t.Errorf("a number for what cannot be told: %q", got)
	}
}

func TestJSONReadsBack(t *testing.T) {
	for name, r := range cases() {
		data, err := JSON(r)
		if err != nil {
			t.Fatal(err)
		}
		var back result.Results
		if err := json.Unmarshal(data, &back); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		again, err := JSON(&back)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(data, again) {
			t.Errorf("%s: reading back changes it", name)
		}
	}
}
