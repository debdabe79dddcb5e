package analysis

import (
	"math"

	"saddlewise/analysis/circuit"
	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// discTolerance is how far a disc's capacitance may be off what the stage says
// (common practice, no source: discs are sold to 30 %).
const discTolerance = 0.3

func circuitOf(p result.Pickup) circuit.Circuit {
	return circuit.Circuit{Discs: p.Discs, Wiring: circuit.Wiring(p.Wiring), DiscNF: p.DiscNF, CablePF: p.CablePF, InputPF: p.InputPF, InputOhm: p.InputOhm}
}

// predict says what discs, cable and input do by themselves.
func predict(p result.Pickup, strs []stage.String) *result.Prediction {
	c := circuitOf(p)
	if c.Check() != nil {
		return nil
	}
	out := &result.Prediction{CornerHz: c.CornerHz(), CableDivisionDB: c.CableDivisionDB()}
	for _, s := range strs {
		out.Strings = append(out.Strings, result.StringLoss{Number: s.Number, Note: s.Note, Hz: s.Hz, LossDB: c.LossDB(s.Hz)})
		if out.LowestHz == 0 || s.Hz < out.LowestHz {
			out.LowestHz, out.LossDB, out.OhmFor1DB = s.Hz, c.LossDB(s.Hz), c.OhmForLoss(1, s.Hz)
		}
	}
	return out
}

// cornerCause solves the circuit for a corner that a sweep gave, or, where the
// sweep only saw that it lies lower, for its bound.
func cornerCause(p result.Pickup, m response.Corner) *result.CornerCause {
	c := circuitOf(p)
	measured, ok := cornerInterval(m)
	if !ok || c.Check() != nil {
		return nil
	}
	across, err := c.OhmForCorner(measured, discTolerance)
	if err != nil {
		return nil
	}
	out := &result.CornerCause{Discs: p.Discs, InputOhm: p.InputOhm, DiscTolerance: discTolerance, WorkingDiscs: []result.WorkingDiscs{}}
	if m.Hz > 0 {
		out.OhmAcross.Estimate = &stats.Estimate{Median: across.Mid, N: 1, Interval: &stats.Interval{Low: across.Low, High: across.High, Coverage: stats.Nominal}}
	} else {
		out.OhmAcross.Reason = "the corner lies below what the sweep shows"
	}
	explained, err := c.WorkingDiscs(measured, discTolerance)
	if err != nil {
		return out // not in parallel: no number of discs can be told
	}
	for _, e := range explained {
		out.WorkingDiscs = append(out.WorkingDiscs, result.WorkingDiscs{
			Count: e.Working, CornerHz: e.CornerHz.Mid, LowHz: e.CornerHz.Low, HighHz: e.CornerHz.High, Fits: e.Fits,
		})
	}
	return out
}

// cornerInterval is where the corner may lie: from next to nothing up where
// only a bound is known.
func cornerInterval(m response.Corner) (circuit.Interval, bool) {
	switch {
	case m.Hz > 0 && m.Interval != nil:
		return circuit.Interval{Low: m.Interval.Low, Mid: m.Hz, High: m.Interval.High}, true
	case m.BelowHz > 0:
		return circuit.Interval{Low: math.SmallestNonzeroFloat32, Mid: m.BelowHz, High: m.BelowHz}, true
	}
	return circuit.Interval{}, false
}
