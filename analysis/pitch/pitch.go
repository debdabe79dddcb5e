// Package pitch measures the frequency of the lowest string mode of one
// plucked, struck or bowed note.
//
// The partials of a stiff string lie at f_n = n f0 sqrt(1 + B n^2) (H. Fletcher,
// J. Acoust. Soc. Am. 36, 203-209, 1964; Fletcher & Rossing, The Physics of
// Musical Instruments, 2nd ed., section 2.18). The lowest mode is f1 =
// f0 sqrt(1 + B). It is read from a joint fit of all partials, so it holds
// when the first partial is weak or missing. No target frequency enters.
//
// Steps: lines of a windowed spectrum; string hypotheses (f0, B) scored by the
// likelihood of the lines they explain and of the partials they miss; the
// attack glide followed on all partials together and left out; each partial as
// a damped sinusoid by maximum likelihood; robust fit of f0 and B.
package pitch

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrNoPitch says that no pitch can be told; the wrapping error says why.
var ErrNoPitch = errors.New("no pitch")

// Options bound the search. The zero value is ready for use.
type Options struct {
	MinHz, MaxHz float64   // range of f1; default 25 and 2000
	HumHz        []float64 // known lines of hum; may be empty
}

// Partial is one partial that stands out of the noise.
type Partial struct {
	N             int
	Hz            float64
	SDHz          float64 // standard error
	LevelDB       float64 // re the strongest, at the start of the settled part
	DecayPerS     float64 // 1/time constant of the amplitude
	ResidualCents float64 // measured less fitted
	Used          bool    // weighed in the joint fit
}

// Pitch is what a note's partials say.
type Pitch struct {
	F1Hz, F1SDHz float64    // lowest string mode, its standard error
	F1RangeHz    [2]float64 // where partials lie that disagree or beat: two polarisations, double courses
	F0Hz         float64    // of the same string without stiffness
	B, BSD       float64    // inharmonicity coefficient, its standard error
	HasB         bool       // B is told: enough partials, and its standard error is small
	GlideCents   float64    // pitch over 20 to 150 ms above the settled pitch; NaN when it cannot be told
	SettledFromS float64    // from here on the pitch was read, from the start of x
	Partials     []Partial  // by N
	StrongestHz  float64
	SNRDB        float64 // strongest partial above the noise in its bandwidth
}

const (
	defaultMinHz = 25
	defaultMaxHz = 2000
	shortestS    = 0.15 // of a note that can be judged
	longestS     = 12   // what is read of a long note: longer takes add nothing a maker needs
	workRateHz   = 22000
	tellsB       = 0.3  // share of B that its standard error may be
	smallBSD     = 3e-5 // always good enough
	leftByBeats  = 2    // times the noise: what looked like a glide was none
)

// Measure reads one note: x begins at or shortly before its onset and ends
// where it is damped or sunk in noise. The error wraps ErrNoPitch when the
// note does not say.
func Measure(x []float64, rateHz float64, o Options) (Pitch, error) {
	if rateHz <= 0 || math.IsNaN(rateHz) || math.IsInf(rateHz, 0) {
		return Pitch{}, fmt.Errorf("sample rate %g Hz", rateHz)
	}
	if o.MinHz <= 0 {
		o.MinHz = defaultMinHz
	}
	if o.MaxHz <= 0 {
		o.MaxHz = defaultMaxHz
	}
	lent := memories.Get().(*memory)
	defer memories.Put(lent)
	n, err := prepare(x, rateHz, lent)
	if err != nil {
		return Pitch{}, err
	}
	return n.measure(o)
}

