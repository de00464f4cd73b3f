package metrics

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// note adds a remark that a reader of the numbers needs.
func (a *analysis) note(format string, args ...any) {
	a.notes = append(a.notes, fmt.Sprintf(format, args...))
}

func (a *analysis) remarkOnTimes() {
	if len(slices.Concat(a.Stances[:]...)) == 0 {
		return
	}
	if a.opts.View == traj.Away {
		a.note("Seen from behind the mark is on the heel, which lifts before the toe leaves the ground: stance ends at heel-off here and is shorter than in clips toward the camera. A hoof that lands far from the camera comes down almost along the line of sight, so that landings from behind are less certain.")
	}
	for k, h := range a.Hooves {
		if h != nil && len(h.T) < len(a.set.Times)*3/4 {
			a.note("The %s was seen in %d of %d frames.", limbs[k].Words(), len(h.T), len(a.set.Times))
		}
		on, off := 0, 0
		for _, c := range a.Stances[k] {
			if !c.OnTimed() && !c.StartsClip {
				on++
			}
			if !c.OffTimed() && !c.EndsClip {
				off++
			}
		}
		untimed := ""
		switch {
		case on > 0 && off > 0:
			untimed = fmt.Sprintf("%d could not be timed as the hoof landed and %d as it left the ground", on, off)
		case on > 0:
			untimed = fmt.Sprintf("%d could not be timed as the hoof landed", on)
		case off > 0:
			untimed = fmt.Sprintf("%d could not be timed as the hoof left the ground", off)
		default:
			continue
		}
		a.note("%s: of the stances seen, %s (hidden, or too far away to see the hoof move).", limbs[k].Words(), untimed)
	}
	a.note("A rolling shutter exposes the picture's last row 10 to 30 ms after its first, so times of marks that lie a tenth of the picture's height apart may be off by 1 to 3 ms against each other.")
}

func (s *spatial) remarkOnPlaces() {
	if s.cal.Level == geometry.LevelMetric {
		s.note("The picture's rows and the ground are %.1f° apart across the lane: the lane's crossfall and the camera's tilt together.", math.Abs(s.cal.Camera.TiltAcross()))
	}
	if s.cal.Level == geometry.LevelRatio && s.fit != nil {
		s.note("Only the horizon is known: lengths are shares of the horse's own stride, and positions in the lane are in camera heights (along the lane only up to an unknown common factor).")
	}
	if s.fit != nil && s.cal.Level.AtLeast(geometry.LevelHeight) {
		if bow, sd := s.fit.bow(); math.Abs(bow) > 0.10 && math.Abs(bow) > 3*sd {
			s.note("The horse did not go straight: the run bows %.0f cm from its straight line. What goes to the sides is measured from the bowed line.", 100*math.Abs(bow))
		}
		if f := s.found[LateralArcFore]; f != nil && f.CommonSD > 1.5 {
			s.note("The horse went off the line of sight, so how fast the hoof swings forward leaks into its sideways arc: differences of arcs are uncertain by %.1f cm in all strides alike. Stand in line with the lane.", f.CommonSD)
		}
	}
	if n := s.OffBeat; n > 0 {
		s.note("%d stance(s) found in the tracks do not fit the rhythm of the others and were left out.", n)
	}
	if s.wild > 0 {
		s.note("%d placement(s) lie too far from where the others lead and were left out: the tracker held on to something else.", s.wild)
	}
	if s.borrowed {
		s.note("Where a hoof was not seen, low and high points were given to its side by the limb that lands together with it.")
	}
}

// reason says in words why measure d is not there.
func (s *spatial) reason(d Definition) string {
	level := s.cal.Level
	if !level.AtLeast(d.Needs) && !(level == geometry.LevelRatio && d.RatioUnit != "") {
		if d.Needs == geometry.LevelMetric {
			return "needs four ground marks of a known rectangle"
		}
		return "needs lengths: four ground marks of a known rectangle, or the camera's height, focal length and horizon"
	}
	if d.Name == QuartersToSide {
		return "fores and hinds must both be seen standing in the same strides of one clip"
	}
	var missing []string
	for _, l := range s.marksOf(d) {
		if s.set.Track(l) == nil {
			missing = append(missing, l.Words())
		}
	}
	if len(missing) > 0 {
		return "not marked: " + strings.Join(missing, ", ")
	}
	if s.opts.Gait == traj.Walk && (d.kind == "head" || d.kind == "withers" || d.kind == "croup") {
		return "defined for trot and pace: at the walk low and high points do not belong to one limb's stance"
	}
	if len(s.Strides) == 0 {
		return "no whole stride was seen: " + s.whyNoStride()
	}
	if d.Name == HeadHarmonicShare {
		return fmt.Sprintf("the head was seen through fewer than %d whole strides", fewestShares)
	}
	if d.from != nil {
		return "the mark was not seen through a whole stride together with the hooves that time it"
	}
	return "in no stride were all the contacts it needs seen and timed"
}

// marksOf returns the marks that a measure is taken from.
func (a *analysis) marksOf(d Definition) []traj.Landmark {
	switch {
	case (d.Name == HeadSway || d.Name == HeadToSide) && a.set.Track(traj.Chest) == nil: // Beside which it is seen.
		return slices.Concat(onHead, onWithers)
	case d.from != nil:
		return d.from
	case d.Girdle == Fore:
		return limbs[:2]
	case d.Girdle == Hind:
		return limbs[2:]
	}
	return nil
}

// whyNoStride says what stood in the way of strides.
func (a *analysis) whyNoStride() string {
	hooves, body := false, false
	for _, tr := range a.set.Tracks {
		hooves, body = hooves || tr.Landmark.IsHoof(), body || !tr.Landmark.IsHoof()
	}
	contacts := len(slices.Concat(a.Stances[:]...))
	switch {
	case !hooves:
		return "no hoof was marked"
	case !body && contacts == 0:
		return "when hooves stand is looked for below the body, of which nothing was marked: mark the head or the croup, too"
	case contacts == 0:
		return "no hoof was seen to stand still; film at 30 frames a second or more"
	case contacts < 3:
		return fmt.Sprintf("only %d stances were seen", contacts)
	}
	return "the stances that were seen are too few, or too far apart, to tell for sure how many steps lie between them; mark each hoof in one or two stances more"
}
