// Package demo makes a yard folder to try the program on: an invented horse,
// stiff and short on one shoulder, filmed at three visits over four weeks while
// it eases. The clips are rendered, so what is true of them is known; that
// truth goes to a folder of its own which nothing that measures reads.
package demo

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// Horse is the folder of the demo's horse below the yard folder.
const Horse = "horses/juniper"

// visit is one of the demo's visits.
type visit struct {
	date     string
	severity float64 // Of the left fore's shortness; 1 is plain to see.
	// Runs. What this horse has, a short step in front, shows in clips toward the camera: as
	// many of these as the film guide asks for at the two visits that are compared. All else
	// does with fewer, for whoever waits for the demo.
	toward, away int
	page         string
}

var visits = []visit{
	{"2026-03-06", 1, 3, 2, `reason = "feels short in front on the left rein; reluctant to bend left"
surface = "firm gravel lane"
shoeing = "shod in front, four weeks old"
presented = "led"
followed = "step_length_fore"
next_check = "2026-03-20"

[[palpation]]
region = "shoulder blade, rear"
side = "left"
soreness = 3
note = "tight band in front of the spine of the shoulder blade"

[[palpation]]
region = "shoulder blade, rear"
side = "right"
soreness = 1

[[palpation]]
region = "base of the neck"
side = "left"
soreness = 2

[[treatment]]
what = "massage and stretching of the left shoulder and neck"
who = "R. Aldous"
note = "after the yard's vet had seen the horse"

[function]
barn = "rests the left fore pointed"
field = "walks stiffly for the first minutes"
work = "light work in straight lines only"
`},
	{"2026-03-20", 0.5, 2, 1, `reason = "second visit"
surface = "firm gravel lane"
shoeing = "shod in front, six weeks old"
presented = "led"
followed = "step_length_fore"
next_check = "2026-04-03"

[[palpation]]
region = "shoulder blade, rear"
side = "left"
soreness = 2

[[palpation]]
region = "base of the neck"
side = "left"
soreness = 1

[[treatment]]
what = "massage of the left shoulder; exercises shown to the handler"
who = "R. Aldous"

[function]
barn = "stands square"
field = "stiff on cold mornings"
work = "straight lines and wide circles"
`},
	{"2026-04-03", 0.1, 3, 2, `reason = "third visit"
surface = "firm gravel lane"
shoeing = "newly shod"
presented = "led"
followed = "step_length_fore"

[[palpation]]
region = "shoulder blade, rear"
side = "left"
soreness = 1

[[palpation]]
region = "base of the neck"
side = "left"
soreness = 0

[[treatment]]
what = "none; exercises go on"
who = "R. Aldous"

[function]
barn = "stands square"
field = "moves off freely"
work = "back to ordinary work"
`},
}

const yardPage = `name = "Alder Lane Yard"
letterhead = ["Alder Lane Yard", "demo yard: every clip in it is rendered, every name invented"]
`

const horsePage = `name = "Juniper"
gait = "trot"
withers_m = 1.60
notes = "invented for the demo"
`

// Options sets the demo. The zero value is the whole demo.
type Options struct {
	// Progress, where set, is told the clip being rendered, and frames done of all.
	Progress func(clip string, done, total int)
}

// farthestM is how far from the camera a run begins or ends, m.
const farthestM = 20

// plan is one clip to render.
type plan struct {
	folder, name string
	scene        scene.Scene
}

