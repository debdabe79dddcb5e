package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"saddlewise/analysis/result"
)

// bandsCaption says where each response left zero.
func bandsCaption(changes []result.BandChange, what string) string {
	var out []string
	for _, s := range changes {
		if len(s.Leaving) == 0 {
			continue
		}
		whose := "The bridge"
		if s.String > 0 {
			whose = "String " + stringName(result.String{Number: s.String, Note: s.Note})
		}
		out = append(out, whose+" changed "+stretchWords(s.Leaving)+".")
	}
	if len(out) == 0 {
		return "No " + what + " left zero beyond chance."
	}
	return strings.Join(out, " ")
}

// fewStretches is the most of one response that are told in words.
const fewStretches = 2

func stretchWords(leaving []result.HzInterval) string {
	most := slices.SortedStableFunc(slices.Values(leaving), func(a, b result.HzInterval) int {
		return cmp.Compare(math.Abs(b.DB), math.Abs(a.DB))
	})
	var words []string
	for _, l := range most[:min(len(most), fewStretches)] {
		at := "at " + bandHz(l.LowHz)
		if l.HighHz > l.LowHz {
			at = "from " + bandHz(l.LowHz) + " to " + bandHz(l.HighHz)
		}
		words = append(words, fmt.Sprintf("%s by up to %s dB", at, signed(l.DB, 1)))
	}
	if more := len(most) - fewStretches; more > 0 {
		words = append(words, "less in "+counted(more, "more place"))
	}
	return listWords(words)
}

// bandHz writes a frequency to two digits, as a band's place deserves.
func bandHz(hz float64) string {
	if hz >= 1000 {
		return strconv.FormatFloat(hz/1000, 'g', 2, 64) + " kHz"
	}
	return strconv.FormatFloat(math.Round(hz), 'f', 0, 64) + " Hz"
}
