// Command saddlewise measures home-made piezo pickups from recordings of
// taps, plucks, tones and silence, and says whether the next step that cannot
// be undone may be taken.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

// What is kept is little and what passes through is much: collecting it less
// often saves a tenth of the time. The limit keeps a long take's memory small.
const (
	garbagePercent = 400
	memoryLimit    = 96 << 20
)

func main() {
	spareCollection()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	status := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}

func spareCollection() {
	debug.SetGCPercent(garbagePercent)
	debug.SetMemoryLimit(memoryLimit)
}
