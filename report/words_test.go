package report

import "testing"

func TestTrim(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want string
	}{{0, "0"}, {1e6, "1000000"}, {440, "440"}, {-40, "−40"}, {0.5, "0.5"}, {2.5e7, "25000000"}, {0.000012, "0.000012"},
		{100, "100"}, {48000, "48000"}, {441.25, "441.25"}, {-0.25, "−0.25"}, {1.0 / 3, "0.333333"}} {
		if got := trim(c.v); got != c.want {
			t.Errorf("trim(%g) = %q, want %q", c.v, got, c.want)
		}
	}
}

func TestSigned(t *testing.T) {
	for _, c := range []struct {
		v      float64
		digits int
		want   string
	}{{1.25, 1, "+1.2"}, {-0.04, 1, "0.0"}, {0, 0, "0"}, {-3, 0, "−3"}, {12, 2, "+12.00"}} {
		if got := signed(c.v, c.digits); got != c.want {
			t.Errorf("signed(%g, %d) = %q, want %q", c.v, c.digits, got, c.want)
		}
	}
}
