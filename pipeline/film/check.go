package film

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/doubt"
	"jogstrip/pipeline/record"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// ErrFilmAgain is for callers to wrap where a clip should be filmed again.
var ErrFilmAgain = errors.New("the clip should be filmed again")

// Verdict is what the check says of one thing.
type Verdict string

// The verdicts.
const (
	Good      Verdict = "good"
	Usable    Verdict = "usable"     // Can be measured, with wider intervals.
	FilmAgain Verdict = "film again" // Would waste the measuring.
	NotKnown  Verdict = "not known"  // Cannot be told from the pictures.
)

// Options says what the check may use besides the clip. The zero value is right.
type Options struct {
	// Marks of the clip; nil where there are none yet.
	Marks *record.Marks
	// MarksError is why the marks that lie beside the clip could not be read; nil where
	// they could, or where there are none.
	MarksError error
	// Lengths is how the yard reads lengths.
	Lengths lengths.System
}

// Item is one thing that was checked.
type Item struct {
	Name    string  `json:"name"`
	Title   string  `json:"title"`
	Verdict Verdict `json:"verdict"`
	// Found is what was found, in words with numbers and units.
	Found string `json:"found"`
	// Advice says what to do differently; empty where nothing needs to change.
	Advice string `json:"advice,omitempty"`
}

// Report is what the check found.
type Report struct {
	Clip    string  `json:"clip"`
	Verdict Verdict `json:"verdict"` // The worst of the items; NotKnown ones do not count.
	// Sentence is the finding in plain words.
	Sentence  string  `json:"sentence"`
	Items     []Item  `json:"items"`
	Frames    int     `json:"frames"` // How many pictures were looked at.
	DurationS float64 `json:"duration_s"`
	TookS     float64 `json:"took_s"`
}

// Item returns the item of that name, or nil.
func (r *Report) Item(name string) *Item {
	for i := range r.Items {
		if r.Items[i].Name == name {
			return &r.Items[i]
		}
	}
	return nil
}

// Names of the items.
const (
	FrameRate    = "frame_rate"
	Resolution   = "resolution"
	Exposure     = "exposure"
	Blur         = "motion_blur"
	Shake        = "shake"
	Size         = "size"
	Distance     = "distance"
	Strides      = "strides"
	InFrame      = "in_frame"
	Straightness = "straightness"
	Noise        = "noise"
	Level        = "level"
	Lens         = "lens"
	Limbs        = "limbs"
	Mirror       = "mirror"
	Marks        = "marks"
	GroundMarks  = "ground_marks"
	Direction    = "direction"
)

// The bounds between the verdicts. They are common practice and what the
// tracker needs, not published values; each is told to the handler as a number.
const (
	goodRate, usableRate   = 100.0, 45.0  // Frames per second.
	goodShort, usableShort = 1080, 720    // Shorter side of the picture, px.
	goodBlur, usableBlur   = 4.0, 9.0     // What movement adds to the width of an edge, px at 1080p.
	slightBlur             = 2.6          // What never counts, px of the clip itself.
	slightlySoft           = 3.0          // Width of the sharpest edges of a picture a little out of focus, px at 1080p or less: sharp ones have 2.1 to 2.2.
	softEdge               = 4.5          // Width of the sharpest edges of a picture out of focus, px.
	goodShake, usableShake = 0.0004, 0.02 // Share of the picture's width, root mean square, from one twelfth of a second to the next. On a tripod it is 0.00003, in a quiet hand 0.002.
	goodSway               = 0.003        // Share of the picture's width, root mean square about the mean place: a tripod that stands has 0.0002.
	goodNoise, usableNoise = 3.0, 7.0     // Standard deviation of a pixel, grey levels of 255.
	goodTilt, usableTilt   = 2.0, 6.0     // Turn of the camera about its axis, degrees.
	goodTall, usableTall   = 0.30, 0.15   // Height of the horse at its largest, share of the picture's height.
	goodStride, fewStrides = 8.0, 4.0     // Strides in sight.
	goodDrift, usableDrift = 0.25, 0.60   // Wander about a straight path, metres, for a horse of ordinary height.
)

