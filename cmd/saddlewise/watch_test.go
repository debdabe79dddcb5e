package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A watch judges what lands, a broken take too, leaves alone what was there,
// and ends with status 0.
func TestWatch(t *testing.T) {
	dir := t.TempDir()
	var out, errOut bytes.Buffer
	made := filepath.Join(t.TempDir(), "tone.wav")
	if got := run(t.Context(), []string{"stimulus", "tone", made, "--seconds", "3"}, &out, &errOut); got != exitDone {
		t.Fatal(&errOut)
	}
	tone, err := os.ReadFile(made)
	if err != nil {
		t.Fatal(err)
	}
	put := func(name string, content []byte) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("tone-1.wav", tone)

	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	said, watcher := io.Pipe()
	status := make(chan int)
	go func() {
		status <- run(ctx, []string{"check", "--watch", dir}, watcher, watcher)
		watcher.Close()
	}()
	next := func() string {
		line := make([]byte, 400)
		n, _ := said.Read(line)
		return string(line[:n])
	}
	if got := next(); !strings.Contains(got, "waiting for takes") {
		t.Fatalf("got %q", got)
	}
	put("memo.txt", []byte("no take"))
	put("tone-2.wav", tone)
	put("tone-3.wav", []byte("text"))
	if got := next(); !strings.HasPrefix(got, "good   tone-2.wav") {
		t.Errorf("got %q", got)
	}
	if got := next(); !strings.HasPrefix(got, "again  tone-3.wav") {
		t.Errorf("got %q", got)
	}
	cancel()
	if got := <-status; got != exitDone {
		t.Errorf("status %d", got)
	}
}
