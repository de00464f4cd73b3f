// Package traj holds the plain data that tracking produces and measuring
// consumes: landmarks, views, gaits and the position of every landmark in
// every frame. It imports nothing but the standard library, so everything
// after tracking builds and tests without OpenCV.
//
// # Conventions
//
// Picture coordinates are pixels of the upright picture (rotation already
// applied): x to the right, y down, (0, 0) the centre of the top-left pixel.
// Times are seconds from the clip's first frame on the clip's own timestamps.
// Left and right are always the horse's own: in a clip filmed toward the
// camera the horse's left limbs stand on the right of the picture.
package traj

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Landmark names a place on the horse that a person marks.
type Landmark string

// The landmarks. A hoof is marked at the ground line: at the toe where the
// horse comes toward the camera, at the heel where it goes away.
const (
	LeftFore  Landmark = "left-fore"
	RightFore Landmark = "right-fore"
	LeftHind  Landmark = "left-hind"
	RightHind Landmark = "right-hind"
	Head      Landmark = "head"
	Withers   Landmark = "withers"
	Croup     Landmark = "croup"
	LeftHip   Landmark = "left-hip"
	RightHip  Landmark = "right-hip"
	Chest     Landmark = "chest"
	// The points of the shoulders, seen from in front.
	LeftShoulder  Landmark = "left-shoulder"
	RightShoulder Landmark = "right-shoulder"
)

// Landmarks lists every landmark in the order in which pages and tables show
// them.
func Landmarks() []Landmark {
	return []Landmark{LeftFore, RightFore, LeftHind, RightHind, Head, Withers, Croup, LeftHip, RightHip, Chest, LeftShoulder, RightShoulder}
}

// Valid reports whether l is one of the landmarks above.
func (l Landmark) Valid() bool { return slices.Contains(Landmarks(), l) }

// IsHoof reports whether l is one of the four hooves.
func (l Landmark) IsHoof() bool { return l.IsFore() || l.IsHind() }

// IsFore reports whether l is a fore hoof.
func (l Landmark) IsFore() bool { return l == LeftFore || l == RightFore }

// IsHindquarters reports whether l lies on the hindquarters, seen from behind: croup and
// points of hip.
func (l Landmark) IsHindquarters() bool { return l == Croup || l == LeftHip || l == RightHip }

// IsHind reports whether l is a hind hoof.
func (l Landmark) IsHind() bool { return l == LeftHind || l == RightHind }

// Words returns the landmark as people say it: "right fore".
func (l Landmark) Words() string { return strings.ReplaceAll(string(l), "-", " ") }

// Side returns the horse's own side on which l lies.
func (l Landmark) Side() Side {
	switch {
	case strings.HasPrefix(string(l), "left-"):
		return Left
	case strings.HasPrefix(string(l), "right-"):
		return Right
	}
	return Middle
}

// Opposite returns the landmark on the other side; landmarks of the middle
// return themselves.
func (l Landmark) Opposite() Landmark {
	return Landmark(strings.NewReplacer("left-", "right-", "right-", "left-").Replace(string(l)))
}

// Side is a side of the horse, never of the picture.
type Side string

// The sides.
const (
	Middle Side = ""
	Left   Side = "left"
	Right  Side = "right"
)

// View tells which way the horse goes.
type View string

// The views.
const (
	Toward View = "toward" // The horse comes toward the camera.
	Away   View = "away"   // The horse goes away from the camera.
)

// Valid reports whether v is a known view.
func (v View) Valid() bool { return v == Toward || v == Away }

// LeftSign returns the sign of lane X (to the camera's right) on the horse's
// own left side: +1 toward the camera, -1 away from it.
func (v View) LeftSign() float64 {
	if v == Toward {
		return 1
	}
	return -1
}

// Gait is how the horse moves.
type Gait string

// The gaits. Trot pairs diagonal limbs, pace lateral ones.
const (
	Walk Gait = "walk"
	Trot Gait = "trot"
	Pace Gait = "pace"
)

// Valid reports whether g is a known gait.
func (g Gait) Valid() bool { return g == Walk || g == Trot || g == Pace }

// Status tells how a sample came about.
type Status uint8

// The statuses.
const (
	Lost    Status = iota // No position: X, Y and SD are NaN.
	Bridged               // From a motion model over a short loss; not seen in this frame.
	Tracked               // Seen and followed in this frame.
	Marked                // Clicked by a person in this frame.
	// Across: seen and followed, but the landmark turns, so that its mark moves up
	// and down against the pattern that is followed: X holds to within SD, Y only
	// to within SDY. A hoof in swing is seen like this.
	Across
)

var statusNames = [...]string{"lost", "bridged", "tracked", "marked", "across"}

// String returns the status as written in files.
func (s Status) String() string {
	if int(s) < len(statusNames) {
		return statusNames[s]
	}
	return fmt.Sprintf("status(%d)", uint8(s))
}

// Seen reports whether the landmark was really seen in the frame, with a place
// that holds along both axes.
func (s Status) Seen() bool { return s == Tracked || s == Marked }

// Followed reports whether the landmark was seen at all: as by Seen, or Across.
func (s Status) Followed() bool { return s.Seen() || s == Across }

