package metrics

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// trackedClip is one file of testdata/tracked; see the README there.
type trackedClip struct {
	Width       int                       `json:"width_px"`
	Height      int                       `json:"height_px"`
	View        traj.View                 `json:"view"`
	Gait        traj.Gait                 `json:"gait"`
	Calibration geometry.CalibrationInput `json:"calibration"`
	Times       []float64                 `json:"times_s"`
	Tracks      []struct {
		Landmark traj.Landmark `json:"landmark"`
		Samples  []*[3]float64 `json:"samples"`
	} `json:"tracks"`
	Truth struct {
		Contacts []struct {
			Limb traj.Landmark `json:"limb"`
			On   float64       `json:"on_s"`
			Off  float64       `json:"off_s"`
		} `json:"contacts"`
		Strides  int                   `json:"strides"`
		Measures map[Name][][2]float64 `json:"measures"`
	} `json:"truth"`
}

func readTracked(t *testing.T, name string) (*trackedClip, *traj.Set) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", "tracked", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	c := new(trackedClip)
	if err := json.Unmarshal(b, c); err != nil {
		t.Fatalf("read %s: %v", name, err)
	}
	set := &traj.Set{Width: c.Width, Height: c.Height, Times: c.Times, ClickPX: 0.4} // As the marks were clicked.
	for _, tr := range c.Tracks {
		out := traj.Track{Landmark: tr.Landmark, Samples: make([]traj.Sample, len(tr.Samples))}
		for i, p := range tr.Samples {
			if out.Samples[i] = traj.Gone(); p != nil {
				out.Samples[i] = traj.Sample{X: p[0], Y: p[1], SD: p[2], Quality: 1, Status: traj.Tracked}
			}
		}
		// The hooves were marked at three distances, in frames that were not kept.
		for _, row := range []float64{860, 730, 650} {
			best := -1
			for i, p := range out.Samples {
				if out.Landmark.IsHoof() && p.Status == traj.Tracked && (best < 0 || math.Abs(p.Y-row) < math.Abs(out.Samples[best].Y-row)) {
					best = i
				}
			}
			if best >= 0 {
				out.Samples[best].Status = traj.Marked
			}
		}
		set.Tracks = append(set.Tracks, out)
	}
	set.Stances = c.stances(set)
	return c, set
}

// stances returns the true stances as far as the hooves were followed in them: the ends
// are open where that began later or ended sooner.
func (c *trackedClip) stances(set *traj.Set) []traj.Stance {
	var out []traj.Stance
	beats := map[bool]int{}
	for _, k := range c.Truth.Contacts {
		beat := beats[k.Limb.IsFore()]
		beats[k.Limb.IsFore()]++
		tr := set.Track(k.Limb)
		if tr == nil {
			continue
		}
		s := traj.Stance{Landmark: k.Limb, First: -1, Before: -1, After: -1, Beat: beat}
		for f, p := range tr.Samples {
			if at := c.Times[f]; p.Status.Seen() && at >= k.On && at <= k.Off {
				if s.First < 0 {
					s.First = f
				}
				s.Last = f
				s.Seen++
			}
		}
		if s.Seen == 0 {
			continue
		}
		if f := s.First - 1; f >= 0 && c.Times[f] < k.On {
			s.Before = f
		}
		if f := s.Last + 1; f < len(c.Times) && c.Times[f] > k.Off {
			s.After = f
		}
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(a, b traj.Stance) int {
		return slices.Index(limbs[:], a.Landmark) - slices.Index(limbs[:], b.Landmark)
	})
	return out
}

// meanError returns measured minus true value over the strides that both have,
// weighted as a run's mean is, the stated spread of that and how many there are.
func (c *trackedClip) meanError(run *Run, n Name) (d, sd float64, count int) {
	var weights float64
	for _, o := range run.Lookup(n).Observations {
		for _, k := range c.Truth.Measures[n] {
			if math.Abs(k[0]-o.Time) < 0.15 && !math.IsNaN(o.Value) {
				w := 1 / sq(o.SD)
				d, weights = d+w*(o.Value-k[1]), weights+w
				count++
				break
			}
		}
	}
	if m := run.Lookup(n).OfRun; m != nil {
		var mean, k float64
		for _, v := range c.Truth.Measures[n] {
			mean, k = mean+v[1], k+1
		}
		return m.Value - mean/k, m.SE, count
	}
	return d / weights, math.Hypot(1/math.Sqrt(weights), run.Lookup(n).CommonSD), count
}

