package report

import "testing"

// BenchmarkFigures draws each picture of six strings.
func BenchmarkFigures(b *testing.B) {
	for _, f := range figuresOf(sample(6)) {
		b.Run(f.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := f.png(onPage); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
