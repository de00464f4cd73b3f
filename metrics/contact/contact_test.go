package contact

import (
	"math"
	"testing"

	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

const period, rate = 0.7, 60.0

// film returns a clip of a horse that trots evenly in place: hooves stand for 0.3 s at
// x = 100 px a limb. keep says which stances were seen, and whether their steps counted.
func film(strides int, keep func(k, n int) (seen, counted bool)) *traj.Set {
	set := &traj.Set{Width: 1000, Height: 1000}
	for f := range int((float64(strides) + 0.5) * period * rate) {
		set.Times = append(set.Times, float64(f)/rate)
	}
	for k, l := range Limbs {
		tr := traj.Track{Landmark: l, Samples: make([]traj.Sample, len(set.Times))}
		for f := range tr.Samples {
			tr.Samples[f] = traj.Gone()
		}
		phase := Phases(traj.Trot)[k]
		for n := range strides {
			seen, counted := keep(k, n)
			if !seen {
				continue
			}
			on := 0.05 + (float64(n)+phase)*period
			s := traj.Stance{Landmark: l, First: int(math.Ceil(on * rate)), Last: min(len(set.Times)-1, int((on+0.3)*rate)), Beat: -1}
			s.Before, s.After = s.First-1, s.Last+1
			if s.After == len(set.Times) {
				s.After = -1
			}
			if counted {
				// Whole numbers for the limb of the pair that lands first.
				s.Beat = 2 * n
				if phase > 0 {
					s.Beat++
				}
			}
			for f := s.First; f <= s.Last; f++ {
				tr.Samples[f] = traj.Sample{X: 100 * float64(k), Y: 500, SD: 0.2, Status: traj.Tracked}
			}
			set.Stances = append(set.Stances, s)
		}
		set.Tracks = append(set.Tracks, tr)
	}
	return set
}

// Beats come from the steps that were counted: strides that nobody saw leave holes, and
// no stride is made of two.
func TestStridesAcrossHoles(t *testing.T) {
	all := func(int, int) (bool, bool) { return true, true }
	for _, c := range []struct {
		name    string
		keep    func(k, n int) (bool, bool)
		strides int // At the least; of none there must be none.
		none    bool
	}{
		{"all", all, 6, false},
		{"every second stance", func(k, n int) (bool, bool) { return n%2 == k%2, true }, 5, false},
		{"one fore", func(k, n int) (bool, bool) { return k == 1, true }, 6, false},
		{"one counted nowhere", func(k, n int) (bool, bool) { return true, !(k == 0 && n == 3) }, 6, false},
		{"two strides in the middle lost", func(k, n int) (bool, bool) { return n < 3 || n > 4, true }, 5, false},
		{"four strides in the middle lost", func(k, n int) (bool, bool) { return n < 2 || n > 5, true }, 1, false},
		{"nothing counted", func(k, n int) (bool, bool) { return true, false }, 0, true},
		{"one step of one pair", func(k, n int) (bool, bool) { return k < 2 && n == 1, true }, 0, true},
		{"two stances", func(k, n int) (bool, bool) { return k == 0 && (n == 1 || n == 4), true }, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := Find(film(8, c.keep), traj.Trot, "", errormodel.Usual().Contact)
			if n := len(l.Strides); n < c.strides || c.none && n > 0 {
				t.Fatalf("%d strides", n)
			}
			for _, s := range l.Strides {
				if d := s.End - s.Start; math.Abs(d-period) > 0.02 {
					t.Errorf("a stride of %.3f s", d)
				}
			}
			if c.name == "four strides in the middle lost" {
				for _, s := range l.Strides {
					if s.Start > 2.5*period && s.End < 5.5*period {
						t.Errorf("a stride at %.2f s, where nothing was seen", s.Start)
					}
				}
			}
			for k := range Limbs {
				for i := range l.Strides {
					j := l.In(k, i)
					if j < 0 {
						continue
					}
					if on, _ := l.Landing(k, l.Cycle(k, i)); on < l.Strides[i].Start-0.1 || on > l.Strides[i].End+0.1 {
						t.Errorf("%s of stride %d landed at %.3f s", Limbs[k], i, on)
					}
					if n := l.Next(k, j); n >= 0 && math.Abs(l.Stances[k][n].On-l.Stances[k][j].On-period) > 0.05 {
						t.Errorf("the next stance of %s comes %.3f s later", Limbs[k], l.Stances[k][n].On-l.Stances[k][j].On)
					}
				}
			}
		})
	}
}

// A stance whose steps were not counted and that lies between two beats is left out.
func TestOffTheBeat(t *testing.T) {
	set := film(8, func(k, n int) (bool, bool) { return k != 3, true })
	set.Stances = append(set.Stances, traj.Stance{Landmark: traj.RightHind, First: 140, Last: 150, Before: 139, After: 151, Beat: -1})
	for f := 140; f <= 150; f++ {
		set.Tracks[3].Samples[f] = traj.Sample{X: 300, Y: 500, SD: 0.2, Status: traj.Tracked}
	}
	if l := Find(set, traj.Trot, "", errormodel.Usual().Contact); l.OffBeat != 1 || len(l.Stances[3]) != 0 {
		t.Errorf("%d left out, %d kept", l.OffBeat, len(l.Stances[3]))
	}
}

