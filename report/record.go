package report

import (
	"cmp"
	"fmt"
	"strings"

	"saddlewise/analysis/result"
)

// recordTitle heads the last page: what was measured, with what, by what.
const recordTitle = "Settings and recordings"

// writeRecord is the page to keep: settings, limits, recordings with their
// checksums, and the tool's version.
func writeRecord(b *strings.Builder, r *result.Results) {
	fmt.Fprintf(b, "## %s\n\n", recordTitle)
	writeSettings(b, r.Stage)
	writeLimits(b, r.Stage.Limits)
	writeTakes(b, r.Takes)
	fmt.Fprintf(b, "Made by %s; results.json has schema version %d.\n", escape(r.Tool), r.SchemaVersion)
}

func writeSettings(b *strings.Builder, s result.Stage) {
	t := table{head: []string{"setting", "value"}, right: []bool{false, true}}
	add := func(key string, value float64, unit, unset string) {
		words := strings.TrimSpace(trim(value) + " " + unit)
		if value == 0 {
			words = unset
		}
		t.add(key, words)
	}
	add("a4_hz", s.A4Hz, "Hz", "unknown")
	add("discs", float64(s.Pickup.Discs), "", "unknown")
	t.add("wiring", cmp.Or(s.Pickup.Wiring, "unknown"))
	add("disc_nf", s.Pickup.DiscNF, "nF", "unknown")
	add("cable_pf", s.Pickup.CablePF, "pF", "unknown")
	add("input_ohm", s.Pickup.InputOhm, "ohm", "unknown")
	add("channel", float64(s.Capture.Channel), "", "by content")
	add("mains_hz", s.Capture.MainsHz, "Hz", "by content")
	add("full_scale_volts", s.Capture.FullScaleVolts, "V", "unknown")
	add("reference_tone_hz", s.Capture.ReferenceToneHz, "Hz", "unknown")
	b.WriteString(t.String() + "\n")
	if len(s.Pickup.Assumed) > 0 {
		fmt.Fprintf(b, "Assumed, as nothing was given (common practice, no source): %s.\n\n", escape(listWords(s.Pickup.Assumed)))
	}
}

func writeLimits(b *strings.Builder, limits []result.Limit) {
	if len(limits) == 0 {
		return
	}
	b.WriteString("Limits that the findings judge by; common practice, no source, unless given:\n\n")
	t := table{head: []string{"limit", "value", "meaning"}, right: []bool{false, true}}
	for _, l := range limits {
		meaning := l.Meaning
		if l.Given {
			meaning = "given: " + meaning
		}
		t.add(l.Key, strings.TrimSpace(trim(l.Value)+" "+l.Unit), meaning)
	}
	b.WriteString(t.String() + "\n")
}

func writeTakes(b *strings.Builder, takes []result.Take) {
	if len(takes) == 0 {
		return
	}
	t := table{
		head:  []string{"file", "what", "events", "rate Hz", "channel", "length s", "peak dB"},
		right: []bool{false, false, true, true, true, true, true},
	}
	for _, k := range takes {
		t.add(takeCells(k)...)
	}
	b.WriteString(t.String() + "\n")
	writeChecksums(b, takes)
}

func takeCells(k result.Take) []string {
	what := k.Test
	if k.Hand {
		what += ", hand on ground"
	}
	if k.String > 0 {
		what = fmt.Sprintf("%s, string %d", k.Test, k.String)
	}
	if k.Problem != "" {
		return []string{k.File, what, "not used"}
	}
	peak := ""
	if k.Facts != nil {
		peak = plain(k.Facts.PeakDB, 1)
	}
	events := ""
	if k.Test != "quiet" {
		events = fmt.Sprint(k.Events)
	}
	if k.DoubleHits > 0 {
		events += fmt.Sprintf(" + %d double", k.DoubleHits)
	}
	channel := fmt.Sprintf("%d of %d", k.Channel, k.Channels)
	return []string{k.File, what, events, fmt.Sprint(k.RateHz), channel, plain(k.DurationS, 1), peak}
}

// writeChecksums lists SHA-256 sums the way checksum tools read them.
func writeChecksums(b *strings.Builder, takes []result.Take) {
	var lines []string
	for _, k := range takes {
		if k.SHA256 != "" {
			lines = append(lines, k.SHA256+"  "+oneLine(k.File))
		}
	}
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(b, "SHA-256 of the recordings:\n\n```text\n%s\n```\n\n", strings.Join(lines, "\n"))
}
