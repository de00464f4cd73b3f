package pipeline

import (
	"bytes"
	"errors"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"slices"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/pipeline/stills"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// stillFile is the name of the picture of a left and a right stance in a clip's results
// folder.
const stillFile = "stance.jpg"

// camera returns the camera that marks calibrate, or nil where they give no lengths.
func camera(m *record.Marks) *geometry.Camera {
	if m.Calibration == nil {
		return nil
	}
	c, err := geometry.Calibrate(*m.Calibration, m.Picture.Width, m.Picture.Height, errormodel.Usual().Camera)
	if err != nil || !c.Level.AtLeast(geometry.LevelHeight) {
		return nil
	}
	return &c.Camera
}

// framed works out where the horse is in a clip's pictures.
func framed(marks *record.Marks, set *traj.Set, run *metrics.Run) (*framing.Horse, error) {
	return framing.Of(framing.Input{
		Times: set.Times, Tracks: set.Tracks, Contacts: run.Contacts, View: run.View, Camera: camera(marks), Shaken: set.ShakeRMS > 0,
	})
}

// stance begins the picture of a left and a right stance; where there can be none it is
// nil, and noStill says why.
func (j *job) stance(info *clip.Info, set *traj.Set, run *metrics.Run, sum *metrics.Summary) (*stills.Maker, error) {
	horse, err := framed(j.marks, set, run)
	if err != nil {
		return nil, err
	}
	in := stills.Input{Info: info, Times: set.Times, Tracks: set.Tracks, Run: run, Horse: horse, WithersM: j.withers(), Difference: math.NaN()}
	name := metrics.HeadLowDifference
	if run.View == traj.Away {
		name = metrics.CroupLowDifference
	}
	if sum != nil {
		if r := sum.Lookup(name); r != nil && r.Value != nil {
			in.Difference = r.Value.Value
		}
	}
	return stills.New(in)
}

// noStill says why a clip has no picture of stances.
func noStill(err error) string {
	switch {
	case errors.Is(err, stills.ErrNone):
		return "No picture: no left and right stance lie whole in the clip’s picture."
	case errors.Is(err, framing.ErrUnknown):
		return "No picture: too few hooves were seen standing to tell where the horse is."
	}
	return "No picture could be cut from the clip."
}

// stillOf makes a picture ready for a page.
func stillOf(picture []byte, view traj.View, title string) report.Still {
	alt := "The horse coming, in the middle of a left and of a right stance."
	if view == traj.Away {
		alt = "The horse going away, in the middle of a left and of a right stance."
	}
	out := report.Still{Title: title, Alt: alt, JPEG: picture}
	if size, err := jpeg.DecodeConfig(bytes.NewReader(picture)); err == nil {
		out.Width, out.Height = size.Width, size.Height
	}
	return out
}

// stillsNote says how pictures were chosen.
const stillsNote = "Lines: how high the head (from behind: the croup) is, solid in left stance, dashed in right; closer above. One typical stride; the numbers are of all strides."

// bestStill returns the picture of the run in a view whose value of the measure is most
// like the visit's; nil where no run has one.
func (v *Visit) bestStill(view traj.View, sum *metrics.Summary) []byte {
	name := metrics.HeadLowDifference
	if view == traj.Away {
		name = metrics.CroupLowDifference
	}
	var best []byte
	off := math.Inf(1)
	for _, r := range v.Results {
		if r.Run.View != view {
			continue
		}
		d := 0.0
		if all := sum.Lookup(name); all != nil && all.Value != nil && r.Result.Summary != nil {
			if one := r.Result.Summary.Lookup(name); one != nil && one.Value != nil && one.Unit == all.Unit {
				d = math.Abs(one.Value.Value - all.Value.Value)
			} else {
				d = math.MaxFloat64 / 2
			}
		}
		if d >= off {
			continue
		}
		picture, err := os.ReadFile(filepath.Join(r.Folder, stillFile))
		if err != nil || len(picture) >= 4<<20 {
			continue
		}
		if _, err := jpeg.DecodeConfig(bytes.NewReader(picture)); err == nil {
			best, off = picture, d
		}
	}
	return best
}

const noStills = "No picture: no clip of this visit shows a left and a right stance whole."

// visitStills returns the pictures of a visit's first page, one for each view.
func visitStills(front *report.Front, v *Visit, sum *metrics.Summary) {
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		if picture := v.bestStill(view, sum); picture != nil {
			title := "Coming toward the camera"
			if view == traj.Away {
				title = "Going away"
			}
			front.Stills = append(front.Stills, stillOf(picture, view, title))
		}
	}
	front.StillsNote = stillsNote
	if len(front.Stills) == 0 {
		front.StillsWhy = noStills
	}
}

