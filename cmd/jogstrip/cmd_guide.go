package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"jogstrip/pipeline/film"
)

// guideFile is where the guide goes when no name is given.
const guideFile = "film-guide.html"

func newGuideCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "guide [FILE]",
		Short: "Write the film guide for the handler, one page to print",
		Long: `Write the film guide, one HTML page that prints on a sheet of A4 or Letter, to
FILE (default: ` + guideFile + `; - writes to standard output). A file that exists
is not overwritten.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			name := guideFile
			if len(args) > 0 {
				name = args[0]
			}
			return runGuide(a, name)
		},
	}
}

func runGuide(a *app, name string) (err error) {
	if name == "-" {
		_, err := a.stdout.Write(film.Guide())
		return err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("write film guide: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if _, err := f.Write(film.Guide()); err != nil {
		return fmt.Errorf("write film guide %s: %w", name, err)
	}
	fmt.Fprintf(a.stdout, "Film guide written to %s: open it in a browser and print it.\n", name)
	return nil
}
