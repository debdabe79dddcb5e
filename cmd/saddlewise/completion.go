package main

import "github.com/spf13/cobra"

// stageFolder completes the one argument of a command that takes a stage:
// folders only.
func stageFolder(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return nil, cobra.ShellCompDirectiveFilterDirs
}

// addCompletion adds the command that writes completion for a shell.
func addCompletion(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			c.Args = cobra.ArbitraryArgs
			c.RunE = func(cmd *cobra.Command, _ []string) error {
				return misused("completion takes bash, fish, powershell or zsh; %s explains", helpFor(cmd))
			}
		}
	}
}
