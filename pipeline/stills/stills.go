// Package stills cuts the pictures of a report's first page from a clip: the horse in the
// middle of a left and of a right stance, side by side at one size, with the level of the
// head (from behind: the croup) of either drawn across both, and above them what is around
// that level, closer. Where the clip has no lengths, or the picture shows the levels otherwise
// than measured, there are none: rows of the picture alone tell a level from neither a camera
// that turns nor a horse that comes nearer.
//
// Which strides are shown is chosen by rule: of the pairs of neighbouring stances that lie
// whole in the picture and not much farther away than the nearest, the one whose
// difference is most like the mean of the run; of pictures at the middle of a stance the
// sharpest. So a picture shows what the number says, and not the most that could be found.
package stills

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/pipeline/overlay"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// Input is what is known of a clip.
type Input struct {
	Info     *clip.Info
	Times    []float64
	Tracks   []traj.Track
	Run      *metrics.Run
	Horse    *framing.Horse
	WithersM float64 // Height of the horse; 0 is not known.
	// Difference is the run's mean difference between the low points, right − left, in the
	// unit of Run.Signals; NaN is not known.
	Difference float64
}

// ErrNone is wrapped where there is no pair of stances to show.
var ErrNone = errors.New("no left and right stance lie whole in the picture")

// Sizes, px.
const (
	pieceWidth  = 240
	pieceHeight = 400
	gap         = 6
	Width       = 2*pieceWidth + gap
	// Above each piece stands what has the levels, so much larger: two levels some centimetres
	// apart lie on each other in the whole horse.
	closer      = 2.5
	closeHeight = 120
	closeMargin = 60 // Above and below, for moving it to the middle of both levels.
)

// Whole returns the part of a picture that shows the whole horse.
func Whole(picture image.Rectangle) image.Rectangle {
	picture.Min.Y = max(picture.Min.Y, picture.Max.Y-pieceHeight)
	return picture
}

// Close returns the part of a picture that shows what has the levels, closer; empty where the
// picture has none.
func Close(picture image.Rectangle) image.Rectangle {
	picture.Max.Y = max(picture.Min.Y, picture.Max.Y-pieceHeight-gap)
	return picture
}

// captionSize is how high the words in a piece are, px: on a sheet of paper, where a picture is
// some 150 points high, they have to be read at arm's length, and which leg is which side's
// is the other way round for the viewer.
const captionSize = 26

// pieceMargin is by how many rows a piece can be moved up or down to show two levels as far
// apart as they are.
const pieceMargin = 20

// below is the share of a piece's height that shows the ground in front of the hooves.
const below = 0.12

// Span returns how many units of framing.Horse's scale a piece is high.
func Span(h *framing.Horse, withersM float64) float64 {
	switch {
	case !h.Metric:
		return 1.5
	case withersM > 0:
		return 1.55 * withersM
	}
	return 2.5
}

// Piece says which piece of a picture is cut out.
type Piece struct{ X, Y, Step float64 } // Left upper corner, and pixels of the clip to one of the piece.

// PieceOf returns the piece of width × height px that shows span units, the horse in its
// middle.
func PieceOf(p framing.Place, span float64, width, height int) Piece {
	step := span * p.Scale / float64(height)
	return Piece{p.X - step*float64(width)/2, p.Y - step*float64(height)*(1-below), step}
}

// To returns where a place in the clip's picture lies in the piece.
func (p Piece) To(x, y float64) (float64, float64) {
	return (x+0.5-p.X)/p.Step - 0.5, (y+0.5-p.Y)/p.Step - 0.5
}

// moment is a stance that may be shown.
type moment struct {
	contact metrics.Contact
	frame   int // In its middle.
	shown   int // The sharpest near it.
	piece   Piece
	height  float64 // Of the body's landmark, in the unit of the run's signals; NaN is not known.
	scale   float64
}

