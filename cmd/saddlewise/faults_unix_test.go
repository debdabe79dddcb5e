//go:build unix

package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"saddlewise/analysis"
	"saddlewise/analysis/result"
	"saddlewise/report"
)

// asCommand makes the test binary the command itself; its value may bound
// what a file can hold, in bytes, as a full disk does.
const asCommand = "SADDLEWISE_TEST_AS_COMMAND"

func init() {
	limit, set := os.LookupEnv(asCommand)
	if !set {
		return
	}
	var most uint64
	if _, err := fmt.Sscan(limit, &most); err == nil {
		signal.Ignore(syscall.SIGXFSZ)
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: most, Max: most}); err != nil {
			panic(err)
		}
	}
	main()
}

// command is the program in a process of its own, which may write files of
// most bytes; empty: as many as it likes.
func command(exe, most string, args ...string) *exec.Cmd {
	cmd := exec.Command(exe, args...)
	cmd.Env = append(os.Environ(), asCommand+"="+most)
	return cmd
}

// failsWith runs a command that must fail with one sentence that holds words.
func failsWith(t *testing.T, cmd *exec.Cmd, words ...string) {
	t.Helper()
	var out, errOut bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errOut
	err := cmd.Run()
	said := errOut.String()
	if cmd.ProcessState == nil || cmd.ProcessState.ExitCode() != exitFailed || out.Len() > 0 {
		t.Errorf("%v: %v, out %q, err %q", cmd.Args[1:], err, &out, said)
	}
	for _, w := range words {
		if !strings.Contains(said, w) {
			t.Errorf("%v: %q does not say %q", cmd.Args[1:], said, w)
		}
	}
	if !strings.HasPrefix(said, "saddlewise: ") || strings.Count(said, "\n") != 1 {
		t.Errorf("%v: %q is not one sentence", cmd.Args[1:], said)
	}
}

// plainUser copies the program to where anybody may run it, and makes it run
// as somebody who is refused things: the superuser never is.
func plainUser(t *testing.T) (exe string, as *syscall.SysProcAttr) {
	t.Helper()
	if os.Geteuid() != 0 {
		return os.Args[0], nil
	}
	program, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	exe = filepath.Join(t.TempDir(), "saddlewise")
	open := os.Chmod(filepath.Dir(filepath.Dir(exe)), 0o755) // the test's own folder
	if err := errors.Join(open, os.WriteFile(exe, program, 0o755)); err != nil {
		t.Fatal(err)
	}
	return exe, &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}

// TestOutputThatCannotBe: a file in the way, a folder that may not be written
// to, a full disk. Each fails with one sentence and leaves everything as it
// was.
func TestOutputThatCannotBe(t *testing.T) {
	dir := smallStage(t)
	top := filepath.Dir(filepath.Dir(dir))
	file, locked, kept := filepath.Join(top, "file"), filepath.Join(top, "locked"), filepath.Join(top, "kept")
	err := errors.Join(os.WriteFile(file, []byte("mine"), 0o644), os.Mkdir(locked, 0o555), os.Mkdir(kept, 0o755),
		os.WriteFile(filepath.Join(kept, "report.md"), []byte("old"), 0o644))
	if err != nil {
		t.Fatal(err)
	}
	before := treeOf(t, top)
	take := filepath.Join(dir, "tap-1.wav")
	for _, out := range []string{file, filepath.Join(file, "below"), take} {
		failsWith(t, command(os.Args[0], "", "analyze", dir, "--out", out), out, "is a file", "choose another folder")
	}
	exe, as := plainUser(t)
	for _, out := range []string{locked, filepath.Join(locked, "new")} {
		cmd := command(exe, "", "analyze", dir, "--out", out)
		cmd.SysProcAttr = as
		failsWith(t, cmd, out, "permission denied", "choose another folder")
	}
	failsWith(t, command(os.Args[0], "4096", "analyze", dir, "--out", kept, "--html"), "cannot be written", "make room")
	sameTree(t, before, treeOf(t, top))
}

