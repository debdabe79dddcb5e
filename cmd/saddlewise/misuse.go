package main

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/spf13/cobra"
)

// misuse is an error of the command line.
type misuse struct{ error }

func misused(format string, args ...any) error { return misuse{fmt.Errorf(format, args...)} }

// exactly checks the number of arguments and says what is missing.
func exactly(n int, what string) cobra.PositionalArgs { return between(n, n, what) }

// between is the same for a number of arguments from low to high.
func between(low, high int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < low || len(args) > high {
			return misused("%s takes %s; %s explains", cmd.Name(), what, helpFor(cmd))
		}
		return nil
	}
}

// helpFor is what to type to read about cmd.
func helpFor(cmd *cobra.Command) string {
	root, path, below := strings.Cut(cmd.CommandPath(), " ")
	if !below {
		return root + " help"
	}
	return root + " help " + path
}

// unknownCommand says so and names the commands of nearly that name.
func unknownCommand(cmd *cobra.Command, name string) error {
	cmd.SuggestionsMinimumDistance = 2
	if near := cmd.SuggestionsFor(name); len(near) > 0 {
		return misused("there is no command %q; %s is one", name, strings.Join(near, " or "))
	}
	return misused("there is no command %q; %s lists them", name, helpFor(cmd))
}

var flagName = regexp.MustCompile(`--[a-z][a-z0-9-]*`)

// flagMisuse tells in one sentence what is wrong with an option.
func flagMisuse(cmd *cobra.Command, err error) error {
	var value interface{ GetValue() string }
	var name interface{ GetSpecifiedName() string }
	switch {
	case errors.As(err, &value):
		_, told, _ := strings.Cut(err.Error(), `" for "`)
		option := flagName.FindString(told)
		return misused("%s takes %s, not %q; %s explains", option, kindOf(cmd, option), value.GetValue(), helpFor(cmd))
	case errors.As(err, &name) && strings.HasPrefix(err.Error(), "flag needs"):
		option := cmp.Or(flagName.FindString(err.Error()), "-"+name.GetSpecifiedName())
		return misused("%s needs %s after it; %s explains", option, kindOf(cmd, option), helpFor(cmd))
	case errors.As(err, &name):
		option := cmp.Or(flagName.FindString(err.Error()), "-"+name.GetSpecifiedName())
		return misused("there is no option %s; %s lists them", option, helpFor(cmd))
	}
	return misuse{err}
}

// kindOf is what an option takes.
func kindOf(cmd *cobra.Command, option string) string {
	flag := cmd.Flags().Lookup(strings.TrimLeft(option, "-"))
	if flag == nil {
		return "a value"
	}
	switch kind := flag.Value.Type(); {
	case kind == "bool":
		return "true or false"
	case strings.HasPrefix(kind, "int"), strings.HasPrefix(kind, "uint"):
		return "a whole number"
	case kind == "float64":
		return "a number"
	case kind == "float64Slice":
		return "numbers with commas between them"
	}
	return "a value"
}

// newHelp is the command that explains the others, and refuses what is none.
func newHelp() *cobra.Command {
	return &cobra.Command{
		Use: "help [COMMAND]", Short: "explain a command",
		RunE: func(cmd *cobra.Command, args []string) error {
			about, rest, err := cmd.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return unknownCommand(cmd.Root(), strings.Join(args, " "))
			}
			return about.Help()
		},
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			var names []string
			if about, _, err := cmd.Root().Find(args); err == nil {
				for _, c := range commandsOf(about) {
					names = append(names, c.Name())
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
	}
}
