package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"saddlewise/fixtures"
)

// hostileTOML says what no name should be able to do.
const hostileTOML = `stage = "../../out <script>alert(1)</script>"
notes = "</p><script>alert(2)</script> [x](javascript:alert(3)) ![y](../../../y.png)"
[instrument]
strings = ["A3", "D3"]
`

const hostileTake = "tap-2 <img src=x onerror=alert(4)> `rm` | *.wav"

// smallStage is a stage of two strings with names that are up to no good.
func smallStage(t *testing.T) string {
	t.Helper()
	s := fixtures.DemoStages(5)[0].Session
	s.Strings, s.TapTakes, s.TapsPerTake, s.TapGapS = s.Strings[:2], 1, 5, 0.4
	s.Plucks, s.PluckS, s.ToneStrikes, s.QuietS = 2, 1.3, 0, 3
	dir := filepath.Join(t.TempDir(), "build", "stage")
	if _, err := s.Write(t.Context(), dir); err != nil {
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
	var errOut bytes.Buffer
	status = run(ctx, []string{"analyze", dir, "--out", out, "--html", "--quiet"}, &bytes.Buffer{}, &errOut)
	return status, errOut.String()
}

// TestSameStageSameBytes on one core and on several, and by two runs at once;
// recordings keep their bytes, and nothing is written outside the folder.
func TestSameStageSameBytes(t *testing.T) {
	dir := smallStage(t)
	root := filepath.Dir(filepath.Dir(dir))
	before := treeOf(t, root)
	first, second := filepath.Join(t.TempDir(), "one"), filepath.Join(t.TempDir(), "two")
	old := runtime.GOMAXPROCS(1)
	status, said := analyzed(t.Context(), dir, first)
	runtime.GOMAXPROCS(max(2, old))
	defer runtime.GOMAXPROCS(old)
	if status != exitDone {
		t.Fatalf("status %d, %s", status, said)
	}
	var g errgroup.Group
	for range 2 {
		g.Go(func() error {
			if status, said := analyzed(t.Context(), dir, second); status != exitDone {
				t.Errorf("two at once: status %d, %s", status, said)
			}
			return nil
		})
	}
	_ = g.Wait() // its functions give no error
	one, two := treeOf(t, first), treeOf(t, second)
	for name, hash := range one {
		if two[name] != hash {
			t.Errorf("%s depends on the number of cores", name)
		}
	}
	if len(one) < 5 || len(one) != len(two) {
		t.Errorf("%d and %d files", len(one), len(two))
	}
	sameTree(t, before, treeOf(t, root))
	checkEscaped(t, first)
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

// checkEscaped looks for names that came through as markup.
func checkEscaped(t *testing.T, dir string) {
	t.Helper()
	page, err := os.ReadFile(filepath.Join(dir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, markup := range []string{"<script>", "<img src=x", `href="javascript:`, `src="../../../y.png"`} {
		if bytes.Contains(page, []byte(markup)) {
			t.Errorf("the page holds %s", markup)
		}
	}
}

// TestInterruptedAtAnyTime stops runs at random moments: the folder holds a
// whole report or what it held before.
func TestInterruptedAtAnyTime(t *testing.T) {
	dir := smallStage(t)
	out := filepath.Join(t.TempDir(), "report")
	start := time.Now()
	if status, said := analyzed(t.Context(), dir, out); status != exitDone {
		t.Fatalf("status %d, %s", status, said)
	}
	whole, took := treeOf(t, out), time.Since(start)
	recordings := treeOf(t, dir)
	rng := rand.New(rand.NewPCG(7, 7))
	statuses := []int{}
	for range 6 {
		if err := os.RemoveAll(out); err != nil {
			t.Fatal(err)
		}
		ctx, interrupt := context.WithCancel(t.Context())
		timer := time.AfterFunc(time.Duration(rng.Float64()*float64(took)), interrupt)
		status, said := analyzed(ctx, dir, out)
		timer.Stop()
		interrupt()
		statuses = append(statuses, status)
		if status == exitFailed && !strings.Contains(said, "interrupted") || status != exitFailed && status != exitDone {
			t.Errorf("status %d, %s", status, said)
		}
		if _, err := os.Stat(out); err == nil {
			if got := treeOf(t, out); len(got) > 0 {
				sameTree(t, whole, got)
			}
		}
	}
	slices.Sort(statuses)
	t.Logf("exit statuses %v", statuses)
	sameTree(t, recordings, treeOf(t, dir))
}
