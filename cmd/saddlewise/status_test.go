package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
)

// Exit statuses and one sentence on standard error, nothing on standard
// output.
func TestStatuses(t *testing.T) {
	for _, tc := range []struct {
		args   string
		status int
	}{
		{"version", exitDone},
		{"load --strings A3", exitDone},
		{"frobnicate", exitMisuse},
		{"load", exitMisuse},
		{"load --froth", exitMisuse},
		{"load A3", exitMisuse},
		{"load frobnicate", exitMisuse},
		{"load corner --discs 4 --corner-hz -1", exitMisuse},
		{"plan --strings H3", exitMisuse},
		{"analyze", exitMisuse},
		{"analyze nowhere", exitFailed},
		{"load capacitance --ohm none,1e3 --tone-hz 440 --level-db=1,2", exitFailed},
	} {
		var out, errOut bytes.Buffer
		if got := run(t.Context(), strings.Fields(tc.args), &out, &errOut); got != tc.status {
			t.Errorf("%s: status %d, want %d; %s", tc.args, got, tc.status, &errOut)
		}
		if (tc.status == exitDone) != (errOut.Len() == 0) || (tc.status == exitDone) != (out.Len() > 0) {
			t.Errorf("%s: out %q, err %q", tc.args, &out, &errOut)
		}
		if text := errOut.String(); text != "" && (!strings.HasPrefix(text, "saddlewise: ") || strings.Count(text, "\n") != 1) {
			t.Errorf("%s: %q is not one sentence", tc.args, text)
		}
	}
}

// A full disk or closed pipe at the output is a failure, never silence.
func TestOutputThatFails(t *testing.T) {
	for _, args := range []string{"version", "load --strings A3", "load --strings A3 --json", "plan --strings A3", "load corner --discs 4 --corner-hz 2", "load capacitance --ohm none,4.7e3 --tone-hz 440 --level-db=-20,-22.8"} {
		var errOut bytes.Buffer
		if got := run(t.Context(), strings.Fields(args), full{}, &errOut); got != exitFailed || !strings.Contains(errOut.String(), "no space") {
			t.Errorf("%s: status %d, %q", args, got, &errOut)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errOut bytes.Buffer
	if got := run(ctx, []string{"demo", t.TempDir()}, &out, &errOut); got != exitFailed || !strings.Contains(errOut.String(), "interrupted") {
		t.Errorf("status %d, %q", got, &errOut)
	}
}
