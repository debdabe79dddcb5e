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

// Defaults are all limits with their default values: common practice, no
// source.
func Defaults() []Limit {
	return []Limit{
		{"balance_db", 3, "dB", "largest level of a string beside the others", false},
		{"dull_db", 5, "dB", "largest loss of treble (1 to 4 kHz) beside the others", false},
		{"intermittent_db", 12, "dB", "a tap this far below its string's median is a drop-out", false},
		{"takes_db", 3, "dB", "largest difference between two takes of one string", false},
		{"take_spread_db", 0.5, "dB", "standard deviation between takes of one string, where only one was recorded", false},
		{"peak_low_db", -40, "dB", "a take that peaks lower is recorded too quietly", false},
		{"hum_below_signal_db", 40, "dB", "least distance of hum below the plucks (else taps)", false},
		{"hiss_below_signal_db", 45, "dB", "least distance of the A-weighted floor below the plucks (else taps)", false},
		{"hum_take_db", 10, "dB", "hum this much above the other takes' is odd", false},
		{"low_loss_db", 1, "dB", "largest loss at the lowest open string by input loading", false},
		{"tuning_cents", 10, "cents", "largest offset of an open string", false},
		{"tone_cents", 5, "cents", "largest offset of the reference tone", false},
		{"t60_ratio", 0.4, "of the others", "least sustain beside the other strings' median", false},
		{"thd_rise_db", 10, "dB", "largest distortion of the tone beside the other strings", false},
		{"rattle_rise_db", 12, "dB", "largest energy between partials beside the other strings", false},
	}
}
