package analysis

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"saddlewise/analysis/result"
	"saddlewise/fixtures"
	"saddlewise/fixtures/accuracy"
)

// A reader of one jack's signal cannot part a dead disc from one that is badly
// bonded and as weak as what comes through the bridge, nor always a dull one
// from a weak one: any of these names will do for each, on the right string.
var littleVoice = []string{"disc dead", "disc dead or badly bonded", "disc weak and dull", "disc weak"}

// expected lists the findings that name a fault rightly; none where one jack
// cannot show it. clearFrom is the least severity that must be found; tapsOnly
// faults are rendered without plucks and tones.
var expected = map[fixtures.FaultKind]struct {
	ids       []string
	clearFrom int
	tapsOnly  bool
}{
	fixtures.DiscDead:          {littleVoice, 1, true},
	fixtures.DiscReversed:      {[]string{"disc reversed"}, 1, true},
	fixtures.DiscWeakDull:      {littleVoice, 2, true},
	fixtures.DiscWeak:          {littleVoice, 2, true},
	fixtures.DiscDull:          {append([]string{"disc dull"}, littleVoice...), 4, true}, // a softer tap sounds the same
	fixtures.DiscLoud:          {[]string{"disc loud"}, 2, true},
	fixtures.PickupShorted:     {[]string{"whole pickup silent"}, 1, true},
	fixtures.JointBad:          {[]string{"intermittent joint"}, 2, true},
	fixtures.CouplingStrong:    {nil, 4, true}, // one jack carries the sum
	fixtures.HumElectric:       {[]string{"hum by electric field", "hum from missing ground"}, 2, false},
	fixtures.HumSupply:         {[]string{"hum from a supply or ground loop"}, 2, false},
	fixtures.HumOneTake:        {[]string{"hum louder in one take"}, 2, false},
	fixtures.HissHigh:          {[]string{"hiss"}, 2, false},
	fixtures.InputLoading:      {[]string{"low strings lost to input loading"}, 4, true}, // high strings lose nothing
	fixtures.Rattling:          {[]string{"rattle", "tone distorted"}, 2, false},
	fixtures.SustainShort:      {[]string{"short sustain"}, 4, false}, // the strings' own sustain differs as much
	fixtures.StringOut:         {[]string{"out of tune"}, 1, false},
	fixtures.ResonanceStrange:  {[]string{"strange resonance", "disc loud"}, 3, true},
	fixtures.ForkOff:           {[]string{"reference tone off"}, 1, false},
	fixtures.RateWrong:         {[]string{"wrong sample rate"}, 1, false},
	fixtures.ClippedConverter:  {[]string{"clipped"}, 2, false},
	fixtures.ClippedAhead:      {[]string{"clipped"}, 2, false},
	fixtures.TooQuiet:          {[]string{"recorded too quietly"}, 2, true},
	fixtures.DCOffset:          {[]string{"DC offset"}, 1, true},
	fixtures.Gated:             {[]string{"recorder gate", "background is digital silence"}, 1, true},
	fixtures.GainRiding:        {[]string{"gain riding"}, 4, false}, // short takes leave no pause to see it in
	fixtures.DroppedOut:        {[]string{"clicks or drop-outs"}, 3, false},
	fixtures.OnSecondChannel:   {[]string{"signal on another channel"}, 1, true},
	fixtures.SecondInverted:    {[]string{"second channel inverted"}, 1, true},
	fixtures.FewBits:           {[]string{"few bits"}, 1, true},
	fixtures.PlucksSwapped:     {[]string{"take may be misnamed"}, 1, false},
	fixtures.TapsSwapped:       {nil, 4, true}, // taps have no pitch
	fixtures.TooFewTaps:        {[]string{"too few events", "polarity cannot be told"}, 2, true},
	fixtures.ManyDoubleContact: {[]string{"double hits", "too few events"}, 2, true},
}

// judgedCase is one stage with what was found in it.
type judgedCase struct {
	fault   fixtures.Fault
	clear   bool
	found   bool
	wrong   []string // pickup findings on strings that have no fault
	verdict result.Word
	ids     []string
}

// brief shortens a scenario's takes without changing what they say.
func brief(s fixtures.Scenario, tapsOnly bool) fixtures.Scenario {
	s.Session.RateHz = min(s.Session.RateHz, 48000)
	s.Session.TapTakes, s.Session.TapsPerTake = 1, max(7, min(8, s.Session.TapsPerTake))
	s.Session.Plucks, s.Session.QuietS = min(3, s.Session.Plucks), min(5, s.Session.QuietS)
	s.Session.PluckS, s.Session.ToneS = min(3, s.Session.PluckS), 2.5
	if s.Session.PullS == 0 {
		s.Session.PullS = 0.3
	}
	if tapsOnly {
		s.Session.Plucks, s.Session.ToneHz = 0, 0
	}
	return s
}

