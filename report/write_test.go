package report

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
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
