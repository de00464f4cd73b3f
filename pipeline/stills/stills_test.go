package stills

import (
	"bytes"
	"errors"
	"image/color"
	"image/jpeg"
	"math"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/pipeline/overlay"
	"jogstrip/track/traj"
)

const (
	width, height = 1280, 720
	rate          = 60.0
	stride        = 0.7  // s.
	tall          = 1.6  // Height of the horse's withers, m.
	start         = 14.0 // Distance at the beginning, m.
	speed         = 3.0  // Toward the camera, m/s.
)

// approaching is a run toward the camera until the horse is past it. differences has, stride by
// stride, how much higher the head is in right stance than in left, mm; of strides beyond them
// it is the last.
func approaching(t *testing.T, seconds float64, differences ...float64) Input {
	t.Helper()
	cam := geometry.LevelCamera(1000, (width-1)/2.0, (height-1)/2.0, 2, geometry.Point{X: (width - 1) / 2, Y: (height-1)/2.0 - 140})
	in := Input{Info: &clip.Info{Width: width, Height: height}, Run: &metrics.Run{View: traj.Toward}, WithersM: tall, Difference: 40}
	for f := range int(seconds * rate) {
		in.Times = append(in.Times, float64(f)/rate)
	}
	in.Info.Times = in.Times
	signal := metrics.Signal{Landmark: traj.Head, Unit: "mm", Height: make([]float64, len(in.Times))}
	for i := range int(seconds / stride) {
		in.Run.Strides = append(in.Run.Strides, metrics.Stride{Start: float64(i) * stride, End: float64(i+1) * stride})
		for limb, late := range map[traj.Landmark]float64{traj.LeftFore: 0, traj.RightFore: 0.5} {
			on := (float64(i) + late) * stride
			off := on + 0.4*stride
			if off > seconds {
				continue
			}
			p, _ := cam.Project(traj.Toward.LeftSign()*map[traj.Landmark]float64{traj.LeftFore: 0.11, traj.RightFore: -0.11}[limb], start-speed*(on+off)/2, 0)
			in.Run.Contacts = append(in.Run.Contacts, metrics.Contact{Limb: limb, On: on, Off: off, PictureX: p.X, PictureY: p.Y})
			if limb == traj.RightFore {
				for f := int(on * rate); f <= int(off*rate); f++ {
					signal.Height[f] = differences[min(i, len(differences)-1)]
				}
			}
		}
	}
	in.Run.Signals = []metrics.Signal{signal}
	var err error
	if in.Horse, err = framing.Of(framing.Input{Times: in.Times, Contacts: in.Run.Contacts, View: traj.Toward, Camera: &cam}); err != nil {
		t.Fatal(err)
	}
	return in
}

// shown returns the strides in which the left and the right stance are that are shown.
func shown(t *testing.T, in Input) (left, right int) {
	t.Helper()
	m, err := New(in)
	if err != nil {
		t.Fatal(err)
	}
	of := func(i int) int { return int(m.moments[i].contact.On/stride + 0.01) }
	return of(0), of(1)
}

// whole reports whether the horse in the middle of a stride's left stance, from the ground to
// its withers, lies in the picture.
func whole(in Input, stride int) bool {
	for _, c := range in.Run.Contacts {
		if c.Limb == traj.LeftFore && int(c.On/0.7+0.01) == stride {
			p := in.Horse.At(in.Horse.Frame((c.On + c.Off) / 2))
			return p.Y < height && p.Y-tall*p.Scale > 0
		}
	}
	return false
}

// TestTheStridesShownAreNearWholeAndUsual checks which stances are shown: neighbours, the
// nearest that lie whole in the picture, unless a stride not much farther away is more like
// the run.
func TestTheStridesShownAreNearWholeAndUsual(t *testing.T) {
	// 4.5 s bring the horse from 14 m to half a metre: at the end it is cut off.
	const seconds = 4.5
	alike := approaching(t, seconds, 40)
	nearest, right := shown(t, alike)
	if right != nearest && right != nearest-1 {
		t.Errorf("left stance of stride %d beside right stance of stride %d", nearest, right)
	}
	if !whole(alike, nearest) {
		t.Errorf("the horse of stride %d is cut off", nearest)
	}
	largest := 0
	for i := range alike.Run.Strides {
		if whole(alike, i) {
			largest = i
		}
	}
	// The ground in front of the hooves has to be in the picture, too: that costs a stride at most.
	if nearest < largest-1 || nearest < 2 {
		t.Fatalf("stride %d is shown, of those that are whole in the picture %d is the nearest", nearest, largest)
	}
	if last := len(alike.Run.Strides) - 1; nearest == last || whole(alike, last) {
		t.Errorf("stride %d of %d is shown: none is too near for the picture, so nothing is tested", nearest, last+1)
	}
	unlike := make([]float64, nearest+2)
	for i := range unlike {
		unlike[i] = 40
	}
	unlike[nearest], unlike[nearest-1] = 140, 40
	if left, right := shown(t, approaching(t, seconds, unlike...)); left == nearest && right == nearest {
		t.Error("a stride unlike the run is shown, though the one before is near, too")
	}
	far := make([]float64, nearest+2)
	for i := range far {
		far[i] = 140
	}
	far[0] = 40
	if left, _ := shown(t, approaching(t, seconds, far...)); left < nearest-1 {
		t.Errorf("stride %d is shown, which is far away, because it alone is like the run", left)
	}
	if _, err := New(approaching(t, 1.5, 40)); err != nil {
		t.Errorf("a short run: %v", err)
	}
	none := approaching(t, seconds, 40)
	none.Info.Height = 200 // The ground is below the picture.
	if _, err := New(none); !errors.Is(err, ErrNone) {
		t.Errorf("no stance lies in the picture: %v", err)
	}
}

