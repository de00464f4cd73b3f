package clip

import (
	"context"
	"fmt"
	"runtime"
)

// Frames calls each with those of the frames first to last that are wanted, in colour and in
// full size (made even). It decodes from the key frame before first. The planes are valid
// during the call. In the place of a frame that does not come stands the next that does.
func Frames(ctx context.Context, info *Info, first, last int, wanted func(index int) bool, each func(index int, p Planes)) error {
	if err := frames(ctx, info, first, last, wanted, each); err != nil {
		return fmt.Errorf("read frames %d to %d of clip %s: %w", first, last, info.Path, err)
	}
	return nil
}

func frames(ctx context.Context, info *Info, first, last int, wanted func(index int) bool, each func(index int, p Planes)) error {
	if first < 0 || last >= len(info.Times) || first > last {
		return fmt.Errorf("it has frames 0 to %d", len(info.Times)-1)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	d, err := openDecoder(ctx, info.Path, info.delay)
	if err != nil {
		return err
	}
	defer d.close()
	d.seek(info, first)
	// Every thread goes on to a picture that nobody wants.
	if err := d.start(info, false, runtime.GOMAXPROCS(0)); err != nil {
		return err
	}
	picture, err := newPicture(info)
	if err != nil {
		return err
	}
	defer picture.free()
	planes := newPlanes(info.Width&^1, info.Height&^1)
	for next := first; next <= last; {
		if !wanted(next) {
			next++
			continue
		}
		at, err := d.next(ctx, picture)
		if err != nil {
			return fmt.Errorf("frame %d: %w", next, err)
		}
		if nearest(info.Times, d.promised(at)) < next {
			continue
		}
		if err := d.small(picture, planes.Width, planes.Height, planes.buffer); err != nil {
			return fmt.Errorf("frame %d: %w", next, err)
		}
		each(next, planes.Planes)
		next++
	}
	return nil
}
