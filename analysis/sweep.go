package analysis

import (
	"context"
	"errors"
	"fmt"
	"math"

	"saddlewise/analysis/recording"
	"saddlewise/analysis/response"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
	"saddlewise/analysis/stage"
	"saddlewise/analysis/stats"
)

// sweepTake is what one sweep take gave.
type sweepTake struct {
	response  response.SweepResponse
	reference string // what it was compared with, in words
}

// measureSweep compares the take with what was played: the stage's reference
// recording, else the parameters under [stimulus].
func measureSweep(ctx context.Context, st *stage.Stage, src signal.Source, file string) (*sweepTake, error) {
	reference, words, done, err := playedSweep(ctx, st, src.Rate())
	if err != nil {
		return nil, fmt.Errorf("%s cannot be used: %w", file, err)
	}
	defer done()
	r, err := response.FromSweep(ctx, src, reference)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be used: %w; record the whole sweep, from before it starts until it has died away", file, err)
	}
	return &sweepTake{r, words}, nil
}

func playedSweep(ctx context.Context, st *stage.Stage, rateHz float64) (signal.Source, string, func(), error) {
	nothing := func() {}
	for _, k := range st.Takes {
		if k.Test != stage.SweepReference {
			continue
		}
		take, err := recording.Open(k.Path)
		if err != nil {
			return nil, "", nothing, err
		}
		facts, err := take.Inspect(ctx)
		if err != nil {
			return nil, "", nothing, errors.Join(err, take.Close())
		}
		// The file was opened for reading: closing it cannot lose anything.
		return take.Channel(facts.Chosen), k.File, func() { _ = take.Close() }, nil
	}
	s := st.Stimulus
	if s.LowHz == 0 || s.HighHz == 0 || s.Seconds == 0 {
		return nil, "", nothing, fmt.Errorf("what was played is not known; put it beside the take as sweep-reference.wav, or give low_hz, high_hz and seconds under [stimulus] in stage.toml")
	}
	p := response.DefaultSweep(rateHz)
	p.LowHz, p.HighHz, p.Seconds = s.LowHz, s.HighHz, s.Seconds
	if top := 0.4875 * rateHz; p.HighHz > top { // played at a higher rate: the recorder heard the rest of it
		p.HighHz, p.Seconds = top, s.Seconds*math.Log(top/s.LowHz)/math.Log(s.HighHz/s.LowHz)
	}
	if s.LevelDBFS != 0 {
		p.LevelDBFS = s.LevelDBFS
	}
	source, err := p.Source()
	if err != nil {
		return nil, "", nothing, err
	}
	return source, fmt.Sprintf("sweep of %g to %g Hz in %g s, from [stimulus]", s.LowHz, s.HighHz, s.Seconds), nothing, nil
}

// gatherSweeps lists the sweep responses in the takes' order. Every turn of a
// slow sine reaches the same height, which looks like flat tops with noise on
// them; where a sweep is bent, its distortion says so.
func gatherSweeps(r *result.Results, takes []measured) {
	for i, m := range takes {
		if m.sweep != nil {
			if f := r.Takes[i].Facts; f != nil {
				f.FlatTops, f.FlatTopDB = 0, nil
			}
			r.Sweeps = append(r.Sweeps, sweepRecord(i, m.at.String, m.sweep, r.Stage.Pickup))
		}
	}
}

// drawnImpulseMS is how much of the impulse response is kept for drawing.
var drawnImpulseMS = [2]float64{-2, 20}

func sweepRecord(take, str int, m *sweepTake, pickup result.Pickup) result.Sweep {
	r := m.response
	s := result.Sweep{
		Take: take, String: str, Reference: m.reference, Window: r.Window,
		Hz: r.Hz, MagnitudeDB: r.MagnitudeDB, GroupDelayMS: r.GroupDelayMS, SNRDB: r.SNRDB,
		LowMinus3Hz: r.LowMinus3Hz, HighMinus3Hz: r.HighMinus3Hz,
		Peaks: []result.Peak{}, Distortion: []result.Distortion{},
	}
	if len(r.SNRDB) == 0 || math.IsNaN(r.SNRDB[0]) {
		s.SNRDB = nil
		s.Notes = append(s.Notes, "no silence beside the sweep shows the noise")
	}
	if r.ClockKnown {
		s.ClockPPM, s.ClockSEPPM = r.ClockPPM, r.ClockPlusMinusPPM
	} else {
		s.Notes = append(s.Notes, "the band is too narrow to compare the two clocks")
	}
	for i, ms := range r.ImpulseMS {
		if ms >= drawnImpulseMS[0] && ms <= drawnImpulseMS[1] {
			s.ImpulseMS, s.Impulse = append(s.ImpulseMS, ms), append(s.Impulse, r.Impulse[i])
		}
	}
	for _, p := range r.Peaks {
		s.Peaks = append(s.Peaks, result.Peak{Hz: p.Hz, LevelDB: p.LevelDB, Q: p.Q})
	}
	for _, d := range r.Distortion {
		s.Distortion = append(s.Distortion, result.Distortion{Order: d.Order, Hz: d.Hz, LevelDB: d.LevelDB})
	}
	if r.Corner.Hz > 0 {
		s.CornerHz.Estimate = &stats.Estimate{Median: r.Corner.Hz, N: 1, Interval: r.Corner.Interval}
	}
	s.CornerHz.Reason = r.Corner.Reason
	s.CornerCause = cornerCause(pickup, r.Corner)
	return s
}
