package main

import (
	"context"
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
		Long:  "Print the versions of the program, its measuring, and of OpenCV and FFmpeg as they are found now." + "\n" + exitHelp,
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			p, err := program(cmd.Context())
			if err != nil {
				p.FFmpeg = fmt.Sprintf("not found (%v)", err)
			}
			fmt.Fprintf(a.stdout, "jogstrip %s (measuring version %d)\nOpenCV %s\nFFmpeg %s\n", p.Version, p.Measuring, p.OpenCV, p.FFmpeg)
			return nil
		},
	}
}

// program returns what measures, as it goes into results.
func program(ctx context.Context) (record.Program, error) {
	p := decoderAside()
	var err error
	p.FFmpeg, err = clip.Versions(ctx)
	return p, err
}

// decoderAside is program without FFmpeg's version, which whoever decodes a clip
// learns on the way.
func decoderAside() record.Program {
	return record.Program{Version: version, Measuring: pipeline.MeasuringVersion, OpenCV: flow.Version()}
}
