package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"jogstrip/metrics"
)

// clipEndings are those of the clips that a shell offers; others can be typed.
var clipEndings = []string{"mp4", "mov", "m4v", "mkv", "webm", "avi", "3gp", "mts", "m2ts", "ts", "mpg"}

// completeWords tells shells what arguments and values of flags may be: jogstrip
// completion bash writes what asks for them.
func completeWords(root *cobra.Command) error {
	clips := func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return clipEndings, cobra.ShellCompDirectiveFilterFileExt
	}
	folders := func(most int) cobra.CompletionFunc {
		return func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) >= most {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return nil, cobra.ShellCompDirectiveFilterDirs
		}
	}
	words := map[string]cobra.CompletionFunc{
		"check": clips, "measure": clips,
		"mark": folders(1), "batch": folders(1), "merge": folders(1), "history": folders(1), "demo": folders(1), "compare": folders(2),
		"version": cobra.NoFileCompletions,
	}
	flags := map[string]cobra.CompletionFunc{
		"log":      cobra.FixedCompletions([]string{"auto", "plain", "json"}, cobra.ShellCompDirectiveNoFileComp),
		"followed": cobra.FixedCompletions(followable(), cobra.ShellCompDirectiveNoFileComp),
		"out":      folders(1 << 10),
	}
	for _, c := range root.Commands() {
		if complete := words[c.Name()]; complete != nil {
			c.ValidArgsFunction = complete
		}
		for name, complete := range flags {
			if c.Flags().Lookup(name) == nil {
				continue
			}
			if err := c.RegisterFlagCompletionFunc(name, complete); err != nil {
				return fmt.Errorf("completion of --%s: %w", name, err)
			}
		}
	}
	return nil
}

// followable returns the names of the measures that --followed takes, each with its
// title.
func followable() []string {
	var out []string
	for _, d := range metrics.Definitions() {
		out = append(out, string(d.Name)+"\t"+d.Title)
	}
	return out
}
