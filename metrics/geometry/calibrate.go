package geometry

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"jogstrip/track/errormodel"
)

// AtLeast reports whether l supports everything that need supports.
func (l Level) AtLeast(need Level) bool { return l.rank() >= need.rank() }

func (l Level) rank() int { return slices.Index([]Level{LevelRatio, LevelHeight, LevelMetric}, l) }

// clickSD is how far a click on the lane is off, px.
func clickSD(m errormodel.Camera, width, height int) float64 {
	return m.ClickPX * float64(min(width, height)) / 1080
}

// Calibration is a clip's camera in the lane frame. The lane's origin is the
// point of the ground below the camera.
type Calibration struct {
	Level Level
	// Camera is the zero Camera at LevelNone. At LevelRatio its height is 1 and its
	// focal length nominal: only ratios of lengths in one direction mean anything.
	Camera Camera
	// FocalSD, px, and HeightSD, metres, are standard deviations; 0 where not applicable.
	FocalSD  float64
	HeightSD float64
	// ResidualPX is the root mean square distance, px, between the ground marks
	// clicked and those of the camera found; 0 at the other levels.
	ResidualPX float64
	// Notes are remarks for the report.
	Notes []string

	variants []Camera
}

// HeightM returns the camera's height over the ground, metres (LevelRatio: 1;
// LevelNone: 0).
func (c *Calibration) HeightM() float64 {
	if c.Level == LevelNone {
		return 0
	}
	_, _, z := c.Camera.Centre()
	return z
}

// Variants returns the cameras one standard deviation from Camera to both sides along each
// independent direction of the calibration's error, as consecutive pairs (plus, minus). The
// variance of a quantity q due to it is Σ ((q(plus) − q(minus))/2)² over the pairs (first order).
func (c *Calibration) Variants() []Camera { return slices.Clone(c.variants) }

// Calibrate finds the camera of a clip from what a person gave, in the coordinates of the
// tracks; width and height are the upright picture's, px; m says how far what was given may be
// off. It returns an error, in words for the report, for what no camera can have produced.
func Calibrate(in CalibrationInput, width, height int, m errormodel.Camera) (*Calibration, error) {
	c, err := &Calibration{Level: LevelNone}, error(nil)
	switch ground, up, horizon := in.Ground != nil, in.Height != nil, in.Horizon != nil; {
	case width <= 0 || height <= 0:
		err = fmt.Errorf("picture size %d × %d is not positive", width, height)
	case ground && up || up && horizon || horizon && ground:
		err = errors.New("give only one of ground marks, camera height and horizon")
	case ground:
		c, err = fromGround(*in.Ground, width, height, m)
	case up:
		c, err = fromHeight(*in.Height, width, height, m)
	case horizon: // In units of the camera's height.
		c, err = level(LevelRatio, 1, 0, m.NominalFocal*longSide(width, height), m.NominalShare, *in.Horizon, width, height, m)
	}
	if err != nil {
		return nil, fmt.Errorf("calibrate: %w", err)
	}
	return c, nil
}

func centre(width, height int) (cx, cy float64) {
	return float64(width-1) / 2, float64(height-1) / 2
}

func longSide(width, height int) float64 { return float64(max(width, height)) }

// fromHeight builds the camera of LevelHeight.
func fromHeight(in CameraHeight, width, height int, m errormodel.Camera) (*Calibration, error) {
	focal, share := in.FocalPX, m.FocalShare
	switch {
	case !(in.HeightM > 0) || math.IsInf(in.HeightM, 0):
		return nil, fmt.Errorf("camera height is %g m; it must be positive", in.HeightM)
	case in.FocalPX != 0 && in.FieldOfViewDeg != 0:
		return nil, errors.New("give the focal length or the field of view, not both")
	case in.FieldOfViewDeg != 0 && !(in.FieldOfViewDeg > 1 && in.FieldOfViewDeg < 170):
		return nil, fmt.Errorf("field of view is %g°; it must lie between 1 and 170", in.FieldOfViewDeg)
	case in.FieldOfViewDeg != 0:
		focal = float64(width) / 2 / math.Tan(in.FieldOfViewDeg*math.Pi/360)
		share = m.FieldShare
	case !(in.FocalPX > 0) || math.IsInf(in.FocalPX, 0):
		return nil, fmt.Errorf("focal length is %g px; it must be positive", in.FocalPX)
	}
	c, err := level(LevelHeight, in.HeightM, m.HeightM, focal, share, in.Horizon, width, height, m)
	if err != nil {
		return nil, err
	}
	c.FocalSD, c.HeightSD = share*focal, m.HeightM
	return c, nil
}

