package finding

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"saddlewise/analysis/result"
)

// stringName is "string 3 (G2)".
func stringName(s result.String) string {
	if s.Note == "" {
		return fmt.Sprintf("string %d", s.Number)
	}
	return fmt.Sprintf("string %d (%s)", s.Number, s.Note)
}

// upper begins a sentence.
func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// lower goes on with one.
func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// num writes a number with digits decimals and a true minus.
func num(v float64, digits int) string {
	text := strconv.FormatFloat(math.Abs(v), 'f', digits, 64)
	if v < 0 && strings.Trim(text, "0.") != "" {
		return "−" + text
	}
	return text
}

// said writes a quantity whole: number, unit, interval, count.
func said(q result.Quantity, unit string, digits int) string {
	est := q.Estimate
	if est == nil {
		return "cannot be told"
	}
	words := num(est.Median, digits) + " " + unit
	if est.Interval == nil {
		return fmt.Sprintf("%s (n %d, too few for an interval)", words, est.N)
	}
	return fmt.Sprintf("%s (%s to %s, n %d)", words, num(est.Interval.Low, digits), num(est.Interval.High, digits), est.N)
}

// limitOf is the limit named key. A key that the stage does not carry is a
// limit nothing can pass.
func limitOf(r *result.Results, key string) result.Limit {
	for _, l := range r.Stage.Limits {
		if l.Key == key {
			return l
		}
	}
	return result.Limit{Key: key, Value: math.Inf(1)}
}

// judged is evidence about a quantity beside its limit.
func judged(text string, q result.Quantity, unit string, l result.Limit) result.Evidence {
	e := against(l, "%s", text)
	e.Quantity, e.Unit = bare(q), unit
	return e
}

// against is a fact beside the limit that judges it.
func against(l result.Limit, format string, args ...any) result.Evidence {
	return result.Evidence{Text: fmt.Sprintf(format, args...) + "; " + limitWords(l) + ".", Limit: &l}
}

// limitWords says what a limit is and whose.
func limitWords(l result.Limit) string {
	from := "common practice"
	if l.Given {
		from = "set"
	}
	return strings.TrimSpace(fmt.Sprintf("limit %s %s", num(l.Value, decimals(l.Value)), l.Unit)) + " (" + from + ")"
}

// bare is q without the values that the results keep elsewhere.
func bare(q result.Quantity) *result.Quantity {
	return &result.Quantity{Estimate: q.Estimate, Reason: q.Reason}
}

func fact(format string, args ...any) result.Evidence {
	return result.Evidence{Text: fmt.Sprintf(format, args...)}
}

func decimals(v float64) int {
	if v == math.Trunc(v) {
		return 0
	}
	return 1
}

// side tells on which side of a limit a quantity's interval lies.
type side int

const (
	unknown side = iota
	within
	straddles
	beyond
)

// above places q against an upper limit. Without an interval nothing is sure.
func above(q result.Quantity, limit float64) side {
	est := q.Estimate
	switch {
	case est == nil:
		return unknown
	case est.Interval == nil:
		if est.Median > limit {
			return straddles
		}
		return within
	case est.Interval.Low > limit:
		return beyond
	case est.Median > limit:
		return straddles
	default:
		return within
	}
}

// below places q against a lower limit.
func below(q result.Quantity, limit float64) side {
	if q.Estimate == nil {
		return unknown
	}
	return above(negated(q), -limit)
}

func negated(q result.Quantity) result.Quantity {
	est := *q.Estimate
	est.Median = -est.Median
	if iv := est.Interval; iv != nil {
		turned := *iv
		turned.Low, turned.High = -iv.High, -iv.Low
		est.Interval = &turned
	}
	return result.Quantity{Estimate: &est}
}

// moreEvents is how many further events would shrink q's interval until it no
// longer reaches limit, if the median stays: half-widths shrink as 1/sqrt(n).
func moreEvents(q result.Quantity, limit float64) int {
	est := q.Estimate
	if est == nil || est.Interval == nil {
		return 6
	}
	gap := math.Abs(est.Median - limit)
	half := (est.Interval.High - est.Interval.Low) / 2
	if gap <= 0 || half <= 0 {
		return est.N
	}
	want := float64(est.N) * (half / gap) * (half / gap)
	return int(math.Max(2, math.Min(math.Ceil(want)-float64(est.N), 40)))
}

// settle is the sentence that asks for more events.
func settle(q result.Quantity, limit float64, what string) string {
	more := moreEvents(q, limit)
	if more >= 40 {
		return fmt.Sprintf("The value lies so near the limit that even 40 further %s may not settle it.", what)
	}
	return fmt.Sprintf("Record about %d further %s, in a second take, to settle it.", more, what)
}

// softened turns a finding whose interval straddles its limit into a request
// for more events.
func softened(f result.Finding, q result.Quantity, limit float64, where side, what string) result.Finding {
	if where != straddles {
		return f
	}
	if f.Severity == result.SeverityStop {
		f.Severity = result.SeverityRecheck
	}
	f.Title += ", perhaps"
	f.Next = append([]string{settle(q, limit, what)}, f.Next...)
	return f
}

// numbers lists string numbers of a set.
func numbers(strs []result.String) []int {
	var out []int
	for _, s := range strs {
		out = append(out, s.Number)
	}
	return out
}

// names joins string names.
func names(strs []result.String) string {
	var out []string
	for _, s := range strs {
		out = append(out, stringName(s))
	}
	return joined(out)
}

func joined(items []string) string {
	if n := len(items); n > 1 {
		return strings.Join(items[:n-1], ", ") + " and " + items[n-1]
	}
	return strings.Join(items, "")
}

// chance writes a probability.
func chance(p float64) string {
	if p < 0.001 {
		return "< 0.001"
	}
	return "= " + num(p, 3)
}
