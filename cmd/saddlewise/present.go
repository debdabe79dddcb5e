package main

import (
	"fmt"
	"io"

	"saddlewise/report"
)

// present prints what a command found: JSON when asked for, nothing when quiet,
// else the summary and where the report is.
func present(out io.Writer, asJSON, quiet bool, encoded func() ([]byte, error), summary func(report.Paint) string, path string) error {
	switch {
	case asJSON:
		text, err := encoded()
		if err != nil {
			return err
		}
		_, err = out.Write(text)
		return err
	case quiet:
		return nil
	}
	_, err := fmt.Fprintf(out, "%s\nReport: %s\n", summary(paintFor(out)), path)
	return err
}
