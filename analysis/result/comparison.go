package result

import "saddlewise/analysis/stats"

// Comparison is what changed between two stages of a build, and what only
// seems to have.
type Comparison struct {
	SchemaVersion int           `json:"schema_version"`
	Tool          string        `json:"tool"`
	Build         string        `json:"build,omitempty"`
	Before        ComparedStage `json:"before"`
	After         ComparedStage `json:"after"`
	Sentence      string        `json:"sentence" jsonschema_description:"the answer"`
	TakeSpread    TakeSpread    `json:"take_spread" jsonschema_description:"default for the spread between takes of one string; used where assumed_spread says so"`
	Details       []string      `json:"details" jsonschema_description:"what the answer leaves out, a sentence each"`
	Questions     int           `json:"questions" jsonschema_description:"changes asked about that this data could answer"`
	Gain          *GainMove     `json:"gain" jsonschema_description:"null: nothing says that the input gain moved"`
	Alone         []AloneShift  `json:"alone" jsonschema_description:"strings that changed beside those that did not"`
	Common        []CommonShift `json:"common" jsonschema_description:"what all strings share, by test"`
	Warnings      []string      `json:"warnings" jsonschema_description:"why the stages may not be comparable"`
	Facts         []FactChange  `json:"facts" jsonschema_description:"polarity, dead discs, verdict"`
	Changes       []Change      `json:"changes"`
	Response      []BandChange  `json:"response" jsonschema_description:"tap response, after less before, by string"`
	Sweep         []BandChange  `json:"sweep" jsonschema_description:"sweep response, after less before, by string; each re its own 200 Hz to 2 kHz"`
}

// ComparedStage names one side.
type ComparedStage struct {
	Name     string `json:"name"`
	Folder   string `json:"folder"`
	Date     string `json:"date,omitempty"`
	NextStep string `json:"next_step,omitempty"`
	Verdict  Word   `json:"verdict"`
}

// TakeSpread is a standard deviation that stands in for one not measured.
type TakeSpread struct {
	DB    float64 `json:"db"`
	Given bool    `json:"given" jsonschema_description:"set in [limits]; false: common practice, no source"`
}

// GainMove is a change of the recording's gain, which moves noise and levels
// alike.
type GainMove struct {
	DB       float64         `json:"db"`
	Interval *stats.Interval `json:"interval"`
	Evidence string          `json:"evidence"`
}

// CommonShift is what all strings of one test share.
type CommonShift struct {
	Test     string          `json:"test"`
	Strings  []int           `json:"strings" jsonschema_description:"the strings that share it: those that did not change alone"`
	DB       float64         `json:"db" jsonschema_description:"mean over these strings of their level shifts"`
	Interval *stats.Interval `json:"interval"`
	P        float64         `json:"p" jsonschema_description:"asked alone"`
	WholeP   float64         `json:"whole_p" jsonschema_description:"asked together with every question of the comparison (Benjamini-Hochberg)"`
	Real     bool            `json:"real" jsonschema_description:"the interval leaves zero and every string moved that way"`
	Survives bool            `json:"survives" jsonschema_description:"real, and beyond chance among all questions"`
	CanBe    string          `json:"can_be" jsonschema_description:"what it can come from"`
}

// AloneShift is how far one string's level moved beside the strings that kept
// their balance. A balance is told beside the mean of all strings, so that one
// string's change moves the others' balance the other way; this is the
// change itself.
type AloneShift struct {
	String   int             `json:"string"`
	Note     string          `json:"note,omitempty"`
	Test     string          `json:"test"`
	DB       float64         `json:"db"`
	Interval *stats.Interval `json:"interval"`
}

// Stayed tells whether more strings kept together in a test than moved apart
// from them. Where no more did, which side moved is a matter of view.
func (c *Comparison) Stayed(test string) bool {
	kept, apart := 0, 0
	for _, s := range c.Common {
		if s.Test == test {
			kept = len(s.Strings)
		}
	}
	for _, a := range c.Alone {
		if a.Test == test {
			apart++
		}
	}
	return kept > apart
}

// FactChange is a change of something that is no number.
type FactChange struct {
	String int    `json:"string"`
	Note   string `json:"note,omitempty"`
	What   string `json:"what"`
	Before string `json:"before"`
	After  string `json:"after"`
}

// Verdicts of a change.
const (
	Rose         = "rose"
	Fell         = "fell"
	NoChangeSeen = "no change seen"
	CannotTell   = "cannot tell"
)

// Change is one measure of one string, before and after.
type Change struct {
	String    int             `json:"string" jsonschema_description:"0: the whole pickup"`
	Note      string          `json:"note,omitempty"`
	Test      string          `json:"test"`
	Measure   string          `json:"measure"`
	Unit      string          `json:"unit"`
	Before    *stats.Estimate `json:"before"`
	After     *stats.Estimate `json:"after"`
	Shift     *float64        `json:"shift" jsonschema_description:"after less before (Hodges-Lehmann)"`
	Interval  *stats.Interval `json:"interval"`
	P         float64         `json:"p" jsonschema_description:"asked alone"`
	AdjustedP float64         `json:"adjusted_p" jsonschema_description:"asked of all strings together (Holm)"`
	WholeP    float64         `json:"whole_p" jsonschema_description:"asked together with every question of the comparison (Benjamini-Hochberg)"`
	Survives  bool            `json:"survives" jsonschema_description:"rose or fell, and beyond chance among all questions"`
	Verdict   string          `json:"verdict" jsonschema:"enum=rose,enum=fell,enum=no change seen,enum=cannot tell"`
	Smallest  *float64        `json:"smallest" jsonschema_description:"change that this data would have shown four times in five; null: none"`
	More      *int            `json:"more" jsonschema_description:"further events a stage that would show the chosen size; null: not asked or not enough"`
	Size      float64         `json:"size" jsonschema_description:"the chosen size, in the measure's unit"`
	Takes     [2]int          `json:"takes" jsonschema_description:"takes behind either side"`
	Explained string          `json:"explained,omitempty" jsonschema_description:"why a change is none of the pickup's, or of this string's"`
	Assumed   bool            `json:"assumed_spread" jsonschema_description:"the spread between takes is a default: one take on either side"`
	Reason    string          `json:"reason,omitempty"`
}

// BandChange is the difference of one string's response, tapped or swept.
type BandChange struct {
	String  int          `json:"string" jsonschema_description:"0: the whole bridge"`
	Note    string       `json:"note,omitempty"`
	Bands   []BandDiff   `json:"bands"`
	Leaving []HzInterval `json:"leaving" jsonschema_description:"where neighbouring bands leave zero"`
	Assumed bool         `json:"assumed_spread" jsonschema_description:"the spread between takes is a default: one take on either side"`
}

// HzInterval is a stretch of frequency.
type HzInterval struct {
	LowHz  float64 `json:"low_hz"`
	HighHz float64 `json:"high_hz"`
	DB     float64 `json:"db" jsonschema_description:"largest change in it"`
}

// BandDiff is one band of it.
type BandDiff struct {
	MidHz  float64         `json:"mid_hz"`
	DB     float64         `json:"db"`
	Around *stats.Interval `json:"interval"`
	P      float64         `json:"p" jsonschema_description:"asked of this band alone"`
	Leaves bool            `json:"leaves_zero" jsonschema_description:"beyond chance among all bands (Benjamini-Hochberg)"`
}
