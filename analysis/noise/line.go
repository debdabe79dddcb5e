package noise

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"saddlewise/analysis/signal"
)

const (
	contrastNear = 4 // bins beside a peak that must lie below it, from
	contrastFar  = 9 // to
	otherLines   = 5
	certainDB    = 6.0

	taperedSegments = 0.7 // both ends of a recording together
)

// peak is a bin that stands out of its neighbours.
type peak struct {
	bin  float64 // interpolated
	over float64 // density over the floor's
	p    float64 // chance that noise alone does this in one bin
}

// findPeaks lists the local maxima that noise would make in less than the
// share p of all bins.
func findPeaks(s *spectrum, f *floorCurve, p float64) []peak {
	var out []peak
	threshold := distuv.ChiSquared{K: s.dof}.Quantile(1-p) / s.dof
	for k := 3; k < len(s.power)-3; k++ {
		v := s.power[k]
		if v < s.power[k-1] || v <= s.power[k+1] {
			continue
		}
		floor := f.beside(s, k)
		if v < threshold*floor {
			continue
		}
		floor = math.Max(floor, f.density(k)) // last, as it takes longer
		if !(floor > 0) || v < threshold*floor {
			continue
		}
		out = append(out, peak{
			bin: float64(k) + interpolate(s, f, k), over: v / floor,
			p: distuv.ChiSquared{K: s.dof}.Survival(v / floor * s.dof),
		})
	}
	return out
}

// beside is the mean density beside bin k where no line is known: a hill of
// noise is as high there, a line is not.
func (f *floorCurve) beside(s *spectrum, k int) float64 {
	sum, n := 0.0, 0
	for d := contrastNear; d <= contrastFar; d++ {
		for _, j := range [2]int{k - d, k + d} {
			if j > 0 && j < len(s.power) && !f.masked[j] {
				sum += s.power[j]
				n++
			}
		}
	}
	if n < contrastFar-contrastNear {
		return 0
	}
	return sum / float64(n)
}

// interpolate is how far the line at bin k lies from it, in bins: for the
// Hann window two neighbouring amplitudes of ratio r make (2r-1)/(r+1).
func interpolate(s *spectrum, f *floorCurve, k int) float64 {
	amplitude := func(j int) float64 { return math.Sqrt(math.Max(0, s.power[j]-f.density(j))) }
	left, middle, right := amplitude(k-1), amplitude(k), amplitude(k+1)
	if middle == 0 {
		return 0
	}
	offset := func(r float64) float64 { return (2*r - 1) / (r + 1) }
	if right > left {
		return math.Max(0, offset(right/middle))
	}
	return -math.Max(0, offset(left/middle))
}

// measureLine sums the main lobe of the line near bin and takes the floor
// off.
func measureLine(s *spectrum, f *floorCurve, bin float64, half int) (line Line, power float64) {
	k := int(math.Round(bin))
	lobe, beneath, top := 0.0, 0.0, 0.0
	for j := max(1, k-half); j <= min(k+half, len(s.power)-1); j++ {
		lobe += s.power[j]
		beneath += f.density(j)
		top = math.Max(top, s.power[j])
	}
	power = math.Max(0, lobe-beneath) * s.stepHz
	floor := math.Max(f.density(k), math.SmallestNonzeroFloat64)
	// A sine of power P in noise of density S over T seconds: its power has
	// the relative variance 2 S / (P T); the noise in the lobe's width adds its
	// own. The tapered ends count for less.
	t := s.seconds - taperedSegments/s.stepHz
	width := float64(2*half+1) * s.stepHz
	own := floor * floor * width / (power * power * t)
	variance := 2*floor/(power*t) + own
	return Line{
		Hz: bin * s.stepHz, LevelDBFS: signal.PowerToDBFS(power),
		PlusMinusDB:  10 / math.Ln10 * math.Sqrt(variance),
		AboveFloorDB: signal.PowerToDB(top / floor),
	}, power
}

// sortLines finds all lines and tells hum from others.
func sortLines(s *spectrum, f *floorCurve, o Options, upperHz float64) (*Hum, []Line) {
	peaks := clearPeaks(s, f)
	hum := findHum(s, f, peaks, o, upperHz)
	var others []Line
	strict := falseAlarm / float64(len(s.power))
	for _, k := range peaks {
		hz := k.bin * s.stepHz
		if k.p > strict || hz < LowerHz/2 || hz > upperHz || hum.explains(hz, s.stepHz) {
			continue
		}
		line, _ := measureLine(s, f, k.bin, lobeBins)
		others = append(others, line)
	}
	slices.SortFunc(others, func(a, b Line) int {
		switch {
		case a.AboveFloorDB > b.AboveFloorDB:
			return -1
		case a.AboveFloorDB < b.AboveFloorDB:
			return 1
		}
		return 0
	})
	return hum, others[:min(len(others), otherLines)]
}

// clearPeaks draws the floor again without the lines it first saw, and lists
// the peaks over that.
func clearPeaks(s *spectrum, f *floorCurve) []peak {
	for range 2 {
		for _, k := range findPeaks(s, f, falseAlarm/float64(len(s.power))) {
			f.mask(k.bin, lobeBins)
		}
		f.draw(s)
	}
	return findPeaks(s, f, weakAlarm)
}
