package track

import (
	"math"
	"testing"

	"jogstrip/track/traj"
)

// A hind lands in the print of the fore of its side. Where the two seem to be one stance the
// beginning of a hind's is taken off and the end of a fore's, up to what a person marked there.
func TestHindLandsInThePrintOfAFore(t *testing.T) {
	const usual = 14.0 / 60 // s.
	var times []float64
	for f := range 120 {
		times = append(times, float64(f)/60)
	}
	marked := func(l traj.Landmark, frame int) []seed {
		return []seed{{Mark: Mark{Frame: frame, Landmark: l, Visible: true}}}
	}
	for _, tt := range []struct {
		name        string
		hoof        traj.Landmark
		from, to    int // The stance.
		seeds       []seed
		first, last int // What is left of it, to a frame: times are rounded.
	}{
		{"as long as usual", traj.RightHind, 57, 70, nil, 57, 70},
		{"a fifth longer than usual", traj.RightHind, 54, 70, nil, 54, 70},
		{"a hind comes where a fore stood", traj.RightHind, 38, 70, nil, 56, 70},
		{"marked before it is usual", traj.RightHind, 38, 70, marked(traj.RightHind, 40), 40, 70},
		{"marked at its end", traj.RightHind, 38, 70, marked(traj.RightHind, 65), 56, 70},
		{"another hoof is marked", traj.RightHind, 38, 70, marked(traj.LeftHind, 40), 56, 70},
		{"a hind comes where a fore stands", traj.LeftFore, 38, 70, nil, 38, 52},
		{"a fore marked after it is usual", traj.LeftFore, 38, 70, marked(traj.LeftFore, 60), 38, 60},
	} {
		s := &standing{model: &known, landmark: tt.hoof, before: tt.from - 1, after: tt.to + 1, marked: -1}
		for f := tt.from; f <= tt.to; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		s.cutLong(times, usual, tt.seeds)
		if early, late := s.first()-tt.first, tt.last-s.last(); early < 0 || early > 1 || late < 0 || late > 1 {
			t.Errorf("%s: stands in frames %d to %d, want %d to %d", tt.name, s.first(), s.last(), tt.first, tt.last)
		}
		if (s.before < 0) != (tt.first != tt.from) || (s.after < 0) != (tt.last != tt.to) {
			t.Errorf("%s: seen without it in frames %d and %d: an end that was taken off is not known", tt.name, s.before, s.after)
		}
	}
}

// A fore and the hind in its print that are seen as one stand for longer than any hoof. What is left
// of them is no longer than one may be; the ground stays what it is.
func TestTwoInOnePrintAreCut(t *testing.T) {
	var times []float64
	for f := range 120 {
		times = append(times, float64(f)/60)
	}
	for _, tt := range []struct {
		hoof            traj.Landmark
		endless, ground bool
		first, last     int
	}{
		{traj.LeftFore, true, false, 20, 45},
		{traj.LeftHind, true, false, 35, 60},
		{traj.LeftHind, true, true, 20, 60},
		{traj.LeftFore, false, false, 20, 60},
	} {
		s := &standing{model: &known, landmark: tt.hoof, endless: tt.endless, ground: tt.ground, before: 19, after: 61, marked: -1}
		for f := 20; f <= 60; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		s.cutEndless(times, &known.Trot, nil)
		if math.Abs(float64(s.first()-tt.first)) > 1 || math.Abs(float64(s.last()-tt.last)) > 1 {
			t.Errorf("%s, endless %v, ground %v: frames %d to %d, want %d to %d", tt.hoof, tt.endless, tt.ground, s.first(), s.last(), tt.first, tt.last)
		}
		if s.endless != (tt.endless && tt.ground) || !s.endless && tt.endless && s.lasts(times) > known.Trot.LongestStanceS {
			t.Errorf("%s: endless %v, lasts %.2f s", tt.hoof, s.endless, s.lasts(times))
		}
	}
}

