package track_test

import (
	"context"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"

	"jogstrip/pipeline/clip"
	"jogstrip/track"
	"jogstrip/track/traj"
)

// reading is a landmark's place as a person read it from an enlarged picture.
type reading struct {
	landmark traj.Landmark
	frame    int
	x, y     float64 // px.
	sd       float64 // How far the reading may be off, px.
	again    bool    // Whether it was read a second time; x and y are then the mean.
}

// readings returns what was read of one person, and the repeat standard deviation
// of one reading, px, over everything read twice. testdata/README.md says how the
// positions were read.
func readings(t *testing.T, person string) (out []reading, repeat float64) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "hand-read-positions.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var squares float64
	twice := 0
	for i, row := range rows[1:] {
		if row[0] != person {
			continue
		}
		number := func(s string) float64 {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatalf("hand-read-positions.csv, line %d: %v", i+2, err)
			}
			return v
		}
		r := reading{landmark: traj.Landmark(row[1]), frame: int(number(row[2])), x: number(row[3]), y: number(row[4]), sd: number(row[5]), again: row[6] != ""}
		if r.again {
			x, y := number(row[6]), number(row[7])
			squares += ((r.x-x)*(r.x-x) + (r.y-y)*(r.y-y)) / 4 // Two axes, and half for a difference of two readings.
			twice++
			r.x, r.y = (r.x+x)/2, (r.y+y)/2
		}
		out = append(out, r)
	}
	return out, math.Sqrt(squares / float64(twice))
}

// viewOf returns which way a person goes.
func viewOf(person string) traj.View {
	if person == "woman" {
		return traj.Away
	}
	return traj.Toward
}

