package result

// Quiet is the noise floor recorded one way: nothing touched, or a hand on
// the ground.
type Quiet struct {
	Label          string   `json:"label" jsonschema_description:"quiet, quiet with hand, or gaps between events"`
	Hand           bool     `json:"hand"`
	Takes          []int    `json:"takes"`
	FloorDBFS      Quantity `json:"floor_dbfs" jsonschema_description:"20 Hz to 20 kHz"`
	FloorADBFS     Quantity `json:"floor_a_dbfs" jsonschema_description:"A-weighted, IEC 61672-1"`
	WithoutHumDBFS Quantity `json:"without_hum_dbfs"`
	UpperHz        float64  `json:"upper_hz" jsonschema_description:"20 kHz, or as far as the rate reaches"`
	ExcludedShare  float64  `json:"excluded_share" jsonschema_description:"share of the take left out because something was touched"`
	ThirdOctaves   []Band   `json:"third_octaves" jsonschema_description:"dBFS in each band"`
	PSD            PSD      `json:"psd"`
	Hum            *Hum     `json:"hum" jsonschema_description:"null: no hum stands out, or hum_untold"`
	HumUntold      bool     `json:"hum_untold,omitempty" jsonschema_description:"no hum was found, but the take is too short to tell that there is none"`
	OtherLines     []Line   `json:"other_lines"`
}

// PSD is a power spectral density thinned for drawing.
type PSD struct {
	Hz        []float64 `json:"hz"`
	DBFSPerHz []float64 `json:"dbfs_per_hz"`
}

// Hum is what the mains puts in.
type Hum struct {
	MainsHz          float64  `json:"mains_hz" jsonschema_description:"as found"`
	MainsPlusMinusHz float64  `json:"mains_plus_minus_hz,omitempty" jsonschema_description:"standard error of mains_hz; 0 or missing: not known"`
	MainsNominal     int      `json:"mains_nominal_hz" jsonschema:"enum=50,enum=60"`
	Certain          bool     `json:"certain" jsonschema_description:"a line stands 6 dB out of the noise"`
	TotalDBFS        float64  `json:"total_dbfs"`
	OddDBFS          *float64 `json:"odd_dbfs"`
	EvenDBFS         *float64 `json:"even_dbfs"`
	Lines            []Line   `json:"lines"`
}

// Line is one spectral line.
type Line struct {
	Order        int     `json:"order" jsonschema_description:"harmonic of the mains; 0: none"`
	Hz           float64 `json:"hz"`
	LevelDBFS    float64 `json:"level_dbfs"`
	AboveFloorDB float64 `json:"above_floor_db"`
	PlusMinusDB  float64 `json:"plus_minus_db,omitempty" jsonschema_description:"standard error of the level; 0 or missing: not known"`
}
