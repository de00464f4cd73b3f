package main

import (
	"context"
	"path"
	"path/filepath"
	"slices"

	"jogstrip/pipeline"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	pages "jogstrip/pipeline/report"
)

// mostThumbnails bounds how many clips of a morning page have a picture: each takes some
// kilobytes of it.
const mostThumbnails = 300

// thumbnails makes small pictures of clips for a morning page.
type thumbnails struct {
	folder string
	left   int
}

func (t *thumbnails) of(e batch.Entry) []byte {
	if e.Report == "" || t.left <= 0 {
		return nil
	}
	picture := pipeline.Thumbnail(filepath.Join(t.folder, filepath.FromSlash(path.Dir(e.Report))))
	if picture != nil {
		t.left--
	}
	return picture
}

// mostChanges bounds how many visits are compared with those before them for one page.
const mostChanges = 100

// changes compares the visits of which this batch has measured a clip with those before
// them. A visit that can't be compared is left out: its own page says what is wrong.
func changes(ctx context.Context, p record.Program, folder string, entries []batch.Entry, pictures *thumbnails) []pages.BatchChange {
	var out []pages.BatchChange
	var seen []string
	for _, e := range entries {
		visit := path.Dir(e.Clip)
		if !e.Fresh || slices.Contains(seen, visit) || len(seen) >= mostChanges {
			continue
		}
		seen = append(seen, visit)
		since, err := pipeline.SinceBefore(ctx, filepath.Join(folder, filepath.FromSlash(visit)), pipeline.CompareOptions{Program: p})
		if err != nil || since == nil {
			continue
		}
		shown := fsx.EscapeName(visit)
		out = append(out, pages.BatchChange{
			Horse: since.Horse, Visit: path.Base(shown), Link: path.Join(visit, "visit.out", pipeline.ReportFile), Sentence: since.Sentence, Counts: since.Counts, Picture: pictures.of(e),
		})
	}
	return out
}
