package report

import (
	"fmt"

	"saddlewise/analysis/result"
)

func tapEvidence(r *result.Results) *evidence {
	e := &evidence{first: "string", extra: "first motion", measures: []measure{
		{name: "level", unit: "dBFS", digits: 1},
		{name: "balance", unit: "dB", digits: 1, signed: true},
		{name: "treble", unit: "dB", digits: 1, signed: true},
	}}
	for _, s := range r.Strings {
		t := s.Tap
		if t == nil {
			continue
		}
		var treble result.Quantity
		if t.Response != nil {
			treble = t.Response.HighDB
		}
		e.rows = append(e.rows, evidenceRow{stringName(s), []result.Quantity{t.LevelDBFS, t.BalanceDB, treble}, voteWords(t.Polarity)})
	}
	return e
}

// voteWords is "12 up", or every kind of vote that was cast.
func voteWords(v result.Polarity) string {
	var votes []string
	for _, k := range []struct {
		n    int
		word string
	}{{v.Up, "up"}, {v.Down, "down"}, {v.Undecided, "undecided"}} {
		if k.n > 0 {
			votes = append(votes, fmt.Sprintf("%d %s", k.n, k.word))
		}
	}
	return listWords(votes)
}

func pluckEvidence(r *result.Results) *evidence {
	e := &evidence{first: "string", measures: []measure{
		{name: "balance", unit: "dB", digits: 1, signed: true},
		{name: "f1", unit: "Hz", digits: 2},
		{name: "off target", unit: "cents", digits: 1, signed: true},
		{name: "T60", unit: "s", digits: 1},
		{name: "rattle", unit: "dB", digits: 0, floor: result.RattleFloorDB},
	}}
	for _, s := range r.Strings {
		if p := s.Pluck; p != nil {
			e.rows = append(e.rows, evidenceRow{stringName(s),
				[]result.Quantity{p.BalanceDB, p.F1Hz, p.Cents, p.T60S, p.RattleDB}, ""})
		}
	}
	return e
}

func toneEvidence(r *result.Results) *evidence {
	e := &evidence{first: "string", measures: []measure{
		{name: "frequency", unit: "Hz", digits: 3},
		{name: "balance", unit: "dB", digits: 1, signed: true},
		{name: "T60", unit: "s", digits: 1},
		{name: "THD", unit: "dB", digits: 1},
	}}
	for _, s := range r.Strings {
		if t := s.Tone; t != nil {
			e.rows = append(e.rows, evidenceRow{stringName(s), []result.Quantity{t.Hz, t.BalanceDB, t.T60S, t.THDDB}, ""})
		}
	}
	return e
}

func quietEvidence(r *result.Results) *evidence {
	e := &evidence{first: "recorded", extra: "hum", measures: []measure{
		{name: "floor", unit: "dBFS", digits: 1},
		{name: "A-weighted", unit: "dBFS", digits: 1},
		{name: "without hum", unit: "dBFS", digits: 1},
	}}
	for _, q := range toldApart(r) {
		hum := "none stands out"
		if q.HumUntold {
			hum = "cannot tell, take too short"
		}
		if q.Hum != nil {
			hum = fmt.Sprintf("%s dBFS at %.2f Hz", plain(q.Hum.TotalDBFS, 1), q.Hum.MainsHz)
		}
		e.rows = append(e.rows, evidenceRow{q.Label, []result.Quantity{q.FloorDBFS, q.FloorADBFS, q.WithoutHumDBFS}, hum})
	}
	return e
}

func sweepEvidence(r *result.Results) *evidence {
	e := &evidence{first: "played at", extra: "−3 dB points", measures: []measure{{name: "low corner", unit: "Hz", digits: 1}}}
	for _, s := range r.Sweeps {
		at := "whole bridge"
		if s.String > 0 {
			at = fmt.Sprintf("string %d", s.String)
		}
		e.rows = append(e.rows, evidenceRow{at, []result.Quantity{s.CornerHz}, edgeWords(s)})
	}
	return e
}

func edgeWords(s result.Sweep) string {
	edge := func(hz *float64, word string) string {
		if hz == nil {
			return "no " + word + " within the sweep"
		}
		return hzWords(*hz)
	}
	return edge(s.LowMinus3Hz, "low one") + "; " + edge(s.HighMinus3Hz, "high one")
}