// Check looks through the clip. It reads a sample of about twelve pictures a
// second, whatever the clip's own rate, in memory that does not depend on its
// length.
func Check(ctx context.Context, info *clip.Info, opts Options) (*Report, error) {
	began := time.Now()
	s, err := sample(ctx, info)
	if err != nil {
		return nil, fmt.Errorf("check clip %s: %w", info.Path, err)
	}
	f := analyse(s)
	r := &Report{Clip: info.Path, DurationS: info.DurationS(), Frames: len(s.frames)}
	r.Items = []Item{
		frameRate(info, f), resolution(info), exposure(f), noise(f), blur(f, info), shake(f), level(opts.Marks, info), lens(opts.Marks, info),
		size(f), distance(opts, info), strides(f, opts), inFrame(f), straightness(f, opts.Lengths), limbs(opts.Marks),
		groundMarks(opts.Marks), direction(f, opts.Marks, filepath.Base(info.Path)),
	}
	r.Items = append(r.Items, mirror(info)...)
	r.Items = append(r.Items, marked(opts)...)
	if s.broken {
		r.Items = append(r.Items, Item{Name: "whole", Title: "Whole file", Verdict: Usable, Found: "the clip breaks off before its end", Advice: "Copy the file from the phone once more; if it stays so, film again."})
	}
	r.conclude()
	r.TookS = time.Since(began).Seconds()
	return r, nil
}

// lookYourself begins the advice of an item that only a person can judge.
const lookYourself = "Look yourself: "

// Asks reports whether the item is not known and a person must look.
func (i Item) Asks() bool { return i.Verdict == NotKnown && strings.HasPrefix(i.Advice, lookYourself) }

func (r *Report) conclude() {
	r.Verdict = Good
	var again, better, ask []string
	for _, i := range r.Items {
		if i.Asks() {
			ask = append(ask, strings.ToLower(i.Title))
		}
		switch i.Verdict {
		case FilmAgain:
			again = append(again, strings.ToLower(i.Title))
		case Usable:
			better = append(better, strings.ToLower(i.Title))
		}
	}
	switch {
	case len(again) > 0:
		r.Verdict = FilmAgain
		r.Sentence = "Film again while the horse is still there: " + strings.Join(again, ", ") + "."
	case len(better) > 0:
		r.Verdict = Usable
		r.Sentence = "Usable: the clip can be measured. Better next time: " + strings.Join(better, ", ") + "."
	default:
		r.Sentence = "Good: the clip is well filmed."
	}
	if len(ask) > 0 && r.Verdict != FilmAgain {
		r.Sentence += " Look yourself: " + strings.Join(ask, ", ") + "."
	}
}

// Better says how to film a clip again that was measured: what it lacks by the bounds of
// the check, in one phrase, empty where it lacks nothing. width and height are the
// picture's, shakePX the root mean square shake of its background, px; bare says that no
// marks lay on the ground.
func Better(strides, width, height int, shakePX float64, bare bool) string {
	var out []string
	if strides < goodStride {
		out = append(out, fmt.Sprintf("a longer pass (%d or more strides, here %d)", int(goodStride), strides))
	}
	if short := min(width, height); short < goodShort {
		out = append(out, fmt.Sprintf("at %dp or more (here %d × %d px)", goodShort, width, height))
	}
	if shakePX > goodSway*float64(width) {
		out = append(out, "with the phone on a tripod or leaned on something firm")
	}
	if bare {
		out = append(out, "with four cones or chalk crosses on the ground in the picture")
	}
	return strings.Join(out, ", ")
}

func grade(value, good, usable float64) Verdict {
	switch {
	case math.IsNaN(value):
		return NotKnown
	case value >= good:
		return Good
	case value >= usable:
		return Usable
	}
	return FilmAgain
}

// under grades a value of which less is better.
func under(value, good, usable float64) Verdict { return grade(-value, -good, -usable) }

