package result

// Take is one recording: what it is, how it was read, and whether it can be
// judged by.
type Take struct {
	File          string     `json:"file" jsonschema_description:"base name inside the stage folder"`
	Test          string     `json:"test" jsonschema:"enum=tap,enum=pluck,enum=tone,enum=sweep,enum=sweep-reference,enum=quiet"`
	String        int        `json:"string" jsonschema_description:"0: none"`
	Hand          bool       `json:"hand,omitempty" jsonschema_description:"quiet take with a hand on the ground or the strings"`
	SHA256        string     `json:"sha256,omitempty"`
	Format        string     `json:"format,omitempty" jsonschema_description:"container, coding and width in words"`
	RateHz        int        `json:"rate_hz"`
	Channels      int        `json:"channels"`
	Channel       int        `json:"channel" jsonschema_description:"the one measured, 1-based"`
	ChannelReason string     `json:"channel_reason,omitempty"`
	DurationS     float64    `json:"duration_s"`
	Facts         *TakeFacts `json:"facts" jsonschema_description:"null when the take could not be read"`
	Events        int        `json:"events" jsonschema_description:"taps, plucks or strikes found and used"`
	DoubleHits    int        `json:"double_hits"`
	FaintEvents   int        `json:"faint_events" jsonschema_description:"contacts left out because they are far weaker than the take's others"`
	EdgeEvents    int        `json:"edge_events" jsonschema_description:"events cut by the start or end of the take, left out"`
	Contents      *Contents  `json:"contents" jsonschema_description:"what the recording sounds like, whatever its name says; null when not looked at"`
	NoiseDBFS     *float64   `json:"noise_dbfs" jsonschema_description:"background between events; null when not measured"`
	Hum           *Hum       `json:"hum,omitempty" jsonschema_description:"hum in the gaps of this take"`
	Notes         []string   `json:"notes,omitempty" jsonschema_description:"repairs and doubts while reading"`
	Problem       string     `json:"problem,omitempty" jsonschema_description:"why this take is not used"`
}

// TakeFacts are the capture facts of the measured channel.
type TakeFacts struct {
	PeakDB         float64  `json:"peak_db" jsonschema_description:"dB re full scale"`
	RMSDBFS        *float64 `json:"rms_dbfs" jsonschema_description:"null for digital silence"`
	DCOffsetFS     float64  `json:"dc_offset_fs" jsonschema_description:"fraction of full scale"`
	BitsUsed       int      `json:"bits_used" jsonschema_description:"0 for float data"`
	ClipRuns       int      `json:"clip_runs" jsonschema_description:"runs of 3 or more samples at one extreme value"`
	ClipLevelDB    *float64 `json:"clip_level_db" jsonschema_description:"dB re full scale of the extreme value; well below 0: clipped ahead of the converter"`
	FlatTops       int      `json:"flat_tops" jsonschema_description:"tops of 8 or more samples that are flat within 0.5 %: clipping, noise on it or not"`
	FlatTopDB      *float64 `json:"flat_top_db" jsonschema_description:"their level, dB re full scale"`
	ZeroRuns       int      `json:"zero_runs" jsonschema_description:"stretches of exact digital silence"`
	AbruptZeros    int      `json:"abrupt_zeros" jsonschema_description:"those of them that cut off a live signal"`
	ZeroSeconds    float64  `json:"zero_seconds"`
	LongestZeroS   float64  `json:"longest_zero_s"`
	Steps          int      `json:"steps" jsonschema_description:"clicks and drop-outs"`
	NonFinite      int64    `json:"non_finite" jsonschema_description:"NaN and infinite samples, read as 0"`
	GainRidingDB   *float64 `json:"gain_riding_db" jsonschema_description:"how far the background sinks after loud events; null when not tellable"`
	GainRidingSure bool     `json:"gain_riding_sure"`
	Dead           bool     `json:"dead" jsonschema_description:"the channel carries no signal"`
	OtherChannel   string   `json:"other_channel,omitempty" jsonschema:"enum=dead,enum=identical,enum=inverted,enum=different"`
	OtherChannelDB *float64 `json:"other_channel_db" jsonschema_description:"level of the loudest other channel re this one"`
	FirstClipS     *float64 `json:"first_clip_s"`
	FirstZeroS     *float64 `json:"first_zero_s"`
	FirstStepS     *float64 `json:"first_step_s"`
}

// Contents is what a take sounds like: the evidence that a file is misnamed.
type Contents struct {
	Looks   string  `json:"looks" jsonschema:"enum=tap,enum=pluck,enum=tone,enum=sweep,enum=quiet,enum=unclear"`
	Reason  string  `json:"reason" jsonschema_description:"the evidence in words"`
	PitchHz float64 `json:"pitch_hz" jsonschema_description:"0: none"`
	FallS   float64 `json:"fall_s" jsonschema_description:"how long its events take to fall by 20 dB, in steps of 25 ms; 0: no events"`
}
