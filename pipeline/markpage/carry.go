package markpage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"net/http"
	"path"
	"slices"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
)

// carryAnswer is a calibration that may be taken over from another clip, since
// the picture has not moved; or why there is none.
type carryAnswer struct {
	From        string                     `json:"from,omitempty"`
	Level       geometry.Level             `json:"level,omitempty"`
	Calibration *geometry.CalibrationInput `json:"calibration,omitempty"`
	MovedPX     float64                    `json:"moved_px"` // How far the still part of the picture has moved between the clips, px.
	Reason      string                     `json:"reason,omitempty"`
}

// carry looks for a clip of the same set-up whose picture lies exactly as that of
// the clip asked for, and answers with its calibration.
func (s *Server) carry(w http.ResponseWriter, r *http.Request) {
	rel, info, stamp, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	out := carryAnswer{Reason: "no other clip beside it has ground marks in a picture of the same size"}
	const tries = 3                              // The nearest clips decide; comparing takes a moment each.
	tried := make(map[geometry.GroundMarks]bool) // Clips of one set-up have the same marks.
	for _, c := range s.sameSetUp(r.Context(), rel, info) {
		if len(tried) == tries {
			break
		}
		var marks geometry.GroundMarks
		if c.Calibration.Ground != nil {
			marks = *c.Calibration.Ground
		}
		if tried[marks] {
			continue
		}
		tried[marks] = true
		moved, frame, err := s.moved(r.Context(), c, info, stamp)
		if r.Context().Err() != nil {
			s.failed(w, r, r.Context().Err())
			return
		}
		if err != nil {
			out.Reason = fmt.Sprintf("%s: %v", path.Base(c.Path), err)
			continue
		}
		calibration := *c.Calibration
		calibration.Frame = frame
		reply(w, carryAnswer{From: c.Path, Level: c.Level, Calibration: &calibration, MovedPX: moved})
		return
	}
	reply(w, out)
}

// moved compares pictures of the clip in which c was calibrated with pictures of the clip
// asked for, and returns how far they lie apart, px, and a frame of the clip to which the
// calibration belongs. Horse and people hide marks in one picture and not in the next, so
// each mark may be found in its place in any of them.
func (s *Server) moved(ctx context.Context, c setUp, info *clip.Info, stamp string) (far float64, frame int, err error) {
	abs, stat, err := s.folder.clipFile(c.Path)
	if err != nil {
		return 0, 0, err
	}
	other, err := s.clips.probe(ctx, abs, stat)
	if err != nil {
		return 0, 0, unreadable(err)
	}
	last := len(other.Times) - 1
	calibrated, err := s.grey(ctx, other, stampOf(stat), min(c.Calibration.Frame, last))
	if err != nil {
		return 0, 0, err
	}
	k := float64(calibrated.Rect.Dx()) / float64(info.Width)
	together := likeness{marks: markPoints(c.Calibration, k), frame: -1}
	var now [compared]*image.Gray
	for i := range now {
		f := i * (len(info.Times) - 1) / (compared - 1)
		if now[i], err = s.grey(ctx, info, stamp, f); err != nil {
			return 0, 0, err
		}
		if together.with(calibrated, now[i], f) {
			return together.far / k, together.frame, nil
		}
	}
	if together.frame < 0 {
		return 0, 0, together.apart
	}
	// Something may stand before a mark in the picture in which it was calibrated.
	for _, f := range []int{0, last} {
		before, err := s.grey(ctx, other, stampOf(stat), f)
		if err != nil {
			return 0, 0, err
		}
		if _, _, err := stillThere(calibrated, before, together.marks); err != nil {
			continue
		}
		for i, picture := range now {
			if together.with(before, picture, i*(len(info.Times)-1)/(compared-1)) {
				return together.far / k, together.frame, nil
			}
		}
	}
	return 0, 0, errors.New("the ground marks are not all in their places, or hidden")
}

// compared is how many pictures of a clip are compared, spread over its length.
const compared = 5

// likeness gathers what several pictures show of whether the camera stands as it did.
type likeness struct {
	marks []geometry.Point
	seen  []bool  // Which were found in their places.
	frame int     // The first frame that lies where the others do, -1 for none,
	far   float64 // and how far it is off, px.
	apart error   // Why the last one that does not lie there doesn't.
}

// with compares one more pair of pictures, now being that of a frame, and reports
// whether all is known that is needed.
func (c *likeness) with(before, now *image.Gray, frame int) bool {
	far, seen, err := stillThere(before, now, c.marks)
	if err != nil {
		c.apart = err
		return false
	}
	if c.frame < 0 {
		c.frame, c.far, c.seen = frame, far, seen
	}
	inPlace := 0
	for i := range seen {
		c.seen[i] = c.seen[i] || seen[i]
		if c.seen[i] {
			inPlace++
		}
	}
	return float64(inPlace) >= seenMarks*float64(len(c.marks))
}

// markPoints returns the points of a calibration in a picture k times as large.
func markPoints(in *geometry.CalibrationInput, k float64) []geometry.Point {
	var points []geometry.Point
	if in.Ground != nil {
		for _, p := range in.Ground.Points {
			points = append(points, geometry.Point{X: (p.X+0.5)*k - 0.5, Y: (p.Y+0.5)*k - 0.5})
		}
	}
	return points
}

func (s *Server) grey(ctx context.Context, info *clip.Info, stamp string, frame int) (*image.Gray, error) {
	data, err := s.pictures.get(ctx, info, stamp, frame, sizeStill)
	if err != nil {
		return nil, err
	}
	picture, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("read picture %d of clip %s: %w", frame, path.Base(info.Path), err)
	}
	ycc, ok := picture.(*image.YCbCr)
	if !ok {
		return nil, fmt.Errorf("picture %d of clip %s is not in colour", frame, path.Base(info.Path))
	}
	return &image.Gray{Pix: ycc.Y, Stride: ycc.YStride, Rect: ycc.Rect}, nil
}

