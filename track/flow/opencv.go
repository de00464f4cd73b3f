package flow

// #cgo pkg-config: opencv4
// #cgo noescape flow_pair_new
// #cgo nocallback flow_pair_new
// #cgo noescape flow_follow
// #cgo nocallback flow_follow
// #include "both.h"
import "C"

import (
	"errors"
	"fmt"
	"image"
	"slices"

	"gocv.io/x/gocv"
)

func init() {
	// The calls are small and come from several goroutines at once: handing parts
	// of them to further threads costs more than it brings.
	C.flow_one_thread()
}

// Version returns the version of the OpenCV library in use.
func Version() string { return gocv.OpenCVVersion() }

// FlowOptions sets one Lucas–Kanade call.
type FlowOptions struct {
	Window int // Side of the window, px, at least 3.
	Levels int // How many times the picture is halved at most; none where it is negative.
}

// Found is where a point went.
type Found struct {
	Point
	OK       bool    // False where OpenCV lost the point, or sent it outside the picture.
	Residual float64 // Mean absolute difference of the two windows, grey levels.
}

// Follow follows points from prev to next by pyramidal Lucas–Kanade. guess holds
// first estimates of the new positions, or is nil. Both pictures must have one
// size; points must be finite. Index of the result: as points.
func Follow(prev, next Gray, points, guess []Point, opts FlowOptions) ([]Found, error) {
	pair, err := newPair(prev, next, opts)
	if err != nil {
		return nil, err
	}
	defer pair.close()
	return pair.follow(points, guess, false, true)
}

// ThereAndBack follows points as Follow does, and back from where it found them; what it lost
// there it follows back from the point itself. It gives what two calls of Follow would, but for
// residuals, which are left at 0: they cost a look at every window.
func ThereAndBack(prev, next Gray, points, guess []Point, opts FlowOptions) (there, back []Found, err error) {
	pair, err := newPair(prev, next, opts)
	if err != nil {
		return nil, nil, err
	}
	defer pair.close()
	if there, err = pair.follow(points, guess, false, false); err != nil {
		return nil, nil, err
	}
	ends := slices.Clone(points)
	for i, f := range there {
		if f.OK {
			ends[i] = f.Point
		}
	}
	back, err = pair.follow(ends, points, true, false)
	return there, back, err
}

// pair is two pictures of one size, ready for points to be followed from one to the other and
// back. gocv reaches no pyramid, so it calls OpenCV itself.
type pair struct {
	c *C.flow_pair
}

// newPair builds what following between prev and next needs, which are not kept. close frees it.
func newPair(prev, next Gray, opts FlowOptions) (*pair, error) {
	if err := errors.Join(prev.Check(), next.Check()); err != nil {
		return nil, fmt.Errorf("optical flow: %w", err)
	}
	if prev.Width != next.Width || prev.Height != next.Height {
		return nil, fmt.Errorf("optical flow: %w: %d×%d and %d×%d", ErrSize, prev.Width, prev.Height, next.Width, next.Height)
	}
	if opts.Window < 3 {
		return nil, fmt.Errorf("optical flow: window of %d px: must be 3 or more", opts.Window)
	}
	c := C.flow_pair_new((*C.uint8_t)(&prev.Pix[0]), C.int(prev.Stride), (*C.uint8_t)(&next.Pix[0]), C.int(next.Stride),
		C.int(prev.Width), C.int(prev.Height), C.int(opts.Window), C.int(max(opts.Levels, 0)))
	if c == nil {
		return nil, fmt.Errorf("optical flow: OpenCV refused %d×%d with windows of %d px", prev.Width, prev.Height, opts.Window)
	}
	return &pair{c}, nil
}

func (p *pair) close() { C.flow_pair_free(p.c) }

