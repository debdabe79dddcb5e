package report

import (
	"cmp"
	"image"
	"image/color"
	"slices"
)

// indexed is a picture in at most 256 colours: a figure has few inks and their
// edges, and is a fraction of the size then.
func indexed(img *image.RGBA) *image.Paletted {
	buckets := bucketsOf(img)
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
	for i := range out.Pix {
		out.Pix[i] = index[bucketKey(img.Pix[4*i:])]
	}
	return out
}

// bucket gathers pixels of nearly one colour.
type bucket struct{ n, r, g, b int }

func (s bucket) mean() color.Color {
	at := func(sum int) uint8 { return uint8((sum + s.n/2) / s.n) }
	return color.RGBA{at(s.r), at(s.g), at(s.b), 0xff}
}

func bucketsOf(img *image.RGBA) []bucket {
	buckets := make([]bucket, 1<<15)
	for i := 0; i < len(img.Pix); i += 4 {
		px := img.Pix[i : i+4 : i+4]
		s := &buckets[bucketKey(px)]
		s.n, s.r, s.g, s.b = s.n+1, s.r+int(px[0]), s.g+int(px[1]), s.b+int(px[2])
	}
	return buckets
}

// bucketKey is the upper five bits of each colour.
func bucketKey(px []uint8) int {
	return int(px[0]>>3)<<10 | int(px[1]>>3)<<5 | int(px[2]>>3)
}
