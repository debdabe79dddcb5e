package analysis

import (
	"fmt"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// summarize makes a quantity of the events' values. Fewer than three give a
// middle value and no interval, and say how many more are wanted.
func summarize(values []result.Value, missing string) result.Quantity {
	if len(values) == 0 {
		return result.Quantity{Reason: missing}
	}
	est := stats.Summarize(plain(values))
	q := result.Quantity{Estimate: &est, Values: values}
	if more := stats.MoreForInterval(est.N); more > 0 {
		q.Reason = fmt.Sprintf("%d more make a 95 %% interval", more)
	}
	return q
}

func plain(values []result.Value) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v.Value
	}
	return out
}

// mapped is q with f applied to its values; the estimate is made anew.
func mapped(q result.Quantity, f func(float64) float64) result.Quantity {
	if len(q.Values) == 0 {
		return result.Quantity{Reason: q.Reason}
	}
	values := make([]result.Value, len(q.Values))
	for i, v := range q.Values {
		values[i] = result.Value{Take: v.Take, Event: v.Event, Value: f(v.Value)}
	}
	return summarize(values, q.Reason)
}

func pointer(v float64) *float64 { return &v }
