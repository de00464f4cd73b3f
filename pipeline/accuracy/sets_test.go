package accuracy_test

import (
	"context"
	"flag"
	"slices"
	"testing"

	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

var (
	hardOut = flag.String("hard-out", "", "folder into which TestWriteHardClips renders clips, their marks and their truth")
	hardSet = flag.String("set", string(accuracy.Check), "set whose clips TestWriteHardClips renders: fit or check")
	hardN   = flag.Int("clips", 4, "how many clips TestWriteHardClips renders")
	hardOf  = flag.Bool("shoulders", false, "TestWriteHardClips renders the clips in which the shoulders are marked")
	hardDot = flag.Bool("dots", false, "TestWriteHardClips renders those with dots stuck on")
	hardBy  = flag.Int("wide", 1920, "width of the clips that TestWriteHardClips renders, px")
)

// TestWriteHardClips renders hard clips for somebody who develops, when asked to:
//
//	go test ./pipeline/accuracy -run WriteHardClips -hard-out DIR -set check -clips 4
func TestWriteHardClips(t *testing.T) {
	if *hardOut == "" {
		t.Skip("-hard-out names no folder")
	}
	set := accuracy.Set(*hardSet)
	if set != accuracy.Fit && set != accuracy.Check {
		t.Fatalf("set %q is not fit or check: nobody develops on sealed clips", set)
	}
	clips := accuracy.Clips(set)
	if *hardOf {
		clips = accuracy.ShoulderClips(set)
	}
	if *hardDot {
		clips = accuracy.DottedClips(set)
	}
	for _, c := range clips[:min(*hardN, len(clips))] {
		path, _, err := c.Film(context.Background(), *hardOut, func(s *scene.Scene) {
			s.Camera.Width, s.Camera.Height = *hardBy&^1, *hardBy*9/16&^1
		})
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %+v", path, c.Scene())
	}
}

// TestSetsAreApart: no seed is of two sets, and none is used twice.
func TestSetsAreApart(t *testing.T) {
	of := map[uint64]accuracy.Set{}
	for _, set := range []accuracy.Set{accuracy.Fit, accuracy.Check, accuracy.Sealed} {
		for _, clips := range [][]accuracy.Clip{accuracy.Clips(set), accuracy.ShoulderClips(set)} {
			if len(clips) == 0 {
				t.Errorf("set %s is empty", set)
			}
		}
		for _, c := range slices.Concat(accuracy.Clips(set), accuracy.ShoulderClips(set), accuracy.WalkClips(set)) {
			if other, taken := of[c.Seed]; taken {
				t.Errorf("seed %d is of %s and of %s", c.Seed, other, set)
			}
			of[c.Seed] = set
		}
	}
}

// TestHardScenesCanBeMeasured: clips of every set can be rendered and have their four
// ground marks in the picture and marks on hooves; nothing is rendered or looked at
// here. With -clips 24 it goes through all of them.
func TestHardScenesCanBeMeasured(t *testing.T) {
	for _, set := range []accuracy.Set{accuracy.Fit, accuracy.Check, accuracy.Sealed} {
		clips, shoulders, walks := accuracy.Clips(set), accuracy.ShoulderClips(set), accuracy.WalkClips(set)
		for _, c := range slices.Concat(clips[:min(*hardN, len(clips))], shoulders[:min(*hardN, len(shoulders))], walks[:min(*hardN, len(walks))]) {
			s := c.Scene()
			truth, err := scene.Simulate(s)
			if err != nil {
				t.Errorf("%s %s: %v", set, c.Name(), err)
				continue
			}
			if _, ok := truth.GroundClicks(0, scene.ClickOptions{}); !ok {
				t.Errorf("%s %s: a ground mark is outside the picture", set, c.Name())
			}
			hooves, points := 0, 0
			marks := demo.Clicked(truth, s, "clip.mp4", c.Clicking())
			for _, m := range marks.Marks {
				if m.Landmark.IsHoof() {
					hooves++
				}
				if m.Landmark == traj.LeftShoulder || m.Landmark == traj.RightShoulder {
					points++
				}
			}
			if hooves < 6 {
				t.Errorf("%s %s: only %d marks on hooves", set, c.Name(), hooves)
			}
			if c.Shoulders != (points >= 6) {
				t.Errorf("%s %s: %d marks on points of the shoulders", set, c.Name(), points)
			}
			if g := marks.Calibration.Ground; g != nil && g.ClickSD != 0 {
				t.Errorf("%s %s: the marks file says how far clicks are off", set, c.Name())
			}
		}
	}
}