// TestPipeThatCloses: what reads the output goes away.
func TestPipeThatCloses(t *testing.T) {
	dir := smallStage(t)
	for _, args := range []string{"check", "analyze --json", "analyze"} {
		var errOut bytes.Buffer
		if got := run(t.Context(), append(strings.Fields(args), dir), full{}, &errOut); got != exitFailed || !strings.Contains(errOut.String(), "no space") {
			t.Errorf("%s: status %d, %q", args, got, &errOut)
		}
	}
}

// TestTakesThatGo: takes that vanish, shrink or become something else between
// the listing and their reading cost only themselves.
func TestTakesThatGo(t *testing.T) {
	dir := smallStage(t)
	wanted := analyzedNow(t, dir, nil)
	spoil := map[string]func(path string) error{
		"pluck-A3.wav": os.Remove,
		"pluck-D3.wav": func(path string) error { return os.Truncate(path, 30) },
		"tap-1.wav":    func(path string) error { return errors.Join(os.Remove(path), os.Mkdir(path, 0o755)) },
	}
	var once sync.Once
	r := analyzedNow(t, dir, func(int, int) {
		once.Do(func() {
			for name, f := range spoil {
				if err := f(filepath.Join(dir, name)); err != nil {
					t.Error(err)
				}
			}
		})
	})
	problems := map[string]string{}
	for _, k := range r.Takes {
		problems[k.File] = k.Problem
	}
	for name := range spoil {
		if !strings.Contains(problems[name], name) {
			t.Errorf("%s: problem %q", name, problems[name])
		}
	}
	if len(r.Takes) != len(wanted.Takes) || len(r.Quiet) != len(wanted.Quiet) || r.Quiet[0].FloorDBFS.Estimate.Median != wanted.Quiet[0].FloorDBFS.Estimate.Median {
		t.Errorf("%d takes and %d silences, want %d and %d", len(r.Takes), len(r.Quiet), len(wanted.Takes), len(wanted.Quiet))
	}
	if r.Strings[1].Tap == nil {
		t.Error("the taps of string 2 were lost with the other takes")
	}
}