// level builds a level camera of LevelHeight or LevelRatio over the ground, up and with a
// focal length that may be off by upSD and by a share of itself. An upSD of 0: its height is
// the unit of length.
func level(of Level, up, upSD, focal, focalShare float64, in Horizon, width, height int, m errormodel.Camera) (*Calibration, error) {
	vanish, steps, err := vanishing(in, focal, width, height, m)
	if err != nil {
		return nil, err
	}
	cx, cy := centre(width, height)
	c := &Calibration{Level: of, Camera: LevelCamera(focal, cx, cy, up, vanish)}
	vary := func(up1, focal1 float64, d Point) {
		for _, s := range []float64{1, -1} {
			c.variants = append(c.variants, LevelCamera(focal*(1+s*focal1), cx, cy, up+s*up1, Point{vanish.X + s*d.X, vanish.Y + s*d.Y}))
		}
	}
	if upSD > 0 {
		vary(upSD, 0, Point{})
	}
	vary(0, focalShare, Point{})
	for _, d := range steps {
		vary(0, 0, d)
	}
	return c, nil
}

// vanishing returns the lane's vanishing point and the independent steps of one
// standard deviation of its error.
func vanishing(in Horizon, focal float64, width, height int, m errormodel.Camera) (p Point, steps []Point, err error) {
	switch {
	case in.RowPX != nil && in.Edges != nil:
		return p, nil, errors.New("give the horizon as a row or by two lane edges, not both")
	case in.RowPX == nil && in.Edges == nil:
		return p, nil, errors.New("the horizon is missing: give its row or two lane edges")
	case in.Edges != nil:
		return edgesMeet(*in.Edges, clickSD(m, width, height))
	case math.IsNaN(*in.RowPX) || math.Abs(*in.RowPX) > 20*longSide(width, height):
		return p, nil, fmt.Errorf("horizon row %g px is not a possible row", *in.RowPX)
	}
	cx, _ := centre(width, height)
	return Point{cx, *in.RowPX}, []Point{{0, focal * m.RowDeg * math.Pi / 180}}, nil
}

// edgesMeet returns where two lane edges meet and how far that moves with each of the eight
// clicked numbers by one standard deviation, click px.
func edgesMeet(edges [2][2]Point, click float64) (p Point, steps []Point, err error) {
	const must = ": they must run along the lane and meet at the horizon"
	p, ok := crossing(edges)
	if !ok {
		return p, nil, errors.New("the two lane edges are parallel in the picture" + must)
	}
	for _, edge := range edges {
		if edge[0].Y <= p.Y || edge[1].Y <= p.Y {
			return p, nil, errors.New("the two lane edges meet below one of their own points" + must)
		}
	}
	for n := range 8 {
		e, d := edges, [2]Point{{X: click}, {Y: click}}[n%2]
		at := &e[n/4][n/2%2]
		at.X, at.Y = at.X+d.X, at.Y+d.Y
		q, ok := crossing(e)
		if !ok {
			return p, nil, errors.New("the two lane edges are almost parallel in the picture: the horizon cannot be found from them")
		}
		steps = append(steps, Point{q.X - p.X, q.Y - p.Y})
	}
	return p, steps, nil
}

