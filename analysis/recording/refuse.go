package recording

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
)

// compressed names the format tags whose samples are no plain numbers
// (Microsoft's registry of wave format tags; the less common ones from
// memory).
var compressed = map[uint16]string{
	0x0002: "ADPCM", 0x0006: "A-law", 0x0007: "µ-law", 0x0011: "IMA ADPCM",
	0x0031: "GSM 06.10", 0x0050: "MPEG audio", 0x0055: "MP3", 0x00FF: "AAC",
	0x0161: "Windows Media Audio", 0x0162: "Windows Media Audio", 0x1610: "AAC",
	0xF1AC: "FLAC",
}

func errCompressed(name string) error {
	return fmt.Errorf("its samples are compressed (%s inside WAV); record or export it as uncompressed WAV, PCM or float", name)
}

// others are files of other kinds by their first bytes.
var others = []struct{ at0, what string }{
	{"FORM", "an AIFF recording"},
	{"caff", "a CAF recording"},
	{"fLaC", "a FLAC recording"},
	{"OggS", "an Ogg recording"},
	{"riff\x2e\x91\xcf\x11", "a W64 recording"},
	{"ID3", "an MP3 recording"},
	{"wvpk", "a WavPack recording"},
	{".snd", "an AU recording"},
	{"MThd", "a MIDI file"},
	{"#!AMR", "an AMR recording"},
	{"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "a Windows Media recording"},
	{"\x1aE\xdf\xa3", "a Matroska or WebM file"},
	{"PK\x03\x04", "a ZIP archive"},
	{"\x1f\x8b", "a gzip archive"},
	{"%PDF", "a PDF document"},
	{"\x89PNG", "a PNG picture"},
	{"\xff\xd8\xff", "a JPEG picture"},
}

// errNotWAVE says what a file is that is no WAVE recording, by its first
// bytes rather than by its name.
func errNotWAVE(head []byte) error {
	if len(head) == 0 {
		return errors.New("it is empty; record it again")
	}
	for _, o := range others {
		if bytes.HasPrefix(head, []byte(o.at0)) {
			return fmt.Errorf("it is %s, not WAV; convert or export it as uncompressed WAV", o.what)
		}
	}
	switch {
	case len(head) >= 8 && string(head[4:8]) == "ftyp":
		return errors.New("it is an MP4 or M4A recording, not WAV; record or export it as uncompressed WAV")
	case isMPEGFrame(head):
		return errors.New("it is an MP3 or AAC recording, not WAV; record or export it as uncompressed WAV")
	case bytes.HasPrefix([]byte("RIFF"), head[:min(4, len(head))]):
		return errors.New("it breaks off inside its first header; record it again")
	case len(bytes.Trim(head, "\x00")) == 0:
		return errors.New("it begins with nothing but zeros where a WAV header belongs; record it again")
	}
	return errors.New("it has no WAV header; record or export it as WAV")
}

// isMPEGFrame tells whether an MPEG audio or ADTS frame begins here
// (ISO/IEC 11172-3, 2.4.1.3: twelve sync bits; version 2.5 has eleven).
func isMPEGFrame(head []byte) bool {
	return len(head) >= 4 && head[0] == 0xFF && head[1]&0xE0 == 0xE0 && head[1]&0x18 != 0x08 &&
		head[2] != 0xFF && head[2]&0x0C != 0x0C
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
