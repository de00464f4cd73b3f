package pipeline

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"

	"golang.org/x/image/draw"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/stills"
)

// Since is a visit beside the measured visit before it.
type Since struct {
	Horse    string
	Sentence string // What changed, at a glance.
	Counts   bool   // Something did.
}

// SinceBefore compares the visit at folder with the measured visit before it; nil where
// there is none, or nothing was measured.
func SinceBefore(ctx context.Context, folder string, opts CompareOptions) (*Since, error) {
	folder = filepath.Clean(folder)
	folders, err := Visits(filepath.Dir(folder))
	if err != nil {
		return nil, err
	}
	at := slices.Index(folders, folder)
	if at < 1 {
		return nil, nil
	}
	now, err := loadVisit(ctx, folder)
	if err != nil || len(now.Results) == 0 {
		return nil, err
	}
	for _, earlier := range slices.Backward(folders[:at]) {
		before, err := loadVisit(ctx, earlier)
		if err != nil || len(before.Results) == 0 {
			continue
		}
		if err := now.useRepeats(ctx, runsAmong(before, now)); err != nil {
			return nil, err
		}
		c, err := metrics.Compare(before.Runs(), now.Runs(), compareSettings(before, now, opts))
		if err != nil {
			return nil, err
		}
		counts := c.Verdict == metrics.Improved || c.Verdict == metrics.Worse || c.Verdict == metrics.Changed
		return &Since{Horse: horseOf(now), Sentence: glance.OfComparison(c, day(before.Around.Folder)), Counts: counts}, nil
	}
	return nil, ctx.Err()
}

// thumbHeight is how high thumbnails are, px.
const thumbHeight = 96

// Thumbnail returns a small JPEG of the clip whose results lie in folder, or nil.
func Thumbnail(folder string) []byte {
	data, err := os.ReadFile(filepath.Join(folder, stillFile))
	if err != nil || len(data) > 4<<20 {
		return nil
	}
	whole, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return nil
	}
	b := stills.Whole(whole.Bounds())
	small := image.NewRGBA(image.Rect(0, 0, b.Dx()*thumbHeight/max(1, b.Dy()), thumbHeight))
	draw.BiLinear.Scale(small, small.Bounds(), whole, b, draw.Src, nil)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, small, &jpeg.Options{Quality: 70}); err != nil {
		return nil
	}
	return out.Bytes()
}
