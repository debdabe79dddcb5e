package report

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
)

func names(t *testing.T, dir string) string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, e := range entries {
		list = append(list, e.Name())
	}
	return strings.Join(list, " ")
}

func TestWriteAllRefusesPaths(t *testing.T) {
	for _, name := range []string{"../x", "a/b", "/etc/x", "", ".", ".."} {
		dir := t.TempDir()
		if err := writeAll(dir, []file{{"good", []byte("1")}, {name, []byte("2")}}); err == nil {
			t.Errorf("name %q was written", name)
		}
		if got := names(t, dir); got != "" {
			t.Errorf("name %q left %s behind", name, got)
		}
	}
}

func TestWriteAllKeepsOtherFiles(t *testing.T) {
	dir := t.TempDir()
	for name, words := range map[string]string{"mine.txt": "keep", "report.md": "old"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(words), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := writeAll(dir, []file{{"report.md", []byte("new")}}); err != nil {
		t.Fatal(err)
	}
	if got := names(t, dir); got != "mine.txt report.md" {
		t.Errorf("folder holds %s", got)
	}
	for name, want := range map[string]string{"mine.txt": "keep", "report.md": "new"} {
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(got) != want {
			t.Errorf("%s holds %q, want %q (%v)", name, got, want, err)
		}
	}
}

func TestWriteAllWithoutFolder(t *testing.T) {
	blocked := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(blocked, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := writeAll(filepath.Join(blocked, "report"), []file{{"a", nil}}); err == nil {
		t.Error("wrote below a file")
	}
}

// TestReadOnlyFolder tells something to a plain user only; continuous checks,
// which may run as root, run it as one.
func TestReadOnlyFolder(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("the superuser may write anywhere")
	}
	locked := t.TempDir()
	if err := os.Chmod(locked, 0o500); err != nil {
		t.Fatal(err)
	}
	if err := writeAll(locked, []file{{"a", nil}}); !errors.Is(err, os.ErrPermission) {
		t.Errorf("got %v, want a refusal", err)
	}
}

// TestWriteAllIsWholeOrNothing blocks the last of three names with a folder.
func TestWriteAllIsWholeOrNothing(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a"), []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "z"), 0o700); err != nil {
		t.Fatal(err)
	}
	err := writeAll(dir, []file{{"a", []byte("new")}, {"b", []byte("new")}, {"z", []byte("new")}})
	if err == nil || !strings.Contains(err.Error(), "put z in place") {
		t.Errorf("got %v", err)
	}
	if got := names(t, dir); got != "a z" {
		t.Errorf("folder holds %s", got)
	}
	if got, _ := os.ReadFile(filepath.Join(dir, "a")); string(got) != "old" {
		t.Errorf("a holds %q, want the old words", got)
	}
}

// TestWriteAllAtOnce lets eight runs write into one folder: whichever comes
// last, its files stand together.
func TestWriteAllAtOnce(t *testing.T) {
	dir := t.TempDir()
	var g errgroup.Group
	for run := range 8 {
		g.Go(func() error {
			for range 5 {
				var files []file
				for k := range 12 {
					files = append(files, file{fmt.Sprint("f", k), fmt.Append(nil, "run ", run)})
				}
				if err := writeAll(dir, files); err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err := g.Wait(); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for k := range 12 {
		data, err := os.ReadFile(filepath.Join(dir, fmt.Sprint("f", k)))
		if err != nil {
			t.Fatal(err)
		}
		seen[string(data)] = true
	}
	if len(seen) != 1 || len(strings.Fields(names(t, dir))) != 12 {
		t.Errorf("files of %d runs; folder holds %s", len(seen), names(t, dir))
	}
}

// TestWaitsForTheOther: while another run changes the folder, nothing is put
// in place.
func TestWaitsForTheOther(t *testing.T) {
	dir := t.TempDir()
	unlock, err := lockFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- writeAll(dir, []file{{"a", nil}}) }()
	select {
	case err := <-done:
		t.Fatalf("did not wait: %v", err)
	case <-time.After(50 * time.Millisecond):
	}
	if _, err := os.Stat(filepath.Join(dir, "a")); err == nil {
		t.Error("a file was put in place beside the other run's")
	}
	if err := errors.Join(unlock(), <-done); err != nil || names(t, dir) != "a" {
		t.Errorf("%v; folder holds %s", err, names(t, dir))
	}
}

// TestLockOfKilledRun: what a killed run left behind does not stop the next.
func TestLockOfKilledRun(t *testing.T) {
	dir := t.TempDir()
	lock := filepath.Join(dir, lockName)
	if err := os.Mkdir(lock, 0o755); err != nil {
		t.Fatal(err)
	}
	long := time.Now().Add(-2 * lockPatience)
	if err := os.Chtimes(lock, long, long); err != nil {
		t.Fatal(err)
	}
	if err := writeAll(dir, []file{{"a", nil}}); err != nil || names(t, dir) != "a" {
		t.Errorf("%v; folder holds %s", err, names(t, dir))
	}
}

// TestSameResultsSameBytes on one core and on two, and twice into one folder.
func TestSameResultsSameBytes(t *testing.T) {
	first, second := t.TempDir(), t.TempDir()
	old := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(old)
	for i, dir := range []string{first, second, second} {
		runtime.GOMAXPROCS(i%2 + 1)
		if err := Write(t.Context(), sample(3), dir, HTML, SVG); err != nil {
			t.Fatal(err)
		}
	}
	if names(t, first) != names(t, second) {
		t.Fatalf("%s and %s", names(t, first), names(t, second))
	}
	for name := range strings.FieldsSeq(names(t, first)) {
		a, _ := os.ReadFile(filepath.Join(first, name))
		b, _ := os.ReadFile(filepath.Join(second, name))
		if len(a) == 0 || !bytes.Equal(a, b) {
			t.Errorf("%s differs between runs", name)
		}
	}
}

func TestWriteStopsWhenAsked(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	dir := t.TempDir()
	if err := Write(ctx, sample(2), dir); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if got := names(t, dir); got != "" {
		t.Errorf("left %s behind", got)
	}
}
