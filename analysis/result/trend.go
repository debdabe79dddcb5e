package result

import "saddlewise/analysis/stats"

// Trend is every stage of a build in order, and where a change between
// neighbours is real.
type Trend struct {
	SchemaVersion int          `json:"schema_version"`
	Tool          string       `json:"tool"`
	Build         string       `json:"build,omitempty"`
	Stages        []TrendStage `json:"stages" jsonschema_description:"by date, then folder name"`
	Series        []Series     `json:"series"`
	Notes         []string     `json:"notes" jsonschema_description:"what was left out, or read from an earlier report"`
}

// TrendStage is one stage and how it came from the one before.
type TrendStage struct {
	ComparedStage
	Judged   string   `json:"judged" jsonschema_description:"the verdict in a sentence"`
	Earlier  bool     `json:"earlier" jsonschema_description:"read from an earlier report: the takes are gone"`
	Since    string   `json:"since,omitempty" jsonschema_description:"what changed since the stage before"`
	Details  []string `json:"details,omitempty" jsonschema_description:"what that answer leaves out"`
	Warnings []string `json:"warnings,omitempty" jsonschema_description:"why it may not be comparable with the stage before"`
}

// Series is one measure of one string over the stages.
type Series struct {
	String  int          `json:"string" jsonschema_description:"0: the whole pickup"`
	Note    string       `json:"note,omitempty"`
	Test    string       `json:"test"`
	Measure string       `json:"measure"`
	Unit    string       `json:"unit"`
	Points  []TrendPoint `json:"points" jsonschema_description:"one a stage"`
}

// TrendPoint is one stage's value, and its change from the stage before.
type TrendPoint struct {
	Estimate  *stats.Estimate `json:"estimate" jsonschema_description:"null: not measured"`
	Shift     *float64        `json:"shift"`
	Interval  *stats.Interval `json:"interval" jsonschema_description:"of the shift"`
	Verdict   string          `json:"verdict,omitempty" jsonschema:"enum=rose,enum=fell,enum=no change seen,enum=cannot tell"`
	Survives  bool            `json:"survives" jsonschema_description:"beyond chance among all questions about the two stages"`
	Explained string          `json:"explained,omitempty"`
}

// Real tells whether the point differs from the stage before by more than
// chance, gain and other strings make.
func (p TrendPoint) Real() bool {
	return p.Survives && p.Explained == ""
}
