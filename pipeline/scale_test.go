package pipeline_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
)

// template renders a clip of a whole pass, measures it and returns its result,
// so that a yard made from it is as heavy as one of a practice.
func template(b *testing.B) *record.Result {
	b.Helper()
	path := filepath.Join(b.TempDir(), "2026-05-01", "toward-1.mp4")
	s := scene.Scene{Seed: 3}
	s.Camera.Width, s.Camera.Height = 960, 540
	truth := scenetest.Render(b, s, path)
	if err := record.WriteMarks(record.MarksPath(path), demo.Clicked(truth, s, "toward-1.mp4", demo.Clicking{Distances: 8})); err != nil {
		b.Fatal(err)
	}
	r, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: true})
	if err != nil {
		b.Fatal(err)
	}
	return r
}

// fill writes a visit of count clips, like the template and each a little
// different.
func fill(b *testing.B, r *record.Result, visit string, count int, rng *rand.Rand) {
	b.Helper()
	for i := range count {
		other := *r
		other.Clip.File = fmt.Sprintf("toward-%d.mp4", i+1)
		other.Run.Series = nil
		for _, s := range r.Run.Series {
			s.Observations = append([]metrics.Observation(nil), s.Observations...)
			shift := rng.NormFloat64()
			for k := range s.Observations {
				s.Observations[k].Value += (shift + rng.NormFloat64()) * s.Observations[k].SD
			}
			other.Run.Series = append(other.Run.Series, s)
		}
		film := filepath.Join(visit, other.Clip.File)
		if err := errors.Join(os.MkdirAll(visit, 0o755), os.WriteFile(film, []byte(film), 0o644), os.WriteFile(record.MarksPath(film), nil, 0o644)); err != nil {
			b.Fatal(err)
		}
		other.Inputs.ClipSHA256, other.Inputs.MarksSHA256 = hash(b, film), hash(b, record.MarksPath(film))
		data, err := record.MarshalResult(&other)
		if err != nil {
			b.Fatal(err)
		}
		out := filepath.Join(visit, fmt.Sprintf("toward-%d.out", i+1))
		if err := os.MkdirAll(out, 0o755); err != nil {
			b.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(out, record.ResultFile), data, 0o644); err != nil {
			b.Fatal(err)
		}
	}
	page := "surface = \"asphalt\"\nfollowed = \"head_low_difference\"\n[[palpation]]\nregion = \"triceps\"\nside = \"left\"\nsoreness = 2\n[[treatment]]\nwhat = \"massage of the left shoulder\"\n"
	if err := os.WriteFile(filepath.Join(visit, "visit.toml"), []byte(page), 0o644); err != nil {
		b.Fatal(err)
	}
}

// yardOf returns a yard of 1,000 results: so many horses, with so many visits of
// four clips each. JOGSTRIP_SCALE names a folder to make it in, and to keep it.
func yardOf(b *testing.B, horses, visits int) string {
	b.Helper()
	root := os.Getenv("JOGSTRIP_SCALE")
	if root == "" {
		root = b.TempDir()
	}
	yard := filepath.Join(root, fmt.Sprintf("%d-horses", horses))
	if _, err := os.Stat(yard); err == nil {
		return yard
	}
	r, rng := template(b), rand.New(rand.NewPCG(1, 1))
	for h := range horses {
		for v := range visits {
			day := time.Date(2020, 1, 1+7*v, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
			fill(b, r, filepath.Join(yard, "horses", fmt.Sprintf("h%03d", h), day), 4, rng)
		}
	}
	if err := os.WriteFile(filepath.Join(yard, "yard.toml"), []byte("name = \"Yard\"\n"), 0o644); err != nil {
		b.Fatal(err)
	}
	return yard
}

func history(b *testing.B, horse string, visits int) {
	b.Helper()
	for range b.N {
		h, err := pipeline.History(context.Background(), horse, pipeline.CompareOptions{})
		if err != nil || len(h.Problems) > 0 || h.Visits != visits {
			b.Fatalf("%+v %v", h, err)
		}
	}
}

// BenchmarkHistoryOfManyVisits is the history of one horse with 250 visits, 1,000
// results. Goal: under 2 s.
func BenchmarkHistoryOfManyVisits(b *testing.B) {
	yard := yardOf(b, 1, 250)
	b.ResetTimer()
	history(b, filepath.Join(yard, "horses", "h000"), 250)
}

// BenchmarkHistoryAmongManyHorses is the history of one of 50 horses with 1,000
// results between them. Goal: under 2 s.
func BenchmarkHistoryAmongManyHorses(b *testing.B) {
	yard := yardOf(b, 50, 5)
	b.ResetTimer()
	history(b, filepath.Join(yard, "horses", "h007"), 5)
}

func compare(b *testing.B, before, after string) {
	b.Helper()
	out := filepath.Join(b.TempDir(), "compared")
	for range b.N {
		c, err := pipeline.CompareVisits(context.Background(), before, after, pipeline.CompareOptions{Out: out})
		if err != nil || len(c.Problems) > 0 || !strings.Contains(c.Sentence, "head") {
			b.Fatalf("%+v %v", c, err)
		}
	}
}

// BenchmarkCompareAmongManyHorses compares two visits in a yard of 1,000
// results. Goal: under 2 s.
func BenchmarkCompareAmongManyHorses(b *testing.B) {
	yard := yardOf(b, 50, 5)
	b.ResetTimer()
	horse := filepath.Join(yard, "horses", "h007")
	compare(b, filepath.Join(horse, "2020-01-01"), filepath.Join(horse, "2020-01-29"))
}

// BenchmarkCompareWholeFolders compares a folder of 500 results with another.
// Goal: under 2 s.
func BenchmarkCompareWholeFolders(b *testing.B) {
	root := os.Getenv("JOGSTRIP_SCALE")
	if root == "" {
		root = b.TempDir()
	}
	before, after := filepath.Join(root, "before"), filepath.Join(root, "after")
	if _, err := os.Stat(before); err != nil {
		r, rng := template(b), rand.New(rand.NewPCG(2, 2))
		fill(b, r, before, 500, rng)
		fill(b, r, after, 500, rng)
	}
	b.ResetTimer()
	compare(b, before, after)
}