// Make renders the demo below folder: the yard in yard, what is true of its
// clips in truth. Clips that are there already are kept.
func Make(ctx context.Context, folder string, opts Options) (yard string, err error) {
	yard = filepath.Join(folder, "yard")
	if err := writePages(yard); err != nil {
		return "", fmt.Errorf("make demo: %w", err)
	}
	var plans []plan
	for i, v := range visits {
		for _, way := range []struct {
			view traj.View
			runs int
		}{{traj.Toward, v.toward}, {traj.Away, v.away}} {
			for run := range way.runs {
				s := scene.Scene{Seed: uint64(1000 + 100*i + 10*run + len(way.view)), View: way.view, Asymmetry: stiffShoulder(v.severity)}
				s.Horse.Markers, s.Horse.Points = true, true
				// As the film guide asks: the higher the phone, the less the camera's own error
				// along the lane. Tilted down so that the nearest ground marks are in the picture.
				s.Camera.HeightM, s.Camera.PitchDeg = 2, 8
				// For whoever waits for the demo: the picture looks the same, in fewer bits, and what
				// the camera sees of the horse farther away says little of its steps.
				s.Camera.PaintOnce, s.Camera.Samples = true, 4
				// A sensor's noise by day is lost at this rate anyway. The quickest coding is read the
				// quickest, too; one thread does it in the least processor time, beside painting.
				s.Camera.NoiseSD, s.Encoding.CRF, s.Encoding.Preset, s.Encoding.Threads = -1, 20, "ultrafast", 1
				if way.view == traj.Toward {
					s.Motion.StartM = farthestM
				} else {
					s.Motion.EndM = farthestM
				}
				plans = append(plans, plan{filepath.Join(yard, Horse, v.date), fmt.Sprintf("%s-%d", way.view, run+1), s})
			}
		}
	}
	if err := clearUnfinished(plans); err != nil {
		return "", fmt.Errorf("make demo: %w", err)
	}
	var renderer scene.Renderer // All clips have one background.
	told := telling{progress: opts.Progress, percent: make([]int, len(plans))}
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(atOnce)
	for i, p := range plans {
		g.Go(func() error {
			told.begin(p.name)
			err := renderClip(ctx, &renderer, p, filepath.Join(folder, "truth"), func(done, total int) { told.tell(i, 100*done/max(total, 1)) })
			told.tell(i, 100)
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return "", fmt.Errorf("make demo: %w", err)
	}
	return yard, nil
}

// atOnce is how many clips are rendered at a time. While one begins, and while its last
// pictures are coded, one processor would wait.
const atOnce = 2

// telling puts the progress of clips that are rendered at a time together.
type telling struct {
	mutex    sync.Mutex
	progress func(clip string, done, total int)
	newest   string // The clip that was begun last, which stands for all.
	percent  []int  // Of each clip.
}

func (t *telling) begin(name string) {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	t.newest = name
}

func (t *telling) tell(clip, percent int) {
	t.mutex.Lock()
	defer t.mutex.Unlock()
	t.percent[clip] = percent
	if t.progress == nil {
		return
	}
	done := 0
	for _, p := range t.percent {
		done += p
	}
	t.progress(t.newest, done, 100*len(t.percent))
}

// stiffShoulder is a horse that is short and stiff on the left shoulder: the swinging
// limb lifts that shoulder less, and the head is carried to that side.
func stiffShoulder(severity float64) scene.Asymmetry {
	a := scene.ShortFore(traj.Left, severity)
	a.ShoulderLiftMM, a.HeadSideCM = 24*severity, -6*severity
	return a
}

func writePages(yard string) error {
	horse := filepath.Join(yard, Horse)
	pages := map[string]string{filepath.Join(yard, "yard.toml"): yardPage, filepath.Join(horse, "horse.toml"): horsePage}
	for _, v := range visits {
		pages[filepath.Join(horse, v.date, "visit.toml")] = v.page
	}
	for path, text := range pages {
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			continue // A page that is there may have been edited.
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := fsx.WriteFile(path, []byte(text)); err != nil {
			return err
		}
	}
	return nil
}

// clearUnfinished removes what an earlier start left that was ended while it drew.
func clearUnfinished(plans []plan) error {
	for _, p := range plans {
		entries, err := os.ReadDir(p.folder)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		for _, e := range entries {
			if strings.HasPrefix(e.Name(), ".render-") {
				if err := os.RemoveAll(filepath.Join(p.folder, e.Name())); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func renderClip(ctx context.Context, renderer *scene.Renderer, p plan, truthFolder string, progress func(done, total int)) error {
	clip := filepath.Join(p.folder, p.name+".mp4")
	marks := record.MarksPath(clip)
	if _, err := os.Stat(marks); err == nil {
		return nil
	}
	truthPath := filepath.Join(truthFolder, filepath.Base(p.folder), p.name+".truth.json")
	truth, err := renderer.Render(ctx, p.scene, clip, truthPath, progress)
	if err != nil {
		return err
	}
	return record.WriteMarks(marks, Clicked(truth, p.scene, p.name+".mp4", Clicking{}))
}

// landmarksOf are the landmarks a practitioner marks in each view: those that
// can be seen and that lie on something to hold on to.
var landmarksOf = map[traj.View][]traj.Landmark{
	traj.Toward: {traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind, traj.Head},
	traj.Away:   {traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind, traj.Withers, traj.Croup, traj.LeftHip, traj.RightHip},
}

// Clicking is how the marks of a clip are set.
type Clicking struct {
	Distances int  // At how many, spread over the run; 0 means the three that the film guide asks for.
	Exact     bool // Without the errors that clicks have.
	// SD is how far a click is off along each axis, px; 0 means 0.4, under a loupe.
	SD float64
	// Wrong is how much too long the ground marks' width and length were measured,
	// as shares.
	Wrong [2]float64
	// Unstated leaves out of the marks file how far clicks are off.
	Unstated bool
}

// clickSD is how far a click under a loupe is off along each axis, px: what the
// tracker takes it to be.
const clickSD = 0.4

// Clicked returns the marks that a careful person would set on the clip of a
// scene: at every distance two frames, one in the middle of a left fore's stance
// and one of a right fore's, in which the hooves that stand are marked, with the
// small errors that clicks have under a loupe.
func Clicked(truth *scene.Truth, s scene.Scene, name string, how Clicking) *record.Marks {
	view, gait := cmp.Or(s.View, traj.Toward), cmp.Or(s.Gait, traj.Trot)
	m := &record.Marks{Clip: name, View: view, Gait: gait, Picture: record.Picture{Width: truth.Width, Height: truth.Height}}
	m.Calibration = groundClicked(truth, s, how)
	landmarks := slices.Clone(landmarksOf[view])
	if s.Horse.Points && view == traj.Toward {
		landmarks = append(landmarks, traj.Chest, traj.LeftShoulder, traj.RightShoulder)
	}
	frames := framesClicked(truth, s, view, how)
	for _, c := range truth.Clicks(frames, scene.ClickOptions{SD: how.sd(), Seed: s.Seed, Landmarks: landmarks}) {
		if c.Landmark.IsHoof() && !stands(truth, c.Landmark, truth.Times[c.Frame]) {
			continue
		}
		m.Marks = append(m.Marks, record.At(c.Frame, c.Landmark, c.X, c.Y))
	}
	return m
}

// sd is how far a click is off along each axis, px; negative is none.
func (how Clicking) sd() float64 {
	if how.Exact {
		return -1
	}
	return cmp.Or(how.SD, clickSD)
}

// groundClicked returns the ground marks as clicked in the first frame.
func groundClicked(truth *scene.Truth, s scene.Scene, how Clicking) *geometry.CalibrationInput {
	calibration := truth.Calibration(geometry.LevelMetric, 0, scene.ClickOptions{SD: how.sd(), Seed: s.Seed + 1})
	if g := calibration.Ground; g != nil {
		g.WidthM *= 1 + how.Wrong[0]
		g.LengthM *= 1 + how.Wrong[1]
		if how.Unstated {
			g.ClickSD = 0
		}
	}
	return &calibration
}

// framesClicked returns the frames that are marked, in order.
func framesClicked(truth *scene.Truth, s scene.Scene, view traj.View, how Clicking) []int {
	// Where somebody may stand before a limb, other steps are taken then; from behind
	// the hinds say which.
	peopled := s.Horse.Leads || s.Horse.Driven
	limbs := []traj.Landmark{traj.LeftFore, traj.RightFore}
	if peopled && view == traj.Away {
		limbs = []traj.Landmark{traj.LeftHind, traj.RightHind}
	}
	distances := framesAt(truth, 5.5, 8, 10.5, 16)
	if how.Distances > 0 {
		distances = truth.SeedFrames(how.Distances)
	}
	var frames []int
	for _, near := range distances {
		for _, limb := range limbs {
			var but []int
			if peopled {
				but = frames
			}
			f := standing(truth, limb, near, peopled, but)
			if !slices.Contains(frames, f) {
				frames = append(frames, f)
			}
		}
	}
	slices.Sort(frames)
	return frames
}

// framesAt returns the frames in which the horse is nearest to distances from the
// camera, metres.
func framesAt(truth *scene.Truth, distances ...float64) []int {
	var out []int
	points := truth.Points(traj.LeftFore)
	for _, want := range distances {
		best := 0
		for f := range points {
			from := func(f int) float64 { return math.Abs(points[f].Lane[1] - truth.Eye(f).Position[1] - want) }
			if from(f) < from(best) {
				best = f
			}
		}
		out = append(out, best)
	}
	return out
}

// standing returns the frame nearest to near in the middle of a stance of limb; if
// inSight, of a stance in which nobody stands before the limb, where there is one.
// Frames in but are not taken.
func standing(truth *scene.Truth, limb traj.Landmark, near int, inSight bool, but []int) int {
	best, at := math.Inf(1), near
	points := truth.Points(limb)
	for _, c := range truth.Contacts {
		middle := (c.On + c.HeelOff) / 2
		if c.Limb != limb || middle < 0 || middle > truth.Times[len(truth.Times)-1] {
			continue
		}
		i, _ := slices.BinarySearch(truth.Times, middle)
		i = min(i, len(truth.Times)-1)
		d := math.Abs(middle - truth.Times[near])
		if inSight && !points[i].Visible {
			d += 100 // Only where no other is in sight.
		}
		if d < best && !slices.Contains(but, i) {
			best, at = d, i
		}
	}
	return at
}

func stands(truth *scene.Truth, limb traj.Landmark, t float64) bool {
	return slices.ContainsFunc(truth.Contacts, func(c scene.Contact) bool { return c.Limb == limb && c.On <= t && t < c.HeelOff })
}
