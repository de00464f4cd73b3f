package main

import (
	"context"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"jogstrip/pipeline/demo"
)

func newDemoCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "demo FOLDER",
		Short: "Render a yard folder to try the program on",
		Long: `Render a yard to try the program on, FOLDER/yard. An invented horse is stiff and
short on one shoulder and eases over four weeks. It is filmed at three visits,
three runs toward and two away, fewer at the second visit, with marks as a careful
person would set them.
What is true of the clips is written beside the yard; nothing that measures reads it.`,
		Example: `  jogstrip demo demo && jogstrip batch demo/yard`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runDemo(cmd.Context(), a, args[0])
		},
	}
}

func runDemo(ctx context.Context, a *app, folder string) error {
	defer promptly(ctx, a.stderr)()
	line := newStageLine(a.stderr, "demo yard")
	line.lines = true // It takes minutes.
	yard, err := demo.Make(ctx, folder, demo.Options{Progress: func(clip string, done, total int) { line.show("rendering "+clip, done, total) }})
	line.end()
	if err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "The demo yard is in %s, its horse in %s.\n", yard, filepath.Join(yard, demo.Horse))
	fmt.Fprintf(a.stdout, "Next: jogstrip batch %s\n", yard)
	return nil
}