// follow follows points, which are looked for at guess (nil: where they are), from the first
// picture to the second, or backward; it says what is left of their windows where told.
func (p *pair) follow(points, guess []Point, backward, residuals bool) ([]Found, error) {
	if guess == nil {
		guess = points
	}
	if len(guess) != len(points) {
		return nil, fmt.Errorf("optical flow: %w: %d points, %d guesses", ErrSize, len(points), len(guess))
	}
	n := len(points)
	if n == 0 {
		return nil, nil
	}
	lent := borrow(5 * n)
	defer room.Put(lent)
	from, to, left := (*lent)[:2*n], (*lent)[2*n:4*n], (*lent)[4*n:]
	for i, q := range points {
		if !q.Finite() || !guess[i].Finite() {
			return nil, fmt.Errorf("optical flow: point %d: %w", i, ErrNumber)
		}
		from[2*i], from[2*i+1] = float32(q.X), float32(q.Y)
		to[2*i], to[2*i+1] = float32(guess[i].X), float32(guess[i].Y)
	}
	var differences *C.float
	clear(left)
	if residuals {
		differences = (*C.float)(&left[0])
	}
	back := C.int(0)
	if backward {
		back = 1
	}
	ok := make([]byte, n)
	if C.flow_follow(p.c, back, (*C.float)(&from[0]), C.int(n), (*C.float)(&to[0]), (*C.uint8_t)(&ok[0]), differences) != 0 {
		return nil, fmt.Errorf("optical flow: OpenCV refused %d points", n)
	}
	out := make([]Found, n)
	for i := range out {
		out[i] = Found{Point: Point{float64(to[2*i]), float64(to[2*i+1])}, OK: ok[i] != 0, Residual: float64(left[i])}
	}
	return out, nil
}

// Features returns up to most corners (minimum eigenvalue, Shi & Tomasi 1994)
// whose strength is at least quality times the strongest, at least apart px from
// each other, strongest first. A flat picture has none.
func Features(g Gray, most int, quality, apart float64) ([]Point, error) {
	if err := g.Check(); err != nil {
		return nil, fmt.Errorf("find features: %w", err)
	}
	if most <= 0 || !(quality > 0 && quality < 1) || !(apart >= 0) {
		return nil, fmt.Errorf("find features: most %d, quality %v, apart %v: out of range", most, quality, apart)
	}
	if g.Width < 8 || g.Height < 8 || flat(g) {
		return nil, nil
	}
	m, err := grayMat(g)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	corners := gocv.NewMat()
	defer corners.Close()
	gocv.GoodFeaturesToTrack(m, &corners, most, quality, apart)
	if corners.Empty() {
		return nil, nil
	}
	xy, err := corners.DataPtrFloat32()
	if err != nil {
		return nil, fmt.Errorf("find features: read corners: %w", err)
	}
	out := make([]Point, len(xy)/2)
	for i := range out {
		out[i] = Point{float64(xy[2*i]), float64(xy[2*i+1])}
	}
	return out, nil
}

// Scores is a map of normalised cross-correlation: the score at (x, y) belongs
// to the template's top-left pixel lying on (x, y).
type Scores struct {
	Score         []float32 // Row by row, from −1 to 1; −1 where the picture is flat.
	Width, Height int
}

// Match correlates template with every place in g where it fits wholly. spare's
// memory is used where it is large enough.
func Match(g, template Gray, spare Scores) (Scores, error) {
	if err := g.Check(); err != nil {
		return Scores{}, fmt.Errorf("match template: %w", err)
	}
	if err := template.Check(); err != nil {
		return Scores{}, fmt.Errorf("match template: template: %w", err)
	}
	if template.Width > g.Width || template.Height > g.Height {
		return Scores{}, fmt.Errorf("match template: %w: %d×%d for a template of %d×%d", ErrTooSmall, g.Width, g.Height, template.Width, template.Height)
	}
	out := Scores{Width: g.Width - template.Width + 1, Height: g.Height - template.Height + 1}
	n := out.Width * out.Height
	out.Score = slices.Grow(spare.Score[:0], n)[:n]
	if flat(template) {
		for i := range out.Score {
			out.Score[i] = -1
		}
		return out, nil
	}
	if template.Width*template.Height <= mostDirect {
		products(g, template, out)
		normalise(g, template, grey, out)
		return out, nil
	}
	if err := wholeProducts(g, template, out.Score); err != nil {
		return Scores{}, err
	}
	normalise(g, template, 0, out)
	return out, nil
}