func frameRate(info *clip.Info, f findings) Item {
	// What repeats the picture before tells nothing new.
	rate := info.FrameRate * (1 - f.repeats)
	i := Item{Name: FrameRate, Title: "Frame rate", Verdict: grade(rate, goodRate, usableRate), Found: fmt.Sprintf("%.0f frames a second", info.FrameRate)}
	if f.repeats > 0 {
		i.Found += fmt.Sprintf(", of which %.0f %% repeat the one before: filmed at about %.0f", 100*f.repeats, rate)
	}
	if info.Slowed > 1 {
		i.Found += fmt.Sprintf("; the clip plays %.3g times slower than it was filmed, which is taken into account", info.Slowed)
	}
	if info.Variable {
		i.Found += ", varying; the true times are used"
	}
	if i.Verdict != Good {
		// One event is caught to within a frame: uniform error, interval over √12.
		i.Found += fmt.Sprintf("; an instant is caught to ±%.0f ms", 1000/rate/math.Sqrt(12))
		i.Advice = "Set the phone's video to 120 frames a second (60 where it has no 120)."
	}
	if f.repeats > 0 {
		i.Advice = strings.TrimSpace(i.Advice + " Send the original file, not one that a program has converted.")
	}
	return i
}

func noise(f findings) Item {
	i := Item{Name: Noise, Title: "Noise", Verdict: NotKnown, Found: "not known: the camera moves"}
	if f.unsteady || math.IsNaN(f.noise) {
		return i
	}
	i.Verdict = under(f.noise, goodNoise, usableNoise)
	i.Found = fmt.Sprintf("what stands still changes by %.1f of 255 grey levels from picture to picture", f.noise)
	if i.Verdict != Good {
		i.Advice = "Film in brighter light; in dim light the phone's pictures are grainy and fine marks are lost."
	}
	return i
}

func level(m *record.Marks, info *clip.Info) Item {
	i := Item{Name: Level, Title: "Camera level", Verdict: NotKnown, Found: "not known without ground marks"}
	if m == nil || m.Calibration == nil || m.Calibration.Ground == nil {
		return i
	}
	c, err := geometry.Calibrate(*m.Calibration, info.Width, info.Height, errormodel.Usual().Camera)
	if err != nil {
		i.Found = "not known: the ground marks do not fit"
		return i
	}
	tilt := math.Abs(c.Camera.TiltAcross())
	i.Verdict = under(tilt, goodTilt, usableTilt)
	i.Found = fmt.Sprintf("the picture is turned by %.1f° against the ground", tilt)
	if i.Verdict != Good {
		i.Advice = "Level the phone: let the ground run straight across the screen."
	}
	return i
}

// lens says whether the clip was filmed with a wide lens, which bends straight lines: at
// the main lens of phones the bend is a part of a percent (common practice), and the ground
// marks, which lie around the lane, take most of it up.
func lens(m *record.Marks, info *clip.Info) Item {
	i := Item{Name: Lens, Title: "Lens", Verdict: NotKnown, Found: "not known without ground marks; wide lenses bend straight lines"}
	if m == nil || m.Calibration == nil || m.Calibration.Ground == nil {
		i.Advice = "Film with the phone's main lens (1×)."
		return i
	}
	c, err := geometry.Calibrate(*m.Calibration, info.Width, info.Height, errormodel.Usual().Camera)
	if err != nil {
		i.Found = "not known: the ground marks do not fit"
		return i
	}
	least, _ := doubt.MainLens()
	side := float64(max(info.Width, info.Height))
	share, sd := c.Camera.F/side, c.FocalSD/side
	i.Verdict, i.Found = Good, fmt.Sprintf("focal length %.2f of the picture's longer side; phones' main lenses have %.2f or more", share, least)
	if share+2*sd >= least {
		i.Found += "; how much this one bends straight lines can’t be told"
	} else {
		i.Verdict = Usable
		i.Found += ", and wider ones bend straight lines"
		i.Advice = "Film with the phone's main lens (1×), from farther away."
	}
	return i
}

// mirror says where the picture is shown mirrored, and nothing otherwise.
func mirror(info *clip.Info) []Item {
	if !info.Mirrored {
		return nil
	}
	return []Item{{Name: Mirror, Title: "Mirrored picture", Verdict: Usable, Found: "the clip has players exchange left and right, as phones do with the camera on their front",
		Advice: "Film with the camera on the phone's back: in a mirror the horse's left is its right."}}
}

