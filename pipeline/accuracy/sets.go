package accuracy

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"

	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// Set says what a hard clip may be used for. What was used for more than its set
// allows moves to the set that allows it.
type Set string

// The sets. A clip is of one set alone; the tests hold them apart.
const (
	// Fit is what constants and spreads are set on: scripts/calibrate reads it, and
	// anybody may look at it for any reason.
	Fit Set = "fit"
	// Check is looked at while developing: to see whether a change helps on clips
	// that it was not fitted on, and to find faults. No constant is fitted on it.
	Check Set = "check"
	// Sealed is measured by scripts/accuracy for the published table and by nothing
	// else. Nobody looks at one of its clips to mend it. If somebody did, its seed
	// moves to Check and a new one takes its place.
	Sealed Set = "sealed"
)

// Clip is one hard clip of a set: a seed of scene.Hard in a view or, where Shoulders is
// set, of scene.HardShoulders, with marks on chest and points of the shoulders; where Dots is
// set, with a white ball stuck on each point of a shoulder; where Walks is set, at the walk,
// on the nearest metres of the lane and in a smaller picture.
type Clip struct {
	Seed            uint64
	View            traj.View
	Shoulders, Dots bool
	Walks           bool
}

// seeds of each set. Toward and away take turns; every seed is used once.
var seeds = map[Set][]uint64{
	Fit:    append(span(1000, 24, 1012), span(2100, 12)...), // The settings of 1012 contradict one another.
	Check:  span(2000, 24),
	Sealed: span(7300, 24),
}

// shoulderSeeds are those of each set's clips in which the shoulders are marked, all of
// them toward the camera.
var shoulderSeeds = map[Set][]uint64{Fit: span(1100, 16), Check: span(2200, 8), Sealed: span(7400, 16)}

// walkSeeds are those of each set's clips at the walk, on which nothing is fitted. Toward and
// away take turns.
var walkSeeds = map[Set][]uint64{Check: span(2300, 12), Sealed: span(7500, 16)}

// span lists n seeds from first on, but for those left out.
func span(first uint64, n int, but ...uint64) []uint64 {
	var out []uint64
	for seed := first; len(out) < n; seed++ {
		if !slices.Contains(but, seed) {
			out = append(out, seed)
		}
	}
	return out
}

// Clips lists the clips of a set, toward and away by turns, so that the first few
// are a fair part of them.
func Clips(set Set) []Clip { return byTurns(seeds[set]) }

// WalkClips lists the clips of a set at the walk, toward and away by turns.
func WalkClips(set Set) []Clip {
	out := byTurns(walkSeeds[set])
	for i := range out {
		out[i].Walks = true
	}
	return out
}

// byTurns returns a clip of each seed, toward and away by turns.
func byTurns(seeds []uint64) []Clip {
	out := make([]Clip, len(seeds))
	for i, seed := range seeds {
		out[i] = Clip{Seed: seed, View: []traj.View{traj.Toward, traj.Away}[i%2]}
	}
	return out
}

// ShoulderClips lists the clips of a set in which the shoulders are marked.
func ShoulderClips(set Set) []Clip {
	var out []Clip
	for _, seed := range shoulderSeeds[set] {
		out = append(out, Clip{Seed: seed, View: traj.Toward, Shoulders: true})
	}
	return out
}

// DottedClips lists the same horses on the same ways with dots stuck on, filmed again.
func DottedClips(set Set) []Clip {
	out := ShoulderClips(set)
	for i := range out {
		out[i].Dots = true
	}
	return out
}

// Name is the clip's name in a folder: view and seed.
func (c Clip) Name() string {
	name := fmt.Sprintf("%s-%d", c.View, c.Seed)
	if c.Dots {
		name += "-dots"
	}
	return name
}

// Scene is what is filmed.
func (c Clip) Scene() scene.Scene {
	if c.Walks {
		return walking(scene.Hard(c.Seed, c.View))
	}
	if !c.Shoulders {
		return scene.Hard(c.Seed, c.View)
	}
	s := scene.HardShoulders(c.Seed)
	s.Horse.Markers = c.Dots
	return s
}

// walking returns s at the walk, 1.3 to 1.7 m/s, on the nearest 7 m of its way.
func walking(s scene.Scene) scene.Scene {
	s.Gait = traj.Walk
	s.Motion.SpeedMPS *= 0.46
	Nearest(&s, 7)
	return s
}

// Nearest makes a clip smaller and shorter: 1280 × 720, of so many metres of the lane, the nearest.
func Nearest(s *scene.Scene, metres float64) {
	s.Camera.Width, s.Camera.Height = 1280, 720
	if s.View == traj.Toward {
		s.Motion.StartM = s.Motion.EndM + metres
	} else {
		s.Motion.EndM = s.Motion.StartM + metres
	}
}

// Clicking is how the clip's marks are set: clicks 0.4 or 1 px off, ground marks
// measured 1 to 3 % wrong, at three or four distances. The marks file says nothing of it.
func (c Clip) Clicking() demo.Clicking {
	rng := rand.New(rand.NewPCG(c.Seed, 0x5be0cd19137e2179))
	wrong := func() float64 {
		w := 0.01 + 0.02*rng.Float64()
		if rng.Float64() < 0.5 {
			w = -w
		}
		return w
	}
	return demo.Clicking{
		Distances: 3 + rng.IntN(2),
		SD:        []float64{0.4, 1}[rng.IntN(2)],
		Wrong:     [2]float64{wrong(), wrong()},
		Unstated:  true,
	}
}

// Film renders the clip with its marks into folder/clips and its truth into
// folder/truth, and returns the clip's path and the truth. change, which may be nil,
// alters the scene beforehand, for smaller and shorter clips. Clips that are there
// already, made from the same scene, are kept; after a change of the renderer itself
// the folder must be emptied by hand.
func (c Clip) Film(ctx context.Context, folder string, change func(*scene.Scene)) (string, *scene.Truth, error) {
	s := c.Scene()
	if change != nil {
		change(&s)
	}
	path := filepath.Join(folder, "clips", c.Name()+".mp4")
	secret := filepath.Join(folder, "truth", c.Name()+".json")
	if truth, err := scene.LoadTruth(secret); err == nil {
		want, err := scene.Simulate(s)
		if err != nil {
			return "", nil, fmt.Errorf("film %s: %w", c.Name(), err)
		}
		if _, err := os.Stat(path); err == nil && truth.Scene == want.Scene {
			return path, truth, nil
		}
	}
	for _, f := range []string{path, secret} {
		if err := os.MkdirAll(filepath.Dir(f), 0o755); err != nil {
			return "", nil, err
		}
	}
	truth, err := scene.Render(ctx, s, path, secret, nil)
	if err != nil {
		return "", nil, fmt.Errorf("film %s: %w", c.Name(), err)
	}
	marks := demo.Clicked(truth, s, filepath.Base(path), c.Clicking())
	if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
		return "", nil, fmt.Errorf("film %s: %w", c.Name(), err)
	}
	return path, truth, nil
}