// mostDirect is up to how many pixels a template costs less when every product is
// worked out than OpenCV's Fourier transforms do.
const mostDirect = 64 * 64

// wholeProducts is what products gives, of whole values.
func wholeProducts(g, template Gray, out []float32) error {
	a, err := grayMat(g)
	if err != nil {
		return err
	}
	defer a.Close()
	b, err := grayMat(template)
	if err != nil {
		return err
	}
	defer b.Close()
	result, mask := gocv.NewMat(), gocv.NewMat()
	defer result.Close()
	defer mask.Close()
	gocv.MatchTemplate(a, b, &result, gocv.TmCcorr, mask)
	s, err := result.DataPtrFloat32()
	if err != nil {
		return fmt.Errorf("match template: read products: %w", err)
	}
	if copy(out, s) != len(out) {
		return fmt.Errorf("match template: %w: %d products for %d places", ErrSize, len(s), len(out))
	}
	return nil
}

// Homography fits the row-major 3×3 homography that takes from to to, by RANSAC
// with the given threshold (px) and a final fit to the inliers. ok is false
// where there are fewer than 8 pairs or no homography agrees with half of them.
func Homography(from, to []Point, threshold float64) (h [9]float64, inliers []bool, ok bool, err error) {
	if len(from) != len(to) {
		return h, nil, false, fmt.Errorf("fit homography: %w: %d and %d points", ErrSize, len(from), len(to))
	}
	if len(from) < 8 || spread(from) < 1 || spread(to) < 1 {
		return h, nil, false, nil
	}
	if h, inliers, ok = consensus(from, to, threshold); ok {
		n := within(h, from, to, threshold, inliers)
		ok = n >= 8 && 2*n >= len(from)
	}
	return h, inliers, ok, nil
}

// Resize returns g at the given size: pixel areas averaged when shrinking,
// bicubic when growing.
func Resize(g Gray, width, height int) (Gray, error) {
	if err := g.Check(); err != nil {
		return Gray{}, fmt.Errorf("resize picture: %w", err)
	}
	if width <= 0 || height <= 0 || width > 1<<14 || height > 1<<14 {
		return Gray{}, fmt.Errorf("resize picture to %d×%d: out of range", width, height)
	}
	a, err := grayMat(g)
	if err != nil {
		return Gray{}, err
	}
	defer a.Close()
	b := gocv.NewMat()
	defer b.Close()
	how := gocv.InterpolationCubic
	if width <= g.Width && height <= g.Height {
		how = gocv.InterpolationArea
	}
	gocv.Resize(a, &b, image.Pt(width, height), 0, 0, how)
	return Gray{Pix: b.ToBytes(), Width: b.Cols(), Height: b.Rows(), Stride: b.Cols()}, nil
}

func grayMat(g Gray) (gocv.Mat, error) {
	m, err := gocv.NewMatFromBytes(g.Height, g.Width, gocv.MatTypeCV8UC1, g.packed())
	if err != nil {
		return gocv.Mat{}, fmt.Errorf("hand picture to OpenCV: %w", err)
	}
	return m, nil
}

func flat(g Gray) bool {
	low, high := g.Pix[0], g.Pix[0]
	for y := range g.Height {
		for _, v := range g.Pix[y*g.Stride : y*g.Stride+g.Width] {
			low, high = min(low, v), max(high, v)
		}
		if high-low > 1 {
			return false
		}
	}
	return true
}

func spread(p []Point) float64 {
	low, high := p[0], p[0]
	for _, q := range p {
		low.X, low.Y = min(low.X, q.X), min(low.Y, q.Y)
		high.X, high.Y = max(high.X, q.X), max(high.Y, q.Y)
	}
	return min(high.X-low.X, high.Y-low.Y)
}