// marked says what contradicts itself in the marks, where there are any.
func marked(opts Options) []Item {
	m := opts.Marks
	i := Item{Name: Marks, Title: "Marks", Verdict: Good, Found: "nothing in them contradicts itself"}
	switch {
	case opts.MarksError != nil:
		// That says nothing of how the clip was filmed.
		i.Verdict, i.Found, i.Advice = NotKnown, "left aside: "+opts.MarksError.Error(), "Put the marks file right, or mark the clip anew."
		return []Item{i}
	case m == nil:
		return nil
	}
	for _, d := range doubt.OfMarks(m, nil) {
		if d.Severity != record.Remark {
			i.Verdict, i.Found, i.Advice = Usable, d.Sentence, d.Check
			break
		}
	}
	return []Item{i}
}

// limbs says whether hooves were hidden where they were marked. Pictures alone do not
// tell: to this check a leader's leg before a limb, and grass over a hoof, are a part of
// what moves or of what stands still like any other.
func limbs(m *record.Marks) Item {
	i := Item{Name: Limbs, Title: "Limbs in sight", Verdict: NotKnown, Found: "not known without marks: a leader's leg before a limb looks like the limb, grass over a hoof like the ground"}
	if m == nil {
		i.Advice = lookYourself + "is every hoof of the nearer pair seen while it stands, where the horse is near?"
		return i
	}
	// The nearer pair: the other one is hidden behind it for much of the time.
	pair := [2]traj.Landmark{traj.LeftFore, traj.RightFore}
	if m.View == traj.Away {
		pair = [2]traj.Landmark{traj.LeftHind, traj.RightHind}
	}
	var seen, hidden [2]int
	for _, k := range m.Marks {
		if side := slices.Index(pair[:], k.Landmark); side >= 0 && k.Hidden {
			hidden[side]++
		} else if side >= 0 {
			seen[side]++
		}
	}
	if seen[0]+hidden[0] == 0 || seen[1]+hidden[1] == 0 {
		i.Found = fmt.Sprintf("not known: the %s or the %s is not marked", pair[0].Words(), pair[1].Words())
		return i
	}
	i.Verdict, i.Found = Good, fmt.Sprintf("where they were marked the %s was in sight in %d of %d frames, the %s in %d of %d", pair[0].Words(), seen[0], seen[0]+hidden[0], pair[1].Words(), seen[1], seen[1]+hidden[1])
	for side := range pair {
		// Once is a moment; in half of the frames something stands in the way.
		if hidden[side] >= 2 && hidden[side] >= seen[side] {
			i.Verdict = Usable
			i.Advice = "Lead beside the shoulder, never before a limb, and film where no grass hides the hooves."
		}
	}
	return i
}

// groundMarks asks for the marks on the ground where nobody has marked them yet: cones and
// chalk look like anything else that stands.
func groundMarks(m *record.Marks) Item {
	i := Item{Name: GroundMarks, Title: "Four marks on the ground", Verdict: NotKnown, Found: "not looked for by this check"}
	if m != nil && m.Calibration != nil && m.Calibration.Ground != nil {
		i.Verdict, i.Found = Good, fmt.Sprintf("all four are marked in frame %d", m.Calibration.Frame)
		return i
	}
	i.Advice = lookYourself + "are all four in the picture, and are both lengths between them written down?"
	return i
}

// NamedView returns the view that a clip's file name says; empty where it says none, or both.
func NamedView(name string) traj.View {
	name = strings.ToLower(name)
	switch toward, away := strings.Contains(name, string(traj.Toward)), strings.Contains(name, string(traj.Away)); {
	case toward && !away:
		return traj.Toward
	case away && !toward:
		return traj.Away
	}
	return ""
}

// direction holds the way the horse goes in the picture against the way that the marks say,
// or without them the clip's name, which is the way it was sent under.
func direction(f findings, m *record.Marks, name string) Item {
	i := Item{Name: Direction, Title: "Direction", Verdict: NotKnown, Found: "not known: what moves hardly grows or shrinks in the picture"}
	said, by := traj.View(""), "the marks say"
	if m != nil {
		said = m.View
	} else {
		said, by = NamedView(name), "it is called"
	}
	ways := map[traj.View]string{traj.Toward: "coming toward the camera", traj.Away: "going away from the camera"}
	if f.goes != "" {
		i.Found = "the film shows the horse " + ways[f.goes]
	}
	switch {
	case said == "":
	case f.goes == said:
		i.Verdict = Good
	case f.goes == "":
		i.Advice = fmt.Sprintf("%sis the horse %s, as %s (%s)?", lookYourself, ways[said], by, said)
	default:
		i.Found += fmt.Sprintf("; %s %q", by, said)
		i.Advice = lookYourself + "was it sent or marked under the wrong way?"
	}
	return i
}

