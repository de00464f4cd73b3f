package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"jogstrip/cmd/jogstrip/internal/ui"
	"jogstrip/pipeline"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/proc"
	"jogstrip/pipeline/record"
)

type batchOptions struct {
	measure    measureOptions
	workers    int
	memory     string
	timeLimit  time.Duration
	stallLimit time.Duration
	share      string
	again      bool
	log        string

	memoryBytes int64
	shareOf     batch.Share
}

func (o *batchOptions) addFlags(f *pflag.FlagSet) {
	o.measure.addFlags(f)
	f.IntVar(&o.workers, "workers", 0, "clips measured at once (0: one per processor, within the memory)")
	f.StringVar(&o.memory, "memory", "", "memory they may take together, such as 6GiB (default: four fifths of what is available)")
	f.DurationVar(&o.timeLimit, "time-limit", 2*time.Hour, "longest that one clip may take (0: no limit)")
	f.DurationVar(&o.stallLimit, "stall-limit", 15*time.Minute, "longest that one clip may go without progress (0: no limit)")
	f.StringVar(&o.share, "share", "", "take only share i/n of the clips, or off (default: as a Slurm array or a Kubernetes indexed job says, else the whole)")
	f.BoolVar(&o.again, "again", false, "measure clips that are up to date, too")
	addLogFlag(f, &o.log)
}

func addLogFlag(f *pflag.FlagSet, log *string) {
	f.StringVar(log, "log", "auto", "auto (bars on a terminal, else lines), plain (lines) or json (JSON lines)")
}

// finish fills in what flags leave to the environment and checks all of it.
func (o *batchOptions) finish(lookup func(string) (string, bool)) error {
	var err error
	switch {
	case o.workers < 0 || o.workers > 1024:
		return fmt.Errorf("%w: --workers is %d; allowed: 0 to 1024", errUsage, o.workers)
	case o.timeLimit < 0:
		return fmt.Errorf("%w: --time-limit is %s; allowed: 0 or more", errUsage, o.timeLimit)
	case o.stallLimit < 0:
		return fmt.Errorf("%w: --stall-limit is %s; allowed: 0 or more", errUsage, o.stallLimit)
	}
	if o.memoryBytes, err = parseBytes(o.memory); err != nil {
		return fmt.Errorf("%w: --memory %w", errUsage, err)
	}
	if o.share != "" {
		o.shareOf, err = batch.ParseShare(o.share)
	} else {
		o.shareOf, err = batch.ShareFromEnvironment(lookup)
	}
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	if err := checkLog(o.log); err != nil {
		return err
	}
	return o.measure.check()
}

func checkLog(log string) error {
	switch log {
	case "auto", "plain", "json":
		return nil
	}
	return fmt.Errorf("%w: --log is %q; allowed: auto, plain or json", errUsage, log)
}

// parseBytes reads a size such as 6GiB, 800M or 2000000000. Nothing is 0.
func parseBytes(text string) (int64, error) {
	if text == "" {
		return 0, nil
	}
	upper := strings.TrimSuffix(strings.ToUpper(text), "B")
	upper = strings.TrimSuffix(upper, "I")
	scale := 1.0
	number := strings.TrimRight(upper, "KMGT")
	switch upper[len(number):] {
	case "":
	case "K":
		scale = 1 << 10
	case "M":
		scale = 1 << 20
	case "G":
		scale = 1 << 30
	case "T":
		scale = 1 << 40
	default:
		number = ""
	}
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || math.IsNaN(x) || x*scale < 64<<20 || x*scale > 1<<55 {
		return 0, fmt.Errorf("is %q; allowed: 64MiB or more, such as 6GiB", text)
	}
	return int64(x * scale), nil
}

func newBatchCommand(a *app) *cobra.Command {
	var opts batchOptions
	c := &cobra.Command{
		Use:   "batch FOLDER",
		Short: "Measure every marked clip below a folder, unattended",
		Long: `Find all clips below FOLDER and measure those whose results are missing or out of
date, several at once. Then write a morning page, FOLDER/morning.html: what was
measured, what needs marks, what needs a second look, what failed and why, with a
link to every report. Its data is FOLDER/morning.json.

Each clip is measured in a process of its own, so a clip that fails, hangs or
crashes stops no other. Ctrl-C stops the batch; starting it again goes on. At
whatever moment it is killed, each clip has its old results or its new ones, whole.
Clips and records are never changed. What a batch remembers lies in
FOLDER/.jogstrip, which you may delete while no batch runs.

Several machines can divide a folder on a shared drive. Each takes one share with
--share i/n, and jogstrip merge makes one morning page of all. Array tasks of Slurm
and indexed jobs of Kubernetes take theirs from the environment; Kubernetes needs
JOGSTRIP_SHARES=n as well.`,
		Example: `  jogstrip batch yard
  jogstrip batch yard --workers 2 --memory 4GiB
  jogstrip batch yard --log json > night.jsonl
  jogstrip batch /shared/yard --share 2/8`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.finish(os.LookupEnv); err != nil {
				return err
			}
			return runBatch(cmd.Context(), a, opts, args[0])
		},
	}
	opts.addFlags(c.Flags())
	return c
}

