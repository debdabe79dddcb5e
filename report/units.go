package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Figures is three significant figures at most, without an exponent.
func Figures(v float64) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return fmt.Sprint(v)
	}
	decimals := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	text := strconv.FormatFloat(v, 'f', max(0, decimals), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// hzWords is a frequency in words, such as 4.4 kHz.
func hzWords(hz float64) string {
	if hz >= 1000 {
		return Figures(hz/1000) + " kHz"
	}
	return Figures(hz) + " Hz"
}

// Ohm is a resistance in words, such as 59.6 kohm.
func Ohm(ohm float64) string {
	switch {
	case math.IsInf(ohm, 1):
		return "any resistance"
	case ohm >= 1e6:
		return Figures(ohm/1e6) + " Mohm"
	case ohm >= 1e3:
		return Figures(ohm/1e3) + " kohm"
	}
	return Figures(ohm) + " ohm"
}
