package analysis

import (
	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// setBalances fills in each string's level beside the mean of all strings'
// medians, apart for taps, plucks and tones: three different facts.
func setBalances(strs []result.String) {
	var taps, plucks, tones []balanced
	for i := range strs {
		if t := strs[i].Tap; t != nil {
			taps = append(taps, balanced{&t.LevelDBFS, &t.BalanceDB})
		}
		if p := strs[i].Pluck; p != nil {
			plucks = append(plucks, balanced{&p.LevelDBFS, &p.BalanceDB})
		}
		if t := strs[i].Tone; t != nil {
			tones = append(tones, balanced{&t.LevelDBFS, &t.BalanceDB})
		}
	}
	balance(taps)
	balance(plucks)
	balance(tones)
}

type balanced struct{ level, balance *result.Quantity }

func balance(all []balanced) {
	var groups [][]float64
	var known []balanced
	for _, b := range all {
		if b.level.Known() {
			known = append(known, b)
			groups = append(groups, plain(b.level.Values))
		} else {
			b.balance.Reason = b.level.Reason
		}
	}
	if len(known) < 2 {
		for _, b := range known {
			b.balance.Reason = "no other string to compare with"
		}
		return
	}
	for i, est := range stats.Balance(groups) {
		known[i].balance.Estimate = &est
		known[i].balance.Reason = known[i].level.Reason
	}
}
