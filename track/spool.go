package track

import (
	"errors"
	"fmt"
	"image"
	"os"

	"jogstrip/track/flow"
)

// spool keeps parts of frames in a scratch file, to be read in any order. The
// file has no name once it is open, so it goes away with the process.
type spool struct {
	file  *os.File
	size  int64
	most  int64
	parts []spoolPart // Index: frame.
	row   []byte
}

type spoolPart struct {
	offset int64
	rect   image.Rectangle
}

func newSpool(dir string, most int64) (*spool, error) {
	f, err := os.CreateTemp(dir, "jogstrip-frames-*")
	if err != nil {
		return nil, fmt.Errorf("create scratch file: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, errors.Join(fmt.Errorf("unlink scratch file: %w", err), f.Close())
	}
	return &spool{file: f, most: most}, nil
}

// add appends the part r of a frame.
func (s *spool) add(g flow.Gray, r image.Rectangle) error {
	r = r.Intersect(image.Rect(0, 0, g.Width, g.Height))
	need := int64(r.Dx()) * int64(r.Dy())
	if s.size+need > s.most {
		return fmt.Errorf("write frame %d to scratch file: would pass its bound of %d bytes", len(s.parts), s.most)
	}
	if need > 0 {
		c := g.Crop(r)
		pix := c.Pix
		if c.Stride != c.Width {
			if cap(s.row) < int(need) {
				s.row = make([]byte, need)
			}
			pix = s.row[:need]
			for y := range c.Height {
				copy(pix[y*c.Width:(y+1)*c.Width], c.Pix[y*c.Stride:])
			}
		}
		if _, err := s.file.WriteAt(pix[:need], s.size); err != nil {
			return fmt.Errorf("write frame %d to scratch file: %w", len(s.parts), err)
		}
	}
	s.parts = append(s.parts, spoolPart{s.size, r})
	s.size += need
	return nil
}

// region returns the part of frame f inside r that the spool has, and where its
// top-left pixel lies in the frame. It may be empty. buf is reused where it is
// large enough. Safe for use from several goroutines.
func (s *spool) region(f int, r image.Rectangle, buf []byte) (flow.Gray, image.Point, []byte, error) {
	p := s.parts[f]
	r = r.Intersect(p.rect)
	if r.Empty() {
		return flow.Gray{}, image.Point{}, buf, nil
	}
	// One read of whole rows costs less than one read a row.
	stride := p.rect.Dx()
	n := stride*(r.Dy()-1) + r.Dx()
	if cap(buf) < n {
		buf = make([]byte, n, n+n/2)
	}
	at := p.offset + int64((r.Min.Y-p.rect.Min.Y)*stride+r.Min.X-p.rect.Min.X)
	if _, err := s.file.ReadAt(buf[:n], at); err != nil {
		return flow.Gray{}, image.Point{}, buf, fmt.Errorf("read frame %d from scratch file: %w", f, err)
	}
	return flow.Gray{Pix: buf[:n], Width: r.Dx(), Height: r.Dy(), Stride: stride}, r.Min, buf, nil
}

func (s *spool) close() error { return s.file.Close() }
