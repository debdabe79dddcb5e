package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"

	"saddlewise/analysis/result"
)

// JSON encodes the results as results.json holds them.
func JSON(r *result.Results) ([]byte, error) { return encoded(r, "results") }

// encoded is v as every JSON file here is written.
func encoded(v any, what string) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(v); err != nil {
		return nil, fmt.Errorf("encode %s: %w", what, err)
	}
	return buf.Bytes(), nil
}

var csvHeader = []string{
	"string", "note", "test", "measure", "unit",
	"median", "low", "high", "coverage", "n", "remark",
}

// CSV lists the results, one row a string and measure. Numbers have up to six
// significant digits; empty cells are what could not be told.
func CSV(r *result.Results) ([]byte, error) {
	var buf bytes.Buffer
	w := csv.NewWriter(&buf)
	if err := w.Write(csvHeader); err != nil {
		return nil, fmt.Errorf("write CSV header: %w", err)
	}
	for _, row := range r.Rows() {
		if err := w.Write(csvRow(row)); err != nil {
			return nil, fmt.Errorf("write CSV row: %w", err)
		}
	}
	w.Flush()
	return buf.Bytes(), w.Error()
}

func csvRow(row result.Row) []string {
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	cells := []string{"", row.Note, row.Test, row.Measure, row.Unit, "", "", "", "", "0", row.Quantity.Reason}
	if row.String > 0 {
		cells[0] = strconv.Itoa(row.String)
	}
	est := row.Quantity.Estimate
	if est == nil {
		return cells
	}
	cells[5], cells[9] = number(est.Median), strconv.Itoa(est.N)
	if iv := est.Interval; iv != nil {
		cells[6], cells[7], cells[8] = number(iv.Low), number(iv.High), number(iv.Coverage)
	}
	return cells
}
