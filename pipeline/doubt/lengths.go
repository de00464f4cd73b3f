package doubt

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/record"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

const lengthsCheck = "Look at the width and the length of the ground marks (in metres), at the order of their points and whether they lie where the tape lay."

// camera doubts where the camera stood and what lens it had, whether the ground
// marks fit their own sides, and whether other clips of the visit saw the same
// camera.
func (l *list) camera(m *record.Marks, others []Other) {
	if m.Calibration == nil {
		return
	}
	cal, err := geometry.Calibrate(*m.Calibration, m.Picture.Width, m.Picture.Height, errormodel.Usual().Camera)
	if err != nil || !cal.Level.AtLeast(geometry.LevelHeight) {
		return // Measuring says itself what is wrong.
	}
	side := float64(max(m.Picture.Width, m.Picture.Height))
	check := lengthsCheck
	if cal.Level == geometry.LevelHeight {
		check = "Look at the camera’s height (in metres), its focal length and the horizon."
	}
	h, f := cal.HeightM(), cal.Camera.F/side
	if s := cameraHeight.outside(h); s != "" {
		l.add(Camera, s, fmt.Sprintf("The camera stood %s m above the ground by this calibration.", number(h, 2)), check)
	}
	switch s := focal.outside(f); {
	case s != "":
		l.add(Camera, s, fmt.Sprintf("The focal length is %s px by this calibration, %s of the picture’s longer side; phones have %s to %s.", number(cal.Camera.F, 0), number(f, 2), number(focal.doubted[0], 2), number(focal.doubted[1], 1)), check)
	case f < mainFocal[0] || f > mainFocal[1]:
		l.lens(cal, f, side, check, others)
	}
	if g := m.Calibration.Ground; g != nil {
		l.rectangle(cal, g)
		l.others(cal, g, others)
	}
}

// MainLens returns the least and the greatest focal length of a phone's main lens, as
// shares of the picture's longer side.
func MainLens() (least, greatest float64) { return mainFocal[0], mainFocal[1] }

// lens doubts a focal length of f of the picture's longer side that is not that of a
// phone's main lens: a wrong width or length shows as another lens, and in a clip alone as
// nothing else.
func (l *list) lens(cal *geometry.Calibration, f, side float64, check string, others []Other) {
	severity := record.SecondLook
	open := surely * cal.FocalSD / side // What the clicks leave open.
	switch {
	case cal.Level == geometry.LevelHeight, slices.ContainsFunc(others, func(o Other) bool { return agrees(cal, o) }):
		severity, check = record.Remark, "" // Stated as such, or seen twice.
	case f+open > mainFocal[0] && f-open < mainFocal[1]:
		severity = record.Remark
	}
	l.add(Lens, severity, fmt.Sprintf("The focal length is %s px by this calibration, %s of the picture’s longer side, which is not that of a phone’s main lens (%s to %s).", number(cal.Camera.F, 0), number(f, 2), number(mainFocal[0], 2), number(mainFocal[1], 2)),
		strings.TrimSpace(check+" If it was filmed with another lens or with zoom, confirm it."))
}

// rectangle doubts ground marks that no rectangle with their sides can give. The
// four points are eight numbers and a camera with square pixels has seven: what is
// left over must not exceed the clicks' errors.
func (l *list) rectangle(cal *geometry.Calibration, g *geometry.GroundMarks) {
	click := g.ClickSD
	if click == 0 {
		click = usualClick
	}
	// The root mean square over the four points of one left-over number.
	z := 2 * cal.ResidualPX / click
	if z > misfit {
		l.add(Rectangle, record.SecondLook, fmt.Sprintf("The four ground marks miss a rectangle of %.4g × %.4g m by %s px, %s times as far as clicks do.", g.WidthM, g.LengthM, number(cal.ResidualPX, 1), number(z, 0)), lengthsCheck)
	}
}

