package report

import (
	"bytes"
	"image/png"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"

	"saddlewise/analysis/result"
)

// broken has curves that no measure should give: empty, all NaN, of unequal
// lengths, at 0 Hz, infinite.
func broken() map[string]*result.Results {
	nan, inf := math.NaN(), math.Inf(1)
	list := map[string]*result.Results{}
	for name, v := range map[string][]float64{"NaN": {nan, nan, nan}, "infinite": {inf, -inf, inf}, "zero": {0, 0, 0}, "empty": {}, "short": {1}} {
		r := sample(3)
		for i := range r.Strings {
			s := &r.Strings[i]
			s.Pluck.Spectrum.Hz, s.Pluck.Spectrum.LevelDB = v, v
			s.Pluck.Spectrum.Partials[0].Hz, s.Pluck.Spectrum.Partials[1].LevelDB = 0, nan
			s.Pluck.Decay.LevelDB, s.Pluck.Decay.FitDB = v, v
			s.Tap.Waveform.Median, s.Tap.Waveform.Low, s.Tap.Waveform.High = v, v, v
			for k := range s.Tap.Response.Bands {
				s.Tap.Response.Bands[k].LevelDB, s.Tap.Response.Bands[k].MidHz = nan, 0
			}
			s.Tap.BalanceDB.Estimate.Median = nan
		}
		r.Quiet[0].PSD.Hz, r.Quiet[0].PSD.DBFSPerHz = v, v
		list[name] = r
	}
	cut := sample(2)
	cut.Strings[0].Tap.Waveform.Low = cut.Strings[0].Tap.Waveform.Low[:3]
	cut.Strings[0].Pluck.Spectrum.LevelDB = cut.Strings[0].Pluck.Spectrum.LevelDB[:3]
	cut.Strings[0].Pluck.Decay.LevelDB = cut.Strings[0].Pluck.Decay.LevelDB[:3]
	cut.Quiet[0].PSD.DBFSPerHz = cut.Quiet[0].PSD.DBFSPerHz[:3]
	list["unequal"] = cut
	return list
}

func TestFiguresNeverPanic(t *testing.T) {
	for name, figures := range everyFigure() {
		for _, f := range figures {
			if data, err := f.svg(); err != nil || len(data) == 0 {
				t.Errorf("%s, %s: %v", name, f.name, err)
			}
			if f.caption == "" || !strings.HasSuffix(f.caption, ".") || strings.Contains(f.caption, "NaN") {
				t.Errorf("%s, %s: caption %q", name, f.name, f.caption)
			}
			if f.height > 1300 {
				t.Errorf("%s, %s is %v points high: more than a page", name, f.name, f.height)
			}
		}
	}
}

func TestFigureIsSharp(t *testing.T) {
	data, err := figuresOf(sample(1))[0].png(onPage)
	if err != nil {
		t.Fatal(err)
	}
	c, err := png.DecodeConfig(bytes.NewReader(data))
	if err != nil || c.Width != 1400 {
		t.Errorf("width %d (%v), want 1400: twice 700", c.Width, err)
	}
}

func TestMissingTestsHaveNoFigure(t *testing.T) {
	for name, want := range map[string]string{
		"empty": "", "silence only": "noise", "taps only": "balance taps response", "plucks only": "balance spectrum decay",
	} {
		var got []string
		for _, f := range figuresOf(cases()[name]) {
			got = append(got, f.name)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: figures %q, want %q", name, got, want)
		}
	}
}

func TestCaptionsSpeakOfTheData(t *testing.T) {
	r := sample(4)
	for _, f := range figuresOf(r) {
		if f.name == "taps" && f.caption != "String 2 B3 moves the other way first." {
			t.Errorf("caption %q misses the reversed string", f.caption)
		}
	}
}

func TestLabelsKeepApart(t *testing.T) {
	at := []vg.Length{50, 50, 50, 10, 99, 100}
	got := spreadOut(at, 10, 100)
	for i := range got {
		for j := range i {
			if math.Abs(float64(got[i]-got[j])) < 10-1e-9 {
				t.Errorf("labels %d and %d are %v apart", i, j, got[i]-got[j])
			}
		}
		if got[i] > 100 {
			t.Errorf("label %d at %v is above the panel", i, got[i])
		}
	}
	if got[3] != 10 {
		t.Errorf("a label with room moved to %v", got[3])
	}
}

// TestWordsStandOut: words on paper reach the contrast of WCAG 2.2 level AA,
// criterion 1.4.3: 4.5 to 1.
func TestWordsStandOut(t *testing.T) {
	for _, ink := range []struct {
		name string
		of   float64
	}{{"text", luminance(inkText)}, {"quiet", luminance(inkQuiet)}, {"alarm", luminance(inkAlarm)}} {
		if ratio := 1.05 / (ink.of + 0.05); ratio < 4.5 {
			t.Errorf("%s ink has contrast %.2f", ink.name, ratio)
		}
	}
}
