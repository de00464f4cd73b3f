package track

import (
	"slices"
	"testing"

	"jogstrip/track/traj"
)

// How large the horse looks is read from how high croup or head lie above the hooves below
// them. Fores and hinds stand at two distances, so only those of one pair are taken: the
// nearer one's, unless hardly any of it are marked.
func TestBelowTakesOnePair(t *testing.T) {
	mark := func(l traj.Landmark, frame int) seed {
		return seed{Mark: Mark{Landmark: l, Frame: frame, Visible: true}}
	}
	hinds := []seed{mark(traj.LeftHind, 1), mark(traj.RightHind, 30)}
	fores := []seed{mark(traj.LeftFore, 1), mark(traj.RightFore, 30), mark(traj.LeftFore, 60)}
	for _, c := range []struct {
		name  string
		comes bool
		marks []seed
		want  []seed
	}{
		{"from behind the hinds, though more fores are marked", false, slices.Concat(fores, hinds), hinds},
		{"from in front the fores", true, slices.Concat(hinds, fores), fores},
		{"one hind says less than three fores", false, slices.Concat(hinds[:1], fores), fores},
		{"only the pair behind is marked", true, hinds, hinds},
		{"no hoof", true, []seed{mark(traj.Head, 1)}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			clip := &clip{grows: c.comes}
			got := clip.below(c.marks, func(seed) bool { return true })
			if !slices.EqualFunc(got, c.want, func(a, b seed) bool { return a.Landmark == b.Landmark && a.Frame == b.Frame }) {
				t.Errorf("%+v, want %+v", got, c.want)
			}
		})
	}
}
