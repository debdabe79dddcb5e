package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// helpColumns is how wide help may be.
const helpColumns = 80

// workOrder is the order in which a builder meets the commands; those that
// are not listed follow by name.
var workOrder = []string{"demo", "plan", "check", "analyze", "compare", "trend", "load", "stimulus", "version"}

// usage prints how a command is used, below what its help says of it.
func usage(cmd *cobra.Command) error {
	var b strings.Builder
	if cmd.Runnable() && cmd.HasParent() {
		fmt.Fprintf(&b, "Use\n  %s\n", useLine(cmd))
	}
	if cmd.HasExample() {
		fmt.Fprintf(&b, "\nFor example\n%s\n", cmd.Example)
	}
	if below := commandsOf(cmd); len(below) > 0 {
		b.WriteString("\nCommands\n")
		for _, c := range below {
			fmt.Fprintf(&b, "  %-12s %s\n", c.Name(), c.Short)
		}
		fmt.Fprintf(&b, "\n%s help COMMAND explains one.\n", cmd.Root().Name())
	}
	if flags := cmd.LocalFlags().FlagUsagesWrapped(helpColumns); cmd.HasParent() && flags != "" {
		fmt.Fprintf(&b, "\nOptions\n%s", flags)
	}
	_, err := fmt.Fprint(cmd.OutOrStdout(), strings.TrimLeft(b.String(), "\n"))
	return err
}

func useLine(cmd *cobra.Command) string {
	line := cmd.Use
	if cmd.HasParent() {
		line = cmd.Parent().CommandPath() + " " + line
	}
	if cmd.HasAvailableLocalFlags() {
		line += " [options]"
	}
	return line
}

func commandsOf(cmd *cobra.Command) []*cobra.Command {
	below := slices.DeleteFunc(slices.Clone(cmd.Commands()), func(c *cobra.Command) bool {
		return !c.IsAvailableCommand()
	})
	place := func(c *cobra.Command) int {
		if i := slices.Index(workOrder, c.Name()); i >= 0 {
			return i
		}
		return len(workOrder)
	}
	slices.SortFunc(below, func(a, b *cobra.Command) int {
		return cmp.Or(cmp.Compare(place(a), place(b)), cmp.Compare(a.Name(), b.Name()))
	})
	return below
}
