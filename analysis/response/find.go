package response

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"saddlewise/analysis/signal"
)

const (
	foundOver    = 8.0 // peak of the phase correlation over its RMS; noise reaches about 5.5
	cutSlackS    = 0.01
	deadFrameS   = 0.01
	noPlaceSlack = 0.5 // of the sweep may lie outside the take and still be seen as cut
	pieceLowHz   = 60.0
	pieceSlackS  = 0.005 // between the arrivals of two octaves, besides two periods of the octave's width
	pieceClear   = 6.0   // an octave's peak over its RMS; noise reaches about 3.5
)

// place is where the sweep lies in the take.
type place struct {
	start int64   // sample of the take at which the reference begins
	over  float64 // peak over RMS
}

// locate slides the reference along the take by phase correlation (the
// cross-spectrum divided by its magnitude: Knapp & Carter, IEEE Trans. ASSP
// 24, 320-327, 1976), so that neither hum nor the response's own colour
// decides. Memory is bounded by the reference, not the take.
func locate(ctx context.Context, take signal.Source, r *reference) (place, error) {
	n := len(r.x)
	size := signal.PowerOfTwo(2 * n)
	fft := signal.NewFFT(size)
	block := make([]float64, size)
	copy(block, r.x)
	x := fft.Forward(nil, block)
	var y []complex128
	best := place{}
	outside := int64(noPlaceSlack * float64(n))
	for at := -outside; at == -outside || at+int64(n) < take.Len()+outside; at += int64(size - n) {
		if err := ctx.Err(); err != nil {
			return best, err
		}
		if err := readAround(take, block, at); err != nil {
			return best, err
		}
		y = fft.Forward(y, block)
		whiten(y, x, r, take.Rate()/float64(size))
		if p := highest(fft.Inverse(block, y), size-n); p.over > best.over {
			p.start += at
			best = p
		}
	}
	return best, best.judge(take, r)
}

// readAround reads len(dst) samples from first on, zeros outside the take.
func readAround(take signal.Source, dst []float64, first int64) error {
	clear(dst)
	skip := max(0, -first)
	if skip >= int64(len(dst)) || first+skip >= take.Len() {
		return nil
	}
	if _, err := take.ReadAt(dst[skip:], first+skip); err != nil && err != io.EOF {
		return fmt.Errorf("read take from sample %d: %w", first+skip, err)
	}
	return nil
}

func whiten(y, x []complex128, r *reference, step float64) {
	for k := range y {
		c := y[k] * cmplx.Conj(x[k])
		hz := float64(k) * step
		if a := cmplx.Abs(c); a > 1e-30 && hz > r.lowHz && hz < r.highHz {
			y[k] = c / complex(a, 0)
		} else {
			y[k] = 0
		}
	}
}

func highest(c []float64, lags int) place {
	p, sum, peak := place{}, 0.0, 0.0
	for i, v := range c {
		sum += v * v
		if i < lags && math.Abs(v) > peak {
			p.start, peak = int64(i), math.Abs(v)
		}
	}
	if sum == 0 {
		return p
	}
	p.over = peak / math.Sqrt(sum/float64(len(c)))
	return p
}

// judge says why the sweep cannot be used, nil when it can.
func (p place) judge(take signal.Source, r *reference) error {
	seconds := func(n int64) float64 { return float64(n) / take.Rate() }
	slack, end := int64(cutSlackS*take.Rate()), p.start+int64(len(r.x))
	switch {
	case p.over < foundOver:
		return fmt.Errorf("%w: nothing in the take matches the reference", ErrNoSweep)
	case p.start < -slack:
		return fmt.Errorf("%w: the take begins %.2f s after the sweep does", ErrNoSweep, seconds(-p.start))
	case end > take.Len()+slack:
		return fmt.Errorf("%w: the take ends %.2f s before the sweep does", ErrNoSweep, seconds(end-take.Len()))
	}
	return nil
}

// checkWhole refuses a take with digital silence inside the sweep.
func checkWhole(y []float64, rateHz float64) error {
	run, most := 0, 0
	for _, v := range y {
		if v == 0 {
			run++
			most = max(most, run)
		} else {
			run = 0
		}
	}
	if s := float64(most) / rateHz; s > deadFrameS {
		return fmt.Errorf("%w: %.0f ms of digital silence within it", ErrNoSweep, 1000*s)
	}
	return nil
}

// checkPieces refuses a response whose octaves arrive at different times.
func (im *impulse) checkPieces() error {
	n := len(im.h)
	low, high := im.ref.validHz()
	var times, slack []float64
	for hz := math.Max(pieceLowHz, low); 2*hz <= high; hz *= 2 {
		first, end := int(hz/im.rateHz*float64(n)), int(2*hz/im.rateHz*float64(n))
		if at, clear := arrival(im.c[first:end]); clear {
			times = append(times, at*float64(n)/im.rateHz)
			slack = append(slack, pieceSlackS+2/hz)
		}
	}
	for i, at := range times {
		for j, before := range times[:i] {
			if d := math.Abs(at - before); d > slack[j] {
				return fmt.Errorf("%w: parts of the sweep are shifted against each other by %.0f ms, as when pieces are missing", ErrNoSweep, 1000*d)
			}
		}
	}
	return nil
}

// arrival is where the envelope of a band peaks, as a share of the whole
// response from -0.5 to 0.5, and whether it stands out.
func arrival(band []complex128) (at float64, clear bool) {
	m := signal.PowerOfTwo(len(band))
	shifted := make([]complex128, m)
	for i, v := range band {
		shifted[i] = v * complex(math.Sin(math.Pi*(float64(i)+0.5)/float64(len(band))), 0)
	}
	best, sum := 0.0, 0.0
	for i, v := range fourier.NewCmplxFFT(m).Sequence(nil, shifted) {
		e := power(v)
		sum += e
		if e > best {
			best, at = e, float64(i)/float64(m)
		}
	}
	if at > 0.5 {
		at--
	}
	return at, best > pieceClear*pieceClear*sum/float64(m)
}
