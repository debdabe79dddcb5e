package report

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/text"

	"saddlewise/analysis/result"
	"saddlewise/analysis/stats"
)

// hostile is text that would break Markdown, HTML, tables or a terminal if it
// were written as it stands.
const hostile = "a|b <script>x</script> `c` *d* _e_ [f](g) # & &amp; $h$ ~~i~~ \\| 鳥の巣 Ārī\nnext\x1b[31m"

// hostileResults has hostile text wherever files and people can put some.
func hostileResults() *result.Results {
	r := sample(2)
	r.Stage.Name, r.Stage.Build, r.Stage.Notes, r.Stage.Date = hostile, hostile, hostile, hostile
	r.Stage.NextStep, r.Verdict.NextStep, r.Verdict.Sentence = hostile, hostile, hostile
	r.Verdict.Unknown = []string{hostile}
	r.Findings = []result.Finding{{ID: "x", Severity: result.SeverityStop, Title: hostile, HoldsUp: hostile,
		Evidence: []result.Evidence{{Text: hostile}}, Causes: []string{hostile}, Next: []string{hostile}}}
	r.Problems = []result.Problem{{File: hostile, Text: hostile}}
	r.Takes = []result.Take{{File: hostile, Test: "tap", String: 1, SHA256: strings.Repeat("ab", 32)},
		{File: hostile, Test: "tap", Problem: hostile}}
	r.Strings[0].Note, r.Stage.Limits[0].Meaning = hostile, hostile
	r.Strings[1].Pluck.T60S = result.Quantity{Reason: hostile}
	r.Tool = hostile
	return r
}

// cases are results of every shape a report can meet.
func cases() map[string]*result.Results {
	list := map[string]*result.Results{"empty": {}, "hostile": hostileResults(), "no tuning": sample(3)}
	for _, n := range []int{1, 4, 6, 12} {
		list[sampleName(n)] = sample(n)
	}
	for i := range list["no tuning"].Strings {
		list["no tuning"].Strings[i].Note = ""
	}
	list["taps only"], list["plucks only"], list["silence only"] = sample(4), sample(4), sample(0)
	for i := range 4 {
		list["taps only"].Strings[i].Pluck, list["plucks only"].Strings[i].Tap = nil, nil
	}
	list["taps only"].Quiet, list["plucks only"].Quiet = nil, nil
	list["one tap"] = oneTap()
	return list
}

// oneTap is a stage of one string tapped once: no interval anywhere.
func oneTap() *result.Results {
	r := sample(1)
	r.Quiet, r.Strings[0].Pluck = nil, nil
	one := result.Quantity{Estimate: &stats.Estimate{Median: -24, N: 1}, Reason: "two more make an interval"}
	t := r.Strings[0].Tap
	t.LevelDBFS, t.PeakDB, t.SNRDB = one, one, one
	t.BalanceDB = result.Quantity{Reason: "no other string to compare with"}
	t.Polarity = result.Polarity{Up: 1, Relative: "cannot tell"}
	t.Response = nil
	return r
}

var gfm = goldmark.New(goldmark.WithExtensions(extension.GFM))

func parse(src []byte) ast.Node { return gfm.Parser().Parse(text.NewReader(src)) }

