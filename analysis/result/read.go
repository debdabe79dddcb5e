package result

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"saddlewise/analysis/stats"
)

// Bounds of what an analysis can have written.
const (
	mostStrings = 64
	mostValues  = 2000 // of one quantity
	farthest    = 1e6  // any number, in its own unit
)

// Decode reads what results.json holds, and refuses what no analysis wrote.
// Unknown keys are let pass: a later release may add some. Errors are one
// sentence without the file's name.
func Decode(text []byte) (*Results, error) {
	var head struct {
		SchemaVersion *int `json:"schema_version"`
	}
	var syntax *json.SyntaxError
	switch err := json.Unmarshal(text, &head); {
	case errors.As(err, &syntax):
		return nil, fmt.Errorf("it is not whole JSON (byte %d): %w", syntax.Offset, err)
	case err != nil, head.SchemaVersion == nil:
		return nil, errors.New("it holds no results of an analysis")
	case *head.SchemaVersion != SchemaVersion:
		return nil, fmt.Errorf("its schema_version is %d, and this release reads %d; analyze the stage again from its takes, or use the release that wrote it", *head.SchemaVersion, SchemaVersion)
	}
	var r Results
	if err := json.Unmarshal(text, &r); err != nil {
		return nil, fmt.Errorf("it does not hold what results.json should: %w", err)
	}
	return &r, r.check()
}

// check refuses results that contradict themselves.
func (r *Results) check() error {
	switch r.Verdict.Word {
	case Ready, Recheck, Stop:
	default:
		return fmt.Errorf("it holds the unknown verdict %q", r.Verdict.Word)
	}
	if len(r.Strings) > mostStrings {
		return fmt.Errorf("it has %d strings; at most %d make sense", len(r.Strings), mostStrings)
	}
	for i, s := range r.Strings {
		if s.Number != i+1 {
			return fmt.Errorf("its string %d stands where string %d should", s.Number, i+1)
		}
	}
	for _, row := range r.Rows() {
		if err := row.Quantity.check(len(r.Takes)); err != nil {
			return fmt.Errorf("string %d, %s %s: %w", row.String, row.Test, row.Measure, err)
		}
	}
	for _, q := range r.Quiet {
		if q.Hum != nil && !(math.Abs(q.Hum.TotalDBFS) < farthest) {
			return fmt.Errorf("%s: hum of %g dBFS is impossible", q.Label, q.Hum.TotalDBFS)
		}
	}
	return nil
}

func (q Quantity) check(takes int) error {
	if len(q.Values) > mostValues {
		return fmt.Errorf("%d values are too many", len(q.Values))
	}
	for _, v := range q.Values {
		if v.Take < 0 || v.Take >= takes {
			return fmt.Errorf("a value of take %d, where there are %d takes", v.Take, takes)
		}
		if !(math.Abs(v.Value) < farthest) {
			return fmt.Errorf("the value %g is impossible", v.Value)
		}
	}
	return checkEstimate(q.Estimate)
}

func checkEstimate(e *stats.Estimate) error {
	switch {
	case e == nil:
	case !(math.Abs(e.Median) < farthest):
		return fmt.Errorf("the median %g is impossible", e.Median)
	case e.Interval == nil:
	case !(e.Interval.Low <= e.Interval.High), !(math.Abs(e.Interval.Low) < farthest), !(math.Abs(e.Interval.High) < farthest):
		return fmt.Errorf("the interval %g to %g is none", e.Interval.Low, e.Interval.High)
	case !(e.Interval.Coverage > 0 && e.Interval.Coverage < 1):
		return fmt.Errorf("the coverage %g is none", e.Interval.Coverage)
	}
	return nil
}
