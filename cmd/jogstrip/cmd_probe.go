package main

import (
	"context"
	"os"
	"os/exec"

	"github.com/spf13/cobra"

	"jogstrip/pipeline/clip"
)

// newProbeCommand is the process in which batch and the marks page look into a
// clip: they must outlive one that brings a decoder down.
func newProbeCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:    "probe CLIP",
		Short:  "Look into one clip for batch and the marks page",
		Long:   "Open one clip and write what its container says as JSON to standard output.",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return clip.TellProbe(cmd.Context(), args[0], a.stdout)
		},
	}
}

// probeAside returns clip.Probe in a process of its own, which is self.
func probeAside(self string) func(ctx context.Context, path string) (*clip.Info, error) {
	command := func(ctx context.Context, path string) *exec.Cmd {
		cmd := exec.CommandContext(ctx, self, "probe", "--", path)
		cmd.Args[0] = os.Args[0]
		return cmd
	}
	return func(ctx context.Context, path string) (*clip.Info, error) {
		return clip.ProbeAside(ctx, path, command)
	}
}