// others doubts a camera that other clips did not see, and asks for the sides where there
// is no other clip: in one alone a wrong length shows as another lens at most.
func (l *list) others(cal *geometry.Calibration, g *geometry.GroundMarks, others []Other) {
	if len(others) == 0 {
		l.add(Others, record.Remark, fmt.Sprintf("Nothing but what was written down says that the ground marks are %.4g m wide and %.4g m long: no other clip of this visit or of earlier ones has ground marks.", g.WidthM, g.LengthM),
			"Is that what the tape read?")
		return
	}
	agree := 0
	var worst *Other
	off := 0.0
	for i, o := range others {
		if agrees(cal, o) {
			agree++
			continue
		}
		d := math.Log(cal.Camera.F / o.FocalPX)
		sd := math.Hypot(cal.FocalSD/cal.Camera.F, o.FocalSD/o.FocalPX)
		up := math.Log(cal.HeightM() / o.HeightM)
		if o.Visit != "" {
			up = 0 // On another day the camera stands elsewhere.
		}
		if excess := max((math.Abs(d)-otherFocal)/sd, 10*(math.Abs(up)-otherHeight)); excess > off && (math.Abs(d) > otherFocal+surely*sd || math.Abs(up) > otherHeight) {
			worst, off = &others[i], excess
		}
	}
	// Of the same visit one clip may itself be the wrong one; of all earlier ones none
	// saw this camera.
	enough := 2
	if worst != nil && worst.Visit != "" {
		enough = 1
	}
	if worst == nil || agree >= enough {
		return
	}
	sides := ""
	if worst.WidthM != g.WidthM || worst.LengthM != g.LengthM {
		sides = fmt.Sprintf(" Its rectangle is given as %.4g × %.4g m, this one’s as %.4g × %.4g m.", worst.WidthM, worst.LengthM, g.WidthM, g.LengthM)
	}
	const check = "Was it the same phone without zoom? Then one of the two has a wrong width, length or point. Where it was another phone or zoom, confirm it."
	if worst.Visit != "" {
		l.add(Others, record.SecondLook, fmt.Sprintf("By its ground marks this clip was filmed with a focal length of %s px, %s of %s with %s px, and no clip of earlier visits with that of this one.%s",
			number(cal.Camera.F, 0), worst.Clip, worst.Visit, number(worst.FocalPX, 0), sides), check)
		return
	}
	l.add(Others, record.SecondLook, fmt.Sprintf("By its ground marks this clip was filmed with a focal length of %s px from %s m above the ground, %s with %s px from %s m.%s",
		number(cal.Camera.F, 0), number(cal.HeightM(), 2), worst.Clip, number(worst.FocalPX, 0), number(worst.HeightM, 2), sides), check)
}

// agrees reports whether another clip saw the same camera: the same focal length and, in
// the same visit, about the same height.
func agrees(cal *geometry.Calibration, o Other) bool {
	d := math.Log(cal.Camera.F / o.FocalPX)
	sd := math.Hypot(cal.FocalSD/cal.Camera.F, o.FocalSD/o.FocalPX)
	return math.Abs(d) <= otherFocal+2*sd && (o.Visit != "" || math.Abs(math.Log(cal.HeightM()/o.HeightM)) <= otherHeight)
}

// speed doubts a speed that no led horse has.
func (l *list) speed(m Measured) {
	if !m.Run.Level.AtLeast(geometry.LevelHeight) {
		return
	}
	v, n := middle(m.Run, metrics.Speed)
	if n == 0 || l.has(View) {
		return
	}
	b := speed[m.Run.Gait]
	if s := b.outside(v); s != "" {
		if n == 1 {
			s = record.SecondLook // A single stride may be wrong by itself.
		}
		l.add(Speed, s, fmt.Sprintf("The horse goes at %s m/s; a led horse %ss at %s to %s m/s.", number(v, 2), m.Run.Gait, number(b.doubted[0], 1), number(b.doubted[1], 1)), lengthsCheck+" Look at the gait, too.")
		return
	}
	if m.WithersM > 0 {
		if s := froude[m.Run.Gait].outside(v * v / (gravity * m.WithersM)); s != "" {
			l.add(Speed, s, fmt.Sprintf("A horse of %s m at the withers does not %s at %s m/s.", number(m.WithersM, 2), m.Run.Gait, number(v, 2)), lengthsCheck+" Look at the gait, too.")
		}
	}
}

// heights doubts the scale where the horse is too tall or too small by it, and asks for
// the horse's height where it is not known: in a level camera all heights grow with the
// width that is given, and little else does.
func (l *list) heights(m Measured, still *traj.Set, cal *geometry.Calibration) {
	if cal == nil || !cal.Level.AtLeast(geometry.LevelHeight) {
		return
	}
	if m.WithersM == 0 && cal.Level == geometry.LevelMetric {
		l.add(Size, record.Remark, "The horse’s height is not known; by it a wrong width of the ground marks would show.",
			"Write down its height at the withers, and mark withers or croup.")
	}
	known := false // By the withers or the croup.
	for _, landmark := range []traj.Landmark{traj.Withers, traj.Croup, traj.Head} {
		h, n := heightOf(m, still, cal, landmark)
		if n < heightFrames {
			continue
		}
		known = known || landmark != traj.Head
		b := withersHeight
		if landmark == traj.Head {
			b = headHeight
		}
		if s := b.outside(h); s != "" {
			l.add(Size, s, fmt.Sprintf("The %s is %s m above the ground by this calibration.", landmark.Words(), number(h, 2)), lengthsCheck)
			return
		}
		if m.WithersM == 0 {
			continue
		}
		switch ratio := h / m.WithersM; {
		case landmark == traj.Head && (ratio < headLow || ratio > headHigh), landmark != traj.Head && math.Abs(math.Log(ratio)) > sizeDiffers:
			l.add(Size, record.SecondLook, fmt.Sprintf("The %s is %s m above the ground by this calibration; the horse is written down as %s m tall at the withers.", landmark.Words(), number(h, 2), number(m.WithersM, 2)),
				lengthsCheck+" Look at the height that was written down, too.")
			return
		}
	}
	if m.WithersM > 0 && !known && cal.Level == geometry.LevelMetric {
		l.add(Size, record.Remark, "Neither withers nor croup could be followed, by which the horse’s height would show a wrong width of the ground marks.",
			"Is the width right? Mark withers or croup where they are seen.")
	}
}

