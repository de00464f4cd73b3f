package main

import (
	"context"
	"errors"
	"os"

	"github.com/spf13/cobra"

	"jogstrip/pipeline"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/proc"
	"jogstrip/pipeline/record"
)

// newWorkerCommand is the process in which batch measures one clip. A fault
// inside OpenCV ends a process and cannot be caught, so each clip has its own.
func newWorkerCommand(a *app) *cobra.Command {
	var opts measureOptions
	var again bool
	c := &cobra.Command{
		Use:    "worker CLIP",
		Short:  "Measure one clip for batch",
		Long:   "Measure one clip and report to the batch that started it, as JSON lines on standard output. It ends when its standard input ends.",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.check(); err != nil {
				return err
			}
			// The group is this process and the programs that it has started; a
			// process started by hand in another's group ends alone.
			go batch.WatchBatch(os.Stdin, func() {
				proc.EndOwnGroup()
				os.Exit(exitInterrupted)
			})
			defer headroom()()
			return runWorker(cmd.Context(), a, opts, again, args[0])
		},
	}
	opts.addFlags(c.Flags())
	c.Flags().BoolVar(&again, "again", false, "measure also where the results still hold")
	return c
}

func runWorker(ctx context.Context, a *app, opts measureOptions, again bool, path string) error {
	return batch.Serve(ctx, a.stdout, func(ctx context.Context, progress func(stage string, done, total int)) (batch.Answer, error) {
		set := pipeline.MeasureOptions{Program: program(), Resamples: opts.resamples, NoVideo: opts.noVideo, Progress: progress}
		if !again {
			// Between the batch's plan and now another run may have done it.
			state, err := checkClip(ctx, path, set, nil)
			if err != nil {
				return batch.Answer{}, err
			}
			if state.UpToDate {
				return batch.Answer{Facts: *state.Facts, UpToDate: true}, nil
			}
		}
		if err := enoughMemory(ctx, path); err != nil {
			return batch.Answer{}, err
		}
		result, err := pipeline.MeasureClip(ctx, path, set)
		if err != nil {
			return batch.Answer{}, err
		}
		return batch.Answer{Facts: batch.FactsOf(result)}, nil
	}, func(err error) batch.Cause {
		switch {
		case errors.Is(err, pipeline.ErrBusy):
			return batch.CauseBusy
		case errors.Is(err, errLittleMemory):
			return batch.CauseMemory
		}
		return ""
	})
}

// checkClip tells whether the results of the clip at path still hold, and what
// they say. Beside results that hold it clears away what killed runs left.
func checkClip(ctx context.Context, path string, opts pipeline.MeasureOptions, hash func(ctx context.Context, path string) (string, error)) (batch.State, error) {
	upToDate, reason, err := pipeline.UpToDate(ctx, path, opts, hash)
	if err != nil || !upToDate {
		return batch.State{Reason: reason}, err
	}
	result, err := record.ReadResult(record.OutPath(path))
	if err != nil {
		return batch.State{Reason: err.Error()}, nil
	}
	// What can't be cleared away harms nothing here; the next batch tries again.
	_ = pipeline.ClearLeftovers(path)
	facts := batch.FactsOf(result)
	return batch.State{UpToDate: true, Facts: &facts}, nil
}