// A clip plays slowly where hardly any stance of the pair in front is short enough. Hooves of the pair
// behind stand in their prints and are seen as one with them, at full speed, too.
func TestWhetherAClipPlaysSlowly(t *testing.T) {
	for _, tt := range []struct {
		name          string
		slower        float64 // As it is tried.
		front, behind [2]int  // Marked stances, and how many of them are too long.
		slowly        bool
	}{
		{"at full speed", 1, [2]int{6, 0}, [2]int{0, 0}, false},
		{"hinds in prints of fores", 1, [2]int{6, 2}, [2]int{4, 4}, false},
		{"most fores seen as one with the hinds in their prints", 1, [2]int{8, 5}, [2]int{2, 1}, false},
		{"slowly", 1, [2]int{6, 5}, [2]int{0, 0}, true},
		{"slowly, both pairs", 1, [2]int{6, 5}, [2]int{4, 3}, true},
		{"slower still", 2, [2]int{5, 3}, [2]int{0, 0}, true},
		{"as slowly as is tried", 4, [2]int{5, 1}, [2]int{0, 0}, false},
		{"the pair behind alone", 1, [2]int{0, 0}, [2]int{4, 4}, true},
	} {
		c := &clip{model: &known, grows: true, slower: tt.slower}
		searches := []*pairSearch{
			{pair: fores, known: make([]*standing, tt.front[0]), endless: tt.front[1]},
			{pair: hinds, known: make([]*standing, tt.behind[0]), endless: tt.behind[1]},
		}
		if got := c.tooLong(searches); got != tt.slowly {
			t.Errorf("%s: slowly %v", tt.name, got)
		}
	}
}

// The stances of the pair behind are seen in parts: they are taken to last as long as those of
// the pair in front, from which it is taken what two in one print are.
func TestThePairBehindStandsAsLongAsThePairInFront(t *testing.T) {
	var times []float64
	for f := range 120 {
		times = append(times, float64(f)/60)
	}
	stances := func(l traj.Landmark, frames int) []*standing {
		s := &standing{model: &known, landmark: l, before: 9, after: 11 + frames}
		for f := 10; f <= 10+frames; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		return []*standing{s}
	}
	for _, tt := range []struct {
		name       string
		grows      bool
		fore, hind int        // Frames; 0: none is seen whole.
		want       [2]float64 // Of fores and hinds, frames; 0: not known.
	}{
		{"from in front the hinds", true, 18, 7, [2]float64{18, 18}},
		{"from behind the fores", false, 7, 15, [2]float64{15, 15}},
		{"nothing of the pair in front", true, 0, 7, [2]float64{0, 7}},
		{"nothing of the pair behind", true, 18, 0, [2]float64{18, 18}},
	} {
		searches := []*pairSearch{{pair: fores}, {pair: hinds}}
		for i, frames := range []int{tt.fore, tt.hind} {
			if frames > 0 {
				searches[i].chosen = stances(searches[i].pair[0], frames)
			}
		}
		c := &clip{model: &known, times: times, grows: tt.grows}
		for i, got := range c.usually(searches) {
			if want := tt.want[i] / 60; want == 0 != math.IsInf(got, 1) || want > 0 && math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: pair %d lasts %.3f s, want %.3f", tt.name, i, got, want)
			}
		}
	}
}

// A leg in front hides the ends of the stances of the pair behind more often than they are seen.
func TestEndsOfThePairBehind(t *testing.T) {
	for _, tt := range []struct {
		hoof  traj.Landmark
		grows bool
		told  bool // Whether its ends are.
	}{
		{traj.LeftFore, true, true},
		{traj.LeftHind, true, false},
		{traj.LeftHind, false, true},
		{traj.LeftFore, false, false},
	} {
		c := &clip{model: &known, grows: tt.grows, slower: 1}
		s := c.stancesOf([]*standing{{landmark: tt.hoof, seen: []stood{{frame: 10}, {frame: 20}}, before: 9, after: 21}})[0]
		if (s.Before >= 0) != tt.told || (s.After >= 0) != tt.told {
			t.Errorf("%s, comes %v: seen without it in frames %d and %d", tt.hoof, tt.grows, s.Before, s.After)
		}
	}
}