// Most of a hoof's swing and whole stances are missing in what tracking gives.
// The rhythm is found nevertheless, nothing is made up across the holes, and what
// is measured is right.
func TestTrackedClips(t *testing.T) {
	for _, name := range []string{"toward-a", "toward-b", "toward-c", "away-a", "away-c"} {
		t.Run(name, func(t *testing.T) {
			c, set := readTracked(t, name)
			// The truth's strides begin with the landings of the left fore.
			run, err := Measure(set, Options{View: c.View, Gait: c.Gait, Calibration: c.Calibration, Reference: traj.LeftFore})
			if err != nil {
				t.Fatal(err)
			}
			mean := func(x [][2]float64) float64 {
				var sum float64
				for _, v := range x {
					sum += v[1] / float64(len(x))
				}
				return sum
			}
			period := mean(c.Truth.Measures[StrideDuration])
			n := len(run.Strides)
			if n < c.Truth.Strides-1 {
				t.Fatalf("%d of %d strides were found", n, c.Truth.Strides)
			}
			// The slope of the strides' starts: the ends alone are landings with errors of
			// their own, which from behind grow with the distance.
			var number, start []float64
			for i, s := range run.Strides {
				number, start = append(number, float64(i)), append(start, s.Start)
			}
			_, got := stat.LinearRegression(number, start, nil, false)
			tolerance := map[traj.View]float64{traj.Toward: 0.01, traj.Away: 0.015}[c.View]
			if math.Abs(got/period-1) > tolerance {
				t.Errorf("the mean stride lasts %.4f s, want %.4f", got, period)
			}
			for i, s := range run.Strides {
				if d := (s.End - s.Start) / period; d < 0.85 || d > 1.15 {
					t.Errorf("stride %d lasts %.3f s", i, s.End-s.Start)
				}
			}
			for _, g := range run.Contacts {
				best := math.Inf(1)
				for _, k := range c.Truth.Contacts {
					if k.Limb == g.Limb && g.On < k.Off+0.12 && g.Off > k.On-0.2 {
						best = min(best, math.Abs(k.On-g.On))
					}
				}
				if math.IsInf(best, 1) && g.Off < c.Times[len(c.Times)-1]-0.3 {
					t.Errorf("%s: a contact from %.3f to %.3f s was made up", g.Limb, g.On, g.Off)
				}
				if g.OnSD >= 0 && best > 0.1 {
					t.Errorf("%s: the landing at %.3f ± %.3f s is off by %.3f s", g.Limb, g.On, g.OnSD, best)
				}
			}
			check := func(n Name, least int, tol float64) {
				t.Helper()
				d, sd, count := c.meanError(run, n)
				t.Logf("%s: %d strides, off by %+.3f, stated %.3f", n, count, d, sd)
				if count < least {
					t.Errorf("%s was measured in %d strides, want %d at least", n, count, least)
				}
				if math.Abs(d) > tol {
					t.Errorf("%s is off by %+.3f, want %g at most", n, d, tol)
				}
				if n == StepLengthFore || n == StepLengthHind {
					if math.Abs(d) > 2.5*sd {
						t.Errorf("%s is off by %+.3f though ±%.3f is stated", n, d, sd)
					}
				}
			}
			if c.View == traj.Toward {
				check(HeadLowDifference, c.Truth.Strides-1, 5)
				check(HeadHighDifference, c.Truth.Strides-1, 5)
				check(StepLengthFore, c.Truth.Strides/2, 0.08)
				check(StrideLength, c.Truth.Strides/2, 0.05)
				return
			}
			check(StepLengthHind, 3, 0.06)
			check(StrideLength, c.Truth.Strides/2, 0.05)
			check(CroupLowDifference, c.Truth.Strides/2, 5)
			check(CroupHighDifference, c.Truth.Strides/2, 5)
		})
	}
}
