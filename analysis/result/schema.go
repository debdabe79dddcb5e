package result

import (
	_ "embed"
)

// Schema is the JSON Schema (draft 2020-12) of results.json, kept in step
// with [Results] by a test.
//
//go:embed results.schema.json
var Schema []byte

// ComparisonSchema is the JSON Schema of comparison.json, kept in step with
// [Comparison] by the same test.
//
//go:embed comparison.schema.json
var ComparisonSchema []byte

// TrendSchema is the JSON Schema of trend.json, kept in step with [Trend] by
// the same test.
//
//go:embed trend.schema.json
var TrendSchema []byte
