package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
)

// What goes wrong is said in one plain sentence that names the file, the cause and what
// to do; nothing of the language or the libraries that the program is written with
// shows.
func TestMessages(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	dir := t.TempDir()
	good := filepath.Join(dir, "good.mp4")
	smallClip(t, good, 0)
	film, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	marks, err := os.ReadFile(record.MarksPath(good))
	if err != nil {
		t.Fatal(err)
	}
	made := func(name string, args ...string) []byte {
		t.Helper()
		path := filepath.Join(dir, name)
		scenetest.Coded(t, path, append([]string{"-f", "lavfi", "-i", "testsrc2=size=128x96:rate=60", "-frames:v", "16"}, args...)...)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	h264 := []string{"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p"}
	web := made("web.mp4", append(h264, "-movflags", "+faststart")...)
	late := strings.ReplaceAll(string(marks), `"frame": 0`, `"frame": 840`)
	edit := func(old, now string) []byte {
		if !bytes.Contains(marks, []byte(old)) {
			t.Fatalf("the marks lack %q: %s", old, marks)
		}
		return bytes.Replace(marks, []byte(old), []byte(now), 1)
	}
	for _, tt := range []struct {
		name        string
		clip, marks []byte
		code        int
		words       []string
	}{
		{"no index", film[:len(film)/2], marks, exitFatal, []string{"no index", "copy it from the phone again"}},
		{"marks beyond the end", film, []byte(late), exitFatal, []string{"marks.0 (left-fore) is in frame 840 (and 2 more like it)", "frames 0 to 15", "copy it from the phone again"}},
		{"cut off before a mark", web[:len(web)/3], []byte(strings.ReplaceAll(string(marks), `"frame": 0`, `"frame": 14`)), exitFatal, []string{"is in frame 14", "broke off", "copy it from the phone again"}},
		{"encrypted", made("secret.mp4", append(h264, "-encryption_scheme", "cenc-aes-ctr", "-encryption_key", "76a6c65c5ea762046bd749a2e632ccbb", "-encryption_kid", "a7e61c373e219033c21091fa607bf3b8")...), marks, exitFatal, []string{"encrypted", "without protection"}},
		{"a number that is none", film, edit(`"x": 40`, `"x": 1e400`), exitFatal, []string{"marks.x is the number 1e400", "too large"}},
		{"a number of 300 digits", film, edit(`"x": 40`, `"x": 1e308`), exitFatal, []string{"is at 1e+308, 40.0", "outside the picture"}},
		{"no view", film, edit(`"view": "toward",`, ``), exitFatal, []string{"missing: view"}},
		{"another view", film, edit(`"toward"`, `"sideways"`), exitFatal, []string{`view is "sideways": allowed: toward, away`}},
		{"a frame before the first", film, edit(`"frame": 0`, `"frame": -1`), exitFatal, []string{"marks.0.frame is -1: allowed: 0 or more"}},
		{"no visible mark", film, []byte(strings.NewReplacer(`"x": 40,`, `"hidden": true,`, `"x": 55,`, `"hidden": true,`, `"x": 70,`, `"hidden": true,`, `"y": 40`, `"frame": 0`).Replace(string(marks))), exitFatal, []string{"a.marks.json: no mark in it is visible", "mark the clip"}},
		{"broken off, whole so far", web[:len(web)*2/3], marks, exitPartly, []string{"The clip is damaged", "Copy the clip from the phone again"}},
		{"marks as UTF-16", film, append([]byte("\xff\xfe"), marks...), exitFatal, []string{"UTF-16", "UTF-8"}},
		{"no marks in the file", film, nil, exitFatal, []string{"empty", "backup"}},
		{"a mark of bytes at the beginning", film, append([]byte("\xef\xbb\xbf"), marks...), exitPartly, []string{"a.mp4"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			clip := filepath.Join(t.TempDir(), "a.mp4")
			write(t, clip, string(tt.clip))
			write(t, record.MarksPath(clip), string(tt.marks))
			text := must(t, tt.code, append([]string{"a."}, tt.words...), "measure", "--no-video", clip)
			if tt.code == exitFatal && strings.Count(strings.TrimSpace(text), "\n") > 0 {
				t.Errorf("more than one line:\n%s", text)
			}
			if tt.code == exitFatal && len(text) > 500+len(clip) {
				t.Errorf("%d characters:\n%s", len(text), text)
			}
			for _, jargon := range []string{"unmarshal", "Go ", "strconv", "exit status", "invalid character", "minimum:", "property", "track:", "stat ", "..", "damaged: 0 of"} {
				if strings.Contains(text, jargon) {
					t.Errorf("it says %q:\n%s", jargon, text)
				}
			}
		})
	}
	t.Run("no such clip", func(t *testing.T) {
		if text := must(t, exitFatal, []string{"open clip " + filepath.Join(dir, "none.mp4") + ": no such file"}, "measure", filepath.Join(dir, "none.mp4")); strings.Contains(text, "stat ") {
			t.Error(text)
		}
	})
	t.Run("names that are missing or too many", func(t *testing.T) {
		for _, tt := range []struct {
			words string
			args  []string
		}{
			{"names given: 1; write: jogstrip compare BEFORE AFTER", []string{"compare", "a"}},
			{"names given: 0; write: jogstrip measure CLIP...", []string{"measure"}},
			{"names given: 2; write: jogstrip history", []string{"history", "a", "b"}},
		} {
			if text := must(t, exitUsage, []string{tt.words}, tt.args...); strings.Contains(text, "arg(s)") {
				t.Error(text)
			}
		}
	})
	t.Run("a clip without marks, and a next check before its visit", func(t *testing.T) {
		visit := filepath.Join(t.TempDir(), "juniper", "2026-03-02")
		clip := filepath.Join(visit, "a.mp4")
		smallClip(t, clip, 0)
		write(t, filepath.Join(visit, "visit.toml"), "next_check = \"2026-02-02\"\n")
		must(t, exitPartly, []string{"visit.toml: next_check 2026-02-02 is before the visit"}, "measure", "--no-video", clip)
		if err := os.Remove(record.MarksPath(clip)); err != nil {
			t.Fatal(err)
		}
		must(t, exitFatal, []string{"the clip has no marks (a.marks.json): mark it with `jogstrip mark " + visit + "`"}, "measure", "--no-video", clip)
	})
	t.Run("colours without luma", func(t *testing.T) {
		for _, name := range []string{"rgb.avi", "rle.mov"} {
			codec := map[string]string{"rgb.avi": "rawvideo", "rle.mov": "qtrle"}[name]
			made(name, "-c:v", codec, "-pix_fmt", map[string]string{"rgb.avi": "bgr24", "rle.mov": "rgb24"}[name])
			if text := must(t, exitPartly, []string{name, "looked at"}, "check", filepath.Join(dir, name)); strings.Contains(text, "exit status") {
				t.Error(text)
			}
		}
	})
	t.Run("keys that are not known", func(t *testing.T) {
		horse := filepath.Join(t.TempDir(), "juniper")
		clip := filepath.Join(horse, "2026-03-02", "a.mp4")
		smallClip(t, clip, 0)
		write(t, filepath.Join(horse, "horse.toml"), "name = \"Juniper\"\ncolor = \"grey\"\n")
		write(t, filepath.Join(horse, "2026-03-02", "visit.toml"), "surfase = \"sand\"\n")
		words := []string{"horse.toml: key color is not known", "visit.toml: key surfase is not known"}
		must(t, exitPartly, words, "measure", "--no-video", clip)
		must(t, exitPartly, words, "batch", "--no-video", "--log", "plain", horse)
		must(t, exitGood, append([]string{"1 visit."}, words...), "history", horse)
	})
	t.Run("values of another kind", func(t *testing.T) {
		for page, words := range map[string]string{
			"withers_m = \"tall\"\n": "line 1: withers_m is text in quotes; it must be a number",
			"name = 5\n":             "line 1: name is a whole number; it must be text in quotes",
			"[name]\nx = 1\n":        "line 1: name is a table; it must be text in quotes",
			"withers_m = 1,60\n":     "line 1 can't be read",
			"withers_m = 160\n":      `withers_m is "160"; allowed: 0.5 to 2.2`,
		} {
			horse := filepath.Join(t.TempDir(), "juniper")
			smallClip(t, filepath.Join(horse, "2026-03-02", "a.mp4"), 0)
			smallClip(t, filepath.Join(horse, "2026-03-09", "a.mp4"), 1)
			write(t, filepath.Join(horse, "horse.toml"), page)
			text := must(t, exitFatal, []string{"horse.toml: " + words}, "history", horse)
			if strings.Contains(text, "TOML value") || strings.Count(text, "horse.toml") > 1 {
				t.Error(text)
			}
		}
	})
	t.Run("only the resamples are others", func(t *testing.T) {
		must(t, exitPartly, nil, "measure", "--no-video", good)
		must(t, exitPartly, []string{"number of random draws"}, "batch", "--no-video", "--log", "plain", "--resamples", "300", dir)
	})
}