func (n note) measure(o Options) (Pitch, error) {
	lines := n.lines(o, lineWindowS)
	if len(lines) == 0 {
		return Pitch{}, fmt.Errorf("%w: no partial stands %d dB above the noise", ErrNoPitch, minLineSNRDB)
	}
	best, err := chooseString(lines, o, n.usefulHz())
	if err != nil {
		return Pitch{}, err
	}
	glide := n.followGlide(best, o.HumHz)
	fit := n.fitPartials(best, glide.settledS, o.HumHz)
	if glide.doubtful {
		whole := n.fitPartials(best, glide.attackS, o.HumHz)
		if whole.noise < leftByBeats*fit.noise {
			fit, glide.settledS, glide.told = whole, glide.attackS, false
		}
	}
	if 3*len(fit.partials) < min(len(best.matches), mostFitted) {
		fit.partials = best.coarse(glide.spreadCents)
	} else {
		best = best.reduced(fit.partials)
	}
	return assemble(n, best, glide, fit.partials, fit.planes)
}

// assemble fits the string to its partials and fills the result.
func assemble(note note, best hypothesis, glide glide, partials []partial, planes polarisations) (Pitch, error) {
	fit, ok := fitString(partials, best.s)
	if !ok {
		return Pitch{}, fmt.Errorf("%w: no partial could be followed through the note", ErrNoPitch)
	}
	least := leastSDCents(note.seconds()-glide.settledS) * math.Ln2 / 1200
	p := Pitch{
		F1Hz: fit.s.hz(1), F1SDHz: math.Hypot(fit.f1SDHz+fit.s.hz(1)*least, fit.s.hz(1)*planes.unsure()),
		F0Hz: fit.s.f0, B: fit.s.b, BSD: fit.bSD + fit.leastBSD(partials, least),
		F1RangeHz: fit.rangeHz, GlideCents: math.NaN(), SettledFromS: note.onsetS + glide.settledS,
	}
	p.HasB = fit.enough && p.BSD < math.Max(tellsB*p.B, smallBSD)
	strongest := 0
	for i, q := range partials {
		if q.amplitude > partials[strongest].amplitude {
			strongest = i
		}
	}
	p.StrongestHz, p.SNRDB = partials[strongest].hz, partials[strongest].snrDB
	for i, q := range partials {
		p.Partials = append(p.Partials, Partial{
			N: q.n, Hz: q.hz, SDHz: q.sdHz, DecayPerS: q.decay,
			LevelDB:       20 * math.Log10(q.amplitude/partials[strongest].amplitude),
			ResidualCents: cents(q.hz / fit.s.hz(q.n)), Used: fit.used[i],
		})
	}
	if glide.told {
		p.GlideCents = glide.cents - cents(p.F1Hz/best.s.hz(1))
	}
	return p, nil
}

// unsure is the standard error, relative, of taking one polarisation for the
// other.
func (p polarisations) unsure() float64 { return p.apart * math.Sqrt(p.doubt) }

// leastSDCents is what the fit cannot know of its own error when seconds of a
// note were read: glides not quite settled, polarisations too close to be told
// apart. Set so that two standard errors hold at least 95 % of rendered plucks.
func leastSDCents(seconds float64) float64 { return 0.02 + 0.08/(seconds*seconds) }

// leastBSD is the error of B when the middle of the partials used is off by
// half of least, relative to the first. Set as leastSDCents is.
func (f stringFit) leastBSD(p []partial, least float64) float64 {
	var n []float64
	for i, q := range p {
		if f.used[i] {
			n = append(n, float64(q.n))
		}
	}
	if len(n) == 0 {
		return 0
	}
	slices.Sort(n)
	k := median(n)
	return least * (1 + f.s.b*k*k) / (k * k)
}

func cents(ratio float64) float64 { return 1200 / math.Ln2 * math.Log(ratio) }

// stiffString is a string of partials.
type stiffString struct{ f0, b float64 }

// hz is the frequency of partial n.
func (s stiffString) hz(n int) float64 {
	k := float64(n)
	return k * s.f0 * math.Sqrt(1+s.b*k*k)
}

// near tells whether no partial of the two strings lies apart by what counts.
func (s stiffString) near(o stiffString) bool {
	return math.Abs(s.f0-o.f0) < 1e-5*s.f0 && math.Abs(s.b-o.b) < 1e-8
}
