package track

import (
	"math/rand/v2"
	"slices"
	"testing"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
)

// known is what tracking takes as known.
var known = errormodel.Usual().Tracking

// walk is a run of stances of a pair, left first, a step apart; marked says which a
// person marked, hidden which were not found. Frames are 60 a second.
func walk(n int, step, lasts float64, marked, hidden []int) (all []*standing, times []float64, side []int) {
	for f := range int(60 * (step*float64(n) + lasts + 1)) {
		times = append(times, float64(f)/60)
	}
	for i := range n {
		if slices.Contains(hidden, i) {
			continue
		}
		first, last := int(60*(0.2+step*float64(i))), int(60*(0.2+step*float64(i)+lasts))
		s := &standing{model: &known, size: 20, frame: first, before: first - 1, after: last + 1, marked: -1}
		s.like[i%2], s.like[1-i%2] = 0.92, 0.85
		s.off[1-i%2] = flow.Point{X: 1.2}
		s.offSD = flow.Point{X: known.Trot.OffAcross, Y: known.Trot.OffDown}
		for f := first; f <= last; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		if slices.Contains(marked, i) {
			s.marked = i % 2
		}
		all, side = append(all, s), append(side, i%2)
	}
	return all, times, side
}

// paceOf returns what the gait says in which a step takes so long, s.
func paceOf(step float64) *errormodel.Pace {
	if step <= known.Trot.LongestStepS {
		return &known.Trot
	}
	return &known.Walk
}

// Which limb a stance is follows from counting, and the time of a step comes out right or
// the count says that it is not sure, however many stances were marked or found.
func TestCount(t *testing.T) {
	for _, tt := range []struct {
		name           string
		step, lasts    float64 // s; a trot in hand, a walk.
		marked, hidden []int
	}{
		{"every stance found, three a side marked", 0.36, 0.28, []int{1, 2, 4, 5, 7, 8}, nil},
		{"one left and one right marked", 0.36, 0.28, []int{3, 4}, nil},
		{"marks of one side only", 0.36, 0.28, []int{2, 4, 6}, nil},
		{"two of the stances hidden", 0.36, 0.28, []int{1, 2, 8}, []int{4, 5}},
		{"a walk, on which both hooves stand at once", 0.6, 0.75, []int{1, 4, 7}, nil},
		{"every stance marked", 0.36, 0.28, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all, times, side := walk(10, tt.step, tt.lasts, tt.marked, tt.hidden)
			c := countAll(all, times, paceOf(tt.step), &known, false)
			got, sure := c.choose()
			if !sure {
				t.Fatalf("not sure: step %.3f s, stances %v", got.step, got.of)
			}
			if len(got.of) != len(all) {
				t.Errorf("%d of %d stances are counted", len(got.of), len(all))
			}
			for _, o := range got.of {
				if o.side != side[o.index] {
					t.Errorf("stance %d is taken for side %d", o.index, o.side)
				}
			}
			if _, step, ok := c.rhythm(&got); !ok || step < 0.97*tt.step || step > 1.03*tt.step {
				t.Errorf("a step of %.3f s, want %.3f", step, tt.step)
			}
		})
	}
}

// From behind, a hind that lands in the print of a fore seems to stand there before it has landed,
// and the fore before it is as like a hind. When each leaves is plain, and steps are counted by that.
func TestCountFromBehindInPrints(t *testing.T) {
	const step, lasts = 0.35, 0.28
	all, times, side := walk(14, step, lasts, []int{1, 2, 4, 5}, nil)
	own := len(all)
	for i := range own {
		if i%2 == 1 { // The fore's stance and its own are seen as one.
			early := all[i].first() - 11
			for f := all[i].first() - 1; f >= max(early, 1); f-- {
				all[i].seen = slices.Insert(all[i].seen, 0, stood{frame: f})
			}
			all[i].before = max(early, 1) - 1
		} else if i > 5 { // The fore's is seen for itself.
			fore := *all[i]
			fore.like[i%2] = 0.9
			fore.before, fore.after, fore.seen = all[i].first()-13, all[i].first()-2, nil
			for f := fore.before + 1; f < fore.after; f++ {
				fore.seen = append(fore.seen, stood{frame: f})
			}
			all, side = append(all, &fore), append(side, -1)
		}
	}
	of := map[*standing]int{}
	for i, s := range all {
		of[s] = side[i]
	}
	c := countAll(all, times, &known.Trot, &known, true)
	got, sure := c.choose()
	if !sure || len(got.of) != own {
		t.Errorf("sure %v, %d of %d stances counted", sure, len(got.of), own)
	}
	for _, o := range got.of {
		if s := c.all[o.index]; of[s] != o.side {
			t.Errorf("frames %d to %d are taken for side %d, want %d (-1: none, a fore)", s.first(), s.last(), o.side, of[s])
		}
	}
	if _, got, ok := c.rhythm(&got); !ok || got < 0.98*step || got > 1.02*step {
		t.Errorf("a step of %.3f s, want %.3f", got, step)
	}
}

