package track

import (
	"errors"
	"fmt"
	"image"
	"os"
	"slices"

	"jogstrip/track/flow"
)

// spool keeps parts of frames, to be read in any order: the first in memory, up
// to a bound, the others in a scratch file. The file has no name once it is open,
// so it goes away with the process.
type spool struct {
	memory []byte // Outside the collected heap, which would grow to twice its size.
	used   int    // Of memory, bytes.
	file   *os.File
	size   int64 // Of the file.
	most   int64
	parts  []spoolPart // Index: frame.
	row    []byte
}

type spoolPart struct {
	pixels []byte // Nil where the file has them.
	offset int64
	rect   image.Rectangle
}

// spoolMemory returns how much of a clip of width × height is kept in memory, bytes:
// most of a run of ten seconds. Even where a file stays in the system's own memory,
// writing to it costs several times as much.
func spoolMemory(width, height int) int {
	return min(max(width*height/(1920*1080), 1)*(128<<20), 384<<20)
}

// mostScratch bounds what a spool keeps of a clip, bytes.
const mostScratch = 16 << 30

// newSpool returns an empty spool that keeps at most so many bytes altogether, the
// first of them, up to memory, in memory.
func newSpool(dir string, most int64, memory int) (*spool, error) {
	// The file is made at once, so that a folder that is not there is told early.
	f, err := os.CreateTemp(dir, "jogstrip-frames-*")
	if err != nil {
		return nil, fmt.Errorf("create scratch file: %w", err)
	}
	if err := unlinkOpen(f); err != nil {
		return nil, errors.Join(fmt.Errorf("unlink scratch file: %w", err), f.Close())
	}
	s := &spool{file: f, most: most}
	// Pages are only taken up as they are written. Large ones are not asked for: a
	// virtual machine may have to find each of them on its host, which costs several
	// times what small ones cost that the system has in hand. Without memory the file
	// does.
	s.memory = takeMemory(memory)
	return s, nil
}

// add appends the part r of a frame.
func (s *spool) add(g flow.Gray, r image.Rectangle) error {
	r = r.Intersect(image.Rect(0, 0, g.Width, g.Height))
	need := int64(r.Dx()) * int64(r.Dy())
	if int64(s.used)+s.size+need > s.most {
		return fmt.Errorf("write frame %d to scratch file: would pass its bound of %d bytes", len(s.parts), s.most)
	}
	part := spoolPart{offset: s.size, rect: r}
	c := g.Crop(r)
	switch {
	case need == 0:
	case int64(len(s.memory)-s.used) >= need:
		part.pixels = s.memory[s.used : s.used+int(need) : s.used+int(need)]
		s.used += int(need)
		c.Pack(part.pixels)
	default:
		pix := c.Pix
		if c.Stride != c.Width {
			s.row = slices.Grow(s.row[:0], int(need))[:need]
			pix = s.row
			c.Pack(pix)
		}
		if _, err := s.file.WriteAt(pix[:need], s.size); err != nil {
			return fmt.Errorf("write frame %d to scratch file: %w", len(s.parts), err)
		}
		s.size += need
	}
	s.parts = append(s.parts, part)
	return nil
}

// region returns the part of frame f inside r that the spool has, and where its
// top-left pixel lies in the frame. It may be empty. buf is reused where it is
// large enough. The pixels are only to be read, and hold until close. Safe for use
// from several goroutines.
func (s *spool) region(f int, r image.Rectangle, buf []byte) (flow.Gray, image.Point, []byte, error) {
	p := s.parts[f]
	r = r.Intersect(p.rect)
	if r.Empty() {
		return flow.Gray{}, image.Point{}, buf, nil
	}
	// One read of whole rows costs less than one read a row.
	stride := p.rect.Dx()
	n := stride*(r.Dy()-1) + r.Dx()
	if p.pixels != nil {
		at := (r.Min.Y-p.rect.Min.Y)*stride + r.Min.X - p.rect.Min.X
		return flow.Gray{Pix: p.pixels[at : at+n], Width: r.Dx(), Height: r.Dy(), Stride: stride}, r.Min, buf, nil
	}
	buf = slices.Grow(buf[:0], n)
	at := p.offset + int64((r.Min.Y-p.rect.Min.Y)*stride+r.Min.X-p.rect.Min.X)
	if _, err := s.file.ReadAt(buf[:n], at); err != nil {
		return flow.Gray{}, image.Point{}, buf, fmt.Errorf("read frame %d from scratch file: %w", f, err)
	}
	return flow.Gray{Pix: buf[:n], Width: r.Dx(), Height: r.Dy(), Stride: stride}, r.Min, buf, nil
}

func (s *spool) close() error {
	if s.memory != nil {
		// Giving so much back takes the system a while, for which nothing has to wait; it
		// fails only for memory that was never got.
		go giveBack(s.memory)
		s.memory, s.parts = nil, nil
	}
	return closeUnlinked(s.file)
}