// A real clip against positions read by eye (people-walking.avi, 10 frames/s,
// from the OpenCV examples): a woman who goes away from the camera and turns, and
// a man who comes nearer. Both are human, so the feet are marked as fore hooves.
// Marks are the readings of one frame and of three: those nearest to the middle
// and to one and five sixths of the way in which all landmarks could be read.
// Wherever the tracker says that it saw a mark it must agree with the eye within
// three spreads of both together, 19 times of 20, and never lie 5 px off (three
// times the reading's own spread where that is more). What it gives up is counted:
// at ten frames a second and a dozen pixels across, feet mostly are.
func TestRealClipAgainstHandReadPositions(t *testing.T) {
	for _, tt := range []struct {
		person      string
		first, last int
		body        bool // Whether the head alone is marked.
		seeds       []int
	}{
		{"woman", 618, 700, true, []int{650}},
		{"woman", 618, 700, true, []int{630, 650, 680}},
		{"woman", 618, 700, false, []int{650}},
		{"woman", 618, 700, false, []int{630, 650, 680}},
		{"man", 358, 402, true, []int{378}},
		{"man", 358, 402, false, []int{378}},
		{"man", 358, 402, false, []int{372, 378, 396}},
	} {
		all, repeat := readings(t, tt.person)
		var marks []track.Mark
		for _, r := range all {
			if slices.Contains(tt.seeds, r.frame) && (!tt.body || r.landmark == traj.Head) {
				marks = append(marks, r.mark(tt.first))
			}
		}
		res, err := track.Run(t.Context(), people(t, tt.first, tt.last), marks, track.Options{View: viewOf(tt.person), ScratchDir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s, marked in frames %v (a reading repeats within %.2f px)", tt.person, tt.seeds, repeat)
		total, within := 0, 0
		for _, tr := range res.Set.Tracks {
			var read, seen, agree int
			var squares, worst float64
			for _, r := range all {
				s := tr.Samples[r.frame-tt.first]
				if r.landmark != tr.Landmark || s.Status == traj.Marked {
					continue
				}
				read++
				if !s.Status.Seen() {
					continue
				}
				seen++
				dx, dy := s.X-r.x, s.Y-r.y
				if max(math.Abs(dx), math.Abs(dy)) <= 3*math.Hypot(s.SD, r.sd) {
					agree++
				}
				d := math.Hypot(dx, dy)
				squares, worst = squares+d*d/2, max(worst, d)
				if d > max(5, 3*r.sd) {
					t.Errorf("%s, %s, frame %d: reported as %v at (%.1f, %.1f) ± %.2f px, read at (%.1f, %.1f) ± %.1f px: %.1f px off",
						tt.person, tr.Landmark, r.frame, s.Status, s.X, s.Y, s.SD, r.x, r.y, r.sd, d)
				}
			}
			if tr.Landmark == traj.Head && 2*seen < read {
				t.Errorf("%s: the head is seen in %d of %d frames, want half or more", tt.person, seen, read)
			}
			if seen == 0 {
				t.Logf("  %-10s read in %2d other frames: lost in all of them, nothing claimed", tr.Landmark, read)
				continue
			}
			t.Logf("  %-10s read in %2d other frames: seen in %2d, lost in %2d; of those seen %2d agree, rms %.2f px per axis, worst %.1f px",
				tr.Landmark, read, seen, read-seen, agree, math.Sqrt(squares/float64(seen)), worst)
			total, within = total+seen, within+agree
		}
		if 20*within < 19*total {
			t.Errorf("%s, marked in frames %v: %d of %d agree with the eye, want 95 %%", tt.person, tt.seeds, within, total)
		}
	}
}

// The feet of the same two, marked as a practitioner marks a film of ten frames a
// second: one click in every stance, and the head three times. Away from the camera
// the pair in front of it is the hind one, so there the feet are marked as hind
// hooves. The other readings of each stance, a fifth of a second and more from the
// click, say how far the feet are followed: the place across the picture must agree
// with the eye wherever it is claimed, the height where that is, too.
func TestRealClipFeetMarkedInEveryStance(t *testing.T) {
	for _, tt := range []struct {
		person      string
		first, last int
		seeds       []int // Of the head.
	}{
		{"woman", 618, 700, []int{630, 650, 680}},
		{"man", 358, 402, []int{372, 378, 396}}, // Seen from the side: the shoe rolls all through its stance.
	} {
		all, _ := readings(t, tt.person)
		var marks []track.Mark
		standing := map[traj.Landmark][]reading{}
		for i := range all {
			r := &all[i]
			if r.landmark == traj.Head {
				if slices.Contains(tt.seeds, r.frame) {
					marks = append(marks, track.Mark{Frame: r.frame - tt.first, Landmark: r.landmark, X: r.x, Y: r.y, Visible: true})
				}
				continue
			}
			if tt.person == "woman" {
				r.landmark = map[traj.Landmark]traj.Landmark{traj.LeftFore: traj.LeftHind, traj.RightFore: traj.RightHind}[r.landmark]
			}
		}
		for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind} {
			for _, s := range stances(all, l) {
				m := s[len(s)/2]
				marks = append(marks, track.Mark{Frame: m.frame - tt.first, Landmark: l, X: m.x, Y: m.y, Visible: true})
				standing[l] = append(standing[l], s...)
			}
		}
		res, err := track.Run(t.Context(), people(t, tt.first, tt.last), marks, track.Options{View: viewOf(tt.person), ScratchDir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		for _, tr := range res.Set.Tracks {
			if tr.Landmark == traj.Head {
				continue
			}
			var read, seen, across, swing int
			var squares, worst float64
			for _, r := range all {
				s := tr.Samples[r.frame-tt.first]
				if r.landmark != tr.Landmark || s.Status == traj.Marked {
					continue
				}
				stands := slices.Contains(standing[r.landmark], r)
				if stands {
					read++
				}
				if !s.Status.Followed() {
					continue
				}
				dx, dy := s.X-r.x, s.Y-r.y
				sdy := s.SD
				switch {
				case !stands:
					swing++
				case s.Status.Seen():
					seen++
				default:
					across, sdy = across+1, s.SDY
				}
				squares, worst = squares+dx*dx, max(worst, math.Abs(dx))
				if math.Abs(dx) > 3*math.Hypot(s.SD, r.sd) || math.Abs(dy) > 3*math.Hypot(sdy, r.sd) {
					t.Errorf("%s, %s, frame %d: %v at (%.1f, %.1f) ± (%.2f, %.2f) px, read at (%.1f, %.1f) ± %.1f px",
						tt.person, tr.Landmark, r.frame, s.Status, s.X, s.Y, s.SD, sdy, r.x, r.y, r.sd)
				}
			}
			t.Logf("%-5s %-10s in stance read in %2d other frames: seen in %2d, across the picture alone in %2d; %d in swing; across rms %.2f px, worst %.1f px",
				tt.person, tr.Landmark, read, seen, across, swing, math.Sqrt(squares/float64(max(seen+across+swing, 1))), worst)
		}
	}
}

// stances returns runs of two or more readings of a foot, at most two frames from
// one to the next, that lie within 3 px of the first.
func stances(all []reading, l traj.Landmark) (out [][]reading) {
	var run []reading
	end := func() {
		if len(run) >= 2 {
			out = append(out, run)
		}
		run = nil
	}
	for _, r := range all {
		if r.landmark != l {
			continue
		}
		if len(run) > 0 && (r.frame-run[len(run)-1].frame > 2 || math.Hypot(r.x-run[0].x, r.y-run[0].y) > 3) {
			end()
		}
		run = append(run, r)
	}
	end()
	return out
}

// The closed loop, mark by mark: followed from one marked frame as far as it is
// seen, and from where it was seen last all the way back. And the gap between the
// path from the first mark and that from the mark at the other end, where both
// see it. Neither error may pass what the two spreads allow.
func TestRealClipThereAndBack(t *testing.T) {
	for _, tt := range []struct {
		person          string
		landmark        traj.Landmark
		from, to        int // Frames that are marked.
		wantThere, want int // Least number of frames of the way there; half of all, that both paths see.
	}{
		{"woman", traj.Head, 630, 695, 50, 33},
		{"woman", traj.LeftFore, 670, 674, 0, 0},
		{"woman", traj.RightFore, 638, 642, 0, 0},
		{"man", traj.Head, 369, 402, 25, 17},
		{"man", traj.LeftFore, 390, 394, 0, 0},
		{"man", traj.RightFore, 386, 390, 0, 0},
	} {
		all, _ := readings(t, tt.person)
		open := people(t, tt.from, tt.to)
		follow := func(m track.Mark) []traj.Sample {
			res, err := track.Run(t.Context(), open, []track.Mark{m}, track.Options{ScratchDir: t.TempDir()})
			if err != nil {
				t.Fatal(err)
			}
			return res.Set.Tracks[0].Samples
		}
		var start, end track.Mark
		for _, r := range all {
			if r.landmark == tt.landmark && r.frame == tt.from {
				start = r.mark(tt.from)
			}
			if r.landmark == tt.landmark && r.frame == tt.to {
				end = r.mark(tt.from)
			}
		}
		there := follow(start)
		far := 0
		for f, s := range there {
			if s.Status.Seen() {
				far = f
			}
		}
		back := follow(track.Mark{Frame: far, Landmark: tt.landmark, X: there[far].X, Y: there[far].Y, Visible: true, SD: there[far].SD})
		near := far
		for f := far; f >= 0; f-- {
			if back[f].Status.Seen() {
				near = f
			}
		}
		if far == 0 {
			t.Logf("%-5s %-10s marked in frame %d, lost at once and not claimed further", tt.person, tt.landmark, tt.from)
		}
		gap := math.Hypot(back[near].X-there[near].X, back[near].Y-there[near].Y)
		if far > 0 {
			t.Logf("%-5s %-10s followed from frame %d to %d and back to %d: closed-loop error %.2f px, spread %.2f px", tt.person, tt.landmark, tt.from, tt.from+far, tt.from+near, gap, back[near].SD)
		}
		if there[near].Status.Seen() && gap > 3*math.Hypot(back[near].SD, there[near].SD) {
			t.Errorf("%s, %s: comes back %.2f px beside where it began, spread %.2f px", tt.person, tt.landmark, gap, back[near].SD)
		}
		if far < tt.wantThere {
			t.Errorf("%s, %s: followed for %d frames, want %d", tt.person, tt.landmark, far, tt.wantThere)
		}
		other := follow(end)
		both, agree := 0, 0
		var squares, worst float64
		for f, a := range there {
			if b := other[f]; a.Status.Seen() && b.Status.Seen() {
				d := math.Hypot(a.X-b.X, a.Y-b.Y)
				both++
				squares, worst = squares+d*d, max(worst, d)
				if d <= 3*math.Sqrt(2)*math.Hypot(a.SD, b.SD) {
					agree++
				}
			}
		}
		if both > 0 {
			t.Logf("%-5s %-10s marked at either end: both paths see it in %d of %d frames, gap %.2f px rms, worst %.2f px", tt.person, tt.landmark, both, len(there), math.Sqrt(squares/float64(both)), worst)
		}
		if both < tt.want || 20*agree < 19*both {
			t.Errorf("%s, %s: both paths see it in %d frames and agree in %d, want %d and 95 %%", tt.person, tt.landmark, both, agree, tt.want)
		}
	}
}

// mark returns r as a mark of a part of the clip that begins at frame first.
func (r reading) mark(first int) track.Mark {
	return track.Mark{Frame: r.frame - first, Landmark: r.landmark, X: r.x, Y: r.y, Visible: true, SD: r.sd}
}

// held is a clip in memory, or a part of one.
type held struct {
	memory
	times []float64
}

func (h *held) Next(ctx context.Context) ([]byte, float64, error) {
	f := h.next
	pix, _, err := h.memory.Next(ctx)
	if err != nil {
		return nil, 0, err
	}
	return pix, h.times[f], nil
}

func (h *held) open() track.Open {
	return func(context.Context) (track.Source, error) {
		again := *h
		return &again, nil
	}
}

// decoded reads a clip once and keeps some parts of it, each from its first frame to its
// last.
func decoded(t *testing.T, info *clip.Info, parts ...[2]int) []held {
	t.Helper()
	r, err := clip.Open(t.Context(), info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	out := make([]held, len(parts))
	for f := 0; ; f++ {
		pix, at, err := r.Next(t.Context())
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		for i := range out {
			if h := &out[i]; parts[i][0] <= f && f <= parts[i][1] {
				h.width, h.height = r.Size()
				h.frames, h.times = append(h.frames, slices.Clone(pix)), append(h.times, at)
			}
		}
	}
}

// walks are those parts of people-walking.avi in which positions were read: a man comes, a
// woman goes. They are decoded for the first test that asks.
var walks struct {
	once  sync.Once
	parts [][2]int
	films []held
}

// people returns the frames first to last of the real clip, or skips the test.
func people(t *testing.T, first, last int) track.Open {
	t.Helper()
	root := os.Getenv("JOGSTRIP_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "shared")
	}
	path := filepath.Join(root, "data", "people-walking.avi")
	if _, err := os.Stat(path); err != nil {
		t.Skipf("SKIPPED: outside data %s is not here; set JOGSTRIP_SHARED", path)
	}
	walks.once.Do(func() {
		info, err := clip.Probe(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		walks.parts = [][2]int{{358, 402}, {618, 700}}
		walks.films = decoded(t, info, walks.parts...)
	})
	for i, film := range walks.films {
		if from := walks.parts[i][0]; from <= first && last <= walks.parts[i][1] {
			film.frames, film.times = film.frames[first-from:last-from+1], film.times[first-from:last-from+1]
			return film.open()
		}
	}
	t.Fatalf("frames %d to %d of people-walking.avi were not decoded", first, last)
	return nil
}
