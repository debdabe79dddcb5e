package finding

import (
	"fmt"

	"saddlewise/analysis/result"
)

// verdict is the gravest finding's word. Ready is said only when the tests
// that could have shown a dead or reversed disc were made and passed.
func verdict(r *result.Results) result.Verdict {
	v := result.Verdict{Word: result.Ready, NextStep: r.Stage.NextStep, Reasons: []string{}, Unknown: unknowable(r)}
	for _, f := range r.Findings {
		if rank(f.Severity) > rank(r.Findings[0].Severity) || f.Severity == result.SeverityNote {
			break
		}
		v.Word = result.Word(f.Severity)
		v.Reasons = append(v.Reasons, f.ID)
	}
	v.Sentence = sentence(r, v)
	return v
}

func sentence(r *result.Results, v result.Verdict) string {
	step := v.NextStep
	if step == "" {
		step = "the next step that cannot be undone"
	}
	switch v.Word {
	case result.Stop:
		return fmt.Sprintf("%s. Mend this before %s, while it can still be mended.", first(r, result.SeverityStop), step)
	case result.Recheck:
		return fmt.Sprintf("%s. Settle this before %s.", first(r, result.SeverityRecheck), step)
	default:
		return fmt.Sprintf("Nothing in these recordings speaks against %s.", step)
	}
}

// first is the title of the gravest finding, with a count of the others.
func first(r *result.Results, s result.Severity) string {
	title, more := "", 0
	for _, f := range r.Findings {
		switch {
		case f.Severity != s:
		case title == "":
			title = f.Title
		default:
			more++
		}
	}
	switch more {
	case 0:
		return title
	case 1:
		return title + ", and one thing more"
	default:
		return fmt.Sprintf("%s, and %d things more", title, more)
	}
}

// unknowable lists what these recordings cannot show, whoever listens.
func unknowable(r *result.Results) []string {
	out := []string{
		"whether all taps were harder or all discs louder: only what does not depend on the hand tells that apart",
	}
	if len(r.Strings) > 1 {
		out = append(out, "whether tap takes of two strings were swapped: taps have no pitch")
		out = append(out, "how much of a tap reaches the neighbouring discs: one jack carries their sum")
	}
	ups, downs := 0, 0
	for _, s := range r.Strings {
		if s.Tap != nil {
			switch s.Tap.Polarity.Relative {
			case "group A":
				ups++
			case "group B":
				downs++
			}
		}
	}
	if ups > 0 && ups == downs {
		out = append(out, "which of the two groups of discs is the reversed one: as many move one way as the other")
	}
	return out
}