func resolution(info *clip.Info) Item {
	i := Item{Name: Resolution, Title: "Resolution", Verdict: grade(float64(min(info.Width, info.Height)), goodShort, usableShort), Found: fmt.Sprintf("%d × %d px", info.Width, info.Height)}
	if i.Verdict != Good {
		i.Advice = "Set the phone's video to 1080p (1920 × 1080) or more, and send the original file, not one shrunk by a messenger."
	}
	return i
}

func exposure(f findings) Item {
	i := Item{Name: Exposure, Title: "Exposure", Found: fmt.Sprintf("mean brightness %.0f of 255, %.0f %% of the picture burnt out, %.0f %% black", f.mean, 100*f.burnt, 100*f.black)}
	if f.horseMean > 0 {
		i.Found += fmt.Sprintf("; where the horse moves %.0f", f.horseMean)
	}
	level := f.mean
	if f.horseMean > 0 {
		level = f.horseMean
	}
	switch {
	case level < 40 || f.black > 0.6 || f.burnt > 0.5:
		i.Verdict = FilmAgain
	case level < 60 || f.burnt > 0.2 || f.black > 0.3 || level > 215:
		i.Verdict = Usable
	default:
		i.Verdict = Good
	}
	switch {
	case i.Verdict == Good:
	case level < 60 || f.black > 0.3:
		i.Advice = "Too dark: film in daylight with the sun behind the camera, or tap on the horse on the screen so that the phone exposes for it."
	default:
		i.Advice = "Too bright: keep the sky out of the picture and tap on the horse on the screen so that the phone exposes for it."
	}
	return i
}

func blur(f findings, info *clip.Info) Item {
	i := Item{Name: Blur, Title: "Motion blur", Verdict: NotKnown, Found: "not known: nothing with clear edges moves in the picture"}
	if math.IsNaN(f.movingEdge) {
		return i
	}
	soft := fmt.Sprintf("the sharpest edges in the picture are %.1f px wide", f.sharpestEdge)
	widths := fmt.Sprintf("edges of what moves are %.1f px wide", f.movingEdge)
	excess := f.movingEdge
	if !math.IsNaN(f.stillEdge) {
		if f.sharpestEdge > softEdge {
			i.Verdict, i.Found = FilmAgain, soft
			i.Advice = "The whole picture is blurred: wipe the lens, tap on the horse on the screen to focus, and hold the phone still."
			return i
		}
		widths += fmt.Sprintf(", of what stands still %.1f px", f.stillEdge)
		// Widths of independent blurs add up in quadrature.
		excess = math.Sqrt(max(0, f.movingEdge*f.movingEdge-f.stillEdge*f.stillEdge))
	}
	i.Verdict = under(excess*1080/float64(min(info.Width, info.Height)), goodBlur, usableBlur)
	if excess < slightBlur {
		i.Verdict = Good // Patterns differ by as much.
	}
	switch {
	case i.Verdict != Good:
		i.Found = "what moves is blurred: " + widths
		i.Advice = "The exposure is too long for the speed: film in brighter light, or set a shutter time of 1/500 s or less."
	case f.sharpestEdge > slightlySoft*max(1, float64(min(info.Width, info.Height))/1080):
		i.Verdict, i.Found = Usable, soft
		i.Advice = "The whole picture is a little blurred: wipe the lens, tap on the horse on the screen to focus, and hold the phone still."
	default:
		// On a pass toward the camera the trunk hardly moves in the picture, and what is
		// left of a swinging hoof is no clear edge.
		i.Found = "what moves is hardly blurred (" + widths + "); swinging limbs, which go fastest, are not judged"
	}
	return i
}

