package signal

import (
	"math"
	"strconv"
	"testing"

	"saddlewise/fixtures/accuracy"
)

// Harris, Proc. IEEE 66, 51-83, 1978, table I; Heinzel, Rüdiger & Schilling
// 2002. The computed columns bind to their printed digits, Harris's to his
// rounding.
func TestWindowsEqualTables(t *testing.T) {
	const n = 4096
	windows := map[string]Window{
		"rectangular": Rectangular(n), "hann": Hann(n), "hamming": Hamming(n), "blackman": Blackman(n),
		"blackman_harris_4term": BlackmanHarris(n), "flattop_5term_0p2156": FlatTop(n),
	}
	checked := 0
	var off []float64
	for _, row := range rowsOf(t, "windows.csv") {
		w, ok := windows[row["window"]]
		if !ok {
			continue
		}
		checked++
		near(t, w.Name+" coherent gain", w.CoherentGain, number(t, row, "coherent_gain"), 1e-6)
		near(t, w.Name+" noise bandwidth", w.NoiseBandwidthBins(), number(t, row, "enbw_bins"), 1e-6)
		near(t, w.Name+" scalloping", w.ScallopingDB(), number(t, row, "scalloping_loss_db"), 2e-5)
		off = append(off, w.CoherentGain-number(t, row, "coherent_gain"), w.NoiseBandwidthBins()-number(t, row, "enbw_bins"),
			w.ScallopingDB()-number(t, row, "scalloping_loss_db"))
		if row["harris_enbw"] == "" {
			continue
		}
		near(t, w.Name+" Harris gain", w.CoherentGain, number(t, row, "harris_coherent_gain"), 0.005)
		near(t, w.Name+" Harris bandwidth", w.NoiseBandwidthBins(), number(t, row, "harris_enbw"), 0.005)
		// Harris prints 1.78 dB for Hamming, whose 0.54/0.46 gives 1.75.
		tolerance := 0.005
		if row["window"] == "hamming" {
			tolerance = 0.03
		}
		near(t, w.Name+" Harris scalloping", w.ScallopingDB(), number(t, row, "harris_scalloping_db"), tolerance)
	}
	if checked != len(windows) {
		t.Errorf("%d of %d windows found in the table", checked, len(windows))
	}
	accuracy.Report(t, accuracy.Row{Measure: "windows", Range: "coherent gain, noise bandwidth, scalloping of six windows",
		Unit: "bins or dB", Bound: "2e-5; Harris's printed digits", Source: "Harris 1978, table I; Heinzel 2002"}, off)
}

func TestWindowsArePeriodic(t *testing.T) {
	for _, n := range []int{1, 2, 7, 64, 125} {
		for _, w := range []Window{Hann(n), Hamming(n), Blackman(n), BlackmanHarris(n), FlatTop(n)} {
			for i := 1; i < n; i++ {
				near(t, w.Name+" mirror", w.Coefficients[i], w.Coefficients[n-i], 1e-12)
			}
		}
	}
}

// IEC 61672-1:2013, table 3 and annex E: the table to its 0.1 dB and, at all
// frequencies, well inside the class 1 acceptance limits.
func TestWeightingsEqualIEC61672(t *testing.T) {
	var off []float64
	for _, row := range rowsOf(t, "weighting_iec61672.csv") {
		hz := number(t, row, "exact_hz")
		for _, c := range []struct {
			name  string
			got   float64
			table string
			exact string
		}{{"A", AWeightingDB(hz), "a_db", "a_formula_db"}, {"C", CWeightingDB(hz), "c_db", "c_formula_db"}} {
			name := c.name + " at " + row["nominal_hz"]
			near(t, name+" (formula)", c.got, number(t, row, c.exact), 1e-3) // exact_hz is printed to 1e-4 Hz
			near(t, name+" (table)", math.Round(c.got*10)/10, number(t, row, c.table), 1e-9)
			away := c.got - number(t, row, c.table)
			off = append(off, away)
			if away > number(t, row, "class1_2013_upper_db")/2 || away < number(t, row, "class1_2013_lower_db")/2 {
				t.Errorf("%s: %+.2f dB from the design goal uses up the class 1 limits", name, away)
			}
		}
	}
	accuracy.Report(t, accuracy.Row{Measure: "frequency weightings A and C", Range: "10 Hz-20 kHz", Unit: "dB",
		Bound: "0.05 dB, the table's rounding", Source: "IEC 61672-1:2013, table 3"}, off)
	near(t, "A at 1 kHz", AWeightingDB(1000), 0, 1e-12)
}

