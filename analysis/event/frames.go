package event

import (
	"context"
	"fmt"
	"math"

	"saddlewise/analysis/signal"
)

// One frame is about a millisecond of the take: mean squares in three bands
// and over all of them, and the sums of its samples and of their squares. The
// low band holds a low string's fundamental, the middle one a soft contact, the
// high one a hard contact and the edge of a release, which stands out of
// ringing that has lost its highs.
type frame struct{ low, mid, high, wide, sum, square float64 }

// subRateHz is near the rate that frames are made at: detection needs no more
// bandwidth, and gains by less noise.
const subRateHz = 16000.0

// frames reads a take frame by frame.
type frames struct {
	bands      bandFilters
	decimation int
	length     int // of a frame, samples
	at         int64
}

func newFrames(rateHz float64) frames {
	d := max(1, int(math.Round(rateHz/subRateHz)))
	n := d * max(1, int(math.Round(rateHz/float64(d)/1000)))
	return frames{bands: newBandFilters(rateHz / float64(d)), decimation: d, length: n}
}

// read pushes the frames from the last one read on that end by sample to.
func (f *frames) read(ctx context.Context, src signal.Source, to int64, push func(frame)) error {
	const most = 1 << 14 // samples at once
	length := int64(f.length)
	for to = min(to, src.Len()); f.at+length <= to; {
		if err := ctx.Err(); err != nil {
			return err
		}
		x, err := signal.Segment(src, f.at, min(most/length+1, (to-f.at)/length)*length)
		if err != nil {
			return fmt.Errorf("read samples at %d: %w", f.at, err)
		}
		if len(x) < f.length {
			return nil
		}
		for ; len(x) >= f.length; x = x[f.length:] {
			push(f.bands.frame(x[:f.length], f.decimation))
			f.at += length
		}
	}
	return nil
}
