package report

import (
	"fmt"
	"strings"

	"github.com/rivo/uniseg"

	"saddlewise/analysis/result"
)

// CheckLine says in one line whether a take can be judged by; ok is false
// when it should be recorded again.
func CheckLine(k result.Take) (line string, ok bool) {
	if k.Problem != "" {
		return "again  " + oneLine(k.Problem), false
	}
	doubts, fatal := captureDoubts(k)
	word := "good   "
	switch {
	case fatal:
		word = "again  "
	case len(doubts) > 0:
		word = "look   "
	}
	words := fmt.Sprintf("%s%s: %s", word, oneLine(k.File), takeWords(k))
	if len(doubts) > 0 {
		words += "; " + strings.Join(doubts, "; ")
	}
	return words, !fatal
}

// checkIndent is where the file's name begins in a line of CheckLine.
const checkIndent = 7

// HangCheckLine breaks a line of CheckLine where a terminal is too narrow for
// it; what follows stands under the file's name.
func HangCheckLine(line string) string {
	if uniseg.StringWidth(line) <= terminalColumns {
		return line
	}
	rest := wrapped(line[checkIndent:], strings.Repeat(" ", checkIndent), terminalColumns-checkIndent)
	return line[:checkIndent] + strings.TrimSpace(rest)
}

func takeWords(k result.Take) string {
	words := fmt.Sprintf("%.1f s", k.DurationS)
	if k.Test != "quiet" {
		words = fmt.Sprintf("%d %s", k.Events, eventWord(k))
		if k.DoubleHits > 0 {
			words += fmt.Sprintf(" and %d double", k.DoubleHits)
		}
	}
	if k.Facts != nil {
		words += fmt.Sprintf(", peak %s dB", plain(k.Facts.PeakDB, 1))
	}
	if k.NoiseDBFS != nil {
		words += fmt.Sprintf(", background %s dBFS", plain(*k.NoiseDBFS, 0))
	}
	if k.Channels > 1 {
		words += fmt.Sprintf(", channel %d of %d", k.Channel, k.Channels)
	}
	return words
}

func eventWord(k result.Take) string {
	word := map[string]string{"tap": "tap", "pluck": "pluck", "tone": "strike"}[k.Test]
	if word == "" {
		word = "event"
	}
	if k.Events != 1 {
		word += "s"
	}
	return word
}

// captureDoubts lists what is odd about the recording itself.
func captureDoubts(k result.Take) (doubts []string, fatal bool) {
	f := k.Facts
	if f == nil {
		return nil, false
	}
	doubt := func(isFatal bool, format string, args ...any) {
		doubts = append(doubts, fmt.Sprintf(format, args...))
		fatal = fatal || isFatal
	}
	if f.ClipRuns > 0 {
		doubt(true, "clipped %d times: turn the gain down", f.ClipRuns)
	}
	if f.ZeroSeconds > 0.05*k.DurationS && f.LongestZeroS > 0.05 {
		doubt(true, "%s s of digital silence: turn the recorder's gate off", plain(f.ZeroSeconds, 1))
	}
	if f.GainRidingSure {
		doubt(true, "gain moves by itself: turn automatic level off")
	}
	if f.Steps > 0 {
		doubt(true, "%d clicks or drop-outs: raise the buffer size", f.Steps)
	}
	if f.NonFinite > 0 {
		doubt(true, "%d samples are not numbers", f.NonFinite)
	}
	if k.Test != "quiet" && f.PeakDB < -40 {
		doubt(false, "quiet: turn the gain up")
	}
	if k.Test == "tap" && k.Events < 6 {
		doubt(false, "six single taps make an interval")
	}
	for _, n := range k.Notes {
		doubt(false, "%s", oneLine(n))
	}
	return doubts, fatal
}