// IEC 61260-1:2014, equations 2 to 5.
func TestBandsEqualIEC61260(t *testing.T) {
	for _, c := range []struct {
		name     string
		fraction int
	}{{"octave", 1}, {"third_octave", 3}, {"sixth_octave", 6}} {
		rows := rowsOf(t, "bands_"+c.name+"_iec61260.csv")
		first, last := number(t, rows[0], "exact_hz"), number(t, rows[len(rows)-1], "exact_hz")
		bands := FractionalOctaves(c.fraction, first*0.999, last*1.001)
		if len(bands) != len(rows) {
			t.Fatalf("%s: %d bands, want %d", c.name, len(bands), len(rows))
		}
		for i, row := range rows {
			near(t, c.name+" midband", bands[i].MidHz/number(t, row, "exact_hz"), 1, 2e-9)
			near(t, c.name+" lower", bands[i].LowHz/number(t, row, "lower_hz"), 1, 2e-9)
			near(t, c.name+" upper", bands[i].HighHz/number(t, row, "upper_hz"), 1, 2e-9)
		}
	}
}

func TestTwelfthOctavesTile(t *testing.T) {
	bands := FractionalOctaves(12, 20, 20000)
	if n := len(bands); n < 118 || n > 121 { // ten decades' thirds, 12 to the octave
		t.Errorf("%d bands from 20 Hz to 20 kHz", n)
	}
	for i := 1; i < len(bands); i++ {
		near(t, "edge", bands[i].LowHz/bands[i-1].HighHz, 1, 1e-12)
	}
	for _, empty := range [][2]float64{{100, 50}, {0, 100}, {math.NaN(), 100}, {20, math.Inf(1)}} {
		if got := FractionalOctaves(3, empty[0], empty[1]); got != nil {
			t.Errorf("%v: %d bands, want none", empty, len(got))
		}
	}
}

// ISO 16:1975 and equal temperament, all 108 notes.
func TestNotesEqualTable(t *testing.T) {
	for _, row := range rowsOf(t, "equal_temperament_a440.csv") {
		n, err := ParseNote(row["note"])
		if err != nil {
			t.Fatal(err)
		}
		hz := number(t, row, "frequency_hz")
		near(t, row["note"], n.Hz(440)/hz, 1, 1e-10)
		near(t, row["note"]+" printed", n.Hz(440), number(t, row, "published_hz"), 0.5*printed(row["published_hz"])+1e-9)
		if strconv.Itoa(n.MIDI) != row["midi"] {
			t.Errorf("%s: key %d, want %s", row["note"], n.MIDI, row["midi"])
		}
		for _, cents := range []float64{-49, 0, 31} {
			got, off := NearestNote(hz*math.Pow(2, cents/1200), 440)
			if got.MIDI != n.MIDI {
				t.Errorf("%s %+g cents: nearest is %s", row["note"], cents, got.Name)
			}
			near(t, "cents", off, cents, 1e-6)
		}
	}
}

// printed is the place of the last digit.
func printed(s string) float64 {
	for i := range s {
		if s[i] == '.' {
			return math.Pow(10, -float64(len(s)-i-1))
		}
	}
	return 1
}

