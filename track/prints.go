package track

import (
	"context"
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// The pair behind is hidden for most of the time by the legs in front. Hinds land in the prints
// of the fores or beside them, in each stride alike: one marked stance says where in every other
// stride the hoof stands from the print of the same side, and when.

// byPrints adds to the chosen stances of a pair behind those in which its hooves stand whole
// strides before and after their marks. front is the pair in front, whose strides are counted.
func (st *stander) byPrints(ctx context.Context, ps, front *pairSearch, t *trunk, seeds []seed) error {
	times, stride := st.clip.times, front.stride
	for side, models := range ps.models {
		if len(models) == 0 {
			continue
		}
		zero := times[models[0].frame]
		for k := math.Ceil((times[0] - zero) / stride); zero+k*stride < times[len(times)-1]; k++ {
			at := zero + k*stride
			if slices.ContainsFunc(ps.chosen, func(s *standing) bool {
				return s.landmark == ps.pair[side] && math.Abs(s.middle(times)-at) < stride/2
			}) {
				continue
			}
			s, err := st.byPrint(ctx, front, models, side, at, t)
			if err != nil {
				return err
			}
			if s != nil {
				st.meet([]*standing{s}, ps.pair, seeds)
				s.landmark = ps.pair[side]
				ps.chosen = append(ps.chosen, s)
			}
		}
	}
	slices.SortStableFunc(ps.chosen, func(a, b *standing) int { return a.first() + a.last() - b.first() - b.last() })
	for _, s := range ps.chosen {
		// Steps since the first; the other side's are odd.
		first := ps.chosen[0]
		steps := 2 * (s.middle(times) - first.middle(times)) / stride
		if s.landmark == first.landmark {
			s.beat = 2 * int(math.Round(steps/2))
		} else {
			s.beat = 2*int(math.Round((steps-1)/2)) + 1
		}
	}
	return nil
}

// byPrint returns the stance of one side in the stride around a time, s, that looks most like its
// marks, models; nil where none is seen. Another hoof may stand in the same print earlier or later.
func (st *stander) byPrint(ctx context.Context, front *pairSearch, models []model, side int, around float64, t *trunk) (best *standing, err error) {
	times := st.clip.times
	m, moment, mark := st.bestMark(front, models, side, around, t)
	if m == nil {
		return nil, nil
	}
	for away := 0.0; away <= front.counts.lasts/2; away += lookEveryS {
		for _, at := range []float64{moment - away, moment + away} {
			f := frameAt(times, at)
			if f < 0 || best != nil && best.spans(f) {
				continue
			}
			s, err := st.standsAt(ctx, f, mark, m, models, side, t)
			if err != nil {
				return nil, err
			}
			if s != nil && math.Abs(s.middle(times)-moment) <= front.counts.lasts/2 && (best == nil || s.like[side] > best.like[side]) {
				best = s
			}
		}
	}
	return best, nil
}

// bestMark returns, of the models of one side, the one marked nearest to the distance of the stride
// around a time, s; nil where no print tells it. moment is when in that stride the horse does what
// it did there, s, and mark where the hoof's mark lies then, in the coordinates of frame 0.
func (st *stander) bestMark(front *pairSearch, models []model, side int, around float64, t *trunk) (best *model, moment float64, mark flow.Point) {
	times, least := st.clip.times, math.Inf(1)
	for i := range models {
		m := &models[i]
		at := times[m.frame] + math.Round((around-times[m.frame])/front.stride)*front.stride
		f := frameAt(times, at)
		if f < 0 || t.size[f] == 0 {
			continue
		}
		there, ok := st.printOf(front, side, times[m.frame])
		here, known := st.printOf(front, side, at)
		grown := t.size[f] / t.size[m.frame]
		if far := math.Abs(math.Log(grown)); ok && known && far < least {
			d := st.clip.steady(m.frame, m.at).Sub(there)
			best, moment, least, mark = m, at, far, here.Add(flow.Point{X: d.X * grown, Y: d.Y * grown})
		}
	}
	return best, moment, mark
}

// printOf returns in whose print the hoof of one side that stands at a time, s, stands: the one
// of the pair in front that stood there before, of a horse that comes, or will stand there next.
func (st *stander) printOf(front *pairSearch, side int, at float64) (print flow.Point, ok bool) {
	least := front.stride
	for _, s := range front.chosen {
		since := at - s.middle(st.clip.times)
		if !st.clip.grows {
			since = -since
		}
		if s.landmark == front.pair[side] && since > 0 && since < least {
			print, ok, least = s.mark, true, since
		}
	}
	return print, ok
}

// standsAt returns the stance seen in frame f of a hoof whose mark must lie about at mark, in the
// coordinates of frame 0, and that looks there like m; nil where none is seen.
func (st *stander) standsAt(ctx context.Context, f int, mark flow.Point, m *model, models []model, side int, t *trunk) (*standing, error) {
	at, ok := st.clip.unsteady(f, mark)
	size := t.size[f] * m.ratio
	if !ok || size < st.model.LeastHoof {
		return nil, nil
	}
	across, down := st.model.PrintAcross*size, st.model.PrintDown*size
	in := bounds{left: at.X - across, right: at.X + across, top: at.Y - down, bottom: at.Y + down}
	var like, all [2][]model
	like[side], all[side] = []model{*m}, models
	places, err := st.lookIn(f, in, like, size)
	if err != nil {
		return nil, err
	}
	for _, p := range places {
		s, err := st.stands(ctx, p, m.window.Scaled(size/m.window.Size()), t, all)
		if err != nil {
			return nil, err
		}
		if s == nil || s.never[side] || s.like[side] < st.model.StandNCC {
			continue
		}
		if off := s.mark.Sub(mark); math.Abs(off.X) < across && math.Abs(off.Y) < down {
			s.print = &mark
			return s, nil
		}
	}
	return nil, nil
}

// byItsPrint puts together where the marks say that a stance's mark lies and where its print does,
// each axis for itself; ok is false where the two contradict each other. What is stated stays: the
// one mark by which the print tells it is off in all strides alike.
func (s *standing) byItsPrint(by relocation) (out relocation, ok bool) {
	d := s.print.Sub(s.mean().Add(by.At))
	across, down := s.model.PrintAcross*s.size, s.model.PrintDown*s.size
	if math.Abs(d.X) > across || math.Abs(d.Y) > down {
		return by, false
	}
	// One of twenty lies beyond twice the standard deviation.
	share := func(limit float64) float64 { return by.variance / (by.variance + sq(limit/2)) }
	by.At = by.At.Add(flow.Point{X: share(across) * d.X, Y: share(down) * d.Y})
	return by, true
}

// frameAt returns the frame shown at a time, s; −1 where it lies outside the clip.
func frameAt(times []float64, at float64) int {
	if at < times[0] || at > times[len(times)-1] {
		return -1
	}
	return traj.Nearest(times, at)
}
