package pipeline

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// ProposedMark is a place at which a person might mark a landmark, px of the
// upright picture.
type ProposedMark struct {
	Frame    int           `json:"frame"`
	Landmark traj.Landmark `json:"landmark"`
	X        float64       `json:"x"`
	Y        float64       `json:"y"`
	SD       float64       `json:"sd"` // Standard deviation along each axis, px.
}

const (
	proposedASide = 3    // Marked and proposed stances of a side together: what the page asks for.
	proposedSD    = 2.0  // The largest spread of a proposed place, px, the clicks followed included: about what a click is off at worst (common practice).
	apartS        = 0.25 // Two stances of one hoof lie further apart than this, s: half the shortest stride of a trot (about 0.5 s, common practice).
)

// Propose follows the marks of the clip at path, which show a left and a right
// stance, and returns marks for stances at other distances: the hoof that stands,
// the head, or the croup, and whatever else of the body was marked in the clip, each where
// following it is sure to 2 px. Where it finds none the reason says why, in words. It reads
// the clip and writes nothing.
func Propose(ctx context.Context, path string, marks *record.Marks) (found []ProposedMark, reason string, err error) {
	info, err := clip.Probe(ctx, path)
	if err != nil {
		return nil, "", err
	}
	if err := marks.Fit(record.MarksPath(path), info.Width, info.Height, len(info.Times)); err != nil {
		return nil, "", err
	}
	p, err := newProposer(ctx, path, info, marks)
	if err != nil {
		return nil, "", err
	}
	if found = onTheirSides(p.more(), marks); len(found) == 0 {
		return nil, "no further stance is seen surely enough to propose marks in it", nil
	}
	sortByFrame(found)
	return found, "", nil
}

func sortByFrame(marks []ProposedMark) {
	slices.SortStableFunc(marks, func(a, b ProposedMark) int { return a.Frame - b.Frame })
}

// proposer is a clip that was followed from its marks.
type proposer struct {
	times []float64
	marks *record.Marks
	set   *traj.Set
	run   *metrics.Run
}

func newProposer(ctx context.Context, path string, info *clip.Info, marks *record.Marks) (*proposer, error) {
	if fps := marks.FilmedFPS; fps > 0 {
		info = info.FilmedAt(fps)
	}
	j := &job{path: path, marks: marks}
	var err error
	if j.around, err = Look(filepath.Dir(path)); err != nil {
		return nil, err
	}
	tracked, _, err := j.track(ctx, info, MeasureOptions{})
	if err != nil {
		return nil, err
	}
	run, err := metrics.Measure(tracked.Set, j.measureOptions())
	if err != nil {
		return nil, fmt.Errorf("measure clip %s: %w", path, err)
	}
	return &proposer{info.Times, marks, tracked.Set, run}, nil
}

// stands reports whether a hoof was seen to stand in a frame.
func (p *proposer) stands(hoof traj.Landmark, frame int) bool {
	t := p.times[frame]
	return slices.ContainsFunc(p.run.Contacts, func(c metrics.Contact) bool { return c.Limb == hoof && c.On <= t && t <= c.Off })
}

// more returns marks for stances at other distances than the marked ones.
func (p *proposer) more() (found []ProposedMark) {
	hooves, _ := leading(p.marks.View)
	body := p.body()
	for _, hoof := range hooves {
		var have []float64
		for _, m := range p.marks.Marks {
			if m.Landmark == hoof && !m.Hidden {
				have = append(have, p.times[m.Frame])
			}
		}
		free := p.free(hoof, have)
		for n := len(have); n < proposedASide && len(free) > 0; n++ {
			best := p.furthest(free, have)
			f := free[best]
			free = slices.Delete(free, best, best+1)
			have = append(have, p.times[f])
			found = append(found, proposedAt(p.set, hoof, f))
			for _, l := range body {
				if sure(p.set, l, f, proposedSD) {
					found = append(found, proposedAt(p.set, l, f))
				}
			}
		}
	}
	return found
}

// body returns what is proposed of the body: the head, or the croup, and what the clip's
// own marks show besides. Nobody is offered what they did not mark.
func (p *proposer) body() (out []traj.Landmark) {
	_, leads := leading(p.marks.View)
	for _, l := range traj.Landmarks() {
		marked := slices.ContainsFunc(p.marks.Marks, func(m record.Mark) bool { return m.Landmark == l && !m.Hidden })
		if l == leads || marked && !l.IsHoof() {
			out = append(out, l)
		}
	}
	return out
}

// free returns the frames in the middle of stances of a hoof that are surely seen and not
// at the times that it has marks of.
func (p *proposer) free(hoof traj.Landmark, have []float64) (frames []int) {
	usual := p.usualStance()
	for _, c := range p.run.Contacts {
		// An end that was not seen is given as far as the hoof was seen to stand, so the
		// middle lies in the stance; with neither end seen it may be something else.
		if c.Limb != hoof || c.OnSD < 0 && c.OffSD < 0 {
			continue
		}
		if slices.ContainsFunc(have, func(t float64) bool { return c.On <= t && t <= c.Off }) {
			continue // Marked already, however long it seems to last.
		}
		middle := (c.On + c.Off) / 2
		if c.OffSD >= 0 && c.Off-c.On > usual {
			// A hoof that is brought down slowly, seen from behind, seems to stand before it
			// lands; when it leaves is surer.
			middle = c.Off - usual/2
		}
		frame := nearestTime(p.times, middle)
		if frame < 0 || !sure(p.set, hoof, frame, proposedSD) {
			continue
		}
		if !slices.ContainsFunc(have, func(t float64) bool { return math.Abs(t-p.times[frame]) < apartS }) {
			frames = append(frames, frame)
		}
	}
	return frames
}

// usualStance returns how long the leading hooves stand: the median of the stances whose
// ends were both seen, s; infinite where there is none.
func (p *proposer) usualStance() float64 {
	hooves, _ := leading(p.marks.View)
	var lasted []float64
	for _, c := range p.run.Contacts {
		if slices.Contains(hooves[:], c.Limb) && c.OnSD >= 0 && c.OffSD >= 0 {
			lasted = append(lasted, c.Off-c.On)
		}
	}
	if len(lasted) == 0 {
		return math.Inf(1)
	}
	slices.Sort(lasted)
	return lasted[(len(lasted)-1)/2]
}

// furthest returns the index of the frame furthest in time from all there are, so that
// distances differ.
func (p *proposer) furthest(frames []int, have []float64) (best int) {
	room := -1.0
	for i, f := range frames {
		least := math.Inf(1)
		for _, t := range have {
			least = min(least, math.Abs(t-p.times[f]))
		}
		if least > room {
			best, room = i, least
		}
	}
	return best
}

// sure reports whether a landmark was seen in a frame with a spread of at most limit.
func sure(set *traj.Set, l traj.Landmark, frame int, limit float64) bool {
	t := set.Track(l)
	if t == nil || frame >= len(t.Samples) {
		return false
	}
	s := t.Samples[frame]
	return s.Status == traj.Tracked && s.SD <= limit && s.SpreadY() <= limit
}

func proposedAt(set *traj.Set, l traj.Landmark, frame int) ProposedMark {
	s := set.Track(l).Samples[frame]
	return ProposedMark{Frame: frame, Landmark: l, X: s.X, Y: s.Y, SD: max(s.SD, s.SpreadY())}
}

// nearestTime returns the frame nearest to t, or -1 where there is none.
func nearestTime(times []float64, t float64) int {
	best := -1
	for i := range times {
		if best < 0 || math.Abs(times[i]-t) < math.Abs(times[best]-t) {
			best = i
		}
	}
	return best
}
