package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"jogstrip/pipeline"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
	"jogstrip/track/flow"
)

func newVersionCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the versions of the program, OpenCV and FFmpeg",
		Long:  "Print the versions of the program, its measuring, and of OpenCV and FFmpeg as they are found now.",
		Args:  cobra.NoArgs,
		RunE: func(_ *cobra.Command, _ []string) error {
			p := program()
			fmt.Fprintf(a.stdout, "jogstrip %s (measuring version %d)\nOpenCV %s\nFFmpeg %s\n", p.Version, p.Measuring, p.OpenCV, p.FFmpeg)
			return nil
		},
	}
}

// program returns what measures, as it goes into results.
func program() record.Program {
	return record.Program{Version: version, Measuring: pipeline.MeasuringVersion, OpenCV: flow.Version(), FFmpeg: clip.Version()}
}
