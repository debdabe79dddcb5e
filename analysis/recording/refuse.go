package recording

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
)

// errNotWAVE says what a file is that is no WAVE recording, by its first
// bytes rather than by its name.
func errNotWAVE(head []byte, size int64) error {
	if size == 0 {
		return errors.New("it is empty; record it again")
	}
	if what := knownAs(head); what != "" {
		return fmt.Errorf("it is %s, not WAV; export it as uncompressed WAV", what)
	}
	return errors.New("it is not a WAV recording; record or export it as WAV")
}

func knownAs(head []byte) string {
	starts := func(s string) bool { return bytes.HasPrefix(head, []byte(s)) }
	switch {
	case starts("RIFX"):
		return "a big-endian RIFX file"
	case starts("FORM"):
		return "an AIFF recording"
	case starts("caff"):
		return "a CAF recording"
	case starts("fLaC"):
		return "a FLAC recording"
	case starts("OggS"):
		return "an Ogg recording"
	case starts("riff"):
		return "a W64 recording"
	case starts("ID3"), len(head) > 1 && head[0] == 0xff && head[1]&0xe0 == 0xe0:
		return "an MP3 recording"
	case len(head) >= 8 && string(head[4:8]) == "ftyp":
		return "an MP4 or M4A recording"
	case starts("RIFF"):
		return "a RIFF file cut short"
	}
	return ""
}

// printable makes bytes fit for a message.
func printable(b []byte) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, string(b))
}
