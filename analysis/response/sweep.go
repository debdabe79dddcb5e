package response

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"

	"saddlewise/analysis/signal"
	"saddlewise/analysis/stats"
)

const (
	perOctave   = 48
	clearDB     = 10.0 // signal over noise below which a figure says little
	levelLowHz  = 200.0
	levelHighHz = 2000.0
	plotBeforeS = 0.002
	plotAfterS  = 0.04
	peakReachS  = 0.02
)

// The linear response is cut with a long window at low frequencies and
// shorter ones above, in which high frequencies have died away and less noise
// is let in. Neighbours are blended over half an octave.
var linearWindows = []struct{ fromHz, preS, postS float64 }{
	{0, 0.25, 1.0}, {150, 0.12, 0.4}, {1500, 0.04, 0.13},
}

// windowWords state the windows for reports.
const windowWords = "1.0 s below 150 Hz, 0.4 s to 1.5 kHz, 0.13 s above; half-cosine ends; pre-window a quarter to a third"

// SweepResponse is the response of everything between the player's output and
// the recorder's input. 0 dB is its own mean level from 200 Hz to 2 kHz.
type SweepResponse struct {
	Hz           []float64 // 48 to the octave, over the band in which the sweep is whole
	MagnitudeDB  []float64
	GroupDelayMS []float64 // from the arrival of the impulse response's peak
	SNRDB        []float64 // response over noise; nil when too little silence beside the sweep shows the noise

	GainDB     float64 // level of 0 dB: take over reference
	StartS     float64 // of the sweep in the take
	ClockPPM   float64 // by how much the recorder's clock runs ahead of the player's; corrected
	ClockKnown bool    // false: too few bands stand out of the noise; nothing was corrected

	ClockPlusMinusPPM float64 // standard error of ClockPPM

	Window       string // of the linear response
	ImpulseMS    []float64
	Impulse      []float64 // re its largest value
	LowMinus3Hz  *float64  // nil: not within the band
	HighMinus3Hz *float64
	Peaks        []Peak
	Distortion   []Distortion
	Corner       Corner
}

// FromSweep finds the reference in the take, corrects for the difference of
// the two clocks, deconvolves, and measures linear response and distortion
// (Farina, AES 108th Convention, preprint 5093, 2000, and 122nd, 2007).
//
// reference is what was played: a recording of it or [SweepParams.Source]. It
// may have another rate than the take. Memory is some multiples of the
// reference. The error is ErrNoSweep, with the reason, when the sweep is
// missing, cut, broken or too quiet.
func FromSweep(ctx context.Context, take, reference signal.Source) (SweepResponse, error) {
	played, err := readReference(reference)
	if err != nil {
		return SweepResponse{}, err
	}
	ref := played.at(take.Rate(), 0)
	found, err := locate(ctx, take, ref)
	if err != nil {
		return SweepResponse{}, err
	}
	y, lead, err := around(take, found.start, len(ref.x))
	if err != nil {
		return SweepResponse{}, err
	}
	noise, err := silence(ctx, take, found.start, found.start+int64(len(ref.x)))
	if err != nil {
		return SweepResponse{}, err
	}
	out := SweepResponse{StartS: float64(found.start) / take.Rate(), Window: windowWords}
	in := newRecorded(y, lead, len(ref.x))
	im := in.by(ref)
	if err := im.checkClear(noise); err != nil {
		return out, err
	}
	if err := im.checkPieces(); err != nil {
		return out, err
	}
	if im, err = out.correctClock(ctx, im, noise, func(ppm float64) *impulse {
		return in.by(played.at(take.Rate(), ppm))
	}); err != nil {
		return out, err
	}
	out.measure(im, noise)
	return out, nil
}

// checkClear refuses a sweep that the noise nearly hides.
func (im *impulse) checkClear(noise *signal.PSD) error {
	if noise == nil {
		return nil
	}
	lin, n := newLinear(im, im.peakS(peakReachS)), noiseIn{noise, im}
	low, high := im.ref.validHz()
	var snr []float64
	for _, hz := range logSteps(low, high) {
		h, _, energy := lin.at(hz)
		snr = append(snr, signal.PowerToDB(power(h)/n.power(hz, energy)))
	}
	if m := stats.Median(snr); m < clearDB {
		return fmt.Errorf("%w: it lies only %.0f dB above the noise; play it louder", ErrNoSweep, m)
	}
	return nil
}

// Source is the stimulus as a reference to [FromSweep].
func (p SweepParams) Source() (signal.Source, error) {
	x, err := Sweep(p)
	if err != nil {
		return nil, err
	}
	return signal.Memory{Samples: x, SampleRate: p.RateHz}, nil
}

// around reads the sweep with a little before and its dying away.
func around(take signal.Source, start int64, length int) (y []float64, lead int, err error) {
	from := max(0, start-int64(beforeS*take.Rate()))
	y, err = signal.Segment(take, from, start+int64(length)+int64(afterS*take.Rate())-from)
	if err != nil {
		return nil, 0, fmt.Errorf("read sweep: %w", err)
	}
	lead = int(start - from)
	return y, lead, checkWhole(y[max(0, lead):min(len(y), lead+length)], take.Rate())
}

const (
	silenceSegmentS = 0.34 // long enough to show hum as the lines it is
	silenceS        = 3.0  // of silence are enough
	silenceGapS     = 0.05
	diedAwayS       = 1.0
	noiseSmooth     = 0.02 // share of the frequency that the noise is averaged over
)