// Body returns the landmark whose level is shown, and the limbs whose stances are.
func Body(view traj.View, limbs []metrics.Contact) (body, left, right traj.Landmark) {
	has := func(l traj.Landmark) bool {
		for _, c := range limbs {
			if c.Limb == l {
				return true
			}
		}
		return false
	}
	body, left, right = traj.Head, traj.LeftFore, traj.RightFore
	if view == traj.Away {
		body, left, right = traj.Croup, traj.LeftHind, traj.RightHind
	}
	if !has(left) || !has(right) {
		if view == traj.Away {
			left, right = traj.LeftFore, traj.RightFore
		} else {
			left, right = traj.LeftHind, traj.RightHind
		}
	}
	return body, left, right
}

// Maker makes the picture of a clip from its frames as they are shown to it.
type Maker struct {
	in      Input
	body    traj.Landmark
	moments [2]*moment // Left, right.
	taken   [2]clip.Planes
	close   [2]clip.Planes // Around the body's landmark; without pixels where it was not seen.
	sharp   [2]float64
	seen    [2]bool
}

// New chooses what is shown. Where there is no pair of stances the error wraps ErrNone.
func New(in Input) (*Maker, error) {
	body, left, right := Body(in.Run.View, in.Run.Contacts)
	l, r, err := choose(in, body, left, right)
	if err != nil {
		return nil, err
	}
	return &Maker{in: in, body: body, moments: [2]*moment{l, r}}, nil
}

// Frames returns the frames that are looked at for the left stance and for the right one:
// of those in the middle of a stance the sharpest is shown.
func (m *Maker) Frames() [2][2]int {
	var out [2][2]int
	for i, x := range m.moments {
		out[i] = [2]int{max(0, x.frame-1), min(len(m.in.Info.Times)-1, len(m.in.Times)-1, x.frame+1)}
	}
	return out
}

// Take looks at a frame of the clip; scale is the size of one of its pixels in the clip's
// own. Frames that aren't wanted are passed over.
func (m *Maker) Take(index int, picture clip.Planes, scale float64) {
	for i, span := range m.Frames() {
		if !inside(span, index) {
			continue
		}
		piece := PieceOf(m.in.Horse.At(index), Span(m.in.Horse, m.in.WithersM), pieceWidth, pieceHeight)
		p := overlay.NewPlanes(pieceWidth, pieceHeight+2*pieceMargin)
		overlay.Cut(p, picture, piece.X/scale, (piece.Y-pieceMargin*piece.Step)/scale, piece.Step/scale)
		// Of pictures about as sharp the first.
		if sharp := sharpness(p); !m.seen[i] || sharp > 1.1*m.sharp[i] {
			m.taken[i], m.sharp[i], m.seen[i] = p, sharp, true
			m.moments[i].piece, m.moments[i].shown = piece, index
			m.close[i] = m.closeUp(picture, piece, index, scale)
		}
	}
}

// closeUp cuts out what lies around the body's landmark.
func (m *Maker) closeUp(picture clip.Planes, piece Piece, index int, scale float64) clip.Planes {
	t := m.in.track(m.body)
	if t == nil || index >= len(t.Samples) || !t.Samples[index].Status.Seen() {
		return clip.Planes{}
	}
	p := overlay.NewPlanes(pieceWidth, closeHeight+2*closeMargin)
	step := piece.Step / closer
	x, y := t.Samples[index].X-step*pieceWidth/2, t.Samples[index].Y-step*float64(p.Height)/2
	overlay.Cut(p, picture, x/scale, y/scale, step/scale)
	return p
}

func inside(span [2]int, frame int) bool { return frame >= span[0] && frame <= span[1] }

// Read shows the frames of the clip to m, from the clip's file.
func (m *Maker) Read(ctx context.Context) error {
	spans := m.Frames()
	first, second := spans[0], spans[1]
	if second[0] < first[0] {
		first, second = second, first
	}
	// The stances are neighbours, so both are read in one go: decoding begins at a key frame,
	// of which a second has one or two.
	return clip.Frames(ctx, m.in.Info, first[0], second[1], func(f int) bool { return inside(first, f) || inside(second, f) },
		func(f int, picture clip.Planes) { m.Take(f, picture, 1) })
}

