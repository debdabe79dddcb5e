package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/xml"
	"errors"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/extension"
	"github.com/yuin/goldmark/renderer/html"
	"golang.org/x/sync/errgroup"

	"saddlewise/fixtures"
)

// hostileTOML says what no name should be able to do.
const hostileTOML = `stage = "../../out <script>alert(1)</script>\n# heading\u001b[31m"
notes = "</p><script>alert(2)</script> [x](javascript:alert(3)) ![y](../../../y.png)"
next_step = "/../step <svg onload=alert(5)>"
[instrument]
strings = ["A3", "D3"]
`

const hostileTake = "tap-2 <img src=x onerror=alert(4)> `rm` | *.wav"

// smallTakes are rendered once for all tests.
var smallTakes = sync.OnceValues(func() (fs.FS, error) {
	s := fixtures.DemoStages(5)[0].Session
	s.Strings, s.TapTakes, s.TapsPerTake, s.TapGapS = s.Strings[:2], 1, 5, 0.4
	s.Plucks, s.PluckS, s.ToneStrikes, s.QuietS = 2, 1.3, 0, 3
	dir, err := os.MkdirTemp("", "takes")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	takes, err := s.Write(context.Background(), dir)
	if err != nil {
		return nil, err
	}
	kept := fstest.MapFS{}
	for _, k := range takes {
		data, err := os.ReadFile(filepath.Join(dir, k.File))
		if err != nil {
			return nil, err
		}
		kept[k.File] = &fstest.MapFile{Data: data, Mode: 0o644}
	}
	return kept, nil
})

