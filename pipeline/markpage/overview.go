package markpage

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"net/http"
	"slices"
	"sync"

	"golang.org/x/image/draw"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/film"
	"jogstrip/track/traj"
)

const (
	glancesMost  = 32  // How many small pictures an overview has, about.
	glanceWidth  = 160 // px.
	overviewsMax = 12  // How many clips' overviews are kept.
)

// overview is a clip at a glance: small pictures from all over it, and where in
// them something moves.
type overview struct {
	Frames []int `json:"frames"`
	// Boxes tells for each of Frames where in the clip's picture something moves that
	// is as large as a horse, px; null where that is not clear.
	Boxes []*box `json:"boxes"`
	// Seen is "toward" or "away" where what moves grows or shrinks clearly.
	Seen traj.View `json:"seen,omitempty"`
	// Width and Height are those of one picture of the strip, px.
	Width  int `json:"width"`
	Height int `json:"height"`
	strip  []byte
}

// box is a rectangle in the clip's picture, px.
type box struct {
	X0 float64 `json:"x0"`
	Y0 float64 `json:"y0"`
	X1 float64 `json:"x1"`
	Y1 float64 `json:"y1"`
}

// overviews makes overviews, one at a time, and keeps the last.
type overviews struct {
	one     chan struct{}
	mu      sync.Mutex
	entries map[string]*overviewEntry
	order   []string
}

type overviewEntry struct {
	done chan struct{}
	view *overview
	err  error
}

func newOverviews() *overviews {
	return &overviews{one: make(chan struct{}, 1), entries: make(map[string]*overviewEntry)}
}