const (
	patchHalf  = 15   // Half the side of a compared patch, px.
	patchLeast = 6    // The same at the picture's edge, at least, px.
	searched   = 6    // How far a patch is looked for, px.
	alike      = 0.8  // Correlation from which two patches show the same.
	rough      = 5.0  // Standard deviation of grey values from which a patch can be found again.
	agrees     = 1.0  // How far a patch may have moved, px: as far as a click may be off (common practice).
	stillPX    = 0.5  // How far the picture may have moved in the middle of all patches, px: with it a click's spread of 1 px grows by an eighth.
	mostAgree  = 0.7  // Share of the patches found again that must agree.
	fewFound   = 8    // Fewer patches tell nothing.
	columns    = 12   // Patches across the picture.
	rows       = 8    // Patches down the picture.
	seenMarks  = 0.75 // Share of the ground marks that must be found in place: one of four may be hidden.
)

// stillThere returns how far the still part of the picture has moved from before
// to now, px, and which marks are in their places; or an error where it has moved, or
// where that can't be told. Patches all over the picture and those around the marks are
// each looked for nearby by normalised correlation; the horse covers some of them, so
// most decide.
func stillThere(before, now *image.Gray, marks []geometry.Point) (far float64, seen []bool, err error) {
	if before.Rect != now.Rect {
		return 0, nil, fmt.Errorf("the pictures differ in size")
	}
	w, h := before.Rect.Dx(), before.Rect.Dy()
	var moves []float64
	agreed := 0
	for row := range rows {
		for column := range columns {
			x, y := (2*column+1)*w/(2*columns), (2*row+1)*h/(2*rows)
			d, ok := shift(before, now, x, y)
			if !ok {
				continue
			}
			moves = append(moves, d)
			if d <= agrees {
				agreed++
			}
		}
	}
	if len(moves) < fewFound {
		return 0, nil, fmt.Errorf("too little of the ground and of what stands beside it can be found again")
	}
	slices.Sort(moves)
	middle := moves[len(moves)/2]
	if middle > stillPX || float64(agreed) < mostAgree*float64(len(moves)) {
		return 0, nil, fmt.Errorf("the camera has moved since")
	}
	for _, m := range marks {
		d, ok := shift(before, now, int(math.Round(m.X)), int(math.Round(m.Y)))
		seen = append(seen, ok && d <= agrees)
	}
	return middle, seen, nil
}

// patch is a square of a picture about its mean.
type patch struct {
	half   int       // Pixels from the middle one to each edge.
	about  []float64 // Row by row.
	energy float64   // Sum of squares.
}

// cut takes the patch around (x, y) out of a picture.
func cut(from *image.Gray, x, y, half int) patch {
	side := 2*half + 1
	p := patch{half: half, about: make([]float64, side*side)}
	mean := 0.0
	for j := range side {
		for i := range side {
			v := float64(from.Pix[(y-half+j)*from.Stride+x-half+i])
			p.about[j*side+i] = v
			mean += v
		}
	}
	mean /= float64(side * side)
	for i := range p.about {
		p.about[i] -= mean
		p.energy += p.about[i] * p.about[i]
	}
	return p
}

// correlation returns the normalised cross-correlation of the patch with what is around
// (x, y) in another picture; 0 where that is plain.
func (p *patch) correlation(with *image.Gray, x, y int) float64 {
	side := 2*p.half + 1
	var sum, squares, product float64
	for j := range side {
		line := with.Pix[(y-p.half+j)*with.Stride+x-p.half:]
		for i := range side {
			v := float64(line[i])
			sum += v
			squares += v * v
			product += v * p.about[j*side+i]
		}
	}
	spread := squares - sum*sum/float64(side*side)
	if spread <= 0 {
		return 0
	}
	return product / math.Sqrt(spread*p.energy)
}

// shift returns how far the patch around (x, y) has moved, px; ok is false where
// it is plain, outside the picture, or not found.
func shift(before, now *image.Gray, x, y int) (far float64, ok bool) {
	w, h := before.Rect.Dx(), before.Rect.Dy()
	// Ground marks often lie near the picture's edge: there the patch is smaller.
	half := min(patchHalf, x-searched, y-searched, w-1-searched-x, h-1-searched-y)
	if half < patchLeast {
		return 0, false
	}
	p := cut(before, x, y, half)
	if math.Sqrt(p.energy/float64(len(p.about))) < rough {
		return 0, false
	}
	var scores [2*searched + 1][2*searched + 1]float64
	best, bx, by := -1.0, 0, 0
	for dy := -searched; dy <= searched; dy++ {
		for dx := -searched; dx <= searched; dx++ {
			c := p.correlation(now, x+dx, y+dy)
			scores[dy+searched][dx+searched] = c
			if c > best {
				best, bx, by = c, dx, dy
			}
		}
	}
	if best < alike {
		return 0, false
	}
	fx, fy := float64(bx), float64(by)
	// Between pixels: the top of a parabola through the neighbours.
	if bx > -searched && bx < searched {
		fx += top(scores[by+searched][bx-1+searched], best, scores[by+searched][bx+1+searched])
	}
	if by > -searched && by < searched {
		fy += top(scores[by-1+searched][bx+searched], best, scores[by+1+searched][bx+searched])
	}
	return math.Hypot(fx, fy), true
}

func top(before, at, after float64) float64 {
	bend := before - 2*at + after
	if bend >= 0 {
		return 0
	}
	return max(-0.5, min(0.5, 0.5*(before-after)/bend))
}