// TestTheSharpestFrameIsShown checks that of the frames in the middle of a stance the sharpest
// is taken, and of frames about as sharp the first.
func TestTheSharpestFrameIsShown(t *testing.T) {
	for _, sharpest := range []int{0, 1, 2} {
		m, err := New(approaching(t, 3, 40))
		if err != nil {
			t.Fatal(err)
		}
		for _, span := range m.Frames() {
			for f := span[0]; f <= span[1]; f++ {
				contrast := 20.0
				if f-span[0] == sharpest {
					contrast = 100
				}
				m.Take(f, chequered(contrast), 1)
			}
		}
		for i, x := range m.moments {
			if want := m.Frames()[i][0] + sharpest; x.shown != want {
				t.Errorf("frame %d is shown, want %d", x.shown, want)
			}
		}
	}
}

// TestLevelsAreDrawnOnlyWhereLengthsAreKnown: without ground marks a row of the picture tells
// nothing of how high a head is, so neither lines nor a close-up of them are in the picture.
func TestLevelsAreDrawnOnlyWhereLengthsAreKnown(t *testing.T) {
	for _, unit := range []string{"mm", "%"} {
		in := approaching(t, 3, 40)
		in.Run.Signals[0].Unit = unit
		head := traj.Track{Landmark: traj.Head}
		for f := range in.Times {
			p := in.Horse.At(f)
			head.Samples = append(head.Samples, traj.Sample{X: p.X, Y: p.Y - 1.7*p.Scale, Status: traj.Tracked})
		}
		in.Tracks = []traj.Track{head}
		m, err := New(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, span := range m.Frames() {
			m.Take(span[0], chequered(0), 1)
		}
		made, err := m.JPEG()
		if err != nil {
			t.Fatal(err)
		}
		picture, err := jpeg.Decode(bytes.NewReader(made))
		if err != nil {
			t.Fatal(err)
		}
		if drawn := !Close(picture.Bounds()).Empty(); drawn != (unit == "mm") {
			t.Errorf("%s: the picture is %d px high", unit, picture.Bounds().Dy())
		}
		// Beside the horse's mark and above the words all is grey but for lines.
		coloured := 0
		for y := picture.Bounds().Max.Y - pieceHeight; y < picture.Bounds().Max.Y-captionSize-12; y++ {
			if r, _, b, _ := picture.At(2, y).RGBA(); int(r>>8)-int(b>>8) > 40 || int(b>>8)-int(r>>8) > 40 {
				coloured++
			}
		}
		if (coloured > 0) != (unit == "mm") {
			t.Errorf("%s: %d rows have a line", unit, coloured)
		}
	}
}

// chequered is a picture with edges of a contrast everywhere.
func chequered(contrast float64) clip.Planes {
	p := overlay.NewPlanes(width, height)
	for i := range p.Y {
		p.Y[i] = uint8(math.Round(128 + contrast*math.Copysign(1, math.Sin(float64(i%width)/6)*math.Sin(float64(i/width)/6))))
	}
	return p
}

// TestTheCaptionIsLegible checks that the words that say which limb stands are at least 6 points
// high where the picture is 150 points high, as on a sheet, and that the longest of them
// lie whole in their piece.
func TestTheCaptionIsLegible(t *testing.T) {
	if points := captionSize * 150.0 / (closeHeight + gap + pieceHeight); points < 6 {
		t.Errorf("%.1f points", points)
	}
	p := overlay.NewPlanes(pieceWidth, pieceHeight)
	blank := p.Y[0]
	overlay.Text(p, traj.RightHind.Words()+" stands", 0, 0, captionSize, color.NRGBA{A: 255})
	for y := range pieceHeight {
		if p.Y[y*p.Width+pieceWidth-1] != blank {
			t.Fatalf("row %d: the words reach the piece's edge", y)
		}
	}
}
