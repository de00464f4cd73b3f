package track

import (
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"jogstrip/track/flow"
)

// checkMarks checks what can be checked without the clip.
func checkMarks(marks []Mark) error {
	for i, m := range marks {
		switch {
		case !m.Landmark.Valid():
			return &MarkError{m, "unknown landmark"}
		case m.Frame < 0:
			return &MarkError{m, "frame number is negative"}
		case slices.ContainsFunc(marks[:i], m.sameAs):
			return &MarkError{m, "marked twice in one frame"}
		case m.SD < 0 || math.IsNaN(m.SD) || math.IsInf(m.SD, 0):
			return &MarkError{m, "spread must be a number of pixels, 0 or more"}
		case m.Visible && !m.at().Finite():
			return &MarkError{m, "position is not a finite number"}
		}
	}
	if !slices.ContainsFunc(marks, func(m Mark) bool { return m.Visible }) {
		return fmt.Errorf("track: %w", ErrNoMarks)
	}
	return nil
}

// load reads the clip once: luma into the scratch file, times, background.
func load(ctx context.Context, open Open, marks []Mark, opts Options) (c *clip, err error) {
	src, err := open(ctx)
	if err != nil {
		return nil, fmt.Errorf("open clip: %w", err)
	}
	if closer, ok := src.(io.Closer); ok {
		defer func() { err = errors.Join(err, closer.Close()) }()
	}
	w, h := src.Size()
	if w < 16 || h < 16 || w > 1<<14 || h > 1<<14 {
		return nil, fmt.Errorf("open clip: picture of %d×%d: must be between 16 and %d pixels on each side", w, h, 1<<14)
	}
	loaded := &clip{model: &opts.Model.Tracking, prior: opts.Model.Click.PriorPX, hands: newHands(), width: w, height: h}
	if err := loaded.setMarks(marks); err != nil {
		return nil, err
	}
	if loaded.spool, err = newSpool(opts.ScratchDir, mostScratch, spoolMemory(w, h)); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, loaded.spool.close())
		}
	}()
	in := &reading{clip: loaded, moving: &movement{width: w, height: h}, back: newBackground(w, h)}
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		pix, t, err := src.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("read frame %d: %w", len(loaded.times), err)
		}
		if err := in.add(pix, t); err != nil {
			return nil, err
		}
		if opts.Progress != nil {
			opts.Progress("read", len(loaded.times), 0)
		}
	}
	if err := in.finish(opts.ReferenceFrame); err != nil {
		return nil, err
	}
	return loaded, nil
}

// setMarks takes over the marks in the order of frames.
func (c *clip) setMarks(marks []Mark) error {
	c.marks = slices.Clone(marks)
	slices.SortStableFunc(c.marks, func(a, b Mark) int { return a.Frame - b.Frame })
	for _, m := range c.marks {
		if m.Visible && !(m.X >= -0.5 && m.Y >= -0.5 && m.X <= float64(c.width)-0.5 && m.Y <= float64(c.height)-0.5) {
			return &MarkError{m, fmt.Sprintf("outside the picture of %d×%d", c.width, c.height)}
		}
	}
	return nil
}

// reading is what reading a clip collects from frame to frame.
type reading struct {
	clip   *clip
	moving *movement
	back   *background
}

// add takes the next frame, its luma row by row, shown at t, s.
func (in *reading) add(pix []byte, t float64) error {
	c := in.clip
	f, w, h := len(c.times), c.width, c.height
	if len(pix) != w*h {
		return fmt.Errorf("read frame %d: %d bytes of luma, want %d for %d×%d", f, len(pix), w*h, w, h)
	}
	if math.IsNaN(t) || math.IsInf(t, 0) || f > 0 && t <= c.times[f-1] {
		return fmt.Errorf("read frame %d: time %v s: must be later than the frame before", f, t)
	}
	c.times = append(c.times, t)
	g := flow.Gray{Pix: pix, Width: w, Height: h, Stride: w}
	if err := in.back.add(g); err != nil {
		return fmt.Errorf("measure background: %w", err)
	}
	rate := 60.0
	if f > 0 {
		rate = min(max(float64(f)/(t-c.times[0]), 5), 1000)
	}
	shift := shiftOf(in.back.motions[f], w, h)
	scale := float64(in.back.small.Width) / float64(w)
	box := in.moving.add(in.back.small, flow.Point{X: shift.X * scale, Y: shift.Y * scale}, rate)
	return c.spool.add(g, box.Union(c.nearMarks(f, rate)))
}

// finish sets what is known once the last frame has been read. Motions are told against
// the frame reference.
func (in *reading) finish(reference int) error {
	c := in.clip
	n := len(c.times)
	if n == 0 {
		return errors.New("read clip: it holds no frame")
	}
	for _, m := range c.marks {
		if m.Frame >= n {
			return &MarkError{m, fmt.Sprintf("the clip ends with frame %d", n-1)}
		}
	}
	if reference < 0 || reference >= n {
		return fmt.Errorf("reference frame %d: the clip has frames 0 to %d", reference, n-1)
	}
	floats.AddConst(-c.times[0], c.times)
	c.played = c.times
	c.motions, c.shake, c.residual = in.back.result(reference)
	if c.motions != nil {
		c.toFirst = in.back.motions
	}
	return nil
}

// nearMarks returns the part of the picture around the marks of frames close to
// frame f, which is kept even if nothing moves there.
func (c *clip) nearMarks(f int, rate float64) image.Rectangle {
	out := image.Rectangle{}
	for _, m := range c.marks {
		if !m.Visible || math.Abs(float64(m.Frame-f)) > 1.5*rate {
			continue
		}
		margin := int(0.12 * float64(max(c.width, c.height)))
		x, y := int(m.X), int(m.Y)
		out = out.Union(image.Rect(x-margin, y-margin, x+margin, y+margin))
	}
	return out.Intersect(image.Rect(0, 0, c.width, c.height))
}