// Sample is one landmark in one frame.
type Sample struct {
	X, Y    float64 // Position in the picture, px.
	SD      float64 // Spread, px: one standard deviation along X, and along Y where SDY is 0.
	SDY     float64 // Spread along Y, px, where it is another: larger where Status is Across.
	Quality float64 // From 0 (nothing to go by) to 1.
	Status  Status
}

// SpreadY returns the spread along Y, px.
func (s Sample) SpreadY() float64 {
	if s.SDY > 0 {
		return s.SDY
	}
	return s.SD
}

// Gone returns the sample of a frame in which the landmark was not found.
func Gone() Sample {
	return Sample{X: math.NaN(), Y: math.NaN(), SD: math.NaN(), Status: Lost}
}

// Track is one landmark through a whole clip.
type Track struct {
	Landmark Landmark
	Samples  []Sample // Index: frame. A frame without a position is a Lost sample, never a missing row.
}

// Motion is the background's motion, a row-major 3×3 homography that takes
// homogeneous picture coordinates of one frame to those of the reference frame.
type Motion [9]float64

// Still returns the motion of a camera that has not moved.
func Still() Motion { return Motion{1, 0, 0, 0, 1, 0, 0, 0, 1} }

// Apply takes a picture position to the reference frame. It returns NaN where
// the homography sends the point to infinity.
func (m Motion) Apply(x, y float64) (float64, float64) {
	w := m[6]*x + m[7]*y + m[8]
	if w == 0 {
		return math.NaN(), math.NaN()
	}
	return (m[0]*x + m[1]*y + m[2]) / w, (m[3]*x + m[4]*y + m[5]) / w
}

// Stance is a time for which a hoof was seen to keep its place on the ground.
type Stance struct {
	Landmark    Landmark
	First, Last int // Frames, inclusive: it was seen standing in both.
	Seen        int // In how many frames from First to Last it was seen; in the others something hides it.
	// The nearest frames before First and after Last in which its place was seen
	// without it; -1 where there is none, because something hides the place or the
	// clip begins or ends. Landing and leaving lie between.
	Before, After int
	// Beat counts the steps of the pair: of two stances whose beats differ by one the
	// later is the opposite limb's next, by two the same limb's. -1 where that is not
	// known.
	Beat int
}

// Pair is a mark of a left hoof beside one of the right hoof of the same girdle, whose mirror
// image it looks like: where the one was clicked, on the other.
type Pair struct {
	Left                  Landmark // The left hoof.
	LeftFrame, RightFrame int      // The frames in which they were marked.
	// DownPX is how far down the picture from the right hoof's mark the left one's comes to
	// lie, px in RightFrame; SDPX is how well registering tells that, one standard deviation.
	DownPX, SDPX float64
}

// Set is everything tracking knows of one clip.
type Set struct {
	Width, Height int       // Size of the upright picture, px.
	Times         []float64 // Index: frame. Seconds, strictly increasing, first 0.
	Tracks        []Track   // In the order of Landmarks; a landmark that was not marked is absent.
	Stances       []Stance  // Of all hooves, by landmark, then by time. Nil where nobody looked for them.
	Motions       []Motion  // Index: frame. To the picture coordinates of the reference frame; nil where the camera stood still.
	// ClickPX is how far the person's clicks on hooves are off along each axis in this clip,
	// px, one standard deviation, as the marks of one hoof tell by each other; 0 where that
	// was not looked for.
	ClickPX float64
	// Pairs say how marks of left and right hooves that look alike differ. Nil where none do.
	Pairs []Pair
	// Slower is how many times slower the clip plays than it was filmed, as the hooves tell
	// that were marked standing; 0 or 1: not at all.
	Slower      float64
	ShakeRMS    float64 // Background shake before stabilising, px, root mean square; 0 on a tripod.
	ResidualRMS float64 // What stabilising left of it, px; NaN where it could not be measured.
}

// Track returns the track of landmark l, or nil where it was not marked.
func (s *Set) Track(l Landmark) *Track {
	if i := slices.IndexFunc(s.Tracks, func(t Track) bool { return t.Landmark == l }); i >= 0 {
		return &s.Tracks[i]
	}
	return nil
}

// Stabilised returns a copy of s in which every position is in the picture
// coordinates of the reference frame and Motions is nil. The residual of the
// stabilising is added to the spread in quadrature.
func (s *Set) Stabilised() *Set {
	out := *s
	out.Motions = nil
	out.Tracks = make([]Track, len(s.Tracks))
	residual := s.ResidualRMS
	if math.IsNaN(residual) {
		residual = 0
	}
	for i, t := range s.Tracks {
		samples := slices.Clone(t.Samples)
		for f := range s.Motions {
			if p := &samples[f]; p.Status != Lost {
				p.X, p.Y = s.Motions[f].Apply(p.X, p.Y)
				p.SD = math.Hypot(p.SD, residual)
				if p.SDY > 0 {
					p.SDY = math.Hypot(p.SDY, residual)
				}
			}
		}
		out.Tracks[i] = Track{Landmark: t.Landmark, Samples: samples}
	}
	return &out
}

// Nearest returns the frame shown nearest to an instant, s, of two as near the later; times, s, are
// those of the frames, ascending. It is len(times) − 1 after the last, and −1 where there is none.
func Nearest(times []float64, at float64) int {
	f, _ := slices.BinarySearch(times, at)
	if f == len(times) || f > 0 && at-times[f-1] < times[f]-at {
		f--
	}
	return f
}
