package recording

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Samples equal, bit for bit, those of general-purpose libraries:
// testdata/vectors.py made them, testdata/vectors/made-with.txt has the
// versions.
func TestDecodesLikeOtherLibraries(t *testing.T) {
	files := glob(t, "testdata/vectors/*.wav", 27)
	for _, path := range files {
		take, err := Open(path)
		if err != nil {
			t.Error(err)
			continue
		}
		raw, err := os.ReadFile(strings.TrimSuffix(path, ".wav") + ".f64")
		if err != nil {
			t.Fatal(err)
		}
		channels := take.Format.Channels
		if channels != 2 || take.Format.RateHz != 48000 || take.Format.Frames != int64(len(raw)/8/channels) || len(take.Notes) > 0 {
			t.Errorf("%s: read as %+v with notes %q", path, take.Format, take.Notes)
			continue
		}
		for k := range channels {
			for i, got := range samples(t, take, k) {
				want := math.Float64frombits(binary.LittleEndian.Uint64(raw[8*(i*channels+k):]))
				if got != want {
					t.Errorf("%s, channel %d, sample %d: got %v, want %v", path, k, i, got, want)
				}
			}
		}
		if err := take.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestRefusesOtherLibrariesFiles(t *testing.T) {
	for _, path := range glob(t, "testdata/vectors/refused-*.bin", 12) {
		head, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		kind := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(path), "refused-"), ".bin")
		says := map[string]string{"mu-law": "µ-law", "a-law": "A-law", "ima-adpcm": "IMA ADPCM", "ogg": "Ogg"}[kind]
		if says == "" {
			says = strings.ToUpper(kind)
		}
		_, err = Read(bytes.NewReader(head), int64(len(head)), "tap-1.wav")
		checkSentence(t, kind, err, "tap-1.wav", says, "uncompressed WAV")
	}
}

// glob finds files and fails when some are missing: an empty list would pass.
func glob(t testing.TB, pattern string, least int) []string {
	t.Helper()
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) < least {
		t.Fatalf("%s: %d files, want %d (%v)", pattern, len(files), least, err)
	}
	return files
}
