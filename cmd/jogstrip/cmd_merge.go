package main

import (
	"bytes"
	"context"
	"fmt"
	"path"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"jogstrip/pipeline"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	pages "jogstrip/pipeline/report"
)

func newMergeCommand(a *app) *cobra.Command {
	var log string
	c := &cobra.Command{
		Use:   "merge FOLDER",
		Short: "Make one morning page of the shares of a divided batch",
		Long: `Take what all shares of a divided batch (jogstrip batch --share i/n) have written
down and make one morning page, FOLDER/morning.html, with its data in morning.json.
The page names shares that are missing or still run, and clips that no share has
seen. Merging measures nothing. It may be done at any time, as often as you like.`,
		Example: `  jogstrip merge /shared/yard`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := checkLog(log); err != nil {
				return err
			}
			return runMerge(cmd.Context(), a, log, args[0])
		},
	}
	addLogFlag(c.Flags(), &log)
	return c
}

func runMerge(ctx context.Context, a *app, log, folder string) error {
	p := program()
	ledger, page, err := batch.Merge(ctx, batch.MergeOptions{
		Folder: folder, Find: findClips, Visit: visitPages(pipeline.MeasureOptions{Program: p}), Page: morningPage(ctx, p, folder),
	})
	if err != nil {
		return err
	}
	printer := newPrinter(a.stdout, log)
	defer printer.Close()
	for _, n := range slices.Concat(ledger.Problems, ledger.Notes) {
		printer.Event(batch.Event{Kind: batch.EventNote, Text: n})
	}
	printer.Event(batch.Event{Kind: batch.EventEnd, Folder: folder, Totals: ledger.Totals, Page: page, Text: ledger.Stopped})
	if !ledger.AllGood() {
		return errPartly
	}
	return nil
}

// morningPage returns a function that makes the page of a batch over folder.
func morningPage(ctx context.Context, p record.Program, folder string) func(l *batch.Ledger) ([]byte, error) {
	return func(l *batch.Ledger) ([]byte, error) {
		b := pages.Batch{
			Header: pages.Header{Printed: l.Ended.Local()}, Folder: filepath.Base(absolute(folder)),
			Started: l.Started.Local(), Finished: l.Ended.Local(), Stopped: l.Stopped, Notes: slices.Concat(l.Problems, l.Notes),
			Provenance: pages.Provenance{Program: fmt.Sprintf("jogstrip %s, measuring version %d", p.Version, p.Measuring), Tools: []pages.Tool{{Name: "OpenCV", Version: p.OpenCV}, {Name: "FFmpeg", Version: p.FFmpeg}}},
		}
		if around, err := pipeline.Look(folder); err == nil {
			b.Header.Letterhead = around.Yard.Letterhead
		}
		pictures := thumbnails{folder: folder, left: mostThumbnails}
		names := namer{folder: folder, known: map[string][2]string{}}
		for _, e := range l.Entries {
			horse, visit := names.of(e.Clip)
			item := pages.BatchItem{Horse: horse, Visit: visit, Clip: fsx.EscapeName(path.Base(e.Clip)), Link: e.Report, Reason: e.Reason, Next: nextStep(e), Picture: pictures.of(e)}
			switch e.Outcome {
			case batch.Measured:
				b.Measured = append(b.Measured, measuredRow(e, horse, visit, pictures.of(e)))
			case batch.UpToDate:
				b.Kept = append(b.Kept, measuredRow(e, horse, visit, pictures.of(e)))
			case batch.SecondLook:
				b.SecondLook = append(b.SecondLook, item)
			case batch.NeedsMarks:
				b.NeedMarks = append(b.NeedMarks, item)
			case batch.Failed:
				b.Failed = append(b.Failed, item)
			default:
				b.NotReached = append(b.NotReached, item)
			}
		}
		b.Changes = changes(ctx, p, folder, l.Entries, &pictures)
		var page bytes.Buffer
		made, err := b.Page()
		if err != nil {
			return nil, err
		}
		if err := made.HTML(&page); err != nil {
			return nil, err
		}
		return page.Bytes(), nil
	}
}

func absolute(path string) string {
	if abs, err := filepath.Abs(path); err == nil {
		return abs
	}
	return path
}

func measuredRow(e batch.Entry, horse, visit string, picture []byte) pages.BatchMeasured {
	m := pages.BatchMeasured{Horse: horse, Visit: visit, Clip: fsx.EscapeName(path.Base(e.Clip)), Link: e.Report, Picture: picture}
	if f := e.Facts; f != nil {
		m.Strides, m.Score, m.Finding = f.Strides, f.Score, f.Finding
	}
	return m
}

// nextStep says what to do about a clip that needs something.
func nextStep(e batch.Entry) string {
	switch e.Outcome {
	case batch.NeedsMarks:
		return "mark it: jogstrip mark"
	case batch.SecondLook:
		if e.Facts != nil && len(e.Facts.Advice) > 0 {
			return e.Facts.Advice[0]
		}
		return "open its report"
	case batch.Busy, batch.NotReached, batch.Unfinished:
		return "start the batch again: it goes on where it stopped"
	}
	switch e.Cause {
	case batch.CauseDiskFull:
		return "make room on the disk and start the batch again"
	case batch.CauseMemory:
		return "give the batch more memory (--memory), or cut the clip to one pass"
	case batch.CauseTimeLimit:
		return "try it alone with a longer --time-limit, or cut the clip to one pass"
	case batch.CauseCrash, batch.CauseAnswer:
		return "try it alone: jogstrip measure; if it fails again, copy the clip from the phone anew"
	}
	return "look at the reason; copy the clip from the phone anew if it is damaged"
}

// namer finds the names of horse and visit for clips of a folder.
type namer struct {
	folder string
	known  map[string][2]string
}

func (n *namer) of(clip string) (horse, visit string) {
	dir := path.Dir(clip)
	if k, ok := n.known[dir]; ok {
		return k[0], k[1]
	}
	if around, err := pipeline.Look(filepath.Join(n.folder, filepath.FromSlash(dir))); err == nil {
		horse = around.Horse.Name
	}
	if base := path.Base(dir); len(base) >= len(time.DateOnly) {
		if _, err := time.Parse(time.DateOnly, base[:len(time.DateOnly)]); err == nil {
			visit = base
		}
	}
	if visit == "" && dir != "." {
		visit = dir
	}
	horse, visit = fsx.EscapeName(horse), fsx.EscapeName(visit)
	n.known[dir] = [2]string{horse, visit}
	return horse, visit
}
