package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"jogstrip/pipeline"
	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// proposeAnswer is what the propose command tells.
type proposeAnswer struct {
	Found  []pipeline.ProposedMark `json:"found"`
	Reason string                  `json:"reason"`
}

// newProposeCommand is the process in which the marks page has marks proposed: a
// fault inside OpenCV ends a process and cannot be caught.
func newProposeCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:    "propose CLIP",
		Short:  "Propose marks in one clip for the marks page",
		Long:   "Follow the marks of one clip and tell where more could be placed, in JSON on standard output.\n" + exitHelp,
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			marks, err := record.ReadMarks(record.MarksPath(args[0]))
			if err != nil {
				return err
			}
			found, reason, err := pipeline.Propose(cmd.Context(), args[0], marks)
			if err != nil {
				return err
			}
			return json.NewEncoder(a.stdout).Encode(proposeAnswer{found, reason})
		},
	}
}

// clipProposer proposes marks for the marks page.
type clipProposer struct {
	command func(ctx context.Context, clip string) *exec.Cmd // The process that follows a clip's marks.
}

var _ markpage.Proposer = (*clipProposer)(nil)

// newClipProposer returns a proposer that starts the program self again.
func newClipProposer(self string) *clipProposer {
	return &clipProposer{command: func(ctx context.Context, clip string) *exec.Cmd {
		cmd := exec.CommandContext(ctx, self, "propose", "--", clip)
		cmd.Args[0] = os.Args[0]
		return cmd
	}}
}

// Propose implements markpage.Proposer. It follows the clip's own marks; those of
// other clips are not looked for in this one yet.
func (p *clipProposer) Propose(ctx context.Context, clip string, _ traj.View, like []markpage.Marked) ([]markpage.Proposal, string, error) {
	if len(like) == 0 || like[0].Clip != clip {
		return nil, "Once a left and a right stance are marked here, marks at other distances are proposed.", nil
	}
	cmd := p.command(ctx, clip)
	out, err := cmd.Output()
	if ctx.Err() != nil {
		return nil, "", ctx.Err()
	}
	if err != nil {
		var ended *exec.ExitError
		words := err.Error()
		if errors.As(err, &ended) && len(ended.Stderr) > 0 {
			words = strings.TrimPrefix(strings.TrimSpace(string(ended.Stderr)), "jogstrip: ")
		}
		return nil, "", fmt.Errorf("follow the marks of %s: %s", filepath.Base(clip), strings.ReplaceAll(words, filepath.Dir(clip)+"/", ""))
	}
	var answer proposeAnswer
	if err := json.Unmarshal(out, &answer); err != nil {
		return nil, "", fmt.Errorf("read proposed marks of %s: %w", filepath.Base(clip), err)
	}
	found := make([]markpage.Proposal, len(answer.Found))
	for i, m := range answer.Found {
		found[i] = markpage.Proposal(m)
	}
	return found, answer.Reason, nil
}
