package pitch

import "testing"

// One note of 3 s at 48 kHz, as plucks come.
func BenchmarkMeasureThreeSeconds(b *testing.B) {
	p := drawn(13)
	p.rateHz, p.seconds = 48000, 3
	x := p.render()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Measure(x, p.rateHz, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