// crossing returns where the two lines meet.
func crossing(e [2][2]Point) (Point, bool) {
	a, b := e[0], e[1]
	dx1, dy1 := a[1].X-a[0].X, a[1].Y-a[0].Y
	dx2, dy2 := b[1].X-b[0].X, b[1].Y-b[0].Y
	det := dx1*dy2 - dy1*dx2
	if math.IsNaN(det) || math.Abs(det) < 1e-3*math.Hypot(dx1, dy1)*math.Hypot(dx2, dy2) || det == 0 {
		return Point{}, false
	}
	s := ((b[0].X-a[0].X)*dy2 - (b[0].Y-a[0].Y)*dx2) / det
	return Point{a[0].X + s*dx1, a[0].Y + s*dy1}, true
}

// fromGround builds the camera of LevelMetric: homography, focal length and
// pose from the orthogonality of the rectangle's sides, then least squares on
// the clicks with all of them (square pixels, principal point known).
func fromGround(in GroundMarks, width, height int, m errormodel.Camera) (*Calibration, error) {
	if !(in.WidthM > 0) || !(in.LengthM > 0) || math.IsInf(in.WidthM, 0) || math.IsInf(in.LengthM, 0) {
		return nil, fmt.Errorf("the ground rectangle is %g m wide and %g m long; both must be positive", in.WidthM, in.LengthM)
	}
	click := cmp.Or(in.ClickSD, clickSD(m, width, height))
	if !(click > 0) || math.IsInf(click, 0) {
		return nil, fmt.Errorf("click spread is %g px; it must be positive", click)
	}
	if err := checkOrder(in.Points, longSide(width, height)); err != nil {
		return nil, err
	}
	world := [4]Point{{-in.WidthM / 2, 0}, {in.WidthM / 2, 0}, {in.WidthM / 2, in.LengthM}, {-in.WidthM / 2, in.LengthM}}
	impossible := fmt.Errorf("no camera sees the four ground marks as a rectangle %g m wide and %g m long: check both lengths and the clicks", in.WidthM, in.LengthM)
	start, ok := poseFromRectangle(world, in.Points, width, height)
	if !ok {
		return nil, impossible
	}
	cam, cov, chi2, ok := refine(start, world, in.Points)
	if !ok {
		return nil, impossible
	}
	cx, cy, cz := cam.Centre()
	size := longSide(width, height)
	if !(cz > 0) || !(cam.F > 0.3*size && cam.F < 12*size) {
		return nil, impossible
	}
	c := &Calibration{Level: LevelMetric, ResidualPX: math.Sqrt(chi2 / 4)}
	// Of eight numbers and seven unknowns one is left over, which tells worse clicks.
	ratio := math.Sqrt(chi2) / click
	if c.ResidualPX > max(8*click, size/150) {
		return nil, fmt.Errorf("the four ground marks miss a rectangle %g m wide and %g m long by %.1f px: check both lengths, the order and the clicks", in.WidthM, in.LengthM, c.ResidualPX)
	}
	if ratio > 3 {
		c.Notes = append(c.Notes, fmt.Sprintf("The ground marks fit a rectangle of %.4g × %.4g m only to %.1f px; all intervals in metres are widened accordingly.", in.WidthM, in.LengthM, c.ResidualPX))
	}
	foot := r3.Vec{X: cx, Y: cy}
	c.Camera = cam.shifted(foot)
	if !c.vary(cam, cov, click*max(1, ratio/2), foot) {
		return nil, impossible
	}
	if c.FocalSD > 0.25*cam.F || c.HeightSD > 0.25*cz {
		return nil, fmt.Errorf("the four ground marks are too small or too far away in the picture to calibrate from (focal length uncertain by %.0f %%): use a longer rectangle or one nearer to the camera", 100*c.FocalSD/cam.F)
	}
	return c, nil
}

