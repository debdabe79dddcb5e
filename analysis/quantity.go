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
	return quantity(stats.Summarize(plain(values)), values)
}

// summarizeMeasured is summarize of values that have intervals of their own.
func summarizeMeasured(m measuredValues, missing string) result.Quantity {
	if len(m.values) == 0 {
		return result.Quantity{Reason: missing}
	}
	return quantity(stats.SummarizeMeasured(plain(m.values), m.own), m.values)
}

// measuredValues are events' values with the interval of each.
type measuredValues struct {
	values []result.Value
	own    []stats.Interval
}

func (m *measuredValues) put(take, event int, value float64, own stats.Interval) {
	m.values = append(m.values, result.Value{Take: take, Event: event, Value: value})
	m.own = append(m.own, own)
}

// mapped is m with a rising f applied to values and intervals.
func (m measuredValues) mapped(f func(float64) float64) measuredValues {
	var out measuredValues
	for i, v := range m.values {
		out.put(v.Take, v.Event, f(v.Value), stats.Interval{Low: f(m.own[i].Low), High: f(m.own[i].High), Coverage: m.own[i].Coverage})
	}
	return out
}

func quantity(est stats.Estimate, values []result.Value) result.Quantity {
	q := result.Quantity{Estimate: &est, Values: values}
	if more := stats.MoreForInterval(est.N); more > 0 && (est.Interval == nil || est.Interval.Coverage < stats.Nominal) {
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
