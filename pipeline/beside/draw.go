package beside

import (
	"image/color"
	"math"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/overlay"
	"jogstrip/pipeline/stills"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

func (s *Side) track(l traj.Landmark) *traj.Track {
	for i := range s.Tracks {
		if s.Tracks[i].Landmark == l {
			return &s.Tracks[i]
		}
	}
	return nil
}

// level returns how high a landmark stands in the piece of frame f, px from its top.
func (s *Side) level(l traj.Landmark, f int, span float64) (y float64, ok bool) {
	t := s.track(l)
	if t == nil || f < 0 || f >= len(t.Samples) || !t.Samples[f].Status.Seen() {
		return 0, false
	}
	_, y = pieceOf(s.Horse.At(f), span).To(t.Samples[f].X, t.Samples[f].Y)
	return y, true
}

// draw draws onto the piece of frame f: the line of travel, where hooves stand and stood,
// and how high the head (from behind the croup) was in the last left and right stance.
func (s *Side) draw(p clip.Planes, f int, span float64) {
	c, now := pieceOf(s.Horse.At(f), span), s.Times[f]
	s.travel(p, c, f)
	for _, k := range s.Run.Contacts {
		s.stance(p, c, f, k, now, nil)
	}
	body, left, right := stills.Body(s.Run.View, s.Run.Contacts)
	var last [2]*metrics.Contact
	for i := range s.Run.Contacts {
		k := &s.Run.Contacts[i]
		if (k.On+k.Off)/2 > now || k.Limb != left && k.Limb != right {
			continue
		}
		n := 0
		if k.Limb == right {
			n = 1
		}
		if last[n] == nil || k.On > last[n].On {
			last[n] = k
		}
	}
	for n, k := range last {
		if k == nil {
			continue
		}
		if y, ok := s.level(body, s.Horse.Frame((k.On+k.Off)/2), span); ok {
			overlay.Line(p, 0, y, float64(p.Width), y, 2, 9*float64(n), plots.SideColor(k.Limb.Side()))
		}
	}
	if t := s.track(body); t != nil && t.Samples[f].Status.Followed() {
		x, y := c.To(t.Samples[f].X, t.Samples[f].Y)
		overlay.Mark(p, traj.Middle, x, y, 6)
	}
}

// travel draws the line of travel a second's way to either side.
func (s *Side) travel(p clip.Planes, c stills.Piece, f int) {
	dx, dy := s.Horse.Shift(f)
	now := s.Times[f]
	from, to := math.Max(s.Horse.From, now-1), math.Min(s.Horse.To, now+1)
	a, b := s.Horse.Ground(from), s.Horse.Ground(to)
	x0, y0 := c.To(a[0]+dx, a[1]+dy)
	x1, y1 := c.To(b[0]+dx, b[1]+dy)
	overlay.Line(p, x0, y0, x1, y1, 1.6, 5, color.NRGBA{0xff, 0xff, 0xff, 0xff})
}

// stance marks where a hoof stands, or faintly where it stood.
func (s *Side) stance(p clip.Planes, c stills.Piece, f int, k metrics.Contact, now float64, mirror func(float64) float64) {
	if k.On > now || math.IsNaN(k.PictureX+k.PictureY) || k.PictureX == 0 && k.PictureY == 0 {
		return
	}
	dx, dy := s.Horse.Shift(f)
	x, y := c.To(k.PictureX+dx, k.PictureY+dy)
	if mirror != nil {
		x = mirror(x)
	}
	if x < 0 || y < 0 || x > float64(p.Width) || y > float64(p.Height) {
		return
	}
	if now < k.Off {
		overlay.Mark(p, k.Limb.Side(), x, y, 9)
	} else if mirror == nil && s.Run.View == traj.Away { // Coming, the horse hides where it stood.
		overlay.Mark(p, k.Limb.Side(), x, y, 3.5)
	}
}

// drawHalves draws onto halves that are laid over each other: the head's place and the
// hooves that stand, of the left half as they are, of the right half mirrored.
func (s *Side) drawHalves(p clip.Planes, x shot, i int, span float64) {
	body, _, _ := stills.Body(s.Run.View, s.Run.Contacts)
	for _, half := range []struct {
		frame int
		limb  traj.Landmark
		flip  bool
	}{{x.frames[i], x.left, false}, {x.rights[i], x.right, true}} {
		c, now := pieceOf(s.Horse.At(half.frame), span), s.Times[half.frame]
		mirror := func(px float64) float64 { return px }
		if half.flip {
			mirror = func(px float64) float64 { return float64(p.Width-1) - px + float64(x.shift[i]) }
		}
		for _, k := range s.Run.Contacts {
			if k.Limb == half.limb && now < k.Off {
				s.stance(p, c, half.frame, k, now, mirror)
			}
		}
		t := s.track(body)
		if t == nil || !t.Samples[half.frame].Status.Followed() {
			continue
		}
		px, py := c.To(t.Samples[half.frame].X, t.Samples[half.frame].Y)
		px = mirror(px)
		overlay.Mark(p, half.limb.Side(), px, py, 7)
		dash := 0.0
		if half.flip {
			dash = 9
		}
		overlay.Line(p, 0, py, float64(p.Width), py, 1.6, dash, plots.SideColor(half.limb.Side()))
	}
}