// walk calls see for every node below root.
func walk(t *testing.T, root ast.Node, see func(ast.Node)) {
	t.Helper()
	err := ast.Walk(root, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if entering {
			see(n)
		}
		return ast.WalkContinue, nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func textOf(n ast.Node, src []byte) string {
	var b strings.Builder
	_ = ast.Walk(n, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if leaf, ok := n.(*ast.Text); ok && entering {
			b.Write(leaf.Segment.Value(src))
		}
		return ast.WalkContinue, nil
	})
	return b.String()
}

func TestMarkdownIsSound(t *testing.T) {
	for name, r := range cases() {
		t.Run(name, func(t *testing.T) {
			figures := figuresOf(r)
			src := folded(markdown(r, figures))
			level, tops := 0, 0
			walk(t, parse(src), func(n ast.Node) {
				switch n := n.(type) {
				case *ast.Heading:
					if n.Level > level+1 {
						t.Errorf("heading %q skips a level", textOf(n, src))
					}
					if level = n.Level; level == 1 {
						tops++
					}
				case *ast.RawHTML, *ast.HTMLBlock:
					t.Errorf("raw HTML in the report")
				case *ast.Image:
					checkLink(t, figures, string(n.Destination))
					if textOf(n, src) == "" {
						t.Errorf("image %s has no words for those who cannot see it", n.Destination)
					}
				case *ast.Link:
					checkLink(t, figures, string(n.Destination))
				case *extast.Strikethrough:
					t.Errorf("strikethrough out of nowhere: %q", textOf(n, src))
				}
			})
			if tops != 1 {
				t.Errorf("%d headings of the first level, want 1", tops)
			}
			if bytes.ContainsAny(src, "\x1b\r\x00") {
				t.Error("control characters in the report")
			}
		})
	}
}

func checkLink(t *testing.T, figures []figure, to string) {
	t.Helper()
	known := []string{"results.csv", "results.json"}
	for _, f := range figures {
		known = append(known, f.name+".png")
	}
	if !slices.Contains(known, to) {
		t.Errorf("link to %q, which is not written", to)
	}
}

// TestWriteWritesWhatIsLinked holds the names that the links are checked by.
func TestWriteWritesWhatIsLinked(t *testing.T) {
	dir := t.TempDir()
	if err := Write(t.Context(), oneTap(), dir); err != nil {
		t.Fatal(err)
	}
	if got := names(t, dir); got != "report.md results.csv results.json taps.png" {
		t.Errorf("wrote %s", got)
	}
}

// TestEveryTableIsWhole: a name with a bar must not add a cell, and what is
// written between bars must be read back as it was.
func TestEveryTableIsWhole(t *testing.T) {
	for name, r := range cases() {
		src := folded(markdown(r, figuresOf(r)))
		for block := range strings.SplitSeq(string(src), "\n\n") {
			lines := strings.Split(strings.TrimSpace(block), "\n")
			if !strings.HasPrefix(lines[0], "| ") {
				continue
			}
			rows := 0
			walk(t, parse([]byte(block)), func(n ast.Node) {
				if n.Kind() == extast.KindTableRow {
					rows++
				}
			})
			if want := len(lines) - 2; rows != want {
				t.Errorf("%s: table of %d rows is read as %d:\n%s", name, want, rows, block)
			}
			for _, line := range lines {
				if got, want := bars(line), bars(lines[0]); got != want {
					t.Errorf("%s: %d bars, heading has %d: %s", name, got, want, line)
				}
			}
		}
	}
}

var escapedBar = regexp.MustCompile(`\\.`)

func bars(line string) int { return strings.Count(escapedBar.ReplaceAllString(line, ""), "|") }

func TestEscapedTextReadsBack(t *testing.T) {
	for _, s := range []string{hostile, "F#1", "G♯0", "tap_3", "_a_", "a & b", "&lt;", "1. x", "żółć", "أ|ب", "``", "\\", "<!-- -->", "https://x.example"} {
		src := []byte("| h |\n| - |\n| x" + escape(s) + "x |\n")
		var html bytes.Buffer
		if err := goldmark.New(goldmark.WithExtensions(extension.Table)).Convert(src, &html); err != nil {
			t.Fatal(err)
		}
		got := regexp.MustCompile(`(?s)<td>x(.*)x</td>`).FindStringSubmatch(html.String())
		want := strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(oneLine(s))
		if got == nil || got[1] != want {
			t.Errorf("%q is read back as %q in %s", s, got, html.String())
		}
	}
}

var (
	number = regexp.MustCompile(`^[−+-]?\d+(\.\d+)?( \(.*\))?$`)
	units  = []string{"dBFS", "dB", "Hz", "s", "cents", "ms", "ppm", "n", "events", "value"}
)

// TestEveryNumberHasItsUnit looks at each column of numbers of each table.
func TestEveryNumberHasItsUnit(t *testing.T) {
	for name, r := range cases() {
		if name == "hostile" {
			continue
		}
		src := folded(markdown(r, figuresOf(r)))
		walk(t, parse(src), func(n ast.Node) {
			if n.Kind() != extast.KindTable {
				return
			}
			var head []string
			for row := n.FirstChild(); row != nil; row = row.NextSibling() {
				column := 0
				for cell := row.FirstChild(); cell != nil; cell = cell.NextSibling() {
					words := textOf(cell, src)
					if row == n.FirstChild() {
						head = append(head, words)
					} else if number.MatchString(words) && head[column] != "string" {
						last := head[column][strings.LastIndex(head[column], " ")+1:]
						if !slices.Contains(units, last) {
							t.Errorf("%s: %q stands in column %q, which has no unit", name, words, head[column])
						}
					}
					column++
				}
			}
		})
	}
}

// TestEvidenceCarriesIntervalAndCount: the tables must say how sure each
// number is.
func TestEvidenceCarriesIntervalAndCount(t *testing.T) {
	r := sample(4)
	got := tapEvidence(r).String()
	level := r.Strings[0].Tap.LevelDBFS.Estimate
	for _, want := range []string{
		plain(level.Median, 1) + " (" + plain(level.Interval.Low, 1) + " to " + plain(level.Interval.High, 1) + ")",
		"|   8 |", "8 down", "Intervals hold the true median with 95 % probability.",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	r.Strings[1].Pluck.T60S = result.Quantity{Reason: "too near the noise"}
	for i := range r.Strings {
		r.Strings[i].Pluck.F1Hz = result.Quantity{Estimate: &stats.Estimate{Median: 100, N: 3,
			Interval: &stats.Interval{Low: 99, High: 101, Coverage: 0.75}}}
	}
	got = pluckEvidence(r).String()
	for _, want := range []string{"n = 3 holds 75 % (f1)", "100.00 (99.00 to 101.00, n 3)", "A dash for T60 of 2 B3: too near the noise.", "—"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	if got := tapEvidence(oneTap()).String(); !strings.Contains(got, "n = 1 gives no interval") {
		t.Errorf("one tap shows no doubt:\n%s", got)
	}
}

// TestBelowFloor: a value at the floor of what can be told is no number.
func TestBelowFloor(t *testing.T) {
	m := measure{name: "rattle", unit: "dB", floor: result.RattleFloorDB}
	for want, q := range map[string]result.Quantity{
		"below −90":                    quantityOf(-90, 0, 4),
		"below −90 (below −90 to −88)": {Estimate: &stats.Estimate{Median: -90, N: 4, Interval: &stats.Interval{Low: -90, High: -88}}},
		"−70 (below −90 to −50)":       quantityOf(-70, 20, 4),
		"−50 (−52 to −48)":             quantityOf(-50, 2, 4),
	} {
		if got := m.cell(q, 4); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
