package markpage

import (
	"image"
	"net/http"
	"path/filepath"
	"testing"

	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// In a list a clip is told by its horse, from the head to the hooves, and not by a lane
// that all clips of a yard have.
func TestTheListShowsTheHorse(t *testing.T) {
	clip, truth := renderedClip(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "toward-1.mp4")
	scenetest.Coded(t, path, "-i", clip, "-c:v", "libx264", "-qp", "20", "-g", "4", "-pix_fmt", "yuv420p")
	info := probed(t, path)
	g, part, err := findHorse(t.Context(), info)
	if err != nil {
		t.Fatal(err)
	}
	k := float64(g.Width) / float64(info.Width)
	for _, l := range []traj.Landmark{traj.Head, traj.LeftFore, traj.RightFore} {
		p := point(truth, l, g.Frame)
		if at := image.Pt(int(p.X*k), int(p.Y*k)); !at.In(part) {
			t.Errorf("%s at %v lies outside the part shown, %v", l, at, part)
		}
	}
	if high := k * (point(truth, traj.LeftFore, g.Frame).Y - point(truth, traj.Head, g.Frame).Y); 2*high < float64(part.Dy()) {
		t.Errorf("the horse is %.0f px high in the part shown, %v", high, part)
	}
	s := listenOn(t, dir)
	answer := ask(s, http.MethodGet, "/picture?clip=toward-1.mp4&size=thumb", nil, nil)
	shown, _, err := image.Decode(answer.Body)
	if err != nil || shown.Bounds().Dx() != thumbWidth || shown.Bounds().Dy() != thumbHeight {
		t.Errorf("the list is given %d, %v, %v", answer.Code, shown, err)
	}
}

// Where nothing moves a clip is told by a picture of its own.
func TestTheListShowsAClipWithoutAHorse(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.mp4")
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "color=c=gray:size=320x180:rate=30", "-frames:v", "80", "-c:v", "libx264", "-g", "10", "-pix_fmt", "yuv420p")
	if made, err := makeThumb(t.Context(), probed(t, path)); err != nil || made != nil {
		t.Errorf("%d bytes, %v", len(made), err)
	}
	if answer := ask(listenOn(t, dir), http.MethodGet, "/picture?clip=a.mp4&size=thumb", nil, nil); answer.Code != http.StatusOK {
		t.Errorf("the list is given %d", answer.Code)
	}
}
