package report

import (
	"cmp"
	"encoding/binary"
	"image"
	"image/color"
	"slices"
)

// indexed is a picture in at most 256 colours: a figure has few inks and their
// edges, and is a fraction of the size then.
func indexed(img *image.RGBA) *image.Paletted {
	runs := runsOf(img.Pix)
	buckets := bucketsOf(runs)
	order := make([]int, 0, 1024)
	for key := range buckets {
		if buckets[key].n > 0 {
			order = append(order, key)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(buckets[b].n, buckets[a].n) })
	kept := order[:min(len(order), 256)]
	colours := make(color.Palette, len(kept))
	index := make([]uint8, len(buckets))
	for i, key := range kept {
		colours[i], index[key] = buckets[key].mean(), uint8(i)
	}
	for _, key := range order[len(kept):] {
		index[key] = uint8(colours.Index(buckets[key].mean()))
	}
	out := image.NewPaletted(img.Rect, colours)
	rest := out.Pix
	for _, run := range runs {
		if i := index[run.key()]; i > 0 { // 0 is paper, and there already
			for k := range rest[:run.n] {
				rest[k] = i
			}
		}
		rest = rest[run.n:]
	}
	return out
}

// bucket gathers pixels of nearly one colour.
type bucket struct{ n, r, g, b int }

func (s bucket) mean() color.Color {
	at := func(sum int) uint8 { return uint8((sum + s.n/2) / s.n) }
	return color.RGBA{at(s.r), at(s.g), at(s.b), 0xff}
}

func bucketsOf(runs []pixelRun) []bucket {
	buckets := make([]bucket, 1<<15)
	for _, p := range runs {
		s := &buckets[p.key()]
		n := int(p.n)
		s.n, s.r, s.g, s.b = s.n+n, s.r+n*int(p.r), s.g+n*int(p.g), s.b+n*int(p.b)
	}
	return buckets
}

// pixelRun is n neighbours of one colour.
type pixelRun struct {
	n       uint32
	r, g, b uint8
}

// key is the upper five bits of each colour.
func (p pixelRun) key() int { return int(p.r>>3)<<10 | int(p.g>>3)<<5 | int(p.b>>3) }

// runsOf tells pixels of four bytes as runs: most of a figure is paper.
func runsOf(pix []uint8) []pixelRun {
	runs := make([]pixelRun, 0, len(pix)/64)
	for len(pix) > 0 {
		n := sameColour(pix)
		runs = append(runs, pixelRun{uint32(n / 4), pix[0], pix[1], pix[2]})
		pix = pix[n:]
	}
	return runs
}

// sameColour is how many bytes the pixels take that have the first one's
// colour; it compares two at once.
func sameColour(pix []uint8) int {
	one := binary.LittleEndian.Uint32(pix)
	two := uint64(one)<<32 | uint64(one)
	n := 4
	for n+8 <= len(pix) && binary.LittleEndian.Uint64(pix[n:]) == two {
		n += 8
	}
	for n < len(pix) && binary.LittleEndian.Uint32(pix[n:]) == one {
		n += 4
	}
	return n
}