func shake(f findings) Item {
	if math.IsNaN(f.shake) {
		return Item{Name: Shake, Title: "Shake", Verdict: NotKnown, Found: "not known: the background has no structure"}
	}
	i := Item{Name: Shake, Title: "Shake", Verdict: under(f.shake, goodShake, usableShake)}
	i.Found = fmt.Sprintf("the background moves by %.2f %% of the picture's width from one twelfth of a second to the next, and by %.2f %% about its mean place", 100*f.shake, 100*f.sway)
	if i.Verdict == Good && f.sway > goodSway {
		i.Verdict = Usable
	}
	switch i.Verdict {
	case FilmAgain:
		i.Advice = "Put the phone on a tripod or lean it on something firm; do not follow the horse with it."
	case Usable:
		i.Advice = "Put the phone on a tripod or lean it on something firm: what is left of a hand's shake widens every interval."
	}
	return i
}

func size(f findings) Item {
	if !f.found {
		verdict := FilmAgain
		if f.unsteady {
			verdict = NotKnown
		}
		return Item{Name: Size, Title: "Size in the picture", Verdict: verdict, Found: "nothing as large as a horse moves against the background", Advice: "Begin to film when the horse sets off and keep it in the picture."}
	}
	i := Item{Name: Size, Title: "Size in the picture", Verdict: grade(f.tallest, goodTall, usableTall), Found: fmt.Sprintf("what moves is at most %.0f %% and at least %.0f %% of the picture's height", 100*f.tallest, 100*f.smallest)}
	if i.Verdict != Good {
		i.Advice = "Let the horse come nearer (it may pass the camera at a safe distance), or hold the phone upright; do not use the zoom."
	}
	return i
}

func distance(opts Options, info *clip.Info) Item {
	m, l := opts.Marks, opts.Lengths
	i := Item{Name: Distance, Title: "Distance", Verdict: NotKnown, Found: "not known without marks"}
	if m == nil || m.Calibration == nil || (m.Calibration.Ground == nil && m.Calibration.Height == nil) {
		return i
	}
	c, err := geometry.Calibrate(*m.Calibration, info.Width, info.Height, errormodel.Usual().Camera)
	if err != nil {
		i.Found = "not known: the ground marks do not fit"
		return i
	}
	nearest, farthest := math.Inf(1), math.Inf(-1)
	for _, k := range m.Marks {
		if k.Hidden || !k.Landmark.IsHoof() || k.X == nil || k.Y == nil {
			continue
		}
		if _, y, ok := c.Camera.GroundPoint(geometry.Point{X: *k.X, Y: *k.Y}); ok {
			nearest, farthest = min(nearest, y), max(farthest, y)
		}
	}
	if math.IsInf(nearest, 0) {
		i.Found = "not known: no hoof is marked"
		return i
	}
	i.Found = fmt.Sprintf("the hooves marked are %s to %s from the camera", l.Format(nearest, "m", 1), l.Format(farthest, "m", 1))
	i.Found += shows(m, c, l)
	i.Verdict = under(nearest, 12, 25)
	if i.Verdict != Good {
		i.Advice = fmt.Sprintf("Stand nearer: hooves should be placed within %s to %s of the camera.", l.Format(5, "m", 0), l.Format(15, "m", 0))
	}
	return i
}

// SetUpOf returns how a clip is filmed and marked: the camera's height and focal length,
// and how far away the fores stood where they were marked: that of the two which was marked
// less often. ok is false where one was not.
func SetUpOf(m *record.Marks, c *geometry.Calibration) (s metrics.SetUp, ok bool) {
	long := float64(max(m.Picture.Width, m.Picture.Height))
	s = metrics.SetUp{CameraHeightM: c.HeightM(), FocalPX: c.Camera.F * 1920 / long}
	var fores [2][]float64
	for _, k := range m.Marks {
		if k.Hidden || !k.Landmark.IsFore() || k.X == nil || k.Y == nil {
			continue
		}
		if _, y, ok := c.Camera.GroundPoint(geometry.Point{X: *k.X, Y: *k.Y}); ok && y > 0 {
			side := 0
			if k.Landmark == traj.RightFore {
				side = 1
			}
			fores[side] = append(fores[side], y)
		}
	}
	s.MarkedM = fores[0]
	if len(fores[1]) < len(fores[0]) {
		s.MarkedM = fores[1]
	}
	if len(s.MarkedM) == 0 || long == 0 {
		return s, false
	}
	s.NearestM = slices.Min(s.MarkedM)
	return s, true
}