// overviewOf returns the overview of a clip, made where it is not at hand.
func (s *Server) overviewOf(ctx context.Context, info *clip.Info, stamp string) (*overview, error) {
	o := s.overviews
	key := info.Path + "\x00" + stamp
	o.mu.Lock()
	e := o.entries[key]
	if e == nil {
		e = &overviewEntry{done: make(chan struct{})}
		o.entries[key] = e
		o.order = append(o.order, key)
		if len(o.order) > overviewsMax {
			delete(o.entries, o.order[0])
			o.order = o.order[1:]
		}
		s.work.Add(1)
		go func() {
			defer s.work.Done()
			defer close(e.done)
			select {
			case o.one <- struct{}{}:
				defer func() { <-o.one }()
			case <-s.ctx.Done():
				e.err = s.ctx.Err()
				return
			}
			e.view, e.err = makeOverview(s.ctx, info)
		}()
	}
	o.mu.Unlock()
	select {
	case <-e.done:
		return e.view, e.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// askedOverview returns the overview of the clip that is asked for, with its stamp; where
// there is none it has answered, and ok is false.
func (s *Server) askedOverview(w http.ResponseWriter, r *http.Request) (v *overview, stamp string, ok bool) {
	_, info, stamp, err := s.clipOf(r)
	if err == nil {
		v, err = s.overviewOf(r.Context(), info, stamp)
	}
	if err != nil {
		s.failed(w, r, err)
	}
	return v, stamp, err == nil
}

func (s *Server) getOverview(w http.ResponseWriter, r *http.Request) {
	v, _, ok := s.askedOverview(w, r)
	if !ok {
		return
	}
	reply(w, v)
}

// getStrip serves the small pictures side by side.
func (s *Server) getStrip(w http.ResponseWriter, r *http.Request) {
	v, stamp, ok := s.askedOverview(w, r)
	if !ok {
		return
	}
	servePicture(w, v.strip, r.URL.Query().Get("stamp") == stamp)
}

func makeOverview(ctx context.Context, info *clip.Info) (*overview, error) {
	glances, err := clip.Glances(ctx, info, glancesMost, glanceWidth)
	if err != nil {
		return nil, err
	}
	v := &overview{Width: glances[0].Width, Height: glances[0].Height}
	strip := image.NewRGBA(image.Rect(0, 0, v.Width*len(glances), v.Height))
	for i, g := range glances {
		v.Frames = append(v.Frames, g.Frame)
		draw.Copy(strip, image.Pt(i*v.Width, 0), pictureOf(g), image.Rect(0, 0, g.Width, g.Height), draw.Src, nil)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, strip, &jpeg.Options{Quality: 75}); err != nil {
		return nil, fmt.Errorf("glance at clip %s: %w", info.Path, err)
	}
	v.strip = b.Bytes()
	k := float64(info.Width) / float64(v.Width)
	v.Boxes = moving(glances)
	v.Seen = grows(v.Boxes)
	for _, m := range v.Boxes {
		if m != nil {
			m.X0, m.Y0, m.X1, m.Y1 = math.Round(m.X0*k), math.Round(m.Y0*k), math.Round(m.X1*k), math.Round(m.Y1*k)
		}
	}
	return v, nil
}

const (
	fewGlances   = 6    // Fewer do not tell what stands still.
	differsLeast = 12   // Values of a colour by which what moves differs at least from the empty lane,
	differsTimes = 4    // and how many times the difference in the middle of the picture, which is noise.
	movesMost    = 0.4  // Where more of the picture moves, the camera does.
	horseLeast   = 1e-3 // Share of the picture that something must cover to be a horse.
)

// moving finds in each picture the largest thing that is not there in most of
// the others. A camera that moves gives none.
func moving(glances []clip.Glance) []*box {
	out := make([]*box, len(glances))
	if len(glances) < fewGlances {
		return out
	}
	w, h := glances[0].Width, glances[0].Height
	empty := make([]uint8, 3*w*h)
	values := make([]uint8, len(glances))
	for p := range empty {
		for i, g := range glances {
			values[i] = g.RGB[p]
		}
		slices.Sort(values)
		empty[p] = values[len(values)/2]
	}
	shaking := 0
	for i, g := range glances {
		// Light that changes as a whole is no movement.
		light := [3]int{}
		for c := range light {
			shifts := make([]int, 0, w*h)
			for p := c; p < 3*w*h; p += 3 {
				shifts = append(shifts, int(g.RGB[p])-int(empty[p]))
			}
			slices.Sort(shifts)
			light[c] = shifts[len(shifts)/2]
		}
		// The one of the three colours that differs most: a bay horse before green trees
		// is as bright as they are.
		differ := make([]int, w*h)
		for p := range differ {
			for c := range light {
				differ[p] = max(differ[p], abs(int(g.RGB[3*p+c])-int(empty[3*p+c])-light[c]))
			}
		}
		sorted := slices.Clone(differ)
		slices.Sort(sorted)
		least := max(differsLeast, differsTimes*sorted[len(sorted)/2])
		on := make([]bool, w*h)
		n := 0
		for p := range on {
			if on[p] = differ[p] > least; on[p] {
				n++
			}
		}
		if float64(n) > movesMost*float64(w*h) {
			shaking++
			continue
		}
		out[i] = largest(on, w, h)
	}
	if 2*shaking > len(glances) {
		return make([]*box, len(glances))
	}
	return out
}

func abs(v int) int {
	if v < 0 {
		return -v
	}
	return v
}

// largest returns the box around the largest group of marked pixels. Pixels up
// to two apart belong together, as legs and trunk do.
func largest(on []bool, w, h int) *box {
	seen := make([]bool, w*h)
	var best *box
	most := int(horseLeast * float64(w*h))
	for start := range on {
		if !on[start] || seen[start] {
			continue
		}
		stack := []int{start}
		seen[start] = true
		n, b := 0, box{math.Inf(1), math.Inf(1), 0, 0}
		for len(stack) > 0 {
			p := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			x, y := p%w, p/w
			n++
			b = box{math.Min(b.X0, float64(x)), math.Min(b.Y0, float64(y)), math.Max(b.X1, float64(x+1)), math.Max(b.Y1, float64(y+1))}
			for dy := -2; dy <= 2; dy++ {
				for dx := -2; dx <= 2; dx++ {
					nx, ny := x+dx, y+dy
					if nx < 0 || ny < 0 || nx >= w || ny >= h {
						continue
					}
					if q := ny*w + nx; on[q] && !seen[q] {
						seen[q] = true
						stack = append(stack, q)
					}
				}
			}
		}
		if n > most {
			most, best = n, &b
		}
	}
	return best
}

// grows tells from the boxes whether the horse comes or goes: its height in the
// first third of the clip against that in the last.
func grows(boxes []*box) traj.View {
	heights := func(part []*box) (out []float64) {
		for _, b := range part {
			if b != nil {
				out = append(out, b.Y1-b.Y0)
			}
		}
		return out
	}
	n := len(boxes)
	return film.Goes(heights(boxes[:n/3]), heights(boxes[n-n/3:]))
}
