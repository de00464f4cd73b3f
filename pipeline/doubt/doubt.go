package doubt

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/record"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// The kinds of doubts.
const (
	Sides     = record.Sides  // Left and right may be swapped.
	View      = "view"        // The horse goes the other way.
	Gait      = "gait"        // The limbs keep another gait's rhythm.
	Speed     = "speed"       // Faster or slower than a led horse.
	Camera    = "camera"      // Where no camera stands, or none is made.
	Lens      = "lens"        // Not that of a phone's main lens.
	Size      = "size"        // The horse is too large or too small.
	Rectangle = "rectangle"   // The ground marks contradict their own sides.
	Stride    = "stride"      // Too long or too short in time: slow motion.
	Others    = "other clips" // Other clips of the visit see another camera.
	OtherClip = "clip"        // The marks are another clip's.
	OneStance = "one stance"  // The finding hangs on a single stance.
	Picture   = "picture"     // It is mirrored, or stands on its head.
)

// Other is what the marks of another clip, filmed at the same picture size, say of the
// camera.
type Other struct {
	Clip            string // File name.
	Visit           string // Folder of the earlier visit of the same horse; empty in the clip's own.
	FocalPX         float64
	FocalSD         float64
	HeightM         float64
	HeightSD        float64
	LengthM, WidthM float64 // Of its rectangle.
}

// Measured is one clip's result with its inputs.
type Measured struct {
	Marks    *record.Marks
	Set      *traj.Set
	Run      *metrics.Run
	Summary  *metrics.Summary // Nil where there is none.
	WithersM float64          // Height at the withers as written down, m; 0 is not known.
	Others   []Other          // Of the same visit; where it has no other clip, of earlier ones.
}

// Withhold takes the finding out of a summary where a person must look first, and
// says why. Its numbers stay.
func Withhold(s *metrics.Summary, doubts []record.Doubt) {
	if s == nil || len(doubts) == 0 || doubts[0].Severity == record.Remark {
		return
	}
	s.Limb = metrics.LimbFinding{Sentence: "No limb is named until a person has looked again: " + doubts[0].Sentence, Undecided: true}
	if s.Score != nil {
		score := *s.Score
		score.Side = traj.Middle
		s.Score = &score
	}
}

// Refusal returns the doubts that let no number leave, as one text, or "".
func Refusal(doubts []record.Doubt) string {
	var out []string
	for _, d := range doubts {
		if d.Severity == record.Refuse {
			out = append(out, d.Sentence+" "+d.Check)
		}
	}
	return strings.Join(out, " ")
}

// list gathers doubts.
type list struct {
	confirmed []string
	gaitSeen  bool // Fores and hinds were seen to stand together as the gait says.
	doubts    []record.Doubt
}

func (l *list) add(kind string, severity record.Severity, sentence, check string) {
	if severity == record.SecondLook && slices.Contains(l.confirmed, kind) {
		severity, check = record.Remark, "A person has looked and found it so."
	}
	l.doubts = append(l.doubts, record.Doubt{Kind: kind, Severity: severity, Sentence: sentence, Check: check})
}

// has reports whether something of that kind is doubted already.
func (l *list) has(kind string) bool {
	return slices.ContainsFunc(l.doubts, func(d record.Doubt) bool { return d.Kind == kind && d.Severity != record.Remark })
}

// done returns the doubts, gravest first.
func (l *list) done() []record.Doubt {
	rank := map[record.Severity]int{record.Refuse: 0, record.SecondLook: 1, record.Remark: 2}
	sort.SliceStable(l.doubts, func(i, j int) bool { return rank[l.doubts[i].Severity] < rank[l.doubts[j].Severity] })
	return l.doubts
}

// OfRun returns what is doubted of a measured clip, gravest first.
func OfRun(m Measured) []record.Doubt {
	l := &list{confirmed: m.Marks.Confirmed}
	l.upright(m.Marks)
	l.camera(m.Marks, m.Others)
	still := m.Set.Stabilised()
	cal := calibrated(m.Marks.Calibration, m.Set)
	l.direction(m.Run)
	l.sides(m.Run)
	l.order(m.Marks)
	l.steps(m.Run)
	stands := stancesOf(still)
	l.stride(m, still, stands)
	l.gait(m, still, stands)
	l.clickedSides(m.Marks, m.Set, cal)
	l.clickedGait(m.Marks)
	l.paceUnseen(m.Marks)
	l.speed(m)
	l.heights(m, still, cal)
	l.grows(m, still, cal)
	l.fall(m)
	l.hint(m, cal)
	l.oneStance(m)
	return l.done()
}

