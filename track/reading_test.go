package track

import (
	"context"
	"image"
	"io"
	"math"
	"runtime"
	"testing"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// still is a clip of one textured picture over which a bright square wanders.
type still struct {
	pix           []byte
	width, height int
	frame, frames int
}

func newStill(width, height, frames int) *still {
	s := &still{pix: make([]byte, width*height), width: width, height: height, frames: frames}
	s.paint(0, 0, width, height)
	return s
}

func (s *still) paint(x0, y0, x1, y1 int) {
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			s.pix[y*s.width+x] = byte(120 + 50*math.Sin(0.11*float64(x)+0.02*float64(y))*math.Cos(0.09*float64(y)) + 30*math.Sin(0.031*float64(x*y)/40))
		}
	}
}

func (s *still) Size() (int, int) { return s.width, s.height }

func (s *still) Next(context.Context) ([]byte, float64, error) {
	if s.frame == s.frames {
		return nil, 0, io.EOF
	}
	at := func(f int) int { return s.width/4 + 2*f%(s.width/4) }
	if f := s.frame; f > 0 {
		s.paint(at(f-1), 100, at(f-1)+80, 260)
	}
	for y := 100; y < 260; y++ {
		for x := at(s.frame); x < at(s.frame)+80; x++ {
			s.pix[y*s.width+x] = 240
		}
	}
	s.frame++
	return s.pix, float64(s.frame-1) / 60, nil
}

// TestReadingAllocatesLittle holds reading to less allocation a frame than a
// twentieth of the picture, and the scratch to the part of the picture in which
// something moves: both are costs that grow with the clip.
func TestReadingAllocatesLittle(t *testing.T) {
	const width, height = 1280, 720
	read := func(frames int) (bytes, objects float64, kept int64) {
		marks := []Mark{{Frame: 0, Landmark: traj.Head, X: 350, Y: 180, Visible: true}}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		c, err := load(context.Background(), func(context.Context) (Source, error) { return newStill(width, height, frames), nil }, marks, Options{})
		if err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		kept = int64(c.spool.used) + c.spool.size
		if err := c.spool.close(); err != nil {
			t.Fatal(err)
		}
		return float64(after.TotalAlloc - before.TotalAlloc), float64(after.Mallocs - before.Mallocs), kept
	}
	read(20) // What is made once.
	shortBytes, shortObjects, shortKept := read(150)
	longBytes, longObjects, longKept := read(250)
	bytes, objects := (longBytes-shortBytes)/100, (longObjects-shortObjects)/100
	kept := float64(longKept-shortKept) / 100
	t.Logf("a frame: %.0f bytes in %.0f objects, %.0f kept of %d", bytes, objects, kept, width*height)
	if bytes > width*height/20 || objects > 40 {
		t.Errorf("reading allocates %.0f bytes in %.0f objects a frame, want at most %d in 40", bytes, objects, width*height/20)
	}
	if kept > 0.5*width*height {
		t.Errorf("%.0f bytes are kept of a frame of %d, in which a %d moves", kept, width*height, 80*160)
	}
}

func TestScratchIsBounded(t *testing.T) {
	const side = 60
	g := flow.Gray{Pix: make([]byte, side*side), Width: side, Height: side, Stride: side}
	for _, memory := range []int{1, 2 * side * side} {
		s, err := newSpool(t.TempDir(), side*side+1, memory)
		if err != nil {
			t.Fatal(err)
		}
		whole := image.Rect(0, 0, side, side)
		if err := s.add(g, whole); err != nil {
			t.Error(err)
		}
		if err := s.add(g, whole); err == nil {
			t.Error("a frame past the bound passed without an error")
		}
		if err := s.close(); err != nil {
			t.Error(err)
		}
	}
}
