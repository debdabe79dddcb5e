package signal

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Note is one note of twelve-tone equal temperament.
type Note struct {
	Name string // C4 is middle C, A4 the tuning note
	MIDI int    // A4 is 69
}

var noteNames = [12]string{"C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"}

var noteForm = regexp.MustCompile(`^([A-Ga-g])(##|bb|[#b♯♭]?)(-?[0-9])$`)

// ParseNote reads a note name such as A3, F#2, Bb3 or E♭4.
func ParseNote(name string) (Note, error) {
	m := noteForm.FindStringSubmatch(strings.TrimSpace(name))
	if m == nil {
		return Note{}, fmt.Errorf("%q is not a note name such as A3, F#2 or Bb3", name)
	}
	steps := map[string]int{"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
	bend := map[string]int{"": 0, "#": 1, "♯": 1, "##": 2, "b": -1, "♭": -1, "bb": -2}
	octave, err := strconv.Atoi(m[3])
	if err != nil {
		return Note{}, fmt.Errorf("%q: octave: %w", name, err)
	}
	letter := strings.ToUpper(m[1])
	accidental := strings.NewReplacer("♯", "#", "♭", "b").Replace(m[2])
	return Note{Name: letter + accidental + m[3], MIDI: 12*(octave+1) + steps[letter] + bend[m[2]]}, nil
}

// Hz is the note's frequency with A4 at a4Hz (ISO 16:1975: 440 Hz).
func (n Note) Hz(a4Hz float64) float64 { return a4Hz * math.Pow(2, float64(n.MIDI-69)/12) }

// NearestNote is the note nearest to hz, and how many cents hz lies above it;
// no note and NaN cents where hz is not a positive number.
func NearestNote(hz, a4Hz float64) (Note, float64) {
	if !(hz > 0) || math.IsInf(hz, 1) {
		return Note{}, math.NaN()
	}
	at := 69 + 12*math.Log2(hz/a4Hz)
	midi := int(math.Round(at))
	octave := int(math.Floor(float64(midi)/12)) - 1
	return Note{Name: noteNames[((midi%12)+12)%12] + strconv.Itoa(octave), MIDI: midi}, 100 * (at - float64(midi))
}
