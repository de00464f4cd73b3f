package track

import (
	"context"
	"fmt"
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// The stances in which a person marked a hoof, and what it looks like in them.

// pairSearch looks for the stances of one pair of hooves.
type pairSearch struct {
	pair    [2]traj.Landmark
	st      *stander
	known   []*standing // The stances in which a person marked them.
	endless int         // How many marks lie in something that stands for longer than a hoof may.
	models  [2][]model  // What the hooves look like where they were marked standing.
	moving  [2][]model  // The same where they were marked in the air.
	counts  *counts     // Of all stances that were found; nil where no hoof of the pair is known.
	stride  float64     // How long a stride lasts, s; 0 where steps cannot be counted.
	chosen  []*standing // The stances that steps can be counted by, and those that a person marked.
}

// marked finds the stances in which a person marked a hoof of the pair, and sets which of
// seeds, the marks, stand.
func (c *clip) marked(ctx context.Context, pair [2]traj.Landmark, seeds []seed) (*pairSearch, error) {
	ps := &pairSearch{pair: pair, st: newStander(c, pair[0])}
	for i := range seeds {
		m := &seeds[i]
		side := slices.Index(pair[:], m.Landmark)
		if side < 0 {
			continue
		}
		ps.st.marks[side] = append(ps.st.marks[side], *m)
		if !m.Visible {
			continue
		}
		w, _ := c.patch(m)
		s, err := ps.st.extend(ctx, m.Frame, m.at(), w)
		if err != nil {
			return nil, fmt.Errorf("look at the mark of %s in frame %d: %w", m.Landmark, m.Frame, err)
		}
		if s == nil {
			m.stands = false
			continue
		}
		s.landmark, s.marked, s.mark = m.Landmark, side, s.mean()
		if s.endless {
			ps.endless++
			s.cutEndless(c.times, c.pace, seeds)
		}
		if m.stands = !s.endless && len(s.seen) >= c.model.Fewest && s.lasts(c.times) >= c.model.ShortS; m.stands {
			ps.add(s)
		}
	}
	wrong := ps.wrong()
	ps.known = slices.DeleteFunc(ps.known, func(s *standing) bool { return wrong[s] })
	for i := range seeds {
		if m := &seeds[i]; slices.Contains(pair[:], m.Landmark) {
			m.stands = m.stands && slices.ContainsFunc(ps.known, func(s *standing) bool { return s.landmark == m.Landmark && s.spans(m.Frame) })
		}
	}
	return ps, nil
}

// add adds a marked stance, which may be a part of one that is known.
func (ps *pairSearch) add(s *standing) {
	same := slices.IndexFunc(ps.known, func(o *standing) bool { return o.marked == s.marked && o.same(s, ps.st.clip.times) })
	if same < 0 {
		ps.known = append(ps.known, s)
	} else {
		ps.known[same].join(s)
	}
}

// wrong returns the marked stances that are none of their hoof. A mark elsewhere in the
// meantime, or two hooves in one place, say that it was another that stood there; of two
// stances between which there is no time for a swing, the shorter one is the hoof as it comes
// or goes.
func (ps *pairSearch) wrong() map[*standing]bool {
	c, wrong := ps.st.clip, map[*standing]bool{}
	for i, s := range ps.known {
		if slices.ContainsFunc(ps.st.marks[s.marked], func(m seed) bool { return ps.st.contradicts(m, s) }) {
			wrong[s] = true
		}
		for _, o := range ps.known[:i] {
			switch {
			case o.marked != s.marked:
				if s.first() <= o.last() && o.first() <= s.last() && s.mean().Dist(o.mean()) < c.model.StandStray*s.size {
					wrong[s], wrong[o] = true, true
				}
			case s.apart(o, c.times) >= c.pace.ShortestSwingS:
			case s.lasts(c.times) < o.lasts(c.times):
				wrong[s] = true
			default:
				wrong[o] = true
			}
		}
	}
	return wrong
}

// contradicts reports whether a mark says that its hoof is not the one of the stance: it
// is elsewhere, or hidden, in the meantime.
func (st *stander) contradicts(m seed, s *standing) bool {
	return s.spans(m.Frame) && (!m.Visible || st.clip.steady(m.Frame, m.at()).Dist(s.mean()) > st.model.Elsewhere*s.size)
}

// readClicks makes the models of the marks, and says how far the clicks are off that did
// not say so themselves: the marks of one hoof, each found by the appearance of the
// others, disagree by as much. One weak prior stands beside that.
func (c *clip) readClicks(searches []*pairSearch, t *trunk, seeds []seed) error {
	squares, n := c.model.PriorWeight*sq(c.prior), c.model.PriorWeight
	for _, ps := range searches {
		if err := c.makeModels(ps, t, seeds); err != nil {
			return err
		}
		var err error
		if squares, n, err = ps.disagreements(squares, n); err != nil {
			return err
		}
	}
	click := math.Sqrt(squares / n)
	for i := range seeds {
		if seeds[i].guessed {
			seeds[i].SD, c.click = click, click
		}
	}
	for _, ps := range searches {
		for _, m := range slices.Concat(ps.models[0], ps.models[1]) {
			if i := slices.IndexFunc(seeds, func(s seed) bool { return s.Frame == m.frame && s.X == m.at.X && s.Y == m.at.Y }); i >= 0 {
				m.variance = sq(seeds[i].SD)
			}
		}
	}
	return nil
}

// makeModels makes the models of the pair's marks.
func (c *clip) makeModels(ps *pairSearch, t *trunk, seeds []seed) error {
	for _, m := range seeds {
		side := slices.Index(ps.pair[:], m.Landmark)
		if side < 0 || !m.Visible || t.size[m.Frame] == 0 {
			continue
		}
		made, err := c.modelAt(ps.st.fo, t, m)
		if err != nil {
			return err
		}
		if m.stands {
			ps.models[side] = append(ps.models[side], made...)
		} else {
			ps.moving[side] = append(ps.moving[side], made...)
		}
	}
	if len(ps.models[0])+len(ps.models[1]) == 0 {
		ps.models = ps.moving
	}
	return nil
}

// disagreements adds to squares, px², and their number what the pair's models tell of clicks.
func (ps *pairSearch) disagreements(squares, n float64) (float64, float64, error) {
	for _, models := range ps.models {
		for i := range models {
			square, told, err := ps.st.disagreement(models, i)
			if err != nil {
				return 0, 0, err
			}
			if told {
				squares, n = squares+square, n+1
			}
		}
	}
	return squares, n, nil
}

// disagreement returns how far the i-th of a hoof's models lies from where the others have it:
// the square along one axis, px², as far as it is of one click; told is whether they find it.
func (st *stander) disagreement(models []model, i int) (square float64, told bool, err error) {
	m, others := models[i], slices.Delete(slices.Clone(models), i, i+1)
	if len(others) == 0 {
		return 0, false, nil
	}
	r, like, err := st.byMarks(m.frame, m.at, m.window, others)
	if err != nil || r.from == nil || like < st.model.AnchorNCC {
		return 0, false, err
	}
	// Of the click here, of those there, and of what lies between them.
	share := 1 + r.click/sq(st.clip.prior)
	d := r.At.Sub(m.at)
	return min(max(0, (d.X*d.X+d.Y*d.Y)/2-(r.variance-r.click))/share, sq(st.model.MostClick)), true, nil
}

// model is a hoof's appearance in a stance, and where it stood from the trunk.
type model struct {
	*appearance
	offset flow.Point // From the trunk, in units of the trunk's size.
	ratio  float64    // Side of the patch over the trunk's size.
}

// modelAt returns the model that seed s gives, or none where its patch is of no use.
func (c *clip) modelAt(fo *follower, t *trunk, s seed) ([]model, error) {
	fo.anchors, fo.started, s.stands = nil, false, true
	if err := fo.start(s); err != nil {
		return nil, err
	}
	if len(fo.anchors) == 0 {
		return nil, nil
	}
	a := fo.anchors[0]
	a.scale = a.window.Size() // The same measure for all models, wherever they were marked.
	size := t.size[s.Frame]
	d := a.at.Sub(t.at[s.Frame])
	return []model{{appearance: a, ratio: a.window.Size() / size, offset: flow.Point{X: d.X / size, Y: d.Y / size}}}, nil
}