// comparedStills returns the pictures of two visits in the view that shows what leads the
// comparison; names are those of the visits. Pictures of visits between them stand between
// theirs.
func comparedStills(front *report.Front, before, after *Visit, c *metrics.Comparison, names [2]string, between ...*pastVisit) {
	lead := glance.Lead(c)
	views := []traj.View{traj.Toward, traj.Away}
	if lead != nil {
		if d, _ := metrics.Define(lead.Name); d.Girdle == metrics.Hind {
			views = []traj.View{traj.Away, traj.Toward}
		}
	}
	words := [2]string{capital(names[0]) + ", " + shortDay(before), capital(names[1]) + ", " + shortDay(after)}
	if c.Verdict == metrics.NotComparable {
		x, y := glance.Apart(c)
		words = [2]string{glance.Entitled(shortDay(before), x), glance.Entitled(shortDay(after), y)}
	}
	for _, view := range views {
		x, y := before.bestStill(view, &c.Before), after.bestStill(view, &c.After)
		if x == nil || y == nil {
			continue
		}
		front.Stills = append(front.Stills, stillOf(x, view, words[0]))
		for _, v := range between {
			if picture := v.bestStill(view, v.sum.Summary); picture != nil {
				front.Stills = append(front.Stills, stillOf(picture, view, shortDay(v.Visit)))
			}
		}
		front.Stills = append(front.Stills, stillOf(y, view, words[1]))
		break
	}
	front.StillsNote = stillsNote
	if len(front.Stills) == 0 {
		front.StillsWhy = "No pictures: the two visits have none in the same view. " + noneAlike(before, after)
	}
}

// noneAlike says why two visits have no picture in one view, and the way out: measuring
// clips again makes pictures, but no view that was not filmed.
func noneAlike(before, after *Visit) string {
	if says := otherWays(before, after); says != "" {
		return says
	}
	return "Measuring their clips again may make them."
}

// otherWays says of two visits without a view in common which ways each was filmed; empty
// where they have one, or where one of them was not filmed at all.
func otherWays(before, after *Visit) string {
	filmed := func(v *Visit, view traj.View) bool {
		return slices.ContainsFunc(v.Results, func(r VisitResult) bool { return r.Run.View == view })
	}
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		if filmed(before, view) && filmed(after, view) || !filmed(before, view) && !filmed(after, view) {
			return ""
		}
	}
	return "One was filmed toward the camera, the other away: film both ways next time."
}

// visitWords names the visits of a comparison in a figure, as given or by their days where
// nothing may be compared.
func visitWords(c *metrics.Comparison, before, after *Visit, first, second string) [2]string {
	if c != nil && c.Verdict == metrics.NotComparable {
		return [2]string{shortDay(before), shortDay(after)}
	}
	return [2]string{first, second}
}

// shortDay returns a visit's day in words, or its folder's name.
func shortDay(v *Visit) string {
	if d := day(v.Around.Folder); !d.IsZero() {
		return d.Format("2 January")
	}
	return filepath.Base(v.Around.Folder)
}