// heightOf returns the median height of a mark of the body above the ground, m, and
// from how many frames.
func heightOf(m Measured, still *traj.Set, cal *geometry.Calibration, landmark traj.Landmark) (float64, int) {
	_, heights := heightsOf(m.Run.Contacts, m, still, cal.Camera, landmark)
	return signal.Median(heights), len(heights)
}

// heightsOf returns when a mark of the body was seen and how high above the ground it
// then was, m. Its place along the lane is that of the hooves below it at that time.
func heightsOf(contacts []metrics.Contact, m Measured, still *traj.Set, camera geometry.Camera, landmark traj.Landmark) (times, heights []float64) {
	tr := still.Track(landmark)
	if tr == nil {
		return nil, nil
	}
	// The withers stand above the fores in the middle of their stances, the croup
	// above the hinds.
	var t, y []float64
	gather := func(hinds bool) {
		for _, c := range contacts {
			if c.Placed && c.Limb.IsHind() == hinds {
				t, y = append(t, (c.On+c.Off)/2), append(y, c.Y)
			}
		}
	}
	gather(landmark == traj.Croup)
	shift := 0.0
	if len(t) < 3 {
		t, y = nil, nil
		gather(landmark != traj.Croup)
		shift = foreToHind * size(m)
		if landmark == traj.Croup {
			shift = -shift
		}
	}
	if landmark == traj.Head {
		shift += headAhead * size(m)
	}
	if len(t) < 3 {
		return nil, nil
	}
	if m.Run.View == traj.Toward {
		shift = -shift // Ahead is nearer.
	}
	slope, _, ok := trend(t, y)
	if !ok {
		return nil, nil
	}
	var rest []float64
	for i := range t {
		rest = append(rest, y[i]-slope*t[i])
	}
	start := signal.Median(rest)
	first, last := t[0], t[0]
	for _, v := range t {
		first, last = min(first, v), max(last, v)
	}
	for f, p := range tr.Samples {
		if at := still.Times[f]; p.Status.Seen() && at >= first && at <= last {
			if _, z, ok := camera.AtDepth(geometry.Point{X: p.X, Y: p.Y}, start+slope*at+shift); ok {
				times, heights = append(times, at), append(heights, z)
			}
		}
	}
	return times, heights
}

// size returns the horse's height at the withers, m, as far as it is known.
func size(m Measured) float64 {
	if m.WithersM > 0 {
		return m.WithersM
	}
	return 1.5
}

// fall doubts scale and times where the body is thrown up and falls down otherwise
// than gravity lets it.
func (l *list) fall(m Measured) {
	if !m.Run.Level.AtLeast(geometry.LevelHeight) || m.Run.Gait == traj.Walk || l.has(Stride) || l.has(Speed) {
		return
	}
	a, n := middle(m.Run, metrics.HeadSecondHarmonic)
	t, k := middle(m.Run, metrics.StrideDuration)
	if n < 2 || k < 2 {
		return
	}
	turn := 4 * math.Pi / t
	share := a / 1000 * turn * turn / gravity
	if fall.outside(share) != "" {
		l.add(Stride, record.SecondLook, fmt.Sprintf("The head goes up and down as if gravity were %s times what it is.", number(share, 1)),
			"Either lengths or times are wrong: look at the ground marks’ width and length, and whether the clip plays at the speed at which it was filmed.")
	}
}

// hint adds to what is doubted that feet in place of metres explain it.
func (l *list) hint(m Measured, cal *geometry.Calibration) {
	const foot = 0.3048
	if cal == nil || !cal.Level.AtLeast(geometry.LevelHeight) {
		return
	}
	v, n := middle(m.Run, metrics.Speed)
	if n == 0 || cameraHeight.outside(cal.HeightM()) == "" && !l.has(Size) {
		return // Feet show in everything.
	}
	if b := speed[m.Run.Gait]; b.outside(v) == "" || b.outside(v*foot) != "" || cameraHeight.outside(cal.HeightM()*foot) != "" {
		return
	}
	for i := range l.doubts {
		if d := &l.doubts[i]; d.Kind == Speed {
			d.Check = "With feet taken for metres it fits. " + d.Check
		}
	}
}
