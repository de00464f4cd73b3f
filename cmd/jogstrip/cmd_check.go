package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jogstrip/pipeline"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/record"
)

type checkOptions struct {
	json bool
}

func (o *checkOptions) addFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.json, "json", false, "write JSON: one object for each clip, each on a line of its own")
}

func newCheckCommand(a *app) *cobra.Command {
	var opts checkOptions
	c := &cobra.Command{
		Use:   "check CLIP...",
		Short: "Say whether clips are fit to be measured, and what to film differently",
		Long: `Look through each clip and say whether it is fit to be measured. Frame rate,
resolution, exposure, noise, motion blur, shake, camera level, lens, size, distance,
strides, framing and straightness are each called good, usable or a reason to film
again, with what to do differently. Marks that contradict each other are named,
too, and hooves that they say were hidden. Without marks whether the leader or
grass hides a hoof can't be told: look yourself. This takes less time than the clip lasts. It measures nothing and writes no file.`,
		Example: `  jogstrip check toward-1.mp4
  jogstrip check *.mp4`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			defer promptly(cmd.Context(), a.stderr)()
			return runCheck(cmd.Context(), a, opts, args)
		},
	}
	opts.addFlags(c.Flags())
	return c
}

func runCheck(ctx context.Context, a *app, opts checkOptions, clips []string) error {
	again, unread := 0, 0
	for _, path := range clips {
		report, err := checkOne(ctx, path)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			fmt.Fprintf(a.stderr, "jogstrip: %v\n", err)
			unread++
			continue
		}
		if report.Verdict == film.FilmAgain {
			again++
		}
		if opts.json {
			if err := json.NewEncoder(a.stdout).Encode(report); err != nil {
				return fmt.Errorf("write check: %w", err)
			}
			continue
		}
		printCheck(a.stdout, report)
	}
	switch {
	case unread > 0 && len(clips) == 1:
		return partial("")
	case unread > 0:
		return partial(fmt.Sprintf("%d of %d clips could not be read", unread, len(clips)))
	case again > 0 && len(clips) == 1:
		return partial(film.ErrFilmAgain.Error())
	case again > 0:
		return partial(fmt.Sprintf("%d of %d clips should be filmed again", again, len(clips)))
	}
	return nil
}

func checkOne(ctx context.Context, path string) (*film.Report, error) {
	info, err := clip.Probe(ctx, path)
	if err != nil {
		return nil, err
	}
	marks, err := record.ReadMarks(record.MarksPath(path))
	if err == nil {
		err = marks.Fit(record.MarksPath(path), info.Width, info.Height, len(info.Times))
	}
	if err != nil {
		marks = nil // The check does without marks that cannot be read, and says so.
	}
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	opts := film.Options{Marks: marks, MarksError: err}
	if around, err := pipeline.Look(filepath.Dir(path)); err == nil { // What is wrong with a page there is no matter of the clip's.
		opts.Lengths = around.Yard.Lengths
	}
	return film.Check(ctx, info, opts)
}

func printCheck(w io.Writer, r *film.Report) {
	fmt.Fprintf(w, "%s: %s\n", r.Clip, r.Sentence)
	for _, i := range r.Items {
		fmt.Fprintf(w, "  %-24s %-11s %s\n", i.Title, i.Verdict, i.Found)
		if i.Advice != "" {
			fmt.Fprintf(w, "  %-24s %-11s → %s\n", "", "", i.Advice)
		}
	}
	fmt.Fprintf(w, "  looked at %d pictures in %.1f s; the clip lasts %.1f s\n", r.Frames, r.TookS, r.DurationS)
}
