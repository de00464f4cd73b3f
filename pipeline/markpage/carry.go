package markpage

import (
	"bytes"
	"context"
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
		moved, err := s.moved(r.Context(), c, info, stamp)
		if r.Context().Err() != nil {
			s.failed(w, r, r.Context().Err())
			return
		}
		if err != nil {
			out.Reason = fmt.Sprintf("%s: %v", path.Base(c.Path), err)
			continue
		}
		calibration := *c.Calibration
		calibration.Frame = 0
		reply(w, carryAnswer{From: c.Path, Level: c.Level, Calibration: &calibration, MovedPX: moved})
		return
	}
	reply(w, out)
}

// moved compares the picture in which c was calibrated with the first one of the
// clip, in which the horse is least in the way of coming clips.
func (s *Server) moved(ctx context.Context, c setUp, info *clip.Info, stamp string) (float64, error) {
	abs, stat, err := s.folder.clipFile(c.Path)
	if err != nil {
		return 0, err
	}
	other, err := s.clips.probe(ctx, abs, stat)
	if err != nil {
		return 0, unreadable(err)
	}
	frame := min(c.Calibration.Frame, len(other.Times)-1)
	before, err := s.grey(ctx, other, stampOf(stat), frame)
	if err != nil {
		return 0, err
	}
	var worst error
	// The horse may hide a mark in one of them.
	for _, f := range []int{0, len(info.Times) - 1} {
		now, err := s.grey(ctx, info, stamp, f)
		if err != nil {
			return 0, err
		}
		k := float64(before.Rect.Dx()) / float64(info.Width)
		marks := markPoints(c.Calibration, k)
		moved, err := stillThere(before, now, marks)
		if err == nil {
			return moved / k, nil
		}
		worst = err
	}
	return 0, worst
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
	data, err := s.pictures.get(ctx, info, stamp, frame, sizeStep)
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
// to now, px, or an error where it has moved, or where that can't be told. Patches
// all over the picture and those around the marks are each looked for nearby by
// normalised correlation; the horse covers some of them, so most decide, but three
// of four marks must be found in their places.
func stillThere(before, now *image.Gray, marks []geometry.Point) (float64, error) {
	if before.Rect != now.Rect {
		return 0, fmt.Errorf("the pictures differ in size")
	}
	w, h := before.Rect.Dx(), before.Rect.Dy()
	var far []float64
	agreed := 0
	for row := range rows {
		for column := range columns {
			x, y := (2*column+1)*w/(2*columns), (2*row+1)*h/(2*rows)
			d, ok := shift(before, now, x, y)
			if !ok {
				continue
			}
			far = append(far, d)
			if d <= agrees {
				agreed++
			}
		}
	}
	if len(far) < fewFound {
		return 0, fmt.Errorf("too little of the ground and of what stands beside it can be found again")
	}
	slices.Sort(far)
	middle := far[len(far)/2]
	if middle > stillPX || float64(agreed) < mostAgree*float64(len(far)) {
		return 0, fmt.Errorf("the camera has moved since")
	}
	inPlace := 0
	for _, m := range marks {
		if d, ok := shift(before, now, int(math.Round(m.X)), int(math.Round(m.Y))); ok && d <= agrees {
			inPlace++
		}
	}
	if float64(inPlace) < seenMarks*float64(len(marks)) {
		return 0, fmt.Errorf("the ground marks are not all in their places, or hidden")
	}
	return middle, nil
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
	side := 2*half + 1
	n := float64(side * side)
	patch := make([]float64, side*side)
	mean := 0.0
	for j := range side {
		for i := range side {
			v := float64(before.Pix[(y-half+j)*before.Stride+x-half+i])
			patch[j*side+i] = v
			mean += v
		}
	}
	mean /= n
	energy := 0.0
	for i := range patch {
		patch[i] -= mean
		energy += patch[i] * patch[i]
	}
	if math.Sqrt(energy/n) < rough {
		return 0, false
	}
	var scores [2*searched + 1][2*searched + 1]float64
	best, bx, by := -1.0, 0, 0
	for dy := -searched; dy <= searched; dy++ {
		for dx := -searched; dx <= searched; dx++ {
			var sum, squares, product float64
			for j := range side {
				line := now.Pix[(y+dy-half+j)*now.Stride+x+dx-half:]
				for i := range side {
					v := float64(line[i])
					sum += v
					squares += v * v
					product += v * patch[j*side+i]
				}
			}
			spread := squares - sum*sum/n
			if spread <= 0 {
				continue
			}
			c := product / math.Sqrt(spread*energy)
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