// silence is the spectrum of the noise beside the sweep; nil when there is
// too little of it.
func silence(ctx context.Context, take signal.Source, start, end int64) (*signal.PSD, error) {
	rate := take.Rate()
	n := signal.PowerOfTwo(int(silenceSegmentS * rate))
	w := signal.NewWelch(rate, signal.Hann(n), nil)
	gap := int64(silenceGapS * rate)
	before, err := signal.Segment(take, max(0, start-gap-int64(silenceS*rate)), min(start-gap, int64(silenceS*rate)))
	if err != nil {
		return nil, fmt.Errorf("read silence: %w", err)
	}
	after, err := signal.Segment(take, end+int64(diedAwayS*rate), int64(silenceS*rate))
	if err != nil {
		return nil, fmt.Errorf("read silence: %w", err)
	}
	w.Add(longer(before, after))
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p, err := w.PSD()
	if err != nil || p.Segments < 3 {
		return nil, nil
	}
	return &p, nil
}

func longer(a, b []float64) []float64 {
	if len(b) > len(a) {
		return b
	}
	return a
}

// measure fills in everything from the impulse response.
func (r *SweepResponse) measure(im *impulse, noise *signal.PSD) {
	at := im.peakS(peakReachS)
	low, high := im.ref.validHz()
	r.Hz = logSteps(low, high)
	lin := newLinear(im, at)
	n := noiseIn{noise, im}
	level := make([]float64, len(r.Hz))
	for i, hz := range r.Hz {
		h, delay, energy := lin.at(hz)
		level[i] = power(h)
		r.GroupDelayMS = append(r.GroupDelayMS, 1000*delay/im.rateHz)
		if noise != nil {
			r.SNRDB = append(r.SNRDB, signal.PowerToDB(level[i]/n.power(hz, energy)))
		}
	}
	r.GainDB = signal.PowerToDB(meanLevel(r.Hz, level))
	for _, v := range level {
		r.MagnitudeDB = append(r.MagnitudeDB, signal.PowerToDB(v)-r.GainDB)
	}
	r.drawImpulse(im, at)
	r.findEdges()
	r.findPeaks(lin)
	r.fitCorner()
	r.Distortion = distortion(im, at, lin, n)
}

// stands tells whether the response stands out of the noise by that much, as
// far as the noise is known.
func (r *SweepResponse) stands(i int, byDB float64) bool { return r.SNRDB == nil || r.SNRDB[i] >= byDB }

func logSteps(low, high float64) []float64 {
	var hz []float64
	first := math.Ceil(perOctave * math.Log2(low/1000))
	for k := first; ; k++ {
		f := 1000 * math.Pow(2, k/perOctave)
		if f > high {
			return hz
		}
		hz = append(hz, f)
	}
}

// meanLevel is the mean power from 200 Hz to 2 kHz, every octave weighing
// the same; of the whole band where it holds none of that.
func meanLevel(hz, level []float64) float64 {
	sum, n, all := 0.0, 0, 0.0
	for i, f := range hz {
		all += level[i]
		if f >= levelLowHz && f <= levelHighHz {
			sum += level[i]
			n++
		}
	}
	if n == 0 {
		return all / float64(len(level))
	}
	return sum / float64(n)
}

func (r *SweepResponse) drawImpulse(im *impulse, at float64) {
	n, peak := len(im.h), 0.0
	centre := int(math.Round(at * im.rateHz))
	for i := -int(plotBeforeS * im.rateHz); i < int(plotAfterS*im.rateHz); i++ {
		v := im.h[((centre+i)%n+n)%n]
		peak = math.Max(peak, math.Abs(v))
		r.ImpulseMS = append(r.ImpulseMS, 1000*float64(i)/im.rateHz)
		r.Impulse = append(r.Impulse, v)
	}
	for i := range r.Impulse {
		r.Impulse[i] /= peak
	}
}

// linear is the windowed linear response.
type linear struct {
	spectra []spectrum
	energy  []float64
}

func newLinear(im *impulse, at float64) linear {
	l := linear{}
	for _, w := range linearWindows {
		cut := im.cut(at, math.Min(w.preS, im.ref.roomS()), w.postS)
		l.spectra = append(l.spectra, cut.transform(im.rateHz))
		l.energy = append(l.energy, cut.energy)
	}
	return l
}

// at is the response, its group delay in samples, and the energy of the
// window, blended between the windows.
func (l linear) at(hz float64) (h complex128, delay, energy float64) {
	var m complex128
	for i := range l.spectra {
		share := 1.0
		if i > 0 {
			share *= soft(0.5 + 2*math.Log2(hz/linearWindows[i].fromHz))
		}
		if i+1 < len(l.spectra) {
			share *= 1 - soft(0.5+2*math.Log2(hz/linearWindows[i+1].fromHz))
		}
		if share == 0 {
			continue
		}
		c, moment := l.spectra[i].at(hz)
		h += complex(share, 0) * c
		m += complex(share, 0) * moment
		energy += share * l.energy[i]
	}
	return h, delayProduct(h, m) / math.Max(power(h), math.SmallestNonzeroFloat64), energy
}

// noiseIn is what the take's noise becomes in a windowed response.
type noiseIn struct {
	psd *signal.PSD
	im  *impulse
}

// power is the noise's expected power at hz through a window of that energy.
func (n noiseIn) power(hz, energy float64) float64 {
	if n.psd == nil {
		return 0
	}
	half := math.Max(n.psd.StepHz/2, noiseSmooth*hz)
	density := n.psd.Band(hz-half, hz+half) / (2 * half)
	x := n.im.spec[int(math.Round(hz/n.im.rateHz*float64(len(n.im.h))))]
	return energy * density * n.im.rateHz / 2 / math.Max(real(x*cmplx.Conj(x)), math.SmallestNonzeroFloat64)
}
