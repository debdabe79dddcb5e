//go:build unix

package report

import (
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"
)

// TestFullDisk writes into a folder where no file may grow beyond 1 kB, in a
// process of its own because the limit holds for all of it.
func TestFullDisk(t *testing.T) {
	if dir := os.Getenv("REPORT_TEST_FULL_DISK"); dir != "" {
		fillDisk(t, dir)
		return
	}
	dir := t.TempDir()
	old := filepath.Join(dir, "first")
	if err := os.WriteFile(old, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0], "-test.run=^TestFullDisk$")
	cmd.Env = append(os.Environ(), "REPORT_TEST_FULL_DISK="+dir)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if got, err := os.ReadFile(old); err != nil || string(got) != "old" {
		t.Errorf("a full disk left %q (%v), want the old file", got, err)
	}
	if got := names(t, dir); got != "first" {
		t.Errorf("a full disk left %s behind", got)
	}
}

func fillDisk(t *testing.T, dir string) {
	signal.Ignore(syscall.SIGXFSZ)
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 1024, Max: 1024}); err != nil {
		t.Fatal(err)
	}
	err := writeAll(dir, []file{{"first", []byte("new")}, {"second", make([]byte, 4096)}})
	if err == nil {
		t.Error("writing beyond the disk succeeded")
	}
}
