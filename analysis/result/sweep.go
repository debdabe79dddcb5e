package result

// Sweep is a true relative response, by deconvolution of an exponential sweep.
type Sweep struct {
	Take         int          `json:"take"`
	String       int          `json:"string" jsonschema_description:"0: whole bridge"`
	Reference    string       `json:"reference" jsonschema_description:"file, or the stimulus parameters"`
	ClockPPM     float64      `json:"clock_ppm" jsonschema_description:"recorder against player, corrected"`
	ClockSEPPM   float64      `json:"clock_se_ppm" jsonschema_description:"its standard error; 0: the clocks could not be compared"`
	Hz           []float64    `json:"hz"`
	MagnitudeDB  []float64    `json:"magnitude_db"`
	GroupDelayMS []float64    `json:"group_delay_ms"`
	SNRDB        []float64    `json:"snr_db"`
	ImpulseMS    []float64    `json:"impulse_ms"`
	Impulse      []float64    `json:"impulse"`
	Window       string       `json:"window"`
	LowMinus3Hz  *float64     `json:"low_minus_3db_hz"`
	HighMinus3Hz *float64     `json:"high_minus_3db_hz"`
	CornerHz     Quantity     `json:"corner_hz" jsonschema_description:"fitted first-order low corner"`
	CornerCause  *CornerCause `json:"corner_cause" jsonschema_description:"what explains that corner; null when the corner or the pickup is not known"`
	Peaks        []Peak       `json:"peaks"`
	Distortion   []Distortion `json:"distortion"`
	Notes        []string     `json:"notes,omitempty"`
}

// CornerCause solves the circuit for a measured corner: one of its two answers
// is the cause, if the rest is as the stage says. Player, exciter and recorder
// have low ends of their own, which the corner counts too.
type CornerCause struct {
	Discs         int            `json:"discs"`
	InputOhm      float64        `json:"input_ohm" jsonschema_description:"that the numbers of discs rest on"`
	DiscTolerance float64        `json:"disc_tolerance" jsonschema_description:"share by which a disc's capacitance may be off; common practice, no source"`
	OhmAcross     Quantity       `json:"ohm_across" jsonschema_description:"resistance across the discs that explains the corner if all of them work"`
	WorkingDiscs  []WorkingDiscs `json:"working_discs" jsonschema_description:"discs in parallel: what each number of working ones would do; empty for other wirings"`
}

// WorkingDiscs is the corner that so many working discs make.
type WorkingDiscs struct {
	Count    int     `json:"count"`
	CornerHz float64 `json:"corner_hz"`
	LowHz    float64 `json:"low_hz" jsonschema_description:"by the discs' tolerance"`
	HighHz   float64 `json:"high_hz"`
	Fits     bool    `json:"fits" jsonschema_description:"the measured corner may be this one"`
}

// Peak is a resonance in a sweep response.
type Peak struct {
	Hz      float64 `json:"hz"`
	LevelDB float64 `json:"level_db"`
	Q       float64 `json:"q"`
}

// Distortion is one order of harmonic distortion against frequency.
type Distortion struct {
	Order   int       `json:"order"`
	Hz      []float64 `json:"hz" jsonschema_description:"frequency of the fundamental"`
	LevelDB []float64 `json:"level_db" jsonschema_description:"re the fundamental"`
}
