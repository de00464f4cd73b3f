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
	like := ""
	cmd := &cobra.Command{
		Use:    "propose CLIP",
		Short:  "Propose marks in one clip for the marks page",
		Long:   "Follow the marks of one clip, or look in it for the horse as another clip's marks show it, and say where more marks could be placed, as JSON on standard output.",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			marked := args[0]
			if like != "" {
				marked = like
			}
			marks, err := record.ReadMarks(record.MarksPath(marked))
			if err != nil {
				return err
			}
			var answer proposeAnswer
			if like == "" {
				answer.Found, answer.Reason, err = pipeline.Propose(cmd.Context(), args[0], marks)
			} else {
				answer.Found, answer.Reason, err = pipeline.ProposeLike(cmd.Context(), args[0], like, marks)
			}
			if err != nil {
				return err
			}
			return json.NewEncoder(a.stdout).Encode(answer)
		},
	}
	cmd.Flags().StringVar(&like, "like", "", "look for what the marks of this clip show")
	return cmd
}

// clipProposer proposes marks for the marks page.
type clipProposer struct {
	// The process that looks into a clip; like is "" or the clip whose marks to go by.
	command func(ctx context.Context, clip, like string) *exec.Cmd
}

var _ markpage.Proposer = (*clipProposer)(nil)

// newClipProposer returns a proposer that starts the program self again.
func newClipProposer(self string) *clipProposer {
	return &clipProposer{command: func(ctx context.Context, clip, like string) *exec.Cmd {
		cmd := exec.CommandContext(ctx, self, proposeArgs(clip, like)...)
		cmd.Args[0] = os.Args[0]
		return cmd
	}}
}

func proposeArgs(clip, like string) []string {
	return []string{"propose", "--like=" + like, "--", clip}
}

// Propose implements markpage.Proposer. It goes by the first of like that gives any.
func (p *clipProposer) Propose(ctx context.Context, clip string, _ traj.View, like []markpage.Marked) (found []markpage.Proposal, reason string, err error) {
	for _, l := range like {
		var again string
		if found, again, err = p.by(ctx, clip, l.Clip); err != nil || len(found) > 0 {
			return found, "", err
		}
		if reason == "" {
			reason = again
		}
		if l.Clip == clip {
			break // What this clip's own marks do not show others' do not.
		}
	}
	return nil, reason, nil
}

// by proposes marks by those of the clip like.
func (p *clipProposer) by(ctx context.Context, clip, like string) ([]markpage.Proposal, string, error) {
	if like == clip {
		like = ""
	}
	out, err := p.command(ctx, clip, like).Output()
	if ctx.Err() != nil {
		return nil, "", ctx.Err()
	}
	if err != nil {
		var ended *exec.ExitError
		words := err.Error()
		if errors.As(err, &ended) && len(ended.Stderr) > 0 {
			words = strings.TrimPrefix(strings.TrimSpace(string(ended.Stderr)), "jogstrip: ")
		}
		return nil, "", fmt.Errorf("look for marks in %s: %s", filepath.Base(clip), strings.ReplaceAll(words, filepath.Dir(clip)+"/", ""))
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