// OfMarks returns what can be doubted of marks before anything is measured. The
// picture's size is the marks' own.
func OfMarks(m *record.Marks, others []Other) []record.Doubt {
	l := &list{confirmed: m.Confirmed}
	l.upright(m)
	l.camera(m, others)
	l.nearing(m)
	l.order(m)
	l.clickedGait(m)
	return l.done()
}

// Named returns the doubt of marks that say themselves that they are another
// clip's: of one that is there in the same folder, of one with another number of frames,
// or of one that players turned otherwise.
func Named(m *record.Marks, file string, there bool, frames int, turned string) []record.Doubt {
	l := &list{confirmed: m.Confirmed}
	switch {
	case m.Clip != "" && m.Clip != file && there:
		l.add(OtherClip, record.SecondLook, fmt.Sprintf("The marks say that they were set on %s, which lies beside this clip.", m.Clip), "Are these the right marks? Then put this clip’s name into them.")
	case m.Frames != 0 && m.Frames != frames:
		l.add(OtherClip, record.SecondLook, fmt.Sprintf("The marks were set on a clip of %d frames, and this one has %d.", m.Frames, frames), "Are these the right marks, and is this the whole clip, as it was marked? Then confirm it.")
	case m.Turned != "" && m.Turned != turned:
		l.add(OtherClip, record.SecondLook, fmt.Sprintf("When the marks were set players turned the clip’s picture by %s, and now by %s.", degrees(m.Turned), degrees(turned)), "Do the marks still lie where they were set? Then confirm it.")
	}
	return l.doubts
}

// degrees words how a picture is turned, such as "180 mirrored".
func degrees(turned string) string {
	by, mirrored := strings.CutSuffix(turned, " mirrored")
	if mirrored {
		return by + "°, mirrored"
	}
	return by + "°"
}

// Pictured returns the doubt of a clip whose picture is mirrored when it is shown: in a
// mirror left is right.
func Pictured(m *record.Marks, mirrored bool) []record.Doubt {
	if !mirrored {
		return nil
	}
	l := &list{confirmed: m.Confirmed}
	l.add(Picture, record.SecondLook, "The clip has players show it mirrored, as phones do with the camera on their front.",
		"Look at something with lettering or at a mark on one side of the horse: is left left? Then confirm it; else film with the camera on the phone’s back.")
	return l.doubts
}

// CameraOf returns what the marks of a clip say of the camera, or false where they
// say nothing in metres.
func CameraOf(clip string, m *record.Marks) (Other, bool) {
	if m.Calibration == nil || m.Calibration.Ground == nil {
		return Other{}, false
	}
	c, err := geometry.Calibrate(*m.Calibration, m.Picture.Width, m.Picture.Height, errormodel.Usual().Camera)
	if err != nil {
		return Other{}, false
	}
	g := m.Calibration.Ground
	return Other{Clip: clip, FocalPX: c.Camera.F, FocalSD: c.FocalSD, HeightM: c.HeightM(), HeightSD: c.HeightSD, LengthM: g.LengthM, WidthM: g.WidthM}, true
}

// calibrated returns the camera in the stabilised picture, or nil where there is
// none.
func calibrated(in *geometry.CalibrationInput, set *traj.Set) *geometry.Calibration {
	if in == nil {
		return nil
	}
	moved := *in
	if set.Motions != nil && in.Frame < len(set.Motions) {
		by := set.Motions[in.Frame]
		if in.Ground != nil {
			g := *in.Ground
			for i, p := range g.Points {
				g.Points[i].X, g.Points[i].Y = by.Apply(p.X, p.Y)
			}
			moved.Ground = &g
		}
	}
	c, err := geometry.Calibrate(moved, set.Width, set.Height, errormodel.Usual().Camera)
	if err != nil {
		return nil
	}
	return c
}

// outside judges a value against a band; "" is inside.
func (b band) outside(v float64) record.Severity {
	switch {
	case math.IsNaN(v):
		return ""
	case v < b.refused[0] || v > b.refused[1]:
		return record.Refuse
	case v < b.doubted[0] || v > b.doubted[1]:
		return record.SecondLook
	}
	return ""
}

// middle returns the median of a measure's values and how many there are: one wild
// stride must not decide.
func middle(run *metrics.Run, n metrics.Name) (float64, int) {
	s := run.Lookup(n)
	if s == nil {
		return math.NaN(), 0
	}
	var values []float64
	for _, o := range s.Observations {
		if !math.IsNaN(o.Value) {
			values = append(values, o.Value)
		}
	}
	return signal.Median(values), len(values)
}

func number(v float64, decimals int) string {
	if v < 0 {
		return "−" + fmt.Sprintf("%.*f", decimals, -v)
	}
	return fmt.Sprintf("%.*f", decimals, v)
}
