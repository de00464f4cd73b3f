package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jogstrip/metrics"
	"jogstrip/pipeline"
)

type compareOptions struct {
	out        string
	followed   string
	resamples  int
	otherHorse bool
	noVideo    bool
}

func (o *compareOptions) addFlags(f *pflag.FlagSet) {
	f.StringVar(&o.out, "out", "", "folder for the comparison (default: beside the later visit's clips)")
	f.StringVar(&o.followed, "followed", "", "a measure to put first, such as step_length_fore. It counts as declared beforehand only if the earlier visit.toml named it before the later clips were measured")
	f.BoolVar(&o.otherHorse, "other-horse", false, "compare visits of two horses")
	f.BoolVar(&o.noVideo, "no-video", false, "leave out the film of before and after")
	f.IntVar(&o.resamples, "resamples", 0, "random draws behind the score's interval (0: the built-in number)")
}

func (o *compareOptions) check() error {
	if o.followed != "" {
		if _, known := metrics.Define(metrics.Name(o.followed)); !known {
			return fmt.Errorf("%w: --followed %q is no measure; result.json lists their names", errUsage, o.followed)
		}
	}
	return (&measureOptions{resamples: o.resamples}).check()
}

func newCompareCommand(a *app) *cobra.Command {
	var opts compareOptions
	c := &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "Compare two visits",
		Long: `Compare two visits of one horse and write a report. It begins with the sentence a
trainer wants first. Then come every measure before and after, with the change, its
95 % interval and the smallest change that counts, paired plots, and palpation,
treatment and function of both visits side by side. BEFORE and AFTER are visit
folders, clips' results folders, or result.json files.

The report is written for the screen (report.html) and for paper: a sheet to hand
over (report.pdf) and the details (details.pdf). The numbers are in comparison.json,
changes.csv, visits.csv and soreness.csv; columns.csv explains every column.
before-after.mp4 shows both visits beside each other, stride by stride in step.

Only like is compared with like: view, gait, surface and calibration must be the
same, the horse led both times or ridden both times, and speed must agree within
10 %. The same film on both sides is refused. Visits of two horses are refused, too,
unless --other-horse is given. Where BEFORE has the later date, the two change places.`,
		Example: `  jogstrip compare yard/horses/bramble/2026-03-02 yard/horses/bramble/2026-03-30
  jogstrip compare 2026-03-02/toward-1.out 2026-03-30/toward-1.out --out /tmp/toward`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.check(); err != nil {
				return err
			}
			defer promptly(cmd.Context(), a.stderr)()
			return runCompare(cmd.Context(), a, opts, args[0], args[1])
		},
	}
	opts.addFlags(c.Flags())
	return c
}

func runCompare(ctx context.Context, a *app, opts compareOptions, before, after string) error {
	p := program()
	line := newStageLine(a.stderr, "comparison")
	c, err := pipeline.CompareVisits(ctx, before, after, pipeline.CompareOptions{
		Program: p, Resamples: opts.resamples, Followed: metrics.Name(opts.followed), Out: opts.out, OtherHorse: opts.otherHorse,
		NoVideo: opts.noVideo, Progress: line.show,
	})
	line.end()
	if err != nil {
		return err
	}
	for _, n := range c.Notes {
		fmt.Fprintln(a.stdout, n)
	}
	fmt.Fprintln(a.stdout, c.Sentence)
	for _, change := range c.Changes {
		if strings.Contains(c.Sentence, change.Sentence) {
			continue // It leads and has been said.
		}
		switch change.Verdict {
		case metrics.Improved, metrics.Worse, metrics.Changed:
			fmt.Fprintf(a.stdout, "  %s\n", change.Sentence)
		}
	}
	for _, why := range c.NotFilmed {
		fmt.Fprintf(a.stdout, "not on film: %s\n", why)
	}
	fmt.Fprintf(a.stdout, "report: %s\n", filepath.Join(c.Folder, pipeline.ReportFile))
	return partly(a, c.Problems)
}

// partly reports results that could not be used and makes the exit code say so.
func partly(a *app, problems []string) error {
	if len(problems) == 0 {
		return nil
	}
	for _, p := range problems {
		fmt.Fprintf(a.stderr, "jogstrip: left out: %s\n", p)
	}
	if len(problems) == 1 {
		return partial("1 thing was left out")
	}
	return partial(fmt.Sprintf("%d things were left out", len(problems)))
}