// shows says how small a short step some runs filmed and marked like this show; empty
// where the fores are not marked.
func shows(m *record.Marks, c *geometry.Calibration, l lengths.System) string {
	s, ok := SetUpOf(m, c)
	if !ok {
		return ""
	}
	least := s.SmallestStep(metrics.LeastRuns)
	return fmt.Sprintf("; %d runs filmed and marked like this, with clicks a pixel off, show a fore step that is %s shorter than the other, in four visits of five", metrics.LeastRuns, l.Format(math.Ceil(100*least), "cm", 0))
}

func strides(f findings, opts Options) Item {
	m := opts.Marks
	i := Item{Name: Strides, Title: "Strides"}
	gait := traj.Trot
	if m != nil && m.Gait != "" {
		gait = m.Gait
	}
	if !f.found {
		i.Verdict, i.Found = NotKnown, "not known: no horse was found"
		return i
	}
	// Ordinary stride durations; a plausibility band from memory, told as such.
	short, long := 0.66, 0.80
	if gait == traj.Walk {
		short, long = 1.0, 1.3
	}
	switch {
	case f.stepHz > 0 && !f.unsteady:
		n := f.inSightS * f.stepHz / 2
		i.Verdict = grade(math.Round(n), goodStride, fewStrides)
		i.Found = fmt.Sprintf("about %.0f, from the rhythm of the movement (%.1f steps a second for %.1f s)", n, f.stepHz, f.inSightS)
	case f.unsteady:
		// The horse may have been missed while it was small.
		low, high := f.inSightS/long, f.clipS/short
		i.Verdict = grade(math.Floor(f.clipS/long), goodStride, fewStrides)
		if i.Verdict == Good && low < goodStride {
			i.Verdict = Usable
		}
		i.Found = fmt.Sprintf("between %.0f and %.0f; the camera moves too much to tell how long the horse is in sight", math.Floor(low), high)
	default:
		low := f.inSightS / long
		i.Verdict = grade(math.Round(low), goodStride, fewStrides)
		i.Found = fmt.Sprintf("about %.0f to %.0f, from %.1f s in sight at an ordinary %s; no clear rhythm was found", low, f.inSightS/short, f.inSightS, gait)
	}
	if i.Verdict != Good {
		i.Advice = fmt.Sprintf("Film a longer pass: %s in one go, or several passes, each as a clip of its own.", opts.Lengths.Format(30, "m", 0))
	}
	return i
}

func inFrame(f findings) Item {
	i := Item{Name: InFrame, Title: "Horse in the picture"}
	if !f.found {
		i.Verdict, i.Found = NotKnown, "not known: no horse was found"
		return i
	}
	if f.unsteady {
		i.Verdict, i.Found = NotKnown, "not known: the camera moves"
		return i
	}
	i.Verdict = under(f.cut, 0.08, 0.30)
	i.Found = fmt.Sprintf("what moves touches the picture's edge in %.0f %% of the time it is in sight", 100*f.cut)
	if i.Verdict != Good {
		i.Advice = "Leave room around the horse: ground below the hooves and air above the ears, the whole way."
	}
	return i
}

func straightness(f findings, l lengths.System) Item {
	i := Item{Name: Straightness, Title: "Straightness", Verdict: NotKnown, Found: "not known: the horse hardly changes in size, or is not in sight for long enough"}
	if f.found && f.unsteady {
		i.Found = "not known: the camera moves"
	}
	if !f.found || math.IsNaN(f.wander) {
		return i
	}
	i.Verdict = under(f.wander, goodDrift, usableDrift)
	i.Found = fmt.Sprintf("what moves strays about %s from a straight path (an estimate for a horse of ordinary height)", l.Format(100*f.wander, "cm", 0))
	if i.Verdict != Good {
		i.Advice = "Lead straight toward the camera or away from it along a line on the ground, with the head free and straight."
	}
	return i
}