// judgeCase renders one stage, analyses it, and compares what was found with
// the truth. ok is false where the instrument has too few strings.
func judgeCase(t *testing.T, seed uint64, kind fixtures.FaultKind, severity int) (c judgedCase, ok bool) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 31))
	want := expected[kind]
	s := brief(fixtures.RandomHealthy(rng), want.tapsOnly)
	if kind != "" {
		if c.fault, ok = fixtures.RandomFault(kind, severity, len(s.Tuning.Notes), rng); !ok {
			return c, false
		}
		s = s.With(c.fault, rng)
	}
	dir := filepath.Join(t.TempDir(), "stage")
	truths, err := s.Write(context.Background(), dir, "gluing")
	if err != nil {
		t.Fatal(err)
	}
	r, err := Analyze(context.Background(), dir, Options{Tool: "test"})
	if err != nil {
		t.Fatalf("%v: %v", c.fault, err)
	}
	c.clear = severity >= want.clearFrom && (kind != fixtures.JointBad || droppedTaps(truths) >= 2)
	c.read(r, want.ids)
	return c, true
}

// droppedTaps counts the taps that a bad joint really swallowed.
func droppedTaps(truths []fixtures.TakeTruth) int {
	n := 0
	for _, k := range truths {
		for _, e := range k.Events {
			if e.Dropped {
				n++
			}
		}
	}
	return n
}

func (c *judgedCase) read(r *result.Results, ids []string) {
	c.verdict = r.Verdict.Word
	for _, f := range r.Findings {
		c.ids = append(c.ids, f.ID)
		right := slices.Contains(ids, f.ID)
		if right && (len(c.fault.Strings) == 0 || slices.Equal(slices.Sorted(slices.Values(f.Strings)), slices.Sorted(slices.Values(c.fault.Strings)))) {
			c.found = true
			continue
		}
		if f.About == "capture" || f.Severity == result.SeverityNote {
			continue
		}
		for _, n := range f.Strings {
			if !slices.Contains(c.fault.Strings, n) {
				c.wrong = append(c.wrong, fmt.Sprintf("%s %s on string %d", f.Severity, f.ID, n))
			}
		}
	}
}

// TestHealthyStages draws stages with nothing wrong.
func TestHealthyStages(t *testing.T) {
	stops, wrong, n := 0, 0, accuracy.Cases(2, 40)
	for seed := range uint64(n) {
		c, _ := judgeCase(t, 7000+seed, "", 0)
		if c.verdict == result.Stop {
			stops++
		}
		if len(c.wrong) > 0 {
			wrong++
			t.Logf("seed %d: %v", seed, c.wrong)
		}
	}
	t.Logf("%d healthy stages: stop in %d, a false pickup finding in %d", n, stops, wrong)
	if 100*stops > n || 20*wrong > n {
		t.Errorf("of %d healthy stages %d were stopped (1 %% allowed) and %d had a false pickup finding (5 %%)", n, stops, wrong)
	}
}

// TestConfusion injects each fault into healthy stages and prints which
// findings came of it.
func TestConfusion(t *testing.T) {
	kinds, severities := fixtures.Kinds(), []int{1, 2, 3}
	if !accuracy.Full() {
		kinds, severities = []fixtures.FaultKind{fixtures.DiscDead, fixtures.DiscReversed, fixtures.PickupShorted, fixtures.TapsSwapped}, []int{3}
	}
	clear, found, cases, wrong := 0, 0, 0, 0
	for k, kind := range kinds {
		for _, severity := range severities {
			c, ok := judgedCase{}, false
			for seed := uint64(0); !ok && seed < 20; seed++ {
				c, ok = judgeCase(t, uint64(100*k+10*severity)+seed, kind, severity)
			}
			cases++
			t.Logf("%-62s clear %-5v found %-5v %-8s %s %v", c.fault, c.clear, c.found, c.verdict, strings.Join(c.ids, "; "), c.wrong)
			if c.clear {
				clear++
				if c.found {
					found++
				}
			}
			if len(c.wrong) > 0 {
				wrong++
			}
		}
	}
	t.Logf("%d of %d clear faults found on the right string; %d of %d stages with a finding on another string", found, clear, wrong, cases)
	if 100*found < 95*clear {
		t.Errorf("%d of %d clear faults found, want 95 %%", found, clear)
	}
	if 20*wrong > cases {
		t.Errorf("another string was blamed in %d of %d stages, want 5 %% at most", wrong, cases)
	}
}

// TestSilentPickupWithoutQuietTake: taps that nothing is heard of are a
// result, not an error, even if nothing else was recorded.
func TestSilentPickupWithoutQuietTake(t *testing.T) {
	dir := t.TempDir()
	for k := range 3 {
		hiss := fixtures.Quantise(fixtures.White(4*48000, 1e-4, rand.New(rand.NewPCG(uint64(k), 1))), 24, rand.New(rand.NewPCG(uint64(k), 2)))
		if err := fixtures.WriteWAV(filepath.Join(dir, fmt.Sprintf("tap-%d.wav", k+1)), hiss, 48000, 24, 1); err != nil {
			t.Fatal(err)
		}
	}
	r, err := Analyze(context.Background(), dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Verdict.Word != result.Stop || !slices.Equal(r.Verdict.Reasons, []string{"whole pickup silent"}) {
		t.Errorf("verdict %s for %v", r.Verdict.Word, r.Verdict.Reasons)
	}
}
