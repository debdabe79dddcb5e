package result

import "saddlewise/analysis/stats"

// String is one string and the disc under its saddle.
type String struct {
	Number   int      `json:"number"`
	Note     string   `json:"note,omitempty" jsonschema_description:"target note, when known"`
	TargetHz *float64 `json:"target_hz" jsonschema_description:"null when no tuning is known"`
	Tap      *Tap     `json:"tap" jsonschema_description:"null: not recorded"`
	Pluck    *Pluck   `json:"pluck" jsonschema_description:"null: not recorded"`
	Tone     *Tone    `json:"tone" jsonschema_description:"null: not recorded"`
}

// Tap is what taps on one saddle tell.
type Tap struct {
	Takes       []int        `json:"takes" jsonschema_description:"indexes into takes"`
	Events      []TapEvent   `json:"events"`
	DoubleHits  int          `json:"double_hits" jsonschema_description:"left out of level and response"`
	LevelDBFS   Quantity     `json:"level_dbfs" jsonschema_description:"RMS over the 50 ms from onset, noise subtracted"`
	PeakDB      Quantity     `json:"peak_db" jsonschema_description:"sample peak re full scale"`
	BalanceDB   Quantity     `json:"balance_db" jsonschema_description:"median level less the mean of all strings' medians"`
	SNRDB       Quantity     `json:"snr_db" jsonschema_description:"level less the noise floor of the quiet take, else of the gaps"`
	ContactMS   Quantity     `json:"contact_ms" jsonschema_description:"rise from first motion to first extreme"`
	Polarity    Polarity     `json:"polarity"`
	Waveform    *Waveform    `json:"waveform" jsonschema_description:"around first motion, all single hits"`
	Response    *TapResponse `json:"response"`
	ThroughBody bool         `json:"through_body" jsonschema_description:"late, weak and dull: the tap is heard through the bridge, not by its own disc"`
}

// TapEvent is one tap.
type TapEvent struct {
	Take            int      `json:"take"`
	Event           int      `json:"event"`
	OnsetS          float64  `json:"onset_s" jsonschema_description:"from the start of the take"`
	Sign            int      `json:"sign" jsonschema:"enum=-1,enum=0,enum=1" jsonschema_description:"of first motion; 0 cannot tell"`
	Direct          bool     `json:"direct" jsonschema_description:"false: late, weak, dull, as heard through the bridge"`
	DoubleHit       bool     `json:"double_hit"`
	SecondContactMS *float64 `json:"second_contact_ms"`
}

// Polarity is the sign of first motion, voted by the taps of one string.
type Polarity struct {
	Up        int     `json:"up"`
	Down      int     `json:"down"`
	Undecided int     `json:"undecided"`
	Sign      int     `json:"sign" jsonschema:"enum=-1,enum=0,enum=1" jsonschema_description:"by vote; 0 cannot tell"`
	Relative  string  `json:"relative" jsonschema:"enum=same,enum=reversed,enum=group A,enum=group B,enum=cannot tell" jsonschema_description:"against the majority of strings; groups when they tie"`
	P         float64 `json:"p" jsonschema_description:"exact two-sided sign test of the vote"`
	Reason    string  `json:"reason,omitempty"`
}

// Waveform is the median of several events' samples aligned at onset, with
// the range that holds the middle half of them.
type Waveform struct {
	StartMS float64   `json:"start_ms" jsonschema_description:"time of the first point from onset"`
	StepMS  float64   `json:"step_ms"`
	Median  []float64 `json:"median" jsonschema_description:"fraction of full scale"`
	Low     []float64 `json:"low" jsonschema_description:"lower quartile"`
	High    []float64 `json:"high" jsonschema_description:"upper quartile"`
	N       int       `json:"n"`
}

// TapResponse is band energies of taps, each normalised to its own energy
// from 200 Hz to 2 kHz. It is the pickup's response times the tap's own
// spectrum: fit for comparison, not absolute.
type TapResponse struct {
	BandsPerOctave  int        `json:"bands_per_octave"`
	Bands           []Band     `json:"bands"`
	AgreementDB     *float64   `json:"agreement_db" jsonschema_description:"median over bands of the spread (standard deviation) between taps"`
	LowDB           Quantity   `json:"low_db"`
	MidDB           Quantity   `json:"mid_db"`
	HighDB          Quantity   `json:"high_db"`
	LowRangeHz      [2]float64 `json:"low_range_hz"`
	MidRangeHz      [2]float64 `json:"mid_range_hz"`
	HighRangeHz     [2]float64 `json:"high_range_hz"`
	AgainstMedianDB []Band     `json:"against_median_db" jsonschema_description:"this string less the median of all strings"`
}

// Band is one fractional-octave band (IEC 61260-1, base ten).
type Band struct {
	MidHz    float64         `json:"mid_hz"`
	LevelDB  float64         `json:"level_db"`
	N        int             `json:"n"`
	Interval *stats.Interval `json:"interval"`
	Masked   bool            `json:"masked" jsonschema_description:"noise is within 10 dB"`
}

// RattleFloorDB is the least Pluck.RattleDB: it stands for anything below.
const RattleFloorDB = -90.0

