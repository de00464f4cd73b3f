package doubt

import (
	"fmt"
	"math"
	"slices"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// clicked are the places at which hooves were marked, in the stabilised picture.
type clicked struct {
	frames []int // In order, those in which a hoof is visible.
	hooves map[int]map[traj.Landmark]geometry.Point
}

func clicksOn(m *record.Marks, set *traj.Set) clicked {
	out := clicked{hooves: map[int]map[traj.Landmark]geometry.Point{}}
	for frame, of := range byFrame(m) {
		if frame >= len(set.Times) {
			continue
		}
		for landmark, p := range of {
			if !landmark.IsHoof() {
				continue
			}
			if set.Motions != nil {
				p.X, p.Y = set.Motions[frame].Apply(p.X, p.Y)
			}
			if out.hooves[frame] == nil {
				out.hooves[frame] = map[traj.Landmark]geometry.Point{}
				out.frames = append(out.frames, frame)
			}
			out.hooves[frame][landmark] = p
		}
	}
	slices.Sort(out.frames)
	return out
}

// clickedSides doubts left and right where the marks themselves lie on the wrong side of
// the line on which the horse goes: of a pair, or in a single frame. Limbs that were never
// seen to stand have no other places than these.
func (l *list) clickedSides(m *record.Marks, set *traj.Set, cal *geometry.Calibration) {
	if l.has(Sides) || l.has(View) {
		return
	}
	marks := clicksOn(m, set)
	f := &sidesFit{metric: cal != nil && cal.Level.AtLeast(geometry.LevelHeight)}
	var places []sidesPlace
	var frames []int
	for _, frame := range marks.frames {
		for k, limb := range limbs {
			p, ok := marks.hooves[frame][limb]
			if !ok {
				continue
			}
			at := sidesPlace{p.X, p.Y, setDownPX, k}
			if f.metric {
				x, y, ok := cal.Camera.GroundPoint(p)
				if !ok {
					continue
				}
				// A pixel at that distance, beside the centimetres by which feet are set down
				// otherwise from step to step.
				at = sidesPlace{x, y, math.Hypot(setDown, y/cal.Camera.F), k}
			}
			places, frames = append(places, at), append(frames, frame)
		}
	}
	scatter := f.fit(m.View, places)
	if math.IsNaN(scatter) {
		return
	}
	if l.acrossMidline(f, m.View, "Both %s are marked across the midline, by %s%s on average, as they are where left and right are swapped.") {
		return
	}
	clearly, unit, scale := clearlyOff, " cm", 100.0
	if !f.metric {
		clearly, unit, scale = clearlyOffPX, " px", 1
	}
	for i, p := range places {
		// Its own pair must lie plainly outward, or there is no side to be on; and this one
		// plainly elsewhere.
		o, pair := f.outward[i], f.out[p.limb/2]
		if math.IsNaN(pair) || pair < surely*f.sd[p.limb/2] || pair < clearly/2 || o > -clearly || pair-o < surely*scatter*p.sd {
			continue
		}
		l.add(Sides, record.SecondLook, fmt.Sprintf("In frame %d the %s is marked %s%s across the midline, where the other %s goes.",
			frames[i], limbs[p.limb].Words(), number(-scale*o, 0), unit, map[bool]string{false: "fore", true: "hind"}[p.limb >= 2]), sidesCheck(m.View))
		return
	}
}

// clickedGait doubts trot and pace where in the frames in which one fore and one hind are
// marked, those that stand, they are always the pair that stands together at the other
// gait.
func (l *list) clickedGait(m *record.Marks) {
	if m.Gait == traj.Walk || l.has(Gait) {
		return
	}
	diagonal, lateral := clickedPairs(m)
	own, other, together, likely := diagonal, lateral, "of one side", traj.Pace
	if m.Gait == traj.Pace {
		own, other, together, likely = lateral, diagonal, "of opposite sides", traj.Trot
	}
	if own > 0 || other < pairsTell {
		return
	}
	l.add(Gait, record.SecondLook, fmt.Sprintf("The gait is given as %s, but in all %d frames in which one fore and one hind are marked they are %s, as they stand at the %s.", m.Gait, other, together, likely),
		"Look at the clip and set the gait; where it is right, look whether left and right are swapped in the marks of the fores or of the hinds.")
}

// clickedPairs counts the frames in which one fore and one hind are marked, those that
// stand: of opposite sides and of one side.
func clickedPairs(m *record.Marks) (diagonal, lateral int) {
	for _, of := range byFrame(m) {
		var fore, hind []traj.Landmark
		for landmark := range of {
			switch {
			case landmark.IsFore():
				fore = append(fore, landmark)
			case landmark.IsHind():
				hind = append(hind, landmark)
			}
		}
		if len(fore) != 1 || len(hind) != 1 {
			continue
		}
		if fore[0].Side() == hind[0].Side() {
			lateral++
		} else {
			diagonal++
		}
	}
	return diagonal, lateral
}

// paceUnseen says that the pace was not seen where it is given and nothing shows it: with
// the fores alone, or the hinds, trot and pace look alike, and which limbs stand together
// decides what some signs say. Trot is what horses are led at: of it nothing is said.
func (l *list) paceUnseen(m *record.Marks) {
	if m.Gait != traj.Pace || l.gaitSeen || l.has(Gait) {
		return
	}
	if _, lateral := clickedPairs(m); lateral > 0 {
		return
	}
	l.add(Gait, record.Remark, "The gait is given as pace, and no fore and hind were seen to stand together: with the fores alone, or the hinds, it looks like a trot.",
		"Look at the clip: do the limbs of one side swing together? Mark a fore and the hind that stands with it in three frames.")
}

// grows doubts the camera where the horse becomes taller or smaller as it goes: it does
// not, so the ground lies otherwise than the calibration says.
func (l *list) grows(m Measured, still *traj.Set, cal *geometry.Calibration) {
	if cal == nil || !cal.Level.AtLeast(geometry.LevelHeight) || l.has(View) || l.has(Size) || l.has(Camera) || l.has(Lens) {
		return
	}
	for _, landmark := range []traj.Landmark{traj.Withers, traj.Croup, traj.Head} {
		change, from, to, ok := growth(m, still, cal.Camera, landmark)
		if !ok {
			continue
		}
		var variance float64
		variants := cal.Variants()
		for i := 0; i+1 < len(variants); i += 2 {
			plus, _, _, ok1 := growth(m, still, variants[i], landmark)
			minus, _, _, ok2 := growth(m, still, variants[i+1], landmark)
			if ok1 && ok2 {
				variance += (plus - minus) * (plus - minus) / 4
			}
		}
		most := bodyKeeps
		if landmark == traj.Head {
			most = headKeeps
		}
		if math.Abs(change) < most+surely*math.Sqrt(variance) {
			continue
		}
		l.add(Camera, record.SecondLook, fmt.Sprintf("By this calibration the horse becomes %s as it goes: the %s is %s m above the ground at first and %s m at last.",
			map[bool]string{true: "taller", false: "smaller"}[change > 0], landmark.Words(), number(from, 2), number(to, 2)),
			"Look whether the ground marks are this clip’s own, lie on the ground where the tape lay, and have the right width and length, and whether the lane is as level beyond them as between them.")
		return
	}
}

// growth returns the logarithm of the height of a mark of the body in the last third of
// its way over that in the first third, and both heights, m.
func growth(m Measured, still *traj.Set, camera geometry.Camera, landmark traj.Landmark) (change, from, to float64, ok bool) {
	seen := seenFrom(m.Run, camera)
	times, heights := heightsOf(seen, m, still, camera, landmark)
	if len(times) < growsFrames || times[len(times)-1]-times[0] < growsTime {
		return 0, 0, 0, false
	}
	third := len(times) / 3
	from, to = signal.Median(heights[:third]), signal.Median(heights[len(heights)-third:])
	if !(from > 0) || !(to > 0) {
		return 0, 0, 0, false
	}
	return math.Log(to / from), from, to, true
}

// seenFrom returns the stances of a run as a camera sees them on the ground.
func seenFrom(run *metrics.Run, camera geometry.Camera) []metrics.Contact {
	var out []metrics.Contact
	for _, c := range run.Contacts {
		if x, y, ok := camera.GroundPoint(geometry.Point{X: c.PictureX, Y: c.PictureY}); c.Placed && ok {
			c.X, c.Y = x, y
			out = append(out, c)
		}
	}
	return out
}
