// Command saddlewise measures home-made piezo pickups from recordings of
// taps, plucks, tones and silence, and says whether the next step that cannot
// be undone may be taken.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	status := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}
