package report

import (
	"strings"

	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/font"
)

// hasGlyphs tells whether the figures' typeface can write words. It has Latin,
// Greek and Cyrillic.
func hasGlyphs(words string) bool {
	return !strings.ContainsFunc(words, func(r rune) bool { return !hasGlyph(r) })
}

func hasGlyph(r rune) bool {
	if r >= ' ' && r <= '~' {
		return true
	}
	face := font.DefaultCache.Lookup(typeface(sizeSmall, false), sizeSmall)
	var buf sfnt.Buffer
	i, err := face.Face.GlyphIndex(&buf, r)
	return err == nil && i != 0
}

// inFont is words for a figure, or what can stand for them where the typeface
// lacks a letter; the text beside the figure has the words themselves.
func inFont(words, instead string) string {
	words = oneLine(words)
	if hasGlyphs(words) {
		return words
	}
	return instead
}

// withoutGaps puts one ellipsis where letters are missing, so that a name from
// a file never draws empty boxes.
func withoutGaps(words string) string {
	if hasGlyphs(words) {
		return words
	}
	var b strings.Builder
	gap := false
	for _, r := range words {
		if ok := hasGlyph(r); ok {
			b.WriteRune(r)
			gap = false
		} else if !gap {
			b.WriteRune('…')
			gap = true
		}
	}
	return b.String()
}