// JPEG returns the picture. Where the frames were not shown the error wraps ErrNone.
func (m *Maker) JPEG() ([]byte, error) {
	if !m.seen[0] || !m.seen[1] {
		return nil, fmt.Errorf("make stills: %w", ErrNone)
	}
	levels, lower, ok := m.levels()
	top := 0
	if ok && m.close[0].Height > 0 && m.close[1].Height > 0 {
		top = closeHeight + gap
	}
	picture := overlay.NewPlanes(Width, top+pieceHeight)
	overlay.Fill(picture, 0, 0, picture.Width, picture.Height, white)
	for i, x := range m.moments {
		side, p := x.contact.Limb.Side(), overlay.NewPlanes(pieceWidth, pieceHeight)
		overlay.Cut(p, m.taken[i], 0, pieceMargin+lower[i], 1)
		if t := m.in.track(x.contact.Limb); t != nil && t.Samples[x.shown].Status.Followed() {
			px, py := x.piece.To(t.Samples[x.shown].X, t.Samples[x.shown].Y)
			overlay.Mark(p, side, px, py-lower[i], 7)
		}
		if ok {
			drawLevels(p, levels)
		}
		overlay.Text(p, x.contact.Limb.Words()+" stands", 0, pieceHeight-captionSize-8, captionSize, plots.SideColor(side))
		overlay.Paste(picture, p, i*(pieceWidth+gap), top)
		if top > 0 {
			overlay.Paste(picture, m.levelled(i, levels), i*(pieceWidth+gap), 0)
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, overlay.Picture(picture), &jpeg.Options{Quality: 82}); err != nil {
		return nil, fmt.Errorf("write still of %s: %w", m.in.Info.Path, err)
	}
	return out.Bytes(), nil
}

// levels returns at which row of its piece the body's landmark lies in left and in right
// stance, and how many rows lower on the picture each piece is cut for that. The two lie as
// far apart as was measured in these strides: where in the picture the horse stands is known
// less well than that. ok: they were measured as lengths, and the picture is not far from that.
func (m *Maker) levels() (levels, lower [2]float64, ok bool) {
	t := m.in.track(m.body)
	for i, x := range m.moments {
		if t == nil || !t.Samples[x.shown].Status.Seen() {
			return levels, lower, false
		}
		_, levels[i] = x.piece.To(t.Samples[x.shown].X, t.Samples[x.shown].Y)
	}
	for _, s := range m.in.Run.Signals {
		if s.Landmark != m.body || s.Unit != "mm" || !m.in.Horse.Metric {
			continue
		}
		perRow := 1000 * Span(m.in.Horse, m.in.WithersM) / pieceHeight
		apart := (s.Height[m.moments[0].shown] - s.Height[m.moments[1].shown]) / perRow // The right one lower, rows.
		off := levels[1] - levels[0] - apart
		if !(math.Abs(off) <= 2*pieceMargin) { // Also where it is NaN.
			break
		}
		lower[0], lower[1] = math.Round(-off/2), math.Round(off/2)
		levels[0] -= lower[0]
		levels[1] = levels[0] + apart // Moving the piece leaves what rounding to whole rows does.
		return levels, lower, true
	}
	return levels, lower, false
}

// drawLevels draws the level in left stance whole, in right stance dashed.
func drawLevels(p clip.Planes, levels [2]float64) {
	overlay.Line(p, 0, levels[0], pieceWidth, levels[0], 2, 0, plots.SideColor(traj.Left))
	overlay.Line(p, 0, levels[1], pieceWidth, levels[1], 2, 8, plots.SideColor(traj.Right))
}

// levelled returns the close-up of a side so that the middle of both levels, which are those
// in the pieces, is in its middle: side by side the two close-ups show them at one height.
func (m *Maker) levelled(i int, levels [2]float64) clip.Planes {
	middle := (levels[0] + levels[1]) / 2
	off := math.Round(closer * (middle - levels[i]))
	off = math.Max(-closeMargin, math.Min(closeMargin, off))
	p := overlay.NewPlanes(pieceWidth, closeHeight)
	overlay.Cut(p, m.close[i], 0, closeMargin+off, 1)
	drawLevels(p, [2]float64{closeHeight/2 + closer*(levels[0]-middle), closeHeight/2 + closer*(levels[1]-middle)})
	return p
}

var white = color.NRGBA{0xff, 0xff, 0xff, 0xff}

func (in *Input) track(l traj.Landmark) *traj.Track {
	for i := range in.Tracks {
		if in.Tracks[i].Landmark == l {
			return &in.Tracks[i]
		}
	}
	return nil
}

// choose picks the pair that is shown.
func choose(in Input, body, left, right traj.Landmark) (l, r *moment, err error) {
	ls, rs := in.moments(body, left), in.moments(body, right)
	nearest := 0.0
	type pair struct {
		l, r  *moment
		scale float64
	}
	var pairs []pair
	stride := math.Inf(1)
	for _, s := range in.Run.Strides {
		stride = math.Min(stride, s.End-s.Start)
	}
	for i := range ls {
		for k := range rs {
			if math.Abs(ls[i].contact.On-rs[k].contact.On) > 0.75*stride {
				continue
			}
			p := pair{&ls[i], &rs[k], math.Min(ls[i].scale, rs[k].scale)}
			pairs, nearest = append(pairs, p), math.Max(nearest, p.scale)
		}
	}
	if len(pairs) == 0 {
		return nil, nil, fmt.Errorf("choose stills: %w", ErrNone)
	}
	best := math.Inf(1)
	for _, p := range pairs {
		if p.scale < 0.6*nearest {
			continue
		}
		// Ten percent of the size weigh like a tenth of what a head goes up and down.
		off := 100 * (1 - p.scale/nearest) * 0.5
		if d := p.r.height - p.l.height; !math.IsNaN(d) && !math.IsNaN(in.Difference) {
			off += math.Abs(d - in.Difference)
		}
		if off < best {
			best, l, r = off, p.l, p.r
		}
	}
	return l, r, nil
}

// moments returns the stances of a limb that lie whole in the picture, each at its middle.
func (in *Input) moments(body, limb traj.Landmark) []moment {
	var out []moment
	span := Span(in.Horse, in.WithersM)
	for _, c := range in.Run.Contacts {
		if c.Limb != limb || c.OnSD < 0 || c.OffSD < 0 {
			continue
		}
		t := (c.On + c.Off) / 2
		if t < in.Horse.From || t > in.Horse.To {
			continue
		}
		m := moment{contact: c, frame: in.Horse.Frame(t), height: math.NaN()}
		place := in.Horse.At(m.frame)
		m.piece, m.scale = PieceOf(place, span, pieceWidth, pieceHeight), place.Scale
		w, h := float64(in.Info.Width), float64(in.Info.Height)
		if m.piece.X < -0.02*w || m.piece.X+m.piece.Step*pieceWidth > 1.02*w || m.piece.Y+m.piece.Step*pieceHeight > h+0.06*m.piece.Step*pieceHeight || m.piece.Y < -0.1*m.piece.Step*pieceHeight {
			continue
		}
		for _, s := range in.Run.Signals {
			if s.Landmark == body && m.frame < len(s.Height) {
				m.height = s.Height[m.frame]
			}
		}
		out = append(out, m)
	}
	return out
}

// sharpness is the mean square of the differences between neighbouring pixels.
func sharpness(p clip.Planes) float64 {
	sum := 0
	for y := range p.Height {
		row := p.Y[y*p.Width : (y+1)*p.Width]
		for x := 1; x < len(row); x++ {
			d := int(row[x]) - int(row[x-1])
			sum += d * d
		}
	}
	return float64(sum) / float64(len(p.Y))
}
