package circuit

import "math"

// Fault is what may be wrong with one disc.
type Fault int

// The faults.
const (
	sound   Fault = iota
	Open          // a broken wire or electrode
	Shorted       // glue or solder bridges its faces
)

// FaultEffect is what one faulty disc does to the discs that are left. Levels
// are those of one disc moved alone, well above the corner; -Inf where it
// falls silent, NaN where there is no such disc.
type FaultEffect struct {
	SourceFarad   float64 // +Inf: the output is shorted
	CornerHz      float64
	SameGroupDB   float64 // of discs in the faulty one's group
	OtherGroupsDB float64 // of discs in other groups; in parallel every disc is a group
}

// WithFault is what one faulty disc does.
func (c Circuit) WithFault(f Fault) FaultEffect {
	s, _ := c.shape()
	e := FaultEffect{SameGroupDB: math.NaN(), OtherGroupsDB: math.NaN()}
	if s.each > 1 {
		e.SameGroupDB = c.levelDB(1, 0, f) - c.levelDB(1, 0, sound)
	}
	if s.groups > 1 {
		e.OtherGroupsDB = c.levelDB(s.each, 0, f) - c.levelDB(s.each, 0, sound)
	}
	e.SourceFarad = c.output(nowhere, 0, f).farad
	e.CornerHz = 1 / (2 * math.Pi * c.InputOhm * (e.SourceFarad + c.ShuntFarad()))
	return e
}

// levelDB is the level at the input, re the moved disc's own voltage, well
// above the corner.
func (c Circuit) levelDB(moved, faulty int, f Fault) float64 {
	out := c.output(moved, faulty, f)
	if out.farad == 0 || math.IsInf(out.farad, 1) {
		return math.Inf(-1)
	}
	return 20 * math.Log10(out.volts*out.farad/(out.farad+c.ShuntFarad()))
}

// source is a voltage behind a capacitance: any network of discs, seen from
// its two ends (Thevenin).
type source struct{ volts, farad float64 }

// nowhere is no disc's number.
const nowhere = -1

// output is the whole pickup when disc number moved makes 1 V and disc number
// faulty has fault f. Discs are numbered group by group.
func (c Circuit) output(moved, faulty int, f Fault) source {
	s, _ := c.shape()
	groups := make([]source, s.groups)
	for g := range groups {
		discs := make([]source, s.each)
		for d := range discs {
			discs[d] = c.disc(g*s.each+d, moved, faulty, f)
		}
		groups[g] = join(discs, s.parallelIn)
	}
	return join(groups, !s.parallelIn)
}

func (c Circuit) disc(number, moved, faulty int, f Fault) source {
	one := source{0, c.DiscNF * 1e-9}
	if number == moved {
		one.volts = 1
	}
	if number == faulty {
		switch f {
		case Open:
			one = source{0, 0}
		case Shorted:
			one = source{0, math.Inf(1)}
		}
	}
	return one
}

func join(parts []source, parallel bool) source {
	if parallel {
		return inParallel(parts)
	}
	return inSeries(parts)
}

// inSeries adds voltages; the inverse capacitances add.
func inSeries(parts []source) source {
	volts, inverse := 0.0, 0.0
	for _, p := range parts {
		volts += p.volts
		inverse += 1 / p.farad
	}
	return source{volts, 1 / inverse}
}

// inParallel adds capacitances; charges add, so the voltage is their sum over
// the whole capacitance.
func inParallel(parts []source) source {
	coulomb, farad := 0.0, 0.0
	for _, p := range parts {
		farad += p.farad
		if p.volts != 0 {
			coulomb += p.volts * p.farad
		}
	}
	if farad == 0 || math.IsInf(farad, 1) {
		return source{0, farad}
	}
	return source{coulomb / farad, farad}
}
