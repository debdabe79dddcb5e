package stage

// Limit is a threshold that findings judge by. Defaults are common practice,
// no source.
type Limit struct {
	Key     string
	Value   float64
	Unit    string
	Meaning string
	Given   bool // set in [limits]
}

// limitTable is every limit: key, default, unit, meaning, and the range that
// [limits] may set it in.
var limitTable = []struct {
	key       string
	value     float64
	unit      string
	meaning   string
	low, high float64
}{
	{"balance_db", 3, "dB", "largest level of a string beside the others", 0, 60},
	{"dull_db", 5, "dB", "largest loss of treble (1 to 4 kHz) of a weak string beside the others", 0, 60},
	{"dull_alone_db", 7, "dB", "largest loss of treble beside the others where the level is fine: a softer tap loses some, too", 0, 60},
	{"resonance_db", 12, "dB", "largest peak of one string's tap response beside the others", 0, 60},
	{"intermittent_db", 12, "dB", "a tap this far below its string's median is a drop-out", 0, 120},
	{"takes_db", 3, "dB", "largest difference between two takes of one string", 0, 60},
	{"take_spread_db", 0.5, "dB", "standard deviation between takes of one string, where only one was recorded", 0, 20},
	{"peak_low_db", -40, "dB", "a take that peaks lower is recorded too quietly", -140, 0},
	{"hum_below_signal_db", 40, "dB", "least distance of hum below the plucks (else taps)", 0, 140},
	{"hiss_below_signal_db", 45, "dB", "least distance of the A-weighted floor below the plucks (else taps)", 0, 140},
	{"hum_take_db", 10, "dB", "hum this much above the other takes' is odd", 0, 120},
	{"low_loss_db", 1, "dB", "largest loss at the lowest open string by input loading", 0, 60},
	{"tuning_cents", 10, "cents", "largest offset of an open string", 0, 1200},
	{"tone_cents", 5, "cents", "largest offset of the reference tone", 0, 1200},
	{"t60_ratio", 0.4, "of the others", "least sustain beside the other strings' median", 0, 1},
	{"thd_rise_db", 10, "dB", "largest distortion of the tone beside the other strings", 0, 120},
	{"rattle_least_db", -50, "dB", "energy between partials re the note below which nothing rattles", -120, 0},
	{"rattle_rise_db", 12, "dB", "largest energy between partials beside the other strings", 0, 120},
}

// Defaults are all limits with their default values: common practice, no
// source.
func Defaults() []Limit {
	out := make([]Limit, len(limitTable))
	for i, l := range limitTable {
		out[i] = Limit{Key: l.key, Value: l.value, Unit: l.unit, Meaning: l.meaning}
	}
	return out
}
