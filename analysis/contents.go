package analysis

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
)

// What tells the tests apart, whatever a file's name says. Common practice,
// no source: a tap is gone in a tenth of a second, a string rings on with
// many partials, a fork with hardly any, a sweep never rests and rises, and
// silence stays within a few decibels. What lies between is unclear.
const (
	contentsBlockS = 0.025
	standsOutDB    = 20.0
	steadyDB       = 12.0
	tapGoneS       = 0.15 // to fall by 20 dB
	ringsOnS       = 0.35
	forkFallS      = 2.0
	purest         = 0.97 // share of power in one line: no plucked string
	forkPurity     = 0.9
	mixedPurity    = 0.75 // less: no fork
	mostJudged     = 8    // events by their envelope
	mostListened   = 5    // and by their spectrum
)

// contentsOf says what the recording sounds like from its envelope and the
// spectra of its loudest moments.
func contentsOf(ctx context.Context, src signal.Source) (*result.Contents, error) {
	levels, err := envelopeDB(ctx, src)
	if err != nil {
		return nil, err
	}
	if len(levels) < 8 {
		return &result.Contents{Looks: "unclear", Reason: "it is too short"}, nil
	}
	sorted := slices.Sorted(slices.Values(levels))
	floor, top := sorted[len(sorted)/10], sorted[len(sorted)-1]
	onsets := onsetsOf(levels, floor)
	if len(onsets) == 0 {
		return steadyContents(src, levels, top-floor)
	}
	return eventContents(src, levels, onsets)
}

// envelopeDB is the level of each block without its mean.
func envelopeDB(ctx context.Context, src signal.Source) ([]float64, error) {
	n := max(8, int64(contentsBlockS*src.Rate()))
	x := make([]float64, n*max(1, envelopeRead/n))
	var out []float64
	for at := int64(0); at < src.Len(); at += int64(len(x)) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		got, err := src.ReadAt(x, at)
		if err != nil && err != io.EOF {
			return nil, fmt.Errorf("read at sample %d: %w", at, err)
		}
		for part := x[:got]; int64(len(part)) >= n; part = part[n:] {
			out = append(out, signal.PowerToDBFS(signal.MeanSquare(part[:n])))
		}
	}
	return out, nil
}

// envelopeRead is how many samples are read at once.
const envelopeRead = 1 << 14

// onsetsOf lists the blocks in which the level has risen by half of
// standsOutDB within two blocks, and that stand out from the background and
// lie within 20 dB of the loudest.
func onsetsOf(levels []float64, floorDB float64) []int {
	top := slices.Max(levels)
	var out []int
	for i := 2; i < len(levels); i++ {
		rise := levels[i] - levels[i-2]
		if rise < standsOutDB/2 || levels[i] < floorDB+standsOutDB || levels[i] < top-20 {
			continue
		}
		if n := len(out); n > 0 && i-out[n-1] < int(0.2/contentsBlockS) {
			continue
		}
		out = append(out, i)
	}
	return out
}

// eventContents judges by how fast events die away and how pure they are.
func eventContents(src signal.Source, levels []float64, onsets []int) (*result.Contents, error) {
	var falls []float64
	for k, i := range onsets[:min(len(onsets), mostJudged)] {
		end := len(levels)
		if k+1 < len(onsets) {
			end = onsets[k+1] - 1
		}
		falls = append(falls, fallS(levels[i:end]))
	}
	fall := middleValue(falls)
	if fall <= tapGoneS {
		return &result.Contents{Looks: "tap", Reason: fmt.Sprintf("%d onsets, 20 dB down after %.2f s", len(onsets), fall), FallS: fall}, nil
	}
	purity, hz, err := purityOfEvents(src, onsets[:min(len(onsets), mostListened)])
	if err != nil {
		return nil, err
	}
	c := &result.Contents{Looks: "unclear", PitchHz: hz, FallS: fall}
	c.Reason = fmt.Sprintf("%d onsets, 20 dB down after %.2f s, %.0f %% of the power in one line", len(onsets), fall, 100*purity)
	switch {
	case fall >= ringsOnS && purity < mixedPurity:
		c.Looks = "pluck"
	case fall >= forkFallS && purity > purest, fall >= 2*forkFallS && purity > forkPurity:
		c.Looks = "tone"
	}
	return c, nil
}