func analyzedNow(t *testing.T, dir string, progress func(done, total int)) *result.Results {
	t.Helper()
	r, err := analyzeInto(t.Context(), dir, filepath.Join(t.TempDir(), "report"), analysis.Options{Progress: progress}, report.HTML)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestInterruptedAtAnyTime sends Ctrl-C to the program at random moments of a
// run over many takes: the folder holds a whole report or what it held before.
func TestInterruptedAtAnyTime(t *testing.T) {
	dir := smallStage(t)
	for i := range 3 {
		for _, name := range []string{"tap-1", "pluck-A3"} {
			if err := os.Link(filepath.Join(dir, name+".wav"), filepath.Join(dir, fmt.Sprintf("%s again %d.wav", name, i))); err != nil {
				t.Fatal(err)
			}
		}
	}
	out := filepath.Join(t.TempDir(), "report")
	args := []string{"analyze", dir, "--out", out, "--html", "--quiet"}
	start := time.Now()
	if text, err := command(os.Args[0], "", args...).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	whole, took := treeOf(t, out), time.Since(start)
	recordings := treeOf(t, dir)
	rng := rand.New(rand.NewPCG(7, 7))
	interrupted := 0
	const runs = 5
	for i := range runs {
		if err := os.RemoveAll(out); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithTimeout(t.Context(), time.Minute)
		said, code := interruptAfter(t, ctx, time.Duration((float64(i)+rng.Float64())/runs*float64(took)), args)
		stop()
		switch {
		case code == exitFailed && said == "saddlewise: interrupted; nothing was left half-written\n":
			interrupted++
		case code == -1 && said == "": // before it could listen
		case code != exitDone:
			t.Errorf("status %d, %q", code, said)
		}
		if entries, err := os.ReadDir(out); err == nil && len(entries) > 0 {
			sameTree(t, whole, treeOf(t, out))
		} else if code == exitDone {
			t.Error("a run that was done left no report")
		}
	}
	if interrupted == 0 {
		t.Error("no run was interrupted")
	}
	sameTree(t, recordings, treeOf(t, dir))
}

// interruptAfter starts the program and sends it Ctrl-C; code is -1 when the
// signal ended it.
func interruptAfter(t *testing.T, ctx context.Context, wait time.Duration, args []string) (said string, code int) {
	t.Helper()
	cmd := command(os.Args[0], "", args...)
	var errOut bytes.Buffer
	cmd.Stdout, cmd.Stderr = io.Discard, &errOut
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	timer := time.AfterFunc(wait, func() { _ = cmd.Process.Signal(os.Interrupt) }) // it may be done by then
	defer timer.Stop()
	killed := context.AfterFunc(ctx, func() { _ = cmd.Process.Kill() })
	defer killed()
	_ = cmd.Wait() // the status tells
	return errOut.String(), cmd.ProcessState.ExitCode()
}

// TestNothingIsReplaced: what is rendered never takes the place of a recording
// or of anything else that was there.
func TestNothingIsReplaced(t *testing.T) {
	dir := t.TempDir()
	take := filepath.Join(dir, "wired", "tap-2.wav")
	if err := errors.Join(os.Mkdir(filepath.Dir(take), 0o755), os.WriteFile(take, []byte("my only recording"), 0o644)); err != nil {
		t.Fatal(err)
	}
	before := treeOf(t, dir)
	for _, args := range [][]string{{"stimulus", "tone", take}, {"demo", dir}} {
		failsWith(t, command(os.Args[0], "", args...), take, "move it away")
		sameTree(t, before, treeOf(t, dir))
	}
	pipe, link := filepath.Join(dir, "pipe.wav"), filepath.Join(dir, "link.wav") // neither may be read or replaced
	if err := errors.Join(syscall.Mkfifo(pipe, 0o644), os.Symlink(filepath.Join(dir, "nowhere"), link)); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{pipe, link} {
		failsWith(t, command(os.Args[0], "", "stimulus", "tone", path, "--seconds", "1"), path, "move it away")
		if info, err := os.Lstat(path); err != nil || info.Mode().IsRegular() {
			t.Errorf("%s was replaced: %v", path, err)
		}
	}
	again := []string{"stimulus", "tone", filepath.Join(dir, "tone.wav"), "--seconds", "1"}
	for range 2 { // the same bytes do no harm
		if status, said := runArgs(t, again); status != exitDone {
			t.Errorf("status %d, %s", status, said)
		}
	}
}

func runArgs(t *testing.T, args []string) (status int, said string) {
	t.Helper()
	var errOut bytes.Buffer
	status = run(t.Context(), args, io.Discard, &errOut)
	return status, errOut.String()
}

// TestTakesOutsideTheFolder: what TOML names outside the stage is not read.
func TestTakesOutsideTheFolder(t *testing.T) {
	dir := smallStage(t)
	secret := filepath.Join(filepath.Dir(dir), "secret.wav")
	if err := os.Rename(filepath.Join(dir, "pluck-A3.wav"), secret); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"../secret.wav": "outside the stage folder", secret: "outside the stage folder", "a\nb.wav": "not in the folder"} {
		toml := hostileTOML + fmt.Sprintf("[[take]]\nfile = %q\ntest = \"pluck\"\nstring = 1\n", name)
		if err := os.WriteFile(filepath.Join(dir, "stage.toml"), []byte(toml), 0o644); err != nil {
			t.Fatal(err)
		}
		r, err := analysis.Analyze(t.Context(), dir, analysis.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Strings[0].Pluck != nil || len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Text, want) {
			t.Errorf("%q: pluck %v, problems %v", name, r.Strings[0].Pluck, r.Problems)
		}
	}
}