// smallStage is a stage of two strings with names that are up to no good.
func smallStage(t *testing.T) string {
	t.Helper()
	takes, err := smallTakes()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "build", "stage")
	if err := os.CopyFS(dir, takes); err != nil {
		t.Fatal(err)
	}
	if runtime.GOOS != "windows" {
		if err := os.Rename(filepath.Join(dir, "tap-2.wav"), filepath.Join(dir, hostileTake)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "stage.toml"), []byte(hostileTOML), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// treeOf is every file below dir with the hash of its bytes.
func treeOf(t *testing.T, dir string) map[string][32]byte {
	t.Helper()
	tree := map[string][32]byte{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		tree[strings.TrimPrefix(path, dir+string(filepath.Separator))] = sha256.Sum256(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return tree
}

func analyzed(ctx context.Context, dir, out string) (status int, said string) {
	return quietly(ctx, "analyze", dir, "--out", out, "--html", "--svg")
}

func quietly(ctx context.Context, args ...string) (status int, said string) {
	var errOut bytes.Buffer
	status = run(ctx, append(args, "--quiet"), &bytes.Buffer{}, &errOut)
	return status, errOut.String()
}

// everyReport writes what analyze, compare and trend can write into out.
func everyReport(t *testing.T, build, out string) {
	t.Helper()
	stage, later := filepath.Join(build, "stage"), filepath.Join(build, "later")
	for _, args := range [][]string{{"analyze", stage}, {"compare", stage, later}, {"trend", build}} {
		args = append(args, "--html", "--svg", "--out", filepath.Join(out, args[0]))
		if status, said := quietly(t.Context(), args...); status != exitDone {
			t.Fatalf("%v: status %d, %s", args, status, said)
		}
	}
}

// TestSameStageSameBytes on one core and on several; recordings keep their
// bytes, and nothing is written outside the folder.
func TestSameStageSameBytes(t *testing.T) {
	build := filepath.Dir(smallStage(t))
	addLater(t, build)
	root := filepath.Dir(build)
	before := treeOf(t, root)
	first, second := t.TempDir(), t.TempDir()
	old := runtime.GOMAXPROCS(1)
	everyReport(t, build, first)
	runtime.GOMAXPROCS(max(3, old))
	defer runtime.GOMAXPROCS(old)
	everyReport(t, build, second)
	one, two := treeOf(t, first), treeOf(t, second)
	kinds := map[string]int{}
	for name, hash := range one {
		kinds[filepath.Dir(name)+filepath.Ext(name)]++
		if two[name] != hash {
			t.Errorf("%s depends on the number of cores", name)
		}
	}
	for _, command := range []string{"analyze", "compare", "trend"} {
		for _, ending := range []string{".md", ".html", ".json", ".csv", ".png", ".svg"} {
			if kinds[command+ending] == 0 {
				t.Errorf("%s wrote no %s", command, ending)
			}
		}
	}
	if len(one) != len(two) {
		t.Errorf("%d and %d files", len(one), len(two))
	}
	sameTree(t, before, treeOf(t, root))
	checkEscaped(t, first)
}

// addLater puts another stage of the build beside the first.
func addLater(t *testing.T, build string) {
	t.Helper()
	later := filepath.Join(build, "later")
	if err := os.CopyFS(later, os.DirFS(filepath.Join(build, "stage"))); err != nil {
		t.Fatal(err)
	}
	toml := "date = 2026-03-14\n" + strings.Replace(hostileTOML, "alert(1)", "alert(6)", 1)
	if err := os.WriteFile(filepath.Join(later, "stage.toml"), []byte(toml), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestTwoRunsIntoOneFolder at once, of two stages: both end well, and the
// files of one stand together.
func TestTwoRunsIntoOneFolder(t *testing.T) {
	build := filepath.Dir(smallStage(t))
	addLater(t, build)
	var alone []map[string][32]byte
	stages := []string{filepath.Join(build, "stage"), filepath.Join(build, "later")}
	for _, dir := range stages {
		out := t.TempDir()
		if status, said := analyzed(t.Context(), dir, out); status != exitDone {
			t.Fatalf("status %d, %s", status, said)
		}
		alone = append(alone, treeOf(t, out))
	}
	out := filepath.Join(t.TempDir(), "both")
	var g errgroup.Group
	for _, dir := range stages {
		g.Go(func() error {
			if status, said := analyzed(t.Context(), dir, out); status != exitDone {
				t.Errorf("two at once: status %d, %s", status, said)
			}
			return nil
		})
	}
	_ = g.Wait() // its functions give no error
	got := treeOf(t, out)
	if !maps.Equal(got, alone[0]) && !maps.Equal(got, alone[1]) {
		t.Error("the folder holds neither stage's report whole")
	}
}

func sameTree(t *testing.T, before, after map[string][32]byte) {
	t.Helper()
	for name, hash := range after {
		if before[name] != hash {
			t.Errorf("%s is new or changed", name)
		}
	}
	if len(after) != len(before) {
		t.Errorf("%d files before, %d after", len(before), len(after))
	}
}

// checkEscaped looks for names that came through as markup, in pages, words
// and pictures.
func checkEscaped(t *testing.T, dir string) {
	t.Helper()
	live := regexp.MustCompile(`<(script|img src=x|svg onload)|<h1[^>]*>heading|href="javascript:|src="\.\./|\x1b`)
	looked := 0
	for name := range treeOf(t, dir) {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		switch filepath.Ext(name) {
		case ".svg":
			onlyDrawing(t, name, data)
		case ".md":
			var page bytes.Buffer
			if err := goldmark.New(goldmark.WithExtensions(extension.Table), goldmark.WithRendererOptions(html.WithUnsafe())).Convert(data, &page); err != nil {
				t.Fatal(err)
			}
			data = page.Bytes()
			fallthrough
		case ".html":
			if found := live.Find(data); found != nil {
				t.Errorf("%s holds %q", name, found)
			}
		default:
			continue
		}
		looked++
	}
	if looked < 20 {
		t.Errorf("only %d files were looked at", looked)
	}
}

// onlyDrawing reads a picture as XML and wants nothing in it that acts.
func onlyDrawing(t *testing.T, name string, svg []byte) {
	t.Helper()
	dec := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Errorf("%s is no XML: %v", name, err)
			return
		}
		if start, ok := token.(xml.StartElement); ok {
			if !slices.Contains([]string{"svg", "g", "path", "text"}, start.Name.Local) {
				t.Errorf("%s holds an element %s", name, start.Name.Local)
			}
			for _, a := range start.Attr {
				if strings.HasPrefix(a.Name.Local, "on") {
					t.Errorf("%s acts %s", name, a.Name.Local)
				}
			}
		}
	}
}
