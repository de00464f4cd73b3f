package markpage

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"sync"

	"golang.org/x/image/draw"

	"jogstrip/pipeline/clip"
)

const (
	thumbWidth  = 320 // px; twice as wide as it is shown, for fine screens.
	thumbHeight = 180
	thumbLooks  = 8    // How many pictures the horse is looked for in, about.
	lookWidth   = 800  // How wide they are, px,
	lookShrunk  = 5    // and how many times smaller where movement is looked for: as wide as those of an overview.
	thumbRoom   = 1.25 // How much higher than the horse the part shown is.
	thumbLeast  = 0.2  // How wide it is at least, of the picture's width: smaller ones are too coarse.
	thumbsMost  = 500  // How many are kept: about 10 kB each.
)

// thumbs are the pictures of clips in lists: the horse, as large as it is found, since
// from far away one lane looks like another. They are made one at a time.
type thumbs struct {
	one   chan struct{}
	mu    sync.Mutex
	made  map[string][]byte // Nil where no horse was found.
	order []string
}

func newThumbs() *thumbs {
	return &thumbs{one: make(chan struct{}, 1), made: make(map[string][]byte)}
}

// of returns the picture of a clip as a JPEG, nil where no horse is found in it.
func (t *thumbs) of(ctx context.Context, info *clip.Info, stamp string) ([]byte, error) {
	key := info.Path + "\x00" + stamp
	have := func() ([]byte, bool) {
		t.mu.Lock()
		defer t.mu.Unlock()
		jpeg, ok := t.made[key]
		return jpeg, ok
	}
	if jpeg, ok := have(); ok {
		return jpeg, nil
	}
	select {
	case t.one <- struct{}{}:
		defer func() { <-t.one }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if jpeg, ok := have(); ok {
		return jpeg, nil
	}
	jpeg, err := makeThumb(ctx, info)
	if err != nil {
		return nil, err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.made[key] = jpeg
	if t.order = append(t.order, key); len(t.order) > thumbsMost {
		delete(t.made, t.order[0])
		t.order = t.order[1:]
	}
	return jpeg, nil
}

// makeThumb cuts the horse out of a picture.
func makeThumb(ctx context.Context, info *clip.Info) ([]byte, error) {
	g, part, err := findHorse(ctx, info)
	if err != nil || part.Empty() {
		return nil, err
	}
	out := image.NewRGBA(image.Rect(0, 0, thumbWidth, thumbHeight))
	draw.CatmullRom.Scale(out, out.Bounds(), pictureOf(g), part, draw.Src, nil)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 80}); err != nil {
		return nil, fmt.Errorf("picture of clip %s for lists: %w", info.Path, err)
	}
	return b.Bytes(), nil
}

// findHorse returns a picture in which the horse is large and whole, and the part of it to
// show; an empty one where no horse is found.
func findHorse(ctx context.Context, info *clip.Info) (g clip.Glance, part image.Rectangle, err error) {
	glances, err := clip.KeyGlances(ctx, info, thumbLooks, lookWidth)
	if err != nil {
		return clip.Glance{}, image.Rectangle{}, err
	}
	by := max(1, min(lookShrunk, glances[0].Width/glanceWidth))
	small := make([]clip.Glance, len(glances))
	for i, g := range glances {
		small[i] = shrunk(g, by)
	}
	at, where := largestWhole(moving(small), float64(small[0].Width), float64(small[0].Height))
	if where == nil {
		return clip.Glance{}, image.Rectangle{}, nil
	}
	return glances[at], around(where, float64(by), glances[at].Width, glances[at].Height), nil
}

// largestWhole returns the highest of boxes in pictures of width × height, of those that
// no edge of the picture cuts off where there are any; nil where there are none at all.
func largestWhole(boxes []*box, width, height float64) (at int, best *box) {
	whole := func(b *box) bool { return b.X0 > 0 && b.Y0 > 0 && b.X1 < width && b.Y1 < height }
	for i, b := range boxes {
		if b == nil {
			continue
		}
		if best == nil || whole(b) && !whole(best) || whole(b) == whole(best) && b.Y1-b.Y0 > best.Y1-best.Y0 {
			at, best = i, b
		}
	}
	return at, best
}

// around returns the part of a picture of width × height, k times as large as that of
// the box, which shows the box with some room and has the shape of a thumb.
func around(b *box, k float64, width, height int) image.Rectangle {
	const shape = float64(thumbWidth) / thumbHeight
	w := thumbRoom * k * max((b.Y1-b.Y0)*shape, b.X1-b.X0)
	w = min(max(w, thumbLeast*float64(width)), float64(width), float64(height)*shape)
	h := w / shape
	x := min(max(k*(b.X0+b.X1)/2-w/2, 0), float64(width)-w)
	y := min(max(k*(b.Y0+b.Y1)/2-h/2, 0), float64(height)-h)
	return image.Rect(int(x), int(y), int(math.Ceil(x+w)), int(math.Ceil(y+h))).Intersect(image.Rect(0, 0, width, height))
}

// shrunk returns a picture by times smaller, each pixel the mean of those it replaces.
func shrunk(g clip.Glance, by int) clip.Glance {
	out := clip.Glance{Frame: g.Frame, Width: g.Width / by, Height: g.Height / by}
	out.RGB = make([]byte, 3*out.Width*out.Height)
	for p := range out.RGB {
		x, y, c := (p/3)%out.Width, (p/3)/out.Width, p%3
		sum := 0
		for j := range by {
			for i := range by {
				sum += int(g.RGB[3*((y*by+j)*g.Width+x*by+i)+c])
			}
		}
		out.RGB[p] = byte(sum / (by * by))
	}
	return out
}

// pictureOf returns a glance as a picture.
func pictureOf(g clip.Glance) *image.RGBA {
	out := image.NewRGBA(image.Rect(0, 0, g.Width, g.Height))
	for p := range g.Width * g.Height {
		out.SetRGBA(p%g.Width, p/g.Width, color.RGBA{g.RGB[3*p], g.RGB[3*p+1], g.RGB[3*p+2], 255})
	}
	return out
}
