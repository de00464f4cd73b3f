package metrics

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// Human walking with 28 markers at 150 Hz and force plates at 450 Hz in one
// trial (BMClab/BMC teaching notes, CC BY 4.0). Contact times from the plates at
// 20 N, s: landing and leaving of each footfall.
var plateTimes = map[string][][2]float64{
	"walk1": {{0.213, 0.860}, {0.762, 1.402}, {1.316, 1.953}, {1.860, 2.424}},
	"walk2": {{0.047, 0.664}, {0.580, 1.187}, {1.078, 1.671}},
}

// markerFile is a motion-capture trial; positions in metres with x along the
// walk, y up and z to the walker's right. Index: frame.
type markerFile struct {
	times   []float64
	markers map[string][][3]float64
}

func readMarkers(t *testing.T, name string) *markerFile {
	t.Helper()
	dir := os.Getenv("JOGSTRIP_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared")
	}
	file, err := os.Open(filepath.Join(dir, "data", "walk", name+".trc"))
	if err != nil {
		t.Skipf("SKIPPED, events are not compared with force plates: %v", err)
	}
	defer file.Close()
	out := &markerFile{markers: map[string][][3]float64{}}
	var names []string
	sc := bufio.NewScanner(file)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		f := strings.Split(strings.TrimRight(sc.Text(), "\r\n"), "\t")
		if f[0] == "Frame#" {
			for i := 2; i < len(f); i += 3 {
				names = append(names, f[i])
			}
			continue
		}
		if _, err := strconv.Atoi(f[0]); err != nil || names == nil {
			continue
		}
		at, err := strconv.ParseFloat(f[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		out.times = append(out.times, at)
		for i, n := range names {
			if n == "" || 2+3*i+2 >= len(f) {
				continue
			}
			var p [3]float64
			for k := range 3 {
				v, err := strconv.ParseFloat(f[2+3*i+k], 64)
				if err != nil {
					v = math.NaN()
				}
				p[k] = v / 1000
			}
			out.markers[n] = append(out.markers[n], p)
		}
	}
	return out
}

// filmed returns the tracks of a left and a right marker as a camera in front of
// (or behind) the walker sees them, 1.3 m high and two to three metres from the
// nearest footfall.
func (m *markerFile) filmed(view traj.View, left, right string, fps, noise float64, seed uint64) *traj.Set {
	r := rand.New(rand.NewPCG(seed, 3))
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range m.markers[left] {
		lo, hi = min(lo, p[0]), max(hi, p[0])
	}
	cam := geometry.LevelCamera(1500, 959.5, 539.5, 1.3, geometry.Point{X: 959.5, Y: 300})
	set := &traj.Set{Width: 1920, Height: 1080}
	last := m.times[len(m.times)-1]
	for i := 0; float64(i)/fps <= last; i++ {
		set.Times = append(set.Times, float64(i)/fps)
	}
	for _, v := range []struct {
		limb traj.Landmark
		name string
	}{{traj.LeftFore, left}, {traj.RightFore, right}} {
		p := m.markers[v.name]
		tr := traj.Track{Landmark: v.limb}
		for _, at := range set.Times {
			// Straight lines between the trial's own samples.
			k := min(len(m.times)-2, int((at-m.times[0])*150))
			a := (at - m.times[k]) / (m.times[k+1] - m.times[k])
			var q [3]float64
			for c := range 3 {
				q[c] = p[k][c]*(1-a) + p[k+1][c]*a
			}
			across, away := q[2], q[0]-lo+2.5
			if view == traj.Toward {
				across, away = -q[2], hi-q[0]+2.5
			}
			s, ok := cam.Project(across, away, q[1])
			if !ok || math.IsNaN(s.X) {
				tr.Samples = append(tr.Samples, traj.Gone())
				continue
			}
			tr.Samples = append(tr.Samples, traj.Sample{X: s.X + noise*r.NormFloat64(), Y: s.Y + noise*r.NormFloat64(), SD: max(noise, 0.02), Quality: 1, Status: traj.Tracked})
		}
		set.Tracks = append(set.Tracks, tr)
	}
	set.Stances = StandStill(set)
	return set
}

// Contact times found in the picture beside those of the force plates. Landing
// is taken from the heel marker and leaving from the toe, as those are the parts
// that land first and leave last. A laboratory figure to compare with: 95 % of
// events within 26 ms from a hoof marker in three dimensions (Starke & Clayton
// 2015, PeerJ 3:e783); it is not claimed for this picture.
func TestWalkAgainstForcePlates(t *testing.T) {
	for _, fps := range []float64{60, 150} {
		for _, view := range []traj.View{traj.Toward, traj.Away} {
			var on, off, ratio []float64
			wanted := 0
			for _, name := range []string{"walk1", "walk2"} {
				m := readMarkers(t, name)
				for _, part := range []struct {
					left, right string
					leaving     bool
				}{{"L.Heel", "R.Heel", false}, {"L.MT2", "R.MT2", true}} {
					for seed := range uint64(1) {
						set := m.filmed(view, part.left, part.right, fps, 0.2, seed)
						run, err := Measure(set, Options{View: view, Gait: traj.Walk})
						if err != nil {
							t.Fatal(err)
						}
						for _, p := range plateTimes[name] {
							want := p[0]
							if part.leaving {
								want = p[1]
							}
							// Both need some movement on either side of the instant.
							if want < 0.1 || want > set.Times[len(set.Times)-1]-0.1 {
								continue
							}
							wanted++
							best, stated := math.Inf(1), 0.0
							for _, c := range run.Contacts {
								got, sd := c.On, c.OnSD
								if part.leaving {
									got, sd = c.Off, c.OffSD
								}
								if d := got - want; sd >= 0 && math.Abs(d) < math.Abs(best) {
									best, stated = d, sd
								}
							}
							if math.Abs(best) > 0.15 {
								continue
							}
							ratio = append(ratio, best/stated)
							if part.leaving {
								off = append(off, 1000*best)
							} else {
								on = append(on, 1000*best)
							}
						}
					}
				}
			}
			describe := func(x []float64) string {
				return fmt.Sprintf("n %2d bias %+5.1f spread %4.1f, 95 %% within %4.1f ms", len(x), signal.Median(x), signal.RobustSD(x), signal.Quantile(absAll(x), 0.95))
			}
			t.Logf("%3.0f frames/s %-6s landing (heel) %s | leaving (toe) %s | %.2f times as wide as stated | timed %d of %d", fps, view, describe(on), describe(off), signal.RobustSD(ratio), len(on)+len(off), wanted)
			if len(on)+len(off) < wanted*3/4 {
				t.Errorf("only %d of %d plate events were timed", len(on)+len(off), wanted)
			}
			// What an instant's standard deviation says is what the plates show. From behind a
			// foot comes down and leaves almost along the line of sight: there it seems to
			// stand too early, alike on both sides, and the scatter is what comparisons of
			// sides have to bear.
			early := map[traj.View]float64{traj.Toward: 20, traj.Away: 60}[view]
			if b := signal.Median(on); math.Abs(b) > early || signal.RobustSD(on) > 30 {
				t.Errorf("landings: bias %.1f ms, spread %.1f ms", b, signal.RobustSD(on))
			}
			if b := signal.Median(off); math.Abs(b) > 25 || signal.RobustSD(off) > 30 {
				t.Errorf("leavings: bias %.1f ms, spread %.1f ms", b, signal.RobustSD(off))
			}
			if z := signal.RobustSD(ratio); view == traj.Toward && z > 1.25 {
				t.Errorf("errors are %.2f times as wide as stated", z)
			}
		}
	}
}

func absAll(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}
