// Package result holds what an analysis of one stage found: the typed,
// versioned structure that findings judge, reports draw, and results.json
// keeps.
//
// It is vocabulary only. Measures know nothing of it; the analysis fills it;
// findings and reports read it and never see a sample. Every number names its
// unit in its JSON key. A number that repeated events gave is a [Quantity]
// with its interval and count; what could not be told is a Quantity without
// an estimate and with a reason. Indexes into [Results.Takes] tie values to
// recordings, so that a later comparison knows which taps shared one hand.
//
// Levels are dBFS by the AES17 convention: a full-scale sine has 0 dBFS RMS.
// Sample peaks are dB re full scale.
package result

import "saddlewise/analysis/stats"

// SchemaVersion is the version of the structure. It rises when a field
// changes meaning or goes; new optional fields leave it as it is.
const SchemaVersion = 1

// Results is everything measured on one stage of a build.
type Results struct {
	SchemaVersion int       `json:"schema_version" jsonschema_description:"version of this structure; rises when a field changes meaning"`
	Tool          string    `json:"tool" jsonschema_description:"program and version that measured"`
	Stage         Stage     `json:"stage"`
	Verdict       Verdict   `json:"verdict"`
	Findings      []Finding `json:"findings" jsonschema_description:"most severe first"`
	Strings       []String  `json:"strings" jsonschema_description:"string 1, the highest-pitched, first"`
	Quiet         []Quiet   `json:"quiet" jsonschema_description:"noise floor and hum, one entry for each way of recording silence"`
	Sweeps        []Sweep   `json:"sweeps"`
	Takes         []Take    `json:"takes" jsonschema_description:"every recording looked at, usable or not"`
	Problems      []Problem `json:"problems" jsonschema_description:"files and facts that could not be used"`
}

// Quantity is one measured number with its interval, or the reason why there
// is none. Its unit is in the name of the field that holds it.
type Quantity struct {
	Estimate *stats.Estimate `json:"estimate" jsonschema_description:"null when it cannot be told"`
	Values   []Value         `json:"values,omitempty" jsonschema_description:"the events' own values behind the estimate"`
	Reason   string          `json:"reason,omitempty" jsonschema_description:"why there is no estimate, or what limits it"`
}

// Known tells whether there is an estimate.
func (q Quantity) Known() bool { return q.Estimate != nil }

// Value is what one event gave.
type Value struct {
	Take  int     `json:"take" jsonschema_description:"index into takes"`
	Event int     `json:"event" jsonschema_description:"number of the event in its take, from 0"`
	Value float64 `json:"value"`
}

// Stage says what was recorded, as the folder and its TOML files tell it.
type Stage struct {
	Name     string         `json:"name" jsonschema_description:"stage of the build, from stage.toml or the folder"`
	Folder   string         `json:"folder" jsonschema_description:"base name of the stage folder"`
	Build    string         `json:"build,omitempty"`
	Date     string         `json:"date,omitempty" jsonschema_description:"ISO 8601 date"`
	NextStep string         `json:"next_step,omitempty" jsonschema_description:"the irreversible step the verdict is for"`
	Notes    string         `json:"notes,omitempty"`
	Assumed  []string       `json:"assumed,omitempty" jsonschema_description:"what was taken for granted of the strings, in sentences"`
	A4Hz     float64        `json:"a4_hz"`
	Tuning   []StringTarget `json:"tuning" jsonschema_description:"as given; empty when neither TOML nor names tell it"`
	Pickup   Pickup         `json:"pickup"`
	Capture  Capture        `json:"capture"`
	Limits   []Limit        `json:"limits"`
}

// StringTarget is the open string's intended pitch.
type StringTarget struct {
	Number int     `json:"number"`
	Note   string  `json:"note"`
	Hz     float64 `json:"hz"`
}

// Pickup is what is known of the discs and what they hang on.
type Pickup struct {
	Discs      int         `json:"discs"`
	Wiring     string      `json:"wiring"`
	DiscNF     float64     `json:"disc_nf"`
	CablePF    float64     `json:"cable_pf"`
	InputPF    float64     `json:"input_pf"`
	InputOhm   float64     `json:"input_ohm"`
	Assumed    []string    `json:"assumed,omitempty" jsonschema_description:"keys that rest on a default (common practice, no source)"`
	Prediction *Prediction `json:"prediction,omitempty" jsonschema_description:"what the circuit predicts from these facts"`
}

// Prediction is the low end the discs, cable and input make by themselves.
type Prediction struct {
	CornerHz        float64 `json:"corner_hz"`
	LowestHz        float64 `json:"lowest_hz" jsonschema_description:"lowest open string; 0 when unknown"`
	LossDB          float64 `json:"loss_db" jsonschema_description:"at the lowest open string"`
	CableDivisionDB float64 `json:"cable_division_db"`
	OhmFor1DB       float64 `json:"ohm_for_1_db" jsonschema_description:"input resistance that loses 1 dB at the lowest open string"`

	Strings []StringLoss `json:"strings,omitempty" jsonschema_description:"what each open string loses to the corner"`
}

// StringLoss is what one open string's fundamental loses to the low corner.
type StringLoss struct {
	Number int     `json:"number"`
	Note   string  `json:"note"`
	Hz     float64 `json:"hz"`
	LossDB float64 `json:"loss_db"`
}

// Capture is how the stage was recorded.
type Capture struct {
	Channel         int     `json:"channel" jsonschema_description:"1-based; 0 chosen by content"`
	MainsHz         float64 `json:"mains_hz" jsonschema_description:"0 found by content"`
	FullScaleVolts  float64 `json:"full_scale_volts" jsonschema_description:"0 unknown"`
	ReferenceToneHz float64 `json:"reference_tone_hz" jsonschema_description:"0 unknown"`
}

// Limit is a threshold that findings judge by.
type Limit struct {
	Key     string  `json:"key"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Meaning string  `json:"meaning"`
	Given   bool    `json:"given" jsonschema_description:"false: default, common practice, no source"`
}

// LimitValue is the value of the limit named key, and whether there is one.
func (s Stage) LimitValue(key string) (float64, bool) {
	for _, l := range s.Limits {
		if l.Key == key {
			return l.Value, true
		}
	}
	return 0, false
}

// Problem is one file or fact that could not be used.
type Problem struct {
	File string `json:"file"`
	Text string `json:"text" jsonschema_description:"one sentence: what is wrong, what to do"`
}
