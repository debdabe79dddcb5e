package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"saddlewise/analysis/result"
)

// stringName is "3 G2", or "3" where no note is known.
func stringName(s result.String) string {
	if s.Note == "" {
		return strconv.Itoa(s.Number)
	}
	return fmt.Sprintf("%d %s", s.Number, s.Note)
}

// signed writes a number with its sign, a true minus, and digits decimals.
func signed(v float64, digits int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', digits, 64)
	switch {
	case strings.Trim(text, "0.") == "":
		return text
	case v < 0:
		return "−" + text
	default:
		return "+" + text
	}
}

// plain writes a number with a true minus and no plus.
func plain(v float64, digits int) string { return strings.TrimPrefix(signed(v, digits), "+") }

// trim writes a number of up to six digits without trailing zeros and without
// an exponent, with a true minus.
func trim(v float64) string {
	digits := 6
	if v != 0 {
		digits = max(0, 5-int(math.Floor(math.Log10(math.Abs(v)))))
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return strings.Replace(text, "-", "−", 1)
}

func roundTo(v float64, digits int) float64 {
	scale := math.Pow(10, float64(digits))
	return math.Round(v*scale) / scale
}

// intervalWords is " (−1.2 to +0.3, n 8)" in the given way to write numbers,
// or the count where there is no interval.
func intervalWords(q result.Quantity, digits int, write func(float64, int) string) string {
	est := q.Estimate
	switch {
	case est == nil:
		return ""
	case est.Interval == nil:
		return fmt.Sprintf(" (n %d, no interval)", est.N)
	default:
		return fmt.Sprintf(" (%s to %s, n %d)",
			write(est.Interval.Low, digits), write(est.Interval.High, digits), est.N)
	}
}

// listWords joins "a", "b" and "c".
func listWords(items []string) string {
	switch n := len(items); n {
	case 0:
		return ""
	case 1:
		return items[0]
	default:
		return strings.Join(items[:n-1], ", ") + " and " + items[n-1]
	}
}