func TestParseNote(t *testing.T) {
	for _, c := range []struct {
		name string
		midi int
	}{
		{"A4", 69}, {"a4", 69}, {" A3 ", 57}, {"C4", 60}, {"C-1", 0}, {"F#2", 42}, {"F♯2", 42}, {"Gb2", 42},
		{"E♭4", 63}, {"Cb4", 59}, {"B#3", 60}, {"F##3", 55}, {"Bbb3", 57}, {"b3", 59}, {"bb3", 58},
	} {
		n, err := ParseNote(c.name)
		if err != nil || n.MIDI != c.midi {
			t.Errorf("%q: got %d, %v; want %d", c.name, n.MIDI, err, c.midi)
		}
		again, err := ParseNote(n.Name)
		if err != nil || again != n {
			t.Errorf("%q reads back as %v, %v", n.Name, again, err)
		}
	}
	for _, bad := range []string{"", "H3", "A", "3", "A33", "A#b3", "A 3", "A3x", "♭3", "A--1", "A3\x00"} {
		if n, err := ParseNote(bad); err == nil {
			t.Errorf("%q reads as %v", bad, n)
		}
	}
	for _, hz := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if n, cents := NearestNote(hz, 440); n != (Note{}) || !math.IsNaN(cents) {
			t.Errorf("%g Hz is called %s", hz, n.Name)
		}
	}
}

func FuzzParseNote(f *testing.F) {
	for _, s := range []string{"A4", "E♭4", "F##-1", "bb3", "H", "A𝄪4"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		n, err := ParseNote(s)
		if err != nil {
			return
		}
		again, err := ParseNote(n.Name)
		if err != nil || again != n {
			t.Errorf("%q: %v reads back as %v, %v", s, n, again, err)
		}
		if near, cents := NearestNote(n.Hz(440), 440); near.MIDI != n.MIDI || math.Abs(cents) > 1e-6 {
			t.Errorf("%q: nearest to its own frequency is %v%+g", s, near, cents)
		}
	})
}

// AES17: a full-scale sine reads 0 dBFS.
func TestLevelsEqualAES17(t *testing.T) {
	const n = 48000
	wave := func(f func(phase float64) float64) float64 {
		sum := 0.0
		for i := range n {
			v := f((float64(i) + 0.5) / n)
			sum += v * v / n
		}
		return PowerToDBFS(sum)
	}
	sine := func(p float64) float64 { return math.Sin(2 * math.Pi * p) }
	for _, c := range []struct {
		name string
		got  float64
		want float64 // closed form, 20 log10(rms sqrt 2)
	}{
		{"sine", wave(sine), 0},
		{"square", wave(func(p float64) float64 { return math.Copysign(1, p-0.5) }), 3.0103},
		{"sawtooth", wave(func(p float64) float64 { return 2*p - 1 }), -1.7609126},
		{"half-wave rectified sine", wave(func(p float64) float64 { return math.Max(0, sine(p)) }), -3.0103},
		{"half-scale sine", wave(func(p float64) float64 { return sine(p) / 2 }), -6.0205999},
	} {
		near(t, c.name, c.got, c.want, 1e-5)
	}
	for _, power := range []float64{0, -1e-12, math.Inf(-1)} {
		near(t, "silence", PowerToDBFS(power), SilenceDB, 0)
	}
	if !math.IsNaN(PowerToDBFS(math.NaN())) || !math.IsInf(PowerToDB(math.Inf(1)), 1) {
		t.Error("NaN or infinite power lost")
	}
	for _, db := range []float64{-120, -3, 0, 6.02} {
		near(t, "there and back", AmplitudeToDB(DBToAmplitude(db)), db, 1e-9)
		near(t, "there and back", PowerToDB(DBToPower(db)), db, 1e-9)
		near(t, "there and back", PowerToDBFS(DBFSToPower(db)), db, 1e-9)
	}
	// A mean a million times the scatter must not swallow it.
	near(t, "scatter on an offset", MeanSquare([]float64{0.5 - 1e-7, 0.5 + 1e-7, 0.5 - 1e-7, 0.5 + 1e-7})*1e14, 1, 1e-6)
}