// vary sets the cameras one standard deviation away in each direction of the covariance,
// for clicks of 1 px, of cam's step, and what that makes of focal length and height.
func (c *Calibration) vary(cam Camera, cov *mat.SymDense, click float64, foot r3.Vec) bool {
	var eig mat.EigenSym
	if !eig.Factorize(cov, true) {
		return false
	}
	var vectors mat.Dense
	eig.VectorsTo(&vectors)
	for k, lambda := range eig.Values(nil) {
		var pair [2]Camera
		for i, sign := range []float64{1, -1} {
			step := mat.Col(nil, k, &vectors)
			floats.Scale(sign*click*math.Sqrt(max(0, lambda)), step)
			pair[i] = cam.moved(step).shifted(foot)
		}
		c.variants = append(c.variants, pair[0], pair[1])
		_, _, h1 := pair[0].Centre()
		_, _, h0 := pair[1].Centre()
		c.HeightSD = math.Hypot(c.HeightSD, (h1-h0)/2)
		c.FocalSD = math.Hypot(c.FocalSD, (pair[0].F-pair[1].F)/2)
	}
	return true
}

// checkOrder refuses marks that are not a convex quadrilateral in the order
// near left, near right, far right, far left.
func checkOrder(p [4]Point, size float64) error {
	for i, q := range p {
		if math.IsNaN(q.X) || math.IsNaN(q.Y) || math.IsInf(q.X, 0) || math.IsInf(q.Y, 0) {
			return fmt.Errorf("ground mark %d has no position", i+1)
		}
	}
	const order = "give them as near left, near right, far right, far left"
	if (p[0].Y+p[1].Y)/2 <= (p[2].Y+p[3].Y)/2 {
		return errors.New("the near ground marks lie above the far ones in the picture: " + order)
	}
	if p[0].X >= p[1].X || p[3].X >= p[2].X {
		return errors.New("the left ground marks lie to the right of the right ones in the picture: " + order)
	}
	for i := range 4 {
		a, b, c := p[i], p[(i+1)%4], p[(i+2)%4]
		area := (b.X-a.X)*(c.Y-b.Y) - (b.Y-a.Y)*(c.X-b.X)
		if !(area < -1e-5*size*size) {
			return errors.New("three of the ground marks lie on one line, or the four are crossed over: " + order)
		}
	}
	return nil
}

// poseFromRectangle returns the camera that maps the four world points
// (metres, on the ground) to the picture, up to what the clicks' errors break
// of the orthogonality.
func poseFromRectangle(world, picture [4]Point, width, height int) (Camera, bool) {
	cx, cy := centre(width, height)
	size := longSide(width, height)
	// Homography with h33 = 1 in centred, scaled picture coordinates; the world
	// origin is in sight, so h33 is not 0.
	a := mat.NewDense(8, 8, nil)
	b := mat.NewVecDense(8, nil)
	for i := range 4 {
		x, y := world[i].X, world[i].Y
		u, v := (picture[i].X-cx)/size, (picture[i].Y-cy)/size
		a.SetRow(2*i, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y})
		a.SetRow(2*i+1, []float64{0, 0, 0, x, y, 1, -v * x, -v * y})
		b.SetVec(2*i, u)
		b.SetVec(2*i+1, v)
	}
	var h mat.VecDense
	if err := h.SolveVec(a, b); err != nil {
		return Camera{}, false
	}
	h1 := r3.Vec{X: h.AtVec(0), Y: h.AtVec(3), Z: h.AtVec(6)}
	h2 := r3.Vec{X: h.AtVec(1), Y: h.AtVec(4), Z: h.AtVec(7)}
	h3 := r3.Vec{X: h.AtVec(2), Y: h.AtVec(5), Z: 1}
	// Orthogonality and equal length of the first two columns of K⁻¹·H: two
	// equations p·w + q = 0 for w = 1/F². Seen straight down the lane the first is
	// empty, so both are solved together by least squares.
	p1, q1 := h1.X*h2.X+h1.Y*h2.Y, h1.Z*h2.Z
	p2, q2 := h1.X*h1.X+h1.Y*h1.Y-h2.X*h2.X-h2.Y*h2.Y, h1.Z*h1.Z-h2.Z*h2.Z
	w := -(p1*q1 + p2*q2) / (p1*p1 + p2*p2)
	if !(w > 0) || math.IsInf(w, 0) {
		return Camera{}, false
	}
	f := 1 / math.Sqrt(w)
	m1 := r3.Vec{X: h1.X / f, Y: h1.Y / f, Z: h1.Z}
	m2 := r3.Vec{X: h2.X / f, Y: h2.Y / f, Z: h2.Z}
	n := (r3.Norm(m1) + r3.Norm(m2)) / 2
	if !(n > 0) {
		return Camera{}, false
	}
	x := r3.Unit(m1)
	y := r3.Unit(r3.Sub(m2, r3.Scale(r3.Dot(x, m2), x)))
	return Camera{F: f * size, CX: cx, CY: cy, X: x, Y: y, Z: r3.Cross(x, y), T: r3.Vec{X: h3.X / f / n, Y: h3.Y / f / n, Z: h3.Z / n}}, true
}

