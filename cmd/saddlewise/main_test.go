package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"saddlewise": func() {
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
			defer stop()
			os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
		},
	})
}

// TestScripts runs what a user could type.
func TestScripts(t *testing.T) {
	shared := t.TempDir()
	demo := sync.OnceValue(func() error {
		if status := run(t.Context(), []string{"demo", shared}, io.Discard, os.Stderr); status != exitDone {
			return fmt.Errorf("demo ends with status %d", status)
		}
		return nil
	})
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"narrow": narrow,
			// rendered DIR is a copy of the demo, which is rendered once for all.
			"rendered": func(ts *testscript.TestScript, _ bool, args []string) {
				ts.Check(demo())
				ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(shared)))
			},
		},
	})
}

// narrow checks that no line of the last output is wider than a terminal.
func narrow(ts *testscript.TestScript, _ bool, _ []string) {
	for line := range strings.Lines(ts.ReadFile("stdout")) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
			ts.Fatalf("%d columns: %s", n, line)
		}
	}
}
