package recording

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// Each refusal is one sentence that names the file, says what it is and what
// to do.
func TestRefusals(t *testing.T) {
	data := chunk("data", make([]byte, 64))
	odd := extensible(tagPCM, 1, 48000, 16, 2, 16)
	odd[30] = 1
	of := func(tag uint16, channels, rate, width, align int) []byte {
		return riffOf(chunk("fmt ", fmtBody(tag, channels, rate, width, align)), data)
	}
	pad := strings.Repeat("\x00", 64)
	for _, c := range []struct {
		name string
		file []byte
		says string
	}{
		{"A-law", of(6, 1, 8000, 8, 1), "A-law"},
		{"mu-law", of(7, 1, 8000, 8, 1), "µ-law"},
		{"ADPCM", of(2, 1, 8000, 4, 256), "ADPCM"},
		{"IMA ADPCM", of(0x11, 1, 8000, 4, 256), "IMA ADPCM"},
		{"MP3 in WAV", of(0x55, 2, 44100, 0, 1), "MP3"},
		{"short compressed header", riffOf(chunk("fmt ", fmtBody(7, 1, 8000, 8, 1)[:14]), data), "µ-law"},
		{"A-law extensible", riffOf(chunk("fmt ", extensible(6, 1, 8000, 8, 1, 8)), data), "A-law"},
		{"unknown tag", of(0x1234, 1, 8000, 8, 1), "0x1234"},
		{"unknown sub-format", riffOf(chunk("fmt ", odd), data), "sub-format"},
		{"AIFF", []byte("FORM\x00\x00\x00\x00AIFF" + pad), "AIFF"},
		{"CAF", []byte("caff\x00\x01\x00\x00desc" + pad), "CAF"},
		{"FLAC", []byte("fLaC\x00\x00\x00\x22" + pad), "FLAC"},
		{"Ogg", []byte("OggS\x00\x02" + pad), "Ogg"},
		{"W64", []byte("riff\x2e\x91\xcf\x11" + pad), "W64"},
		{"MP3", []byte("\xff\xfb\x90\x64" + pad), "MP3"},
		{"MP3 with a tag", []byte("ID3\x03\x00" + pad), "MP3"},
		{"M4A", []byte("\x00\x00\x00\x20ftypM4A " + pad), "M4A"},
		{"AVI", []byte("RIFF\x00\x00\x00\x00AVI LIST" + pad), "another kind"},
		{"empty", nil, "empty"},
		{"one byte", []byte("R"), "breaks off"},
		{"cut header", []byte("RIFF\x00\x00"), "breaks off"},
		{"zeros", make([]byte, 1000), "zeros"},
		{"headerless", []byte(strings.Repeat("\x12\x34\x01", 99)), "no WAV header"},
		{"no fmt", riffOf(data), "no fmt chunk"},
		{"no data", riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 48000, 16, 2))), "no samples"},
		{"no samples", riffOf(chunk("fmt ", fmtBody(tagPCM, 1, 48000, 16, 2)), chunk("data", nil)), "no samples"},
		{"short fmt", riffOf(chunk("fmt ", make([]byte, 8)), data), "8 bytes where 16"},
		{"huge fmt", with(of(tagPCM, 1, 48000, 16, 2), 16, 1<<30), "fmt chunk claims"},
		{"no channels", of(tagPCM, 0, 48000, 16, 2), "0 channels"},
		{"65 channels", of(tagPCM, 65, 48000, 16, 130), "65 channels"},
		{"no rate", of(tagPCM, 1, 0, 16, 2), "0 Hz"},
		{"absurd rate", of(tagPCM, 1, 1<<30, 16, 2), "Hz"},
		{"0 bits", of(tagPCM, 1, 48000, 0, 0), "0-bit"},
		{"40 bits", of(tagPCM, 1, 48000, 40, 5), "40-bit"},
		{"half float", of(tagFloat, 1, 48000, 16, 2), "16-bit float"},
		{"contradiction", of(tagPCM, 2, 48000, 16, 2), "contradicts"},
		{"too many valid bits", riffOf(chunk("fmt ", extensible(tagPCM, 1, 48000, 16, 2, 17)), data), "17 valid"},
	} {
		_, err := Read(bytes.NewReader(c.file), int64(len(c.file)), "tap-3.wav")
		checkSentence(t, c.name, err, "tap-3.wav", c.says)
	}
}

func checkSentence(t *testing.T, name string, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Errorf("%s: no error", name)
		return
	}
	for _, p := range parts {
		if !strings.Contains(err.Error(), p) {
			t.Errorf("%s: %q does not say %q", name, err, p)
		}
	}
	if strings.ContainsAny(err.Error(), "\n\x00") {
		t.Errorf("%s: %q is not one line", name, err)
	}
}

func TestPathsThatAreNoRecordings(t *testing.T) {
	dir := t.TempDir()
	path := func(name string) string { return filepath.Join(dir, name) }
	must := func(err error) {
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.Mkdir(path("folder.wav"), 0o755))
	must(os.WriteFile(path("named.wav"), []byte("fLaC\x00\x00\x00\x22 not what its name says"), 0o644))
	for name, says := range map[string]string{"folder.wav": "folder", "named.wav": "FLAC", "gone.wav": "not there"} {
		_, err := Open(path(name))
		checkSentence(t, name, err, name, says)
	}
	if runtime.GOOS != "windows" {
		must(os.Symlink(path("nowhere"), path("link.wav")))
		_, err := Open(path("link.wav"))
		checkSentence(t, "broken link", err, "link.wav", "link")
		must(os.WriteFile(path("locked.wav"), nil, 0))
		if os.Geteuid() != 0 {
			_, err := Open(path("locked.wav"))
			checkSentence(t, "unreadable", err, "locked.wav", "permission")
		}
	}
}

// failing reads up to a byte and then fails, as a disk does.
type failing struct {
	r    io.ReaderAt
	from int64
}

var errDisk = errors.New("input/output error")

func (f failing) ReadAt(p []byte, at int64) (int, error) {
	if at+int64(len(p)) > f.from {
		return 0, errDisk
	}
	return f.r.ReadAt(p, at)
}

// A file that shrinks or fails while it is read is an error, never silence.
func TestFilesThatFailWhileRead(t *testing.T) {
	file := file16(48000, 1, make([]float64, 96000))
	path := filepath.Join(t.TempDir(), "tap-1.wav")
	if err := os.WriteFile(path, file, 0o644); err != nil {
		t.Fatal(err)
	}
	take, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer take.Close()
	if err := os.Truncate(path, int64(len(file)/2)); err != nil {
		t.Fatal(err)
	}
	_, err = take.Inspect(t.Context())
	checkSentence(t, "cut while read", err, "tap-1.wav", "cannot be read")

	_, err = take.SHA256(t.Context())
	checkSentence(t, "cut while hashed", err, "tap-1.wav", "cannot be read")
	_, err = take.Channel(0).ReadAt(make([]float64, 96000), 0)
	checkSentence(t, "cut while its samples are read", err, "tap-1.wav", "cannot be read")

	for _, from := range []int64{0, 12, 20, 40, 1000} {
		take, err := Read(failing{bytes.NewReader(file), from}, int64(len(file)), "tap-1.wav")
		if err == nil {
			_, err = take.Inspect(t.Context())
		}
		checkSentence(t, "failing disk", err, "tap-1.wav")
		if !errors.Is(err, errDisk) {
			t.Errorf("failing from byte %d: %v does not wrap the cause", from, err)
		}
	}
}
