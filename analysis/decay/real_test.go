package decay

import (
	"math"
	"testing"

	"saddlewise/fixtures/accuracy"
	"saddlewise/fixtures/notes"
)

// The table's T60 were measured by two other methods, label-blind; see its
// head. It has none where they saw too little decay, or none that is straight:
// there a number from here counts against the measure, unless the whole
// evaluation range was heard and fitted. One is left: the fourth wave of
// 025_Steel_Guitar.pat, 14 dB of a decay with two shallow beats. Levels one beat
// of 0.95 s apart fall by 5.3 dB, crest to crest, twice: T60 10.7 s.
func TestRealRecordings(t *testing.T) {
	t.Parallel()
	rows, err := notes.ReadTable("../../testdata/real_recordings.csv")
	if err != nil {
		t.Fatal(err)
	}
	lib := notes.OpenLibrary()
	for _, pkg := range []string{"freepats", "denemo-data"} {
		t.Run(pkg, func(t *testing.T) {
			lib.Need(t, pkg)
			var c tally
			for _, r := range rows {
				if r.Package == pkg {
					c.judge(t, lib, r)
				}
			}
			c.report(t, pkg)
		})
	}
}

type tally struct {
	errs                 []float64
	off, ranges, missing int
	extra, whole, strays int
	with, without        int
}

func (c *tally) judge(t *testing.T, lib *notes.Library, r notes.Row) {
	t.Helper()
	n, err := lib.Note(r)
	if err != nil {
		t.Fatal(err)
	}
	d, err := Measure(n.Natural(), n.RateHz, Options{Hz: r.MeasuredHz})
	if err != nil {
		t.Fatal(err)
	}
	if r.T60S > 0 {
		c.with++
	} else {
		c.without++
	}
	if d.T60Seconds > 0 && d.FitRMSdB > 1.5 {
		c.strays++
	}
	list := func(why string) {
		t.Logf("%s: %s %s %.1f Hz, %.2f s long: table %.3f s (%s), here %.3f [%.2f, %.2f] or %.3g s from %.2f-%.2f s, two stages %v, beats %.1f dB, scatter %.2f dB; %s",
			why, r.File, r.Wave, r.MeasuredHz, r.NaturalS, r.T60S, r.T60Range, d.T60Seconds, d.T60Low, d.T60High, d.T60RangeSeconds, d.FitFromS, d.FitToS, d.TwoStage, d.BeatDepthDB, d.FitRMSdB, d.Reason)
	}
	switch {
	case r.T60S > 0 && d.T60Seconds > 0:
		e := 100 * (d.T60Seconds/r.T60S - 1)
		c.errs = append(c.errs, e)
		if math.Abs(e) > 10 {
			c.off++
			list("off")
		}
	case r.T60S > d.T60RangeSeconds[0] && r.T60S < d.T60RangeSeconds[1]:
		c.ranges++
		list("a range that holds the table's value")
	case r.T60S > 0:
		c.missing++
		list("no number")
	case d.T60Seconds > 0 && d.FitToDB > rangeBottomDB:
		c.extra++
		list("a number from part of the range where the table has none")
	case d.T60Seconds > 0:
		c.whole++
		list("a number from all of the range where the table has none")
	}
}

func (c *tally) report(t *testing.T, pkg string) {
	t.Helper()
	accuracy.Report(t, accuracy.Row{Measure: "T60 of recorded notes", Range: pkg, Unit: "%",
		Bound: "10", Source: "table of real recordings, two other methods"}, c.errs)
	t.Logf("%d notes with T60 in the table: %d off by more than 10 %%, %d ranges that hold it, %d without either; %d without: %d numbers from part of the range, %d from all of it", c.with, c.off, c.ranges, c.missing, c.without, c.extra, c.whole)
	if c.off > 0 || c.missing > 1 || c.ranges > 5 || c.extra > 1 || c.whole > 2 || c.strays > 0 {
		t.Errorf("off %d, missing %d, extra %d and %d of %d, fits that stray by more than 1.5 dB %d", c.off, c.missing, c.extra, c.whole, c.without, c.strays)
	}
}
