package recording

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Samples equal, bit for bit, those of general-purpose libraries:
// testdata/vectors.py made them, testdata/vectors/made-with.txt has the
// versions.
func TestDecodesLikeOtherLibraries(t *testing.T) {
	for _, path := range glob(t, "testdata/vectors/*.wav", 37) {
		take, err := Open(path)
		if err != nil {
			t.Error(err)
			continue
		}
		raw, err := os.ReadFile(strings.TrimSuffix(path, ".wav") + ".f64")
		if err != nil {
			t.Fatal(err)
		}
		channels, rateHz := shapeOf(path)
		piped := strings.Contains(path, "piped-") // whose sizes nobody could fill in
		if take.Format.Channels != channels || take.Format.RateHz != rateHz || take.Format.Frames != int64(len(raw)/8/channels) || len(take.Notes) > 0 != piped {
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

var shape = regexp.MustCompile(`(\d+)ch-(\d+)`)

// shapeOf is what a vector's name says of its channels and rate, else the
// usual.
func shapeOf(path string) (channels, rateHz int) {
	if m := shape.FindStringSubmatch(path); m != nil {
		channels, _ = strconv.Atoi(m[1])
		rateHz, _ = strconv.Atoi(m[2])
		return channels, rateHz
	}
	return 2, 48000
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