func runBatch(ctx context.Context, a *app, opts batchOptions, folder string) error {
	p := program()
	self, err := proc.Self()
	if err != nil {
		return err
	}
	probe := probeAside(self)
	set := pipeline.MeasureOptions{Program: p, Resamples: opts.measure.resamples, NoVideo: opts.measure.noVideo}
	printer := newPrinter(a.stdout, opts.log)
	defer printer.Close()
	ledger, err := batch.Run(ctx, batch.Options{
		Folder: folder, Share: opts.shareOf, Program: p.Version,
		Find: findClips,
		Check: func(ctx context.Context, path string, hash func(context.Context, string) (string, error)) (batch.State, error) {
			return checkClip(ctx, path, set, hash)
		},
		Probe: func(ctx context.Context, path string) (width, height int, err error) {
			info, err := probe(ctx, path)
			if err != nil {
				return 0, 0, err
			}
			return info.Width, info.Height, nil
		},
		Command: func(path string) *exec.Cmd { return workerProcess(self, opts, path) },
		Visit:   visitPages(set),
		Page:    morningPage(ctx, p, folder),
		Remarks: remarks(),
		Report:  pipeline.ReportFile,
		Workers: opts.workers, Memory: opts.memoryBytes, TimeLimit: opts.timeLimit, Stall: opts.stallLimit, Again: opts.again,
		Event: printer.Event,
	})
	var held *batch.HeldError
	if errors.As(err, &held) {
		return fmt.Errorf("%w: %w", errHeld, err)
	}
	if errors.Is(err, batch.ErrNoClips) {
		return partial(err.Error())
	}
	if ctx.Err() != nil {
		return interrupted("starting again goes on where it stopped")
	}
	if err != nil {
		return err
	}
	if !ledger.AllGood() {
		return errPartly
	}
	return nil
}

// workerProcess returns the process that measures the clip at path.
func workerProcess(self string, opts batchOptions, path string) *exec.Cmd {
	args := []string{"worker", "--resamples", strconv.Itoa(opts.measure.resamples)}
	if opts.measure.noVideo {
		args = append(args, "--no-video")
	}
	if opts.again {
		args = append(args, "--again")
	}
	cmd := exec.Command(self, append(args, "--", path)...)
	cmd.Args[0] = os.Args[0] // As whoever lists processes expects it.
	return cmd
}

func findClips(ctx context.Context, folder string) ([]batch.Clip, error) {
	found, err := pipeline.FindClips(ctx, folder)
	clips := make([]batch.Clip, len(found))
	for i, f := range found {
		clips[i] = batch.Clip{Path: f.Path, Marks: f.Marks, Problem: f.Problem}
	}
	return clips, err
}

// visitPages returns a function that makes a visit's page where it is missing
// or older than what it is made of.
func visitPages(opts pipeline.MeasureOptions) func(ctx context.Context, folder string, fresh bool) error {
	return func(ctx context.Context, folder string, fresh bool) error {
		if !fresh && !visitStale(folder) {
			// What can't be cleared away harms nothing here; the next batch tries again.
			_ = pipeline.ClearVisitLeftovers(folder)
			return nil
		}
		_, _, err := pipeline.VisitPage(ctx, folder, opts)
		return err
	}
}

// visitStale reports whether the page of the visit at folder is missing or
// older than a page or result that it is made of.
func visitStale(folder string) bool {
	page, err := os.Stat(filepath.Join(folder, "visit.out", pipeline.ReportFile))
	if err != nil {
		return true
	}
	newer := func(path string) bool {
		stat, err := os.Stat(path)
		return err == nil && stat.ModTime().After(page.ModTime())
	}
	if newer(filepath.Join(folder, "visit.toml")) || newer(filepath.Join(filepath.Dir(folder), "horse.toml")) {
		return true
	}
	// The yard's page says whose letterhead it has, and how lengths are read.
	for dir, up := folder, 0; up < 4; dir, up = filepath.Dir(dir), up+1 {
		if newer(filepath.Join(dir, "yard.toml")) {
			return true
		}
	}
	for _, earlier := range pipeline.EarlierResults(folder) { // With which the page compares it.
		if newer(earlier) {
			return true
		}
	}
	entries, err := os.ReadDir(folder)
	if err != nil {
		return true
	}
	for _, e := range entries {
		if !e.IsDir() || !strings.HasSuffix(e.Name(), ".out") {
			continue
		}
		if newer(filepath.Join(folder, e.Name(), record.ResultFile)) || withoutClip(folder, e.Name(), entries) {
			return true
		}
	}
	return false
}

// withoutClip reports whether the results folder called out belongs to no clip.
func withoutClip(folder, out string, entries []os.DirEntry) bool {
	if _, err := os.Stat(filepath.Join(folder, out, record.ResultFile)); err != nil {
		return false
	}
	for _, e := range entries {
		if pipeline.IsClip(e.Name()) && record.OutPath(e.Name()) == out {
			return false
		}
	}
	return true
}

// newPrinter returns what shows a batch on out.
func newPrinter(out io.Writer, log string) ui.Printer {
	switch f, isFile := out.(*os.File); {
	case log == "json":
		return ui.NewJSON(out, time.Now)
	case log == "auto" && isFile && term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb":
		return ui.NewBars(out, func() int {
			columns, _, err := term.GetSize(int(f.Fd()))
			if err != nil {
				return 80
			}
			return columns
		}, time.Now)
	}
	return ui.NewPlain(out, time.Now)
}
