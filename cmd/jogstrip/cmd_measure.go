package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jogstrip/pipeline"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/proc"
	"jogstrip/pipeline/record"
)

type measureOptions struct {
	noVideo   bool
	resamples int
}

func (o *measureOptions) addFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.noVideo, "no-video", false, "leave out tracked.mp4")
	f.IntVar(&o.resamples, "resamples", 0, "random draws behind the score's interval (0: the built-in number)")
}

func (o *measureOptions) check() error {
	if o.resamples != 0 && (o.resamples < 200 || o.resamples > 100000) {
		return fmt.Errorf("%w: --resamples is %d; allowed: 200 to 100000", errUsage, o.resamples)
	}
	return nil
}

func newMeasureCommand(a *app) *cobra.Command {
	var opts measureOptions
	c := &cobra.Command{
		Use:   "measure CLIP...",
		Short: "Measure clips that have marks beside them",
		Long: `Measure each clip and write its results into a folder beside it. toward-1.mp4 with
toward-1.marks.json gives toward-1.out: result.json, strides.csv, signals.csv, plots,
tracked.mp4, report.html, report.pdf and details.pdf. The clip and its marks are
never changed. Results are replaced whole or not at all.`,
		Example: `  jogstrip measure toward-1.mp4
  jogstrip measure --no-video yard/horses/bramble/2026-03-02/*.mp4`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.check(); err != nil {
				return err
			}
			defer headroom()()
			defer promptly(cmd.Context(), a.stderr)()
			return runMeasure(cmd.Context(), a, opts, args)
		},
	}
	opts.addFlags(c.Flags())
	return c
}

// headroom keeps the collector from tidying up every few megabytes until the function
// it returns is called: garbage is collected when as much has come as is in use, and
// measuring has little in use beside the frames, which lie outside the collected heap.
// What is set aside is never touched, so it takes up no memory itself; a limit of the
// process counts it all the same, so under one it is left out.
func headroom() (end func()) {
	if _, limited := proc.MemoryLimit(); limited {
		return func() {}
	}
	aside := make([]byte, 16<<20)
	return func() { runtime.KeepAlive(aside) }
}

func runMeasure(ctx context.Context, a *app, opts measureOptions, clips []string) error {
	failed, doubtful := 0, 0
	remark := remarks()
	for _, path := range clips {
		line := newStageLine(a.stderr, filepath.Base(path))
		if err := enoughMemory(ctx, path); err != nil {
			fmt.Fprintf(a.stderr, "jogstrip: %v\n", err)
			failed++
			continue
		}
		result, err := pipeline.MeasureClip(ctx, path, pipeline.MeasureOptions{
			Program: program(), Resamples: opts.resamples, NoVideo: opts.noVideo, Progress: line.show,
		})
		line.end()
		for _, text := range remark(filepath.Dir(path)) {
			fmt.Fprintf(a.stderr, "jogstrip: note: %s\n", text)
		}
		if err != nil {
			if ctx.Err() != nil {
				return interrupted("results are the old ones or the new ones, whole")
			}
			if len(clips) == 1 {
				return err
			}
			fmt.Fprintf(a.stderr, "jogstrip: %v\n", err)
			failed++
			continue
		}
		if printFinding(a, path, result) {
			doubtful++
		}
	}
	switch {
	case failed == len(clips) && failed == 1:
		return errSaid
	case failed == len(clips):
		return fmt.Errorf("none of %d clips could be measured", len(clips))
	case failed > 0:
		return partial(fmt.Sprintf("%d of %d clips could not be measured", failed, len(clips)))
	case doubtful > 0:
		return partial("") // Said beside each finding.
	}
	return nil
}

// errLittleMemory is wrapped where somebody has set a limit that a clip would pass.
var errLittleMemory = errors.New("raise the limit (ulimit; one of addresses, -v, must be 1.75 GiB above that), or film in a smaller size")

// enoughMemory refuses a clip that needs more memory than this process may take, where
// somebody has set a limit: passing it would end the process.
func enoughMemory(ctx context.Context, path string) error {
	limit, limited := proc.MemoryLimit()
	if !limited {
		return nil
	}
	info, err := clip.Probe(ctx, path)
	if err != nil {
		return nil // MeasureClip says what is wrong with it.
	}
	if need := batch.Need(info.Width, info.Height); need > limit {
		return fmt.Errorf("clip %s: measuring pictures of %d × %d px takes about %d MiB of memory, and this process may take %d MiB: %w", path, info.Width, info.Height, need>>20, limit>>20, errLittleMemory)
	}
	return nil
}

// remarks returns a function that gives what people should know of the pages around a
// folder of clips, such as keys that are not known, each once.
func remarks() func(folder string) []string {
	told := map[string]bool{}
	return func(folder string) []string {
		around, err := pipeline.Look(folder)
		if err != nil {
			return nil // Whoever needs the pages says so.
		}
		var out []string
		for _, text := range around.Warnings {
			if !told[text] {
				told[text] = true
				out = append(out, text)
			}
		}
		return out
	}
}

// printFinding says in words what was found on one clip, why it wants a second look, and
// where its report is. It returns whether it does.
func printFinding(a *app, path string, r *record.Result) (doubtful bool) {
	fmt.Fprintf(a.stdout, "%s: %s\n", path, pipeline.Finding(r))
	if r.Clip.Slowed > 1 {
		fmt.Fprintf(a.stdout, "  slow motion: it plays %.3g times slower than it was filmed, %.0f frames a second; measured at that rate\n", r.Clip.Slowed, r.Clip.FrameRate)
	}
	facts := batch.FactsOf(r)
	if doubt := facts.Doubt(); doubt != "" {
		doubtful = true
		fmt.Fprintf(a.stdout, "  second look: %s\n", doubt)
	}
	for _, d := range r.Doubts {
		if d.Severity == record.Remark {
			fmt.Fprintf(a.stdout, "  note: %s %s\n", d.Sentence, d.Check)
		}
	}
	fmt.Fprintf(a.stdout, "  report: %s\n", filepath.Join(record.OutPath(path), pipeline.ReportFile))
	return doubtful
}
