package tone

import "math"

// Other lines near the tone, mains hum above all, are fitted with it where they
// stand strayDB out of the noise: left in, they pull the tone's frequency by
// more than all noise does.
const (
	mostOthers = 4
	strayDB    = 12.0
)

// fitTone fits the strongest line of z together with its neighbours.
func fitTone(z []complex128, stepS float64) damped {
	lines := []damped{fitDamped(z, stepS)}
	rest := without(z, stepS, lines)
	for len(lines) <= mostOthers {
		hz, ok := lines[0].stray(rest, stepS)
		if !ok {
			break
		}
		lines = fitLines(z, stepS, append(lines, startNear(rest, stepS, hz)))
		rest = without(z, stepS, lines)
	}
	tone := lines[0]
	sd := math.Sqrt(tone.noise(rest, stepS) / 2) // of each real part, from the density at the line
	tone.alphaSD, tone.omegaSD = tone.alphaSD*sd, tone.omegaSD*sd
	return tone
}

// stray is the strongest line left in rest beside the tone, Hz.
func (d damped) stray(rest []complex128, stepS float64) (float64, bool) {
	hz, power := hannPowers(rest, stepS)
	own := d.omega / (2 * math.Pi)
	at, top := -1, 0.0
	for k, p := range power {
		if p > top && math.Abs(hz[k]-own)*float64(len(rest))*stepS > 4 {
			at, top = k, p
		}
	}
	if at < 0 || top < math.Pow(10, strayDB/10)*median(power)/math.Ln2 {
		return 0, false
	}
	return hz[at], true
}

// startNear fits the line near hz alone.
func startNear(z []complex128, stepS, hz float64) damped {
	d := fitDamped(turned(z, stepS, 2*math.Pi*hz), stepS)
	d.omega += 2 * math.Pi * hz
	return d
}