// moved returns c changed by a step of (log F, rotation vector, T).
func (c Camera) moved(step []float64) Camera {
	c.F *= math.Exp(step[0])
	c = c.turned(r3.Vec{X: step[1], Y: step[2], Z: step[3]})
	c.T = r3.Add(c.T, r3.Vec{X: step[4], Y: step[5], Z: step[6]})
	return c
}

// shifted returns c in the frame whose origin is at foot of c's frame.
func (c Camera) shifted(foot r3.Vec) Camera {
	c.T = c.seen(foot)
	return c
}

// refine minimises the sum of squared picture distances (Levenberg's damped least
// squares) and returns the camera, the covariance of its step for clicks of 1 px
// standard deviation, and the sum of squares, px².
func refine(c Camera, world, picture [4]Point) (Camera, *mat.SymDense, float64, bool) {
	// residuals fills r, px, for c moved by a step; NaN where a point is out of sight.
	residuals := func(r, step []float64) {
		at := c.moved(step)
		for i, w := range world {
			p, _ := at.Project(w.X, w.Y, 0)
			r[2*i], r[2*i+1] = p.X-picture[i].X, p.Y-picture[i].Y
		}
	}
	still, r, next := make([]float64, 7), make([]float64, 8), make([]float64, 8)
	normal, damped := mat.NewSymDense(7, nil), mat.NewSymDense(7, nil)
	var gradient, step mat.VecDense
	var chol mat.Cholesky
	// linearise sets the normal equations about c.
	linearise := func() {
		j := mat.NewDense(8, 7, nil)
		fd.Jacobian(j, residuals, still, &fd.JacobianSettings{Formula: fd.Central, Step: 1e-5})
		normal.SymOuterK(1, j.T())
		residuals(r, still)
		gradient.MulVec(j.T(), mat.NewVecDense(8, r))
	}
	linearise()
	damp := 1e-6
	for damp < 1e6 && !math.IsNaN(mat.Trace(normal)) {
		damped.CopySym(normal)
		for k := range still {
			damped.SetSym(k, k, normal.At(k, k)*(1+damp))
		}
		damp *= 10
		if !chol.Factorize(damped) || chol.SolveVecTo(&step, &gradient) != nil {
			continue
		}
		step.ScaleVec(-1, &step)
		residuals(next, step.RawVector().Data)
		gain := floats.Dot(r, r) - floats.Dot(next, next)
		if !(gain > 0) {
			continue
		}
		c, damp = c.moved(step.RawVector().Data), max(damp/100, 1e-12)
		linearise()
		if gain < 1e-14*(floats.Dot(r, r)+1e-12) {
			break
		}
	}
	cov := mat.NewSymDense(7, nil)
	if !chol.Factorize(normal) || chol.InverseTo(cov) != nil || math.IsNaN(mat.Trace(cov)) {
		return c, nil, 0, false
	}
	return c, cov, floats.Dot(r, r), true
}
