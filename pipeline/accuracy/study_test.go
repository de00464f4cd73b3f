//go:build study

package accuracy_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"jogstrip/pipeline"
	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// TestAccuracyStudy prints a row of figures for every mixture of view, gait,
// camera, format and quality, and for light and dark horses, each marked at one
// and at three distances. JOGSTRIP_EVERY=n takes every n-th clip only, and the
// coats' all; JOGSTRIP_ONLY those whose label ("away trot hand 4K60 clean, 3") the
// regular expression matches. JOGSTRIP_KEEP names a folder into which the results
// of every row are copied. JOGSTRIP_OTHER=n films other passes of other horses than
// those of the table.
// With JOGSTRIP_CLICKS=exact marks lie on the truth, so that what is left are the
// errors of following and measuring alone.
// JOGSTRIP_CLIPS names a folder in which rendered clips are kept for the next
// run; with JOGSTRIP_RENDER=only nothing is measured, with JOGSTRIP_RENDER=no only
// what is there already.
func TestAccuracyStudy(t *testing.T) {
	every := 1
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_EVERY")); err == nil && n > 0 {
		every = n
	}
	other, _ := strconv.Atoi(os.Getenv("JOGSTRIP_OTHER"))
	only := regexp.MustCompile(os.Getenv("JOGSTRIP_ONLY"))
	exact := os.Getenv("JOGSTRIP_CLICKS") == "exact"
	formats := map[string]scene.Camera{"1080p60": {}, "1080p120": {FPS: 120}, "4K60": {Width: 3840, Height: 2160}}
	t.Log(accuracy.Header())
	var rows bytes.Buffer
	yards := &accuracy.Yardstick{}
	accuracy.TableHeader(&rows)
	number := 0
	row := func(name string, s scene.Scene, coats bool) {
		number++
		if (!only.MatchString(name+", 1") && !only.MatchString(name+", 3")) || (number-1)%every != 0 && !coats {
			return
		}
		s.Seed = uint64(9000 + number + 1000*other)
		s.Asymmetry = scene.ShortFore(traj.Right, 0.7)
		path, truth, err := rendered(t, name, s)
		if errors.Is(err, os.ErrNotExist) {
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if os.Getenv("JOGSTRIP_RENDER") == "only" {
			return
		}
		for _, distances := range []int{1, 3} {
			label := fmt.Sprintf("%s, %d", name, distances)
			if !only.MatchString(label) {
				continue
			}
			if err := record.WriteMarks(record.MarksPath(path), demo.Clicked(truth, s, filepath.Base(path), demo.Clicking{Distances: distances, Exact: exact})); err != nil {
				t.Fatal(err)
			}
			if _, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: true}); err != nil {
				t.Errorf("%s: %v", label, err)
				continue
			}
			f, err := accuracy.Compare(record.OutPath(path), truth)
			if err != nil {
				t.Errorf("%s: %v", label, err)
				continue
			}
			t.Log(f.Row(label))
			f.TableRow(&rows, name, distances)
			if err := yards.Add(record.OutPath(path), truth); err != nil {
				t.Fatal(err)
			}
			if kept := os.Getenv("JOGSTRIP_KEEP"); kept != "" {
				keep(t, record.OutPath(path), filepath.Join(kept, label))
			}
		}
	}
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		for _, gait := range []traj.Gait{traj.Trot, traj.Walk, traj.Pace} {
			for _, hand := range []bool{false, true} {
				for _, format := range []string{"1080p60", "1080p120", "4K60"} {
					for _, quality := range []string{"clean", "low bit rate", "dusk"} {
						s := lane(0, view)
						s.Gait, s.Camera = gait, formats[format]
						s.Camera.Hand = hand
						if view == traj.Toward {
							s.Motion.StartM = 12.5
						} else {
							s.Motion.EndM = 12.5
						}
						switch quality {
						case "low bit rate":
							s.Encoding.BitRateK, s.Camera.NoiseSD = 4000, 4
						case "dusk":
							s.Yard.Light = scene.Dusk
						}
						camera := "tripod"
						if hand {
							camera = "hand"
						}
						row(fmt.Sprintf("%s %s %s %s %s", view, gait, camera, format, quality), s, false)
					}
				}
			}
		}
		for _, coat := range []scene.Coat{scene.Grey, scene.Black} {
			s := lane(0, view)
			s.Horse.Coat, s.Yard.DarkLane = coat, coat == scene.Black
			row(fmt.Sprintf("%s trot tripod 1080p60 %s", view, coat), s, true)
		}
	}
	// The page holds every second clip, as they are.
	if every == 2 && other == 0 && !exact && os.Getenv("JOGSTRIP_ONLY") == "" && os.Getenv("JOGSTRIP_RENDER") == "" {
		var b bytes.Buffer
		yards.Write(&b)
		b.WriteString("\n**Every clip.**\n\n")
		b.Write(rows.Bytes())
		publish(t, "clean", b.Bytes())
	}
}

// rendered renders a scene, or takes what an earlier run rendered from the same one.
func rendered(t *testing.T, name string, s scene.Scene) (string, *scene.Truth, error) {
	kept := os.Getenv("JOGSTRIP_CLIPS")
	if kept == "" {
		path := filepath.Join(t.TempDir(), "clip.mp4")
		truth, err := scene.Render(context.Background(), s, path, "", nil)
		return path, truth, err
	}
	of := sha256.Sum256(fmt.Appendf(nil, "%+v", s))
	file := fmt.Sprintf("%s %x", name, of[:4])
	path, secret := filepath.Join(kept, "clips", file+".mp4"), filepath.Join(kept, "truth", file+".json")
	if truth, err := scene.LoadTruth(secret); err == nil || os.Getenv("JOGSTRIP_RENDER") == "no" {
		return path, truth, err
	}
	for _, f := range []string{path, secret} {
		if err := os.MkdirAll(filepath.Dir(f), 0o755); err != nil {
			return "", nil, err
		}
	}
	truth, err := scene.Render(context.Background(), s, path, secret, nil)
	return path, truth, err
}

// keep copies the files of one clip's results that scripts look at.
func keep(t *testing.T, out, folder string) {
	t.Helper()
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"signals.csv", "result.json", "strides.csv"} {
		b, err := os.ReadFile(filepath.Join(out, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, name), b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
