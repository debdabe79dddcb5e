package stage

import (
	"fmt"
	"slices"

	"saddlewise/analysis/signal"
)

// number gives every candidate its string. Where no TOML lists the strings,
// notes are numbered by pitch, the highest first; takes whose note cannot be
// matched become problems.
func (st *Stage) number(found []candidate) []candidate {
	notes := notesOf(found)
	if len(notes) == 0 {
		return found
	}
	if why := byPitch(notes, found); why != "" {
		return st.dropNotes(found, why)
	}
	for i, n := range notes {
		st.Strings = append(st.Strings, String{i + 1, n.Name, n.Hz(st.A4Hz)})
	}
	st.Assumptions = append(st.Assumptions, "no build.toml lists the strings, so they are numbered by pitch: "+st.tuning())
	for i, c := range found {
		if c.note != nil {
			found[i].String = 1 + slices.IndexFunc(notes, func(n signal.Note) bool { return n.MIDI == c.note.MIDI })
		}
	}
	return found
}

// notesOf lists the different notes, highest first.
func notesOf(found []candidate) []signal.Note {
	var notes []signal.Note
	for _, c := range found {
		if c.note != nil {
			notes = append(notes, *c.note)
		}
	}
	slices.SortStableFunc(notes, func(a, b signal.Note) int { return b.MIDI - a.MIDI })
	return slices.CompactFunc(notes, func(a, b signal.Note) bool { return a.MIDI == b.MIDI })
}

// byPitch says why notes cannot be numbered by pitch; empty where they can.
func byPitch(notes []signal.Note, found []candidate) string {
	highest := 0
	for _, c := range found {
		if c.note == nil {
			highest = max(highest, c.String)
		}
	}
	switch {
	case len(notes) > maxStrings:
		return fmt.Sprintf("%d different notes are more than the %d strings an instrument may have", len(notes), maxStrings)
	case highest > 0 && (highest != len(notes) || !ordinary(notes)):
		return "other takes go by string number, and no build.toml says which string has this note"
	}
	return ""
}

// ordinary tells whether notes can be all strings of an instrument that is
// tuned from high to low. Re-entrant tunings in common use span less than a
// major third a string, ordinary ones more; neighbours a sixth apart have a
// string missing between them (both from memory).
func ordinary(notes []signal.Note) bool {
	const majorThird, minorSixth = 4, 8 // semitones
	for i := 1; i < len(notes); i++ {
		if notes[i-1].MIDI-notes[i].MIDI > minorSixth {
			return false
		}
	}
	return notes[0].MIDI-notes[len(notes)-1].MIDI >= majorThird*(len(notes)-1)
}

func (st *Stage) dropNotes(found []candidate, why string) []candidate {
	return slices.DeleteFunc(found, func(c candidate) bool {
		if c.note == nil {
			return false
		}
		st.Problems = append(st.Problems, Problem{c.File, fmt.Sprintf("%s: %s; list strings there, or rename it by number", c.File, why)})
		return true
	})
}