// A stance halfway between two steps, which looks and lies like either limb, may be either: it is
// not counted. In step it is, and so it is where it looks like one of them.
func TestCountLeavesOutWhoseSideIsOpen(t *testing.T) {
	for _, tt := range []struct {
		name    string
		late    float64 // Steps.
		unlike  float64 // By how much less it looks like the opposite limb, NCC.
		counted bool
	}{
		{"in step", 0, 0, true},
		{"half a step late", 0.5, 0, false},
		{"half a step late, and plainly the one", 0.5, 0.6, true},
	} {
		const step = 0.6
		all, times, side := walk(8, step, 0.5, []int{0, 1, 2, 3}, nil)
		last := all[len(all)-1]
		for i := range last.seen {
			last.seen[i].frame += int(60 * step * tt.late)
		}
		last.before, last.after = -1, -1 // Neither its landing nor its leaving was seen.
		last.like = [2]float64{0.9, 0.9}
		last.like[1-side[len(all)-1]] -= tt.unlike
		last.off = [2]flow.Point{}
		got, sure := countAll(all, times, &known.Walk, &known, false).choose()
		if k := got.holds(len(all) - 1); !sure || (k >= 0) != tt.counted {
			t.Errorf("%s: sure %v, counted %v, want %v", tt.name, sure, k >= 0, tt.counted)
		} else if k >= 0 && got.of[k].side != side[len(all)-1] {
			t.Errorf("%s: taken for the opposite limb", tt.name)
		}
	}
}

// Steps are counted across a hole where no other count of them is nearly as likely: where it is
// short, where the stances around it tell how long a step takes, or the other pair does, whose
// steps take as long.
func TestCountAcrossAHole(t *testing.T) {
	for _, tt := range []struct {
		name      string
		n         int
		hidden    []int
		otherPair bool
		counted   bool
	}{
		{"one stance hidden", 5, []int{2}, false, true},
		{"four hidden, one stance beyond them", 7, []int{2, 3, 4, 5}, false, false},
		{"four hidden, three beyond them", 9, []int{2, 3, 4, 5}, false, true},
		{"four hidden, one beyond them, the other pair seen", 7, []int{2, 3, 4, 5}, true, true},
	} {
		const step, lasts = 0.36, 0.28
		marked := make([]int, tt.n)
		for i := range marked {
			marked[i] = i
		}
		all, times, _ := walk(tt.n, step, lasts, marked, tt.hidden)
		var others []*counts
		if tt.otherPair {
			seen, _, _ := walk(tt.n, step, lasts, marked, nil)
			others = append(others, countAll(seen, times, &known.Trot, &known, false))
		}
		got, sure := countAll(all, times, &known.Trot, &known, false).choose(others...)
		if !sure || len(got.of) != len(all) || (got.of[0].beat >= 0) != tt.counted {
			t.Errorf("%s: sure %v, %d of %d stances, %v; counted should be %v", tt.name, sure, len(got.of), len(all), got.of, tt.counted)
		}
	}
}

// Where what was found says little, nothing is counted wrong: half and twice the stride
// are not among what comes out as sure.
func TestCountNeverHalvesNorDoubles(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	sure := 0
	for range 200 {
		step, n := 0.25+0.45*rng.Float64(), 6+rng.IntN(6)
		lasts := step * (0.6 + 0.6*rng.Float64())
		var marked, hidden []int
		for i := range n {
			switch {
			case rng.Float64() < 0.45:
				marked = append(marked, i)
			case rng.Float64() < 0.35:
				hidden = append(hidden, i)
			}
		}
		all, times, _ := walk(n, step, lasts, marked, hidden)
		for _, s := range all { // Parts are hidden, too.
			if k := rng.IntN(len(s.seen)/2 + 1); rng.Float64() < 0.3 && len(s.seen)-k >= known.Fewest {
				s.seen, s.before = s.seen[k:], -1
			}
		}
		c := countAll(all, times, paceOf(step), &known, false)
		got, ok := c.choose()
		if !ok || got.of[0].beat < 0 {
			continue
		}
		_, mean, ok := c.rhythm(&got)
		if !ok {
			continue
		}
		sure++
		if mean < 0.8*step || mean > 1.25*step {
			t.Errorf("a step of %.3f s for %.3f; marked %v, hidden %v", mean, step, marked, hidden)
		}
	}
	if sure < 175 {
		t.Errorf("sure of %d of 200 runs, want 175 or more", sure)
	}
	t.Logf("sure of %d of 200 runs", sure)
}

// Two hooves can't stand in one place at a time (common practice: they are a hoof's width apart
// at least): what overlaps a marked stance there is that hoof, seen once more.
func TestOneHoofSeenTwice(t *testing.T) {
	stand := func(first, last int, x float64) *standing {
		s := &standing{model: &known, size: 24, mark: flow.Point{X: x, Y: 600}}
		for f := first; f <= last; f++ {
			s.seen = append(s.seen, stood{frame: f, steady: s.mark})
		}
		return s
	}
	marked := stand(100, 120, 800)
	for _, c := range []struct {
		name        string
		first, last int
		x           float64
		want        bool
	}{
		{"in its place, while it stands", 90, 105, 804, true},
		{"in its place, within its time", 105, 110, 796, true},
		{"in its place, before it", 80, 99, 800, false},
		{"in its place, after it", 121, 140, 800, false},
		{"beside it", 100, 120, 824, false},
	} {
		if got := stand(c.first, c.last, c.x).isAlso(marked); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
