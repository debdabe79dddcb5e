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