// An instant lies between the last frame without the hoof and the first with it; where
// the place was hidden for long, it is vague and nearer to the stance.
func TestInstant(t *testing.T) {
	for _, c := range []struct{ seen, gone, shape, at, sd float64 }{
		{1, 0.98, 0, 0.99, 0.02 / math.Sqrt(12)},
		{1, 1.02, 0, 1.01, 0.02 / math.Sqrt(12)},
		{1, 1.10, 0, 1.03, 0.10 / math.Sqrt(12)},
		{1, 1.02, 0.03, 1.01, math.Hypot(0.02/math.Sqrt(12), 0.03)},
	} {
		got := instant(c.seen, c.gone, c.shape, 0.02)
		if math.Abs(got[0]-c.at) > 1e-12 || math.Abs(got[1]-c.sd) > 1e-12 {
			t.Errorf("%+v: %g", c, got)
		}
	}
}

// A place is as sure as its samples are scattered, and no surer than they were stated
// where they share an error.
func TestPlace(t *testing.T) {
	for _, c := range []struct {
		name   string
		x      []float64
		sd     float64
		lo, hi float64
	}{
		{"scattered as stated", []float64{0.2, -0.1, 0.15, -0.25, 0.1, -0.2, 0.05, 0.3}, 0.2, 0.05, 0.1},
		{"scattered more", []float64{1, -1, 1, -1, 1, -1, 1, -1}, 0.2, 0.3, 0.5},
		{"all alike", []float64{0, 0, 0, 0, 0, 0, 0, 0}, 0.2, 0, 0.2},
	} {
		sd := make([]float64, len(c.x))
		for i := range sd {
			sd[i] = c.sd
		}
		if v := meanSD(c.x, sd, robustMean(c.x, sd), 0); v < c.lo || v > c.hi {
			t.Errorf("%s: %g", c.name, v)
		}
	}
	if m := robustMean([]float64{0, 0.1, -0.1, 0.05, 30}, []float64{0.1, 0.1, 0.1, 0.1, 0.1}); math.Abs(m) > 0.15 {
		t.Errorf("one wild sample moves the place to %g", m)
	}
}

// How badly the shape of a leaving is known is a share of the stance, however little of it was
// seen: a hoof that something hides after a moment is not said to have left to a hundredth of
// a second.
func TestLeavingOfAStanceSeenForAMoment(t *testing.T) {
	m := errormodel.Usual().Contact
	set := film(6, func(k, n int) (bool, bool) { return k < 2, true })
	for i := range set.Stances {
		if s := &set.Stances[i]; s.Landmark == traj.LeftFore && s.Beat == 4 {
			s.First = s.Last - 5
			s.Before, s.After = -1, s.Last+1
		}
	}
	for _, s := range stancesOf(set, See(set, traj.LeftFore), usualOf(set), m) {
		if want := m.LeavingShape * 0.25; s.OffTimed() && s.OffSD < want {
			t.Errorf("a leaving is stated to %.3f s, want %.3f or more: stances last 0.3 s", s.OffSD, want)
		}
	}
}

// When a stance began is told by what was seen of both its ends.
func TestWhenAStanceBegan(t *testing.T) {
	m := errormodel.Usual().Contact
	const typical = 0.3
	for _, c := range []struct {
		name   string
		s      Stance
		at, sd float64
	}{
		{"both ends, which agree", Stance{On: 1, OnSD: 0.03, Off: 1.3, OffSD: 0.03, reached: [2]float64{1, 0.03}}, 1, 0.022},
		{"it seems to land late and to leave early", Stance{On: 1.06, OnSD: 0.03, Off: 1.24, OffSD: 0.03, reached: [2]float64{1.06, 0.03}}, 1.002, 0.022},
		{"the landing alone", Stance{On: 1, OnSD: 0.03, Off: 1.1, OffSD: -1, reached: [2]float64{1, 0.03}}, 1, 0.03},
		{"the leaving alone", Stance{On: 1.2, OnSD: -1, Off: 1.3, OffSD: 0.03, reached: [2]float64{1.2, m.HiddenS}}, 1, math.Hypot(0.03, m.StanceS)},
		{"neither: a third of it was seen", Stance{On: 1.1, OnSD: -1, Off: 1.2, OffSD: -1, reached: [2]float64{1.1, m.HiddenS}}, 1, math.Hypot(m.HiddenS, 0.2/math.Sqrt(12))},
		{"not counted: the landing alone", Stance{On: 1.06, OnSD: 0.03, Off: 1.24, OffSD: 0.03, reached: [2]float64{1.06, 0.03}, beat: -1}, 1.06, 0.03},
	} {
		at, sd := c.s.began(typical, m)
		if math.Abs(at-c.at) > 0.005 || math.Abs(sd-c.sd) > 0.002 {
			t.Errorf("%s: at %.3f s to %.3f s, want %.3f to %.3f", c.name, at, sd, c.at, c.sd)
		}
	}
}

// A stance in which the clip begins tells nothing of when it began: the stride is that of the
// others.
func TestAStanceThatTheClipBeginsIn(t *testing.T) {
	set := film(4, func(k, n int) (bool, bool) { return k < 2, true })
	const cut = 17 // Frames: of the left fore’s first stance the last moment is left.
	set.Times = set.Times[:len(set.Times)-cut]
	for i := range set.Tracks {
		set.Tracks[i].Samples = set.Tracks[i].Samples[cut:]
	}
	for i := range set.Stances {
		s := &set.Stances[i]
		s.First, s.Last, s.Before = max(s.First-cut, 0), s.Last-cut, s.Before-cut
		s.After = max(s.After-cut, -1)
		if s.Last >= len(set.Times) || s.First == 0 { // What passes hides the first one's leaving.
			s.Last, s.After = min(s.Last, len(set.Times)-1), -1
		}
	}
	l := Find(set, traj.Trot, "", errormodel.Usual().Contact)
	if mean, _ := l.MeanStride(); math.Abs(mean-period) > 0.01 {
		t.Errorf("a stride of %.3f s, want %.3f", mean, period)
	}
}
