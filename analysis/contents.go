package analysis

import (
	"fmt"
	"math"
	"slices"

	"saddlewise/analysis/recording"
	"saddlewise/analysis/result"
	"saddlewise/analysis/signal"
)

// What tells the tests apart, whatever a file's name says. Common practice,
// no source: a tap is gone in a tenth of a second, a string rings on with
// many partials, a fork with hardly any, a sweep never rests and rises, and
// silence stays within a few decibels. What lies between is unclear.
const (
	standsOutDB  = 20.0
	steadyDB     = 12.0
	onsetApartS  = 0.2
	tapGoneS     = 0.16 // to fall by 20 dB
	ringsOnS     = 0.34
	listenAfterS = 0.05
	listenS      = 0.3
	listenRateHz = 12000.0
	forkFallS    = 2.0
	purest       = 0.97 // share of power in one line: no plucked string
	forkPurity   = 0.9
	mixedPurity  = 0.75 // less: no fork
	mostJudged   = 8    // events by their envelope
	mostListened = 5    // and by their spectrum
)

// contentsOf says what the recording sounds like from its envelope and the
// spectra of its loudest moments.
func contentsOf(src signal.Source, e recording.Envelope) (*result.Contents, error) {
	if len(e.DBFS) < 8 {
		return &result.Contents{Looks: "unclear", Reason: "it is too short"}, nil
	}
	sorted := slices.Sorted(slices.Values(e.DBFS))
	floor, top := sorted[len(sorted)/10], sorted[len(sorted)-1]
	onsets := onsetsOf(e, floor)
	if len(onsets) == 0 {
		return steadyContents(src, float64(top), float64(top-floor))
	}
	return eventContents(src, e, onsets)
}

// onsetsOf lists the blocks in which the level has risen by half of
// standsOutDB within two blocks, and that stand out from the background and
// lie within 20 dB of the loudest.
func onsetsOf(e recording.Envelope, floorDBFS float32) []int {
	top := slices.Max(e.DBFS)
	var out []int
	for i := 2; i < len(e.DBFS); i++ {
		level := e.DBFS[i]
		if level-e.DBFS[i-2] < standsOutDB/2 || level < floorDBFS+standsOutDB || level < top-20 {
			continue
		}
		if n := len(out); n > 0 && float64(i-out[n-1])*e.StepS < onsetApartS {
			continue
		}
		out = append(out, i)
	}
	return out
}

// eventContents judges by how fast events die away and how pure they are.
func eventContents(src signal.Source, e recording.Envelope, onsets []int) (*result.Contents, error) {
	var falls []float64
	for k, i := range onsets[:min(len(onsets), mostJudged)] {
		end := len(e.DBFS)
		if k+1 < len(onsets) {
			end = onsets[k+1] - 1
		}
		falls = append(falls, fallS(e.DBFS[i:end], e.StepS))
	}
	fall := middleValue(falls)
	if fall <= tapGoneS {
		return &result.Contents{Looks: "tap", Reason: fmt.Sprintf("%d onsets, 20 dB down after %.2f s", len(onsets), fall), FallS: fall}, nil
	}
	purity, hz, err := purityOfEvents(src, e.StepS, onsets[:min(len(onsets), mostListened)])
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
func purityOfEvents(src signal.Source, stepS float64, onsets []int) (purity, hz float64, err error) {
	var purities, pitches []float64
	for _, i := range onsets {
		at := int64((float64(i)*stepS + listenAfterS) * src.Rate())
		x, err := signal.Segment(src, at, int64(listenS*src.Rate()))
		if err != nil {
			return 0, 0, fmt.Errorf("read at sample %d: %w", at, err)
		}
		x, rate := thinned(x, src.Rate())
		purity, hz := purityOf(x, rate, 0)
		purities, pitches = append(purities, purity), append(pitches, hz)
	}
	return middleValue(purities), middleValue(pitches), nil
}

// thinned averages neighbours down to a rate of listenRateHz or a little
// more: what strings and forks have above half of it is not worth a longer
// spectrum.
func thinned(x []float64, rateHz float64) ([]float64, float64) {
	d := max(1, int(rateHz/listenRateHz))
	y := make([]float64, len(x)/d)
	for i := range y {
		sum := 0.0
		for _, v := range x[i*d : (i+1)*d] {
			sum += v
		}
		y[i] = sum / float64(d)
	}
	return y, rateHz / float64(d)
}

// fallS is how long after its loudest block the level stays within 20 dB.
func fallS(levels []float32, stepS float64) float64 {
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
	return float64(n-loudest) * stepS
}

// purityOf is the share of the power above 30 Hz that the strongest line holds,
// with that line's frequency. The line may be as wide as its frequency times
// slack to either side.
func purityOf(x []float64, rate, slack float64) (share, hz float64) {
	if len(x) < 64 {
		return 0, 0
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
	width := int(math.Ceil(math.Max(2.4*rate/float64(len(x)), slack*float64(best)*step) / step)) // the window's main lobe at least
	line := 0.0
	for k := max(low, best-width); k < min(len(power), best+width+1); k++ {
		line += power[k]
	}
	if total <= 0 {
		return 0, 0
	}
	return line / total, float64(best) * step
}

// steadyContents judges a take without onsets.
func steadyContents(src signal.Source, topDBFS, rangeDB float64) (*result.Contents, error) {
	c := &result.Contents{Looks: "unclear", Reason: fmt.Sprintf("no onsets, levels within %.0f dB", rangeDB)}
	var tones []float64
	var pure int
	for k := range 8 {
		at := int64((0.05 + 0.1*float64(k)) * float64(src.Len()))
		x, err := signal.Segment(src, at, int64(0.05*src.Rate()))
		if err != nil {
			return nil, fmt.Errorf("read at sample %d: %w", at, err)
		}
		share, hz := purityOf(x, src.Rate(), 0.08) // a sweep moves on meanwhile
		if share > forkPurity {
			pure, tones = pure+1, append(tones, hz)
		}
	}
	switch {
	case pure >= 6 && slices.IsSorted(tones) && tones[len(tones)-1] > 4*tones[0]:
		c.Looks, c.Reason = "sweep", fmt.Sprintf("one line that rises from %.0f to %.0f Hz", tones[0], tones[len(tones)-1])
	case pure >= 6 && slices.Max(tones) < 1.02*slices.Min(tones) && topDBFS > -60 && tones[0] > 130:
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
