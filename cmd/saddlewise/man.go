package main

import (
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manDate stands in every man page, so that the same version gives the same
// bytes.
var manDate = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

func newMan() *cobra.Command {
	return &cobra.Command{
		Use:   "man DIR",
		Short: "write man pages into a folder",
		Long: `Man writes one man page for each command into the folder DIR, which it makes if
need be. To read one: man -l DIR/saddlewise-analyze.1`,
		Example: "  saddlewise man ~/.local/share/man/man1",
		Args:    exactly(1, "one folder to write into"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("make folder: %w", err)
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true
			header := doc.GenManHeader{Section: "1", Source: tool(), Manual: "saddlewise", Date: &manDate}
			if err := doc.GenManTree(root, &header, args[0]); err != nil {
				return fmt.Errorf("write man pages: %w", err)
			}
			return nil
		},
	}
}