// purityOfEvents is the middle one of the events' purities and of their
// strongest lines' frequencies.
func purityOfEvents(src signal.Source, onsets []int) (purity, hz float64, err error) {
	var purities, pitches []float64
	for _, i := range onsets {
		purity, hz, err := purityAt(src, int64(float64(i)*contentsBlockS*src.Rate()+0.05*src.Rate()), 0.3, 0)
		if err != nil {
			return 0, 0, err
		}
		purities, pitches = append(purities, purity), append(pitches, hz)
	}
	return middleValue(purities), middleValue(pitches), nil
}

// fallS is how long after its loudest block the level stays within 20 dB.
func fallS(levels []float64) float64 {
	if len(levels) == 0 {
		return 0
	}
	loudest := 0
	for i, v := range levels[:min(len(levels), 6)] {
		if v > levels[loudest] {
			loudest = i
		}
	}
	n := loudest
	for n < len(levels) && levels[n] > levels[loudest]-20 {
		n++
	}
	return float64(n-loudest) * contentsBlockS
}

// purityAt is the share of the power above 30 Hz that the strongest line
// holds in the seconds from a sample on, with that line's frequency. The line
// may be as wide as its frequency times slack to either side.
func purityAt(src signal.Source, from int64, seconds, slack float64) (share, hz float64, err error) {
	rate := src.Rate()
	x, err := signal.Segment(src, from, min(int64(seconds*rate), src.Len()-from))
	if err != nil {
		return 0, 0, fmt.Errorf("read at sample %d: %w", from, err)
	}
	if len(x) < 64 {
		return 0, 0, nil
	}
	power, step := powerSpectrum(x, rate)
	low := int(math.Ceil(30 / step))
	best, total := low, 0.0
	for k := low; k < len(power); k++ {
		total += power[k]
		if power[k] > power[best] {
			best = k
		}
	}
	width := int(math.Ceil(math.Max(2.4/seconds, slack*float64(best)*step) / step)) // the window's main lobe at least
	line := 0.0
	for k := max(low, best-width); k < min(len(power), best+width+1); k++ {
		line += power[k]
	}
	if total <= 0 {
		return 0, 0, nil
	}
	return line / total, float64(best) * step, nil
}

// steadyContents judges a take without onsets.
func steadyContents(src signal.Source, levels []float64, rangeDB float64) (*result.Contents, error) {
	c := &result.Contents{Looks: "unclear", Reason: fmt.Sprintf("no onsets, levels within %.0f dB", rangeDB)}
	var tones []float64
	var pure int
	for k := range 8 {
		at := int64((0.05 + 0.1*float64(k)) * float64(src.Len()))
		share, hz, err := purityAt(src, at, 0.05, 0.08) // a sweep moves on meanwhile
		if err != nil {
			return nil, err
		}
		if share > forkPurity {
			pure, tones = pure+1, append(tones, hz)
		}
	}
	switch {
	case pure >= 6 && slices.IsSorted(tones) && tones[len(tones)-1] > 4*tones[0]:
		c.Looks, c.Reason = "sweep", fmt.Sprintf("one line that rises from %.0f to %.0f Hz", tones[0], tones[len(tones)-1])
	case pure >= 6 && slices.Max(tones) < 1.02*slices.Min(tones) && slices.Max(levels) > -60 && tones[0] > 130:
		c.Looks, c.Reason, c.PitchHz = "tone", fmt.Sprintf("one steady line at %.1f Hz", tones[0]), tones[0]
	case pure < 6 && rangeDB < steadyDB:
		c.Looks = "quiet"
	}
	return c, nil
}

// middleValue is the upper median; 0 for none.
func middleValue(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	return slices.Sorted(slices.Values(values))[len(values)/2]
}
