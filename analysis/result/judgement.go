package result

// Severity orders findings.
type Severity string

// Severities, gravest first.
const (
	SeverityStop    Severity = "stop"
	SeverityRecheck Severity = "recheck"
	SeverityNote    Severity = "note"
)

// Word is a verdict in one word.
type Word string

// Verdicts.
const (
	Ready   Word = "ready"
	Recheck Word = "recheck"
	Stop    Word = "stop"
)

// Verdict answers: may the next irreversible step be taken?
type Verdict struct {
	Word     Word     `json:"word" jsonschema:"enum=ready,enum=recheck,enum=stop"`
	NextStep string   `json:"next_step" jsonschema_description:"the step it speaks of; empty when not told"`
	Sentence string   `json:"sentence"`
	Reasons  []string `json:"reasons" jsonschema_description:"ids of the findings that decided it"`
	Unknown  []string `json:"unknown" jsonschema_description:"what these recordings cannot show"`
}

// Finding is one thing the evidence says.
type Finding struct {
	ID       string     `json:"id" jsonschema_description:"in plain words, stable"`
	Severity Severity   `json:"severity" jsonschema:"enum=stop,enum=recheck,enum=note"`
	About    string     `json:"about" jsonschema:"enum=capture,enum=pickup,enum=instrument"`
	Strings  []int      `json:"strings" jsonschema_description:"empty: the whole"`
	Takes    []string   `json:"takes,omitempty"`
	Title    string     `json:"title" jsonschema_description:"one line"`
	Evidence []Evidence `json:"evidence"`
	Causes   []string   `json:"causes" jsonschema_description:"likely first"`
	Next     []string   `json:"next" jsonschema_description:"what to try, cheapest and most reversible first"`
	HoldsUp  string     `json:"holds_up,omitempty" jsonschema_description:"the irreversible step that should wait"`
}

// Evidence is one number, or one fact, behind a finding.
type Evidence struct {
	Text     string    `json:"text" jsonschema_description:"whole sentence, number, unit and interval included"`
	Quantity *Quantity `json:"quantity,omitempty"`
	Unit     string    `json:"unit,omitempty"`
	Limit    *Limit    `json:"limit,omitempty"`
}