// Pluck is what an open string, plucked and left to ring, tells.
type Pluck struct {
	Takes         []int        `json:"takes"`
	Events        []PluckEvent `json:"events"`
	LevelDBFS     Quantity     `json:"level_dbfs" jsonschema_description:"RMS over 500 ms from 20 ms after onset, noise subtracted"`
	PeakDB        Quantity     `json:"peak_db"`
	BalanceDB     Quantity     `json:"balance_db"`
	SNRDB         Quantity     `json:"snr_db"`
	F1Hz          Quantity     `json:"f1_hz" jsonschema_description:"lowest string mode, from a joint fit of the partials"`
	Cents         Quantity     `json:"cents" jsonschema_description:"off target"`
	TargetHz      *float64     `json:"target_hz"`
	TargetNote    string       `json:"target_note"`
	TargetGiven   bool         `json:"target_given" jsonschema_description:"false: nearest equal-tempered note"`
	Inharmonicity Quantity     `json:"inharmonicity_b" jsonschema_description:"B in f_n = n f0 sqrt(1 + B n^2)"`
	GlideCents    Quantity     `json:"glide_cents" jsonschema_description:"attack against settled pitch"`
	T60S          Quantity     `json:"t60_s" jsonschema_description:"fundamental, from -5 to -25 dB, times three"`
	LateT60S      Quantity     `json:"late_t60_s"`
	KneeS         Quantity     `json:"knee_s"`
	BroadbandT60S Quantity     `json:"broadband_t60_s"`
	BeatHz        Quantity     `json:"beat_hz"`
	T60RangeS     *[2]float64  `json:"t60_range_s" jsonschema_description:"what the decay supports where polarisations beat or stages are too ill seen for one number"`
	Spectrum      *Spectrum    `json:"spectrum"`
	Decay         *DecayCurve  `json:"decay"`
	RattleDB      Quantity     `json:"rattle_db" jsonschema_description:"energy between the partials, 2 to 8 kHz, re the whole note, early part; -90 stands for anything below"`
}

// PluckEvent is one pluck.
type PluckEvent struct {
	Take        int             `json:"take"`
	Event       int             `json:"event"`
	OnsetS      float64         `json:"onset_s"`
	Sign        int             `json:"sign"`
	PitchNote   string          `json:"pitch_note,omitempty" jsonschema_description:"why pitch cannot be told"`
	DecayNote   string          `json:"decay_note,omitempty" jsonschema_description:"why sustain cannot be told"`
	F1SDHz      float64         `json:"f1_sd_hz" jsonschema_description:"standard error of this event's fit; 0: none"`
	T60Interval *stats.Interval `json:"t60_interval" jsonschema_description:"seconds, of this event's fit; null: no T60"`
	RangeDB     float64         `json:"range_db" jsonschema_description:"usable decay above noise"`
	SecondsOut  float64         `json:"seconds" jsonschema_description:"from onset to the end of the note"`
}

// Spectrum is a plucked spectrum thinned for drawing, with its partials.
type Spectrum struct {
	Hz       []float64 `json:"hz"`
	LevelDB  []float64 `json:"level_db" jsonschema_description:"re the strongest partial"`
	Partials []Partial `json:"partials"`
	Take     int       `json:"take"`
	Event    int       `json:"event"`
}

// Partial is one measured partial.
type Partial struct {
	N             int     `json:"n"`
	Hz            float64 `json:"hz"`
	LevelDB       float64 `json:"level_db" jsonschema_description:"re the strongest partial"`
	ResidualCents float64 `json:"residual_cents" jsonschema_description:"measured less fitted"`
	Used          bool    `json:"used" jsonschema_description:"in the joint fit"`
}

// DecayCurve is one note's envelope with its fit.
type DecayCurve struct {
	TimeS    []float64 `json:"time_s"`
	LevelDB  []float64 `json:"level_db" jsonschema_description:"re the envelope's start"`
	FitTimeS []float64 `json:"fit_time_s"`
	FitDB    []float64 `json:"fit_db"`
	FitRMSDB *float64  `json:"fit_rms_db"`
	NoiseDB  *float64  `json:"noise_db" jsonschema_description:"noise in the same band, re the envelope's start"`
	Take     int       `json:"take"`
	Event    int       `json:"event"`
	FitFromS float64   `json:"fit_from_s"`
	FitToS   float64   `json:"fit_to_s"`
}

// Tone is what a reference tone at one saddle tells.
type Tone struct {
	Takes     []int      `json:"takes"`
	NominalHz *float64   `json:"nominal_hz"`
	Hz        Quantity   `json:"hz"`
	OffsetPPM Quantity   `json:"offset_ppm" jsonschema_description:"tone and sample clock together, against nominal"`
	Cents     Quantity   `json:"cents"`
	LevelDBFS Quantity   `json:"level_dbfs" jsonschema_description:"RMS of the steady part"`
	BalanceDB Quantity   `json:"balance_db"`
	T60S      Quantity   `json:"t60_s"`
	THDDB     Quantity   `json:"thd_db" jsonschema_description:"harmonics 2 to 10 re the fundamental"`
	THDNDB    Quantity   `json:"thdn_db" jsonschema_description:"all but fundamental and clang mode, re the total"`
	ClangHz   *float64   `json:"clang_hz"`
	ClangDB   *float64   `json:"clang_db" jsonschema_description:"re the fundamental"`
	Harmonics []Harmonic `json:"harmonics"`
}

// Harmonic is one harmonic of a tone.
type Harmonic struct {
	Order   int     `json:"order"`
	Hz      float64 `json:"hz"`
	LevelDB float64 `json:"level_db" jsonschema_description:"re the fundamental"`
	Masked  bool    `json:"masked" jsonschema_description:"within 10 dB of noise: an upper bound"`
}
