package finding

import (
	"fmt"
	"slices"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// intermittent: some taps or plucks of a string are far weaker than its
// others, or fainter than what counts as one.
func intermittent(r *result.Results) []result.Finding {
	if len(silentPickup(r)) > 0 {
		return nil
	}
	var out []result.Finding
	for _, s := range r.Strings {
		evidence := drops(r, s)
		if len(evidence) == 0 {
			continue
		}
		out = append(out, result.Finding{
			ID: "intermittent joint", Severity: result.SeverityRecheck, About: "pickup", Strings: []int{s.Number},
			Title:    fmt.Sprintf("%s drops out now and then", upper(stringName(s))),
			Evidence: evidence,
			Causes:   []string{"a joint or lead that opens now and then", "a missed tap"},
			Next:     []string{"Flex this disc's leads while tapping: if the level jumps, resolder the joint before it is buried.", "If no flexing changes it, record the taps again."},
		})
	}
	return out
}

// drops is the evidence that string s drops out; none where it does not.
func drops(r *result.Results, s result.String) []result.Evidence {
	limit := limitOf(r, "intermittent_db")
	var out []result.Evidence
	if muted(r, s) {
		return nil
	}
	say := func(q *result.Quantity, what string, least int) {
		if q == nil || len(q.Values) < least {
			return
		}
		if weak, n := dropped(*q, limit.Value); weak > 0 {
			out = append(out, against(limit, "%d of %d %s lie this far and farther below the others of this string", weak, n, what))
		}
	}
	say(tapLevel(s), "taps", 4)
	say(pluckLevel(s), "plucks", 2)
	if faint, n := faintTaps(r, s); faint >= 2 && 6*faint > n && fainterThanOthers(r, s) {
		out = append(out, fact("%d contacts are far weaker than the %d taps, which no other string shows.", faint, n))
	}
	return out
}

// dropped counts the values that lie limitDB below the loud group, where a
// gap parts the two groups.
func dropped(q result.Quantity, limitDB float64) (weak, n int) {
	var v []float64
	for _, x := range q.Values {
		v = append(v, x.Value)
	}
	slices.Sort(v)
	gap, at := 0.0, 0
	for i := 1; i < len(v); i++ {
		if d := v[i] - v[i-1]; d > gap {
			gap, at = d, i
		}
	}
	if at == 0 || gap < limitDB*2/3 {
		return 0, len(v)
	}
	for _, x := range v[:at] {
		if x < stats.Median(v[at:])-limitDB {
			weak++
		}
	}
	return weak, len(v)
}

// faintTaps counts the faint contacts and the taps of string s.
func faintTaps(r *result.Results, s result.String) (faint, taps int) {
	if s.Tap == nil {
		return 0, 0
	}
	for _, k := range s.Tap.Takes {
		if k < len(r.Takes) {
			faint += r.Takes[k].FaintEvents
		}
	}
	return faint, len(s.Tap.Events)
}

// fainterThanOthers: a hand that fumbles does so on every string.
func fainterThanOthers(r *result.Results, s result.String) bool {
	faint, n := faintTaps(r, s)
	for _, o := range r.Strings {
		f, m := faintTaps(r, o)
		if o.Number != s.Number && m > 0 && 3*f*n > faint*m {
			return false
		}
	}
	return true
}

// muted: a gate or drop-outs of the recorder swallow events, too.
func muted(r *result.Results, s result.String) bool {
	broken := func(k result.Take) bool { return isGated(k) || isSunk(k) || k.Facts.AbruptZeros > 0 }
	return s.Tap != nil && anyTake(r, s.Tap.Takes, broken) || s.Pluck != nil && anyTake(r, s.Pluck.Takes, broken)
}
