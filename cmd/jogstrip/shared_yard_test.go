package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// smallClip makes a small marked clip without a horse: it is measured in a moment, and
// wants a second look.
func smallClip(t testing.TB, path string, number int) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	source := fmt.Sprintf("testsrc2=size=%dx96:rate=60", 128+16*number)
	scenetest.Coded(t, path, "-f", "lavfi", "-i", source, "-frames:v", "16", "-c:v", "libx264", "-pix_fmt", "yuv420p")
	m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 128 + 16*number, Height: 96}}
	for k, l := range []traj.Landmark{traj.Head, traj.LeftFore, traj.RightFore} {
		m.Marks = append(m.Marks, record.At(0, l, 40+15*float64(k), 40))
	}
	if err := record.WriteMarks(record.MarksPath(path), m); err != nil {
		t.Fatal(err)
	}
}

// What is no results folder is not written over, and stays as it is.
func TestResultsReplaceNothingElse(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	dir := t.TempDir()
	clip := filepath.Join(dir, "a.mp4")
	smallClip(t, clip, 0)
	out := record.OutPath(clip)
	elsewhere := t.TempDir()
	for _, tt := range []struct {
		name string
		make func() error
	}{
		{"a folder of letters", func() error {
			return errors.Join(os.Mkdir(out, 0o755), os.WriteFile(filepath.Join(out, "letter.txt"), []byte("x"), 0o644))
		}},
		{"another program's results", func() error {
			return errors.Join(os.Mkdir(out, 0o755), os.WriteFile(filepath.Join(out, "result.json"), []byte(`{"result": 4}`), 0o644))
		}},
		{"a file", func() error { return os.WriteFile(out, []byte("x"), 0o644) }},
		{"a link", func() error { return os.Symlink(elsewhere, out) }},
	} {
		if err := tt.make(); err != nil {
			t.Fatal(err)
		}
		before := contents(t, dir)
		must(t, exitFatal, []string{"a.out"}, "measure", "--no-video", clip)
		must(t, exitPartly, nil, "batch", "--no-video", "--log", "plain", dir)
		for name, text := range before {
			if now := contents(t, dir)[name]; now != text {
				t.Errorf("%s: %s has changed", tt.name, name)
			}
		}
		if entries, _ := os.ReadDir(elsewhere); len(entries) > 0 {
			t.Errorf("%s: written through it", tt.name)
		}
		if err := os.RemoveAll(out); err != nil {
			t.Fatal(err)
		}
	}
	must(t, exitPartly, []string{"second look"}, "measure", "--no-video", clip)
	must(t, exitPartly, []string{"second look"}, "measure", "--no-video", clip) // Its own results it replaces.
}

// Links to yards and visits are followed; a folder without clips says so and changes
// nothing.
func TestLinkedAndEmptyFolders(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	root := t.TempDir()
	smallClip(t, filepath.Join(root, "drive", "visits", "2026-03-02", "a.mp4"), 0)
	smallClip(t, filepath.Join(root, "yard", "horses", "juniper", "2026-03-09", "b.mp4"), 1)
	link := func(target, name string) {
		t.Helper()
		if err := os.Symlink(target, filepath.Join(root, name)); err != nil {
			t.Fatal(err)
		}
	}
	link("../../../drive/visits/2026-03-02", "yard/horses/juniper/2026-03-02")
	link("..", "yard/horses/juniper/up") // A loop.
	link("yard", "my yard")
	text := must(t, exitPartly, []string{"2 clips"}, "batch", "--no-video", "--log", "plain", filepath.Join(root, "my yard"))
	if strings.Contains(text, "Not searched") {
		t.Error(text)
	}
	for _, name := range []string{"drive/visits/2026-03-02/a.out/result.json", "yard/horses/juniper/2026-03-09/b.out/result.json", "yard/morning.html"} {
		if _, err := os.Stat(filepath.Join(root, name)); err != nil {
			t.Error(err)
		}
	}
	must(t, exitGood, []string{"2 visits"}, "history", filepath.Join(root, "yard/horses/juniper"))

	// As where the drive with the clips is not there.
	empty := t.TempDir()
	write(t, filepath.Join(empty, batch.MorningPage), "the last one")
	write(t, filepath.Join(empty, batch.MorningData), "the last one")
	must(t, exitPartly, []string{"no clip", "right folder"}, "batch", "--log", "plain", empty)
	for _, name := range []string{batch.MorningPage, batch.MorningData} {
		if data, _ := os.ReadFile(filepath.Join(empty, name)); string(data) != "the last one" {
			t.Errorf("%s was replaced: %s", name, data)
		}
	}
}

// person is a user of a shared yard, by numbers that need not be known to the system.
type person struct {
	uid, gid uint32
	umask    int
	program  string
}

// run runs the program as that person and returns its exit code and what it wrote.
func (p person) run(t *testing.T, args ...string) (int, string) {
	t.Helper()
	script := fmt.Sprintf(`umask %03o; exec "$0" "$@"`, p.umask)
	cmd := exec.Command("bash", append([]string{"-c", script, p.program}, args...)...)
	cmd.Env = append(os.Environ(), "HOME=/nonexistent", "TMPDIR=/tmp")
	cmd.Dir = "/"
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: p.uid, Gid: p.uid, Groups: []uint32{p.gid}}}
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode(), string(out)
	}
	if err != nil {
		t.Fatal(err)
	}
	return 0, string(out)
}

// Two people share a yard by its group: what one has measured the other measures anew,
// whatever either's umask leaves to the group, and what a killed run of one has left
// stops nothing and is named.
func TestTwoPeopleShareAYard(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	if os.Geteuid() != 0 {
		t.Skip("NOT TESTED: two users can't be had; run as root")
	}
	program := builtProgram(t)
	const group = 65101
	a, b := person{65102, group, 0o022, program}, person{65103, group, 0o002, program}
	for _, tt := range []struct {
		name string
		mode fs.FileMode
	}{{"the group's own folder", 0o775}, {"set-group folder", 0o775 | fs.ModeSetgid}} {
		t.Run(tt.name, func(t *testing.T) {
			root := t.TempDir()
			clip := filepath.Join(root, "h", "2026-03-02", "a.mp4")
			smallClip(t, clip, 0)
			err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
				mode := fs.FileMode(0o664)
				if d.IsDir() {
					mode = tt.mode
				}
				return errors.Join(err, os.Chown(path, int(a.uid), group), os.Chmod(path, mode))
			})
			open := []error{err, os.Chmod(program, 0o755)}
			for dir := filepath.Dir(root); dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
				open = append(open, os.Chmod(dir, 0o755))
			}
			for dir := filepath.Dir(program); dir != os.TempDir() && dir != "/"; dir = filepath.Dir(dir) {
				open = append(open, os.Chmod(dir, 0o755))
			}
			if err := errors.Join(open...); err != nil {
				t.Fatal(err)
			}
			left := filepath.Join(filepath.Dir(clip), ".a.out.making-1")
			if err := errors.Join(os.Mkdir(left, 0o700), os.WriteFile(filepath.Join(left, "x"), nil, 0o600), os.Chown(left, int(a.uid), int(a.uid)), os.Chtimes(left, time.Now(), time.Now().Add(-48*time.Hour))); err != nil {
				t.Fatal(err)
			}
			owner := func(path string) uint32 {
				stat, err := os.Stat(path)
				if err != nil {
					t.Fatal(err)
				}
				if stat.Mode()&0o060 != 0o060 {
					t.Errorf("%s is %v: the group can't write", path, stat.Mode())
				}
				return stat.Sys().(*syscall.Stat_t).Uid
			}
			result := filepath.Join(record.OutPath(clip), "result.json")
			turns := []person{b, a}
			if tt.mode&fs.ModeSetgid != 0 {
				turns = append(turns, b)
			}
			for i, p := range turns {
				code, text := p.run(t, "batch", "--again", "--no-video", "--log", "plain", root)
				if code != exitPartly || !strings.Contains(text, "1 to look at again") && !strings.Contains(text, "second look") {
					t.Fatalf("run %d: %d\n%s", i, code, text)
				}
				if named := strings.Contains(text, "was left by a run of user 65102"); named != (i == 0) {
					t.Errorf("run %d: what a killed run left is named: %v\n%s", i, named, text)
				}
				err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
					if err == nil && path != left && filepath.Dir(path) != left {
						owner(path)
					}
					return err
				})
				if err != nil {
					t.Fatal(err)
				}
				for _, path := range []string{result, filepath.Join(root, batch.MorningPage), filepath.Join(root, "h", "2026-03-02", "visit.out", "report.html")} {
					if got := owner(path); got != p.uid {
						t.Errorf("run %d: %s is still of user %d", i, path, got)
					}
				}
			}
			// A folder that the other kept to himself is named with its owner.
			if err := errors.Join(os.Chmod(filepath.Dir(clip), 0o755), os.WriteFile(record.MarksPath(clip), append([]byte(" "), must1(os.ReadFile(record.MarksPath(clip)))...), 0o664)); err != nil {
				t.Fatal(err)
			}
			if _, text := b.run(t, "batch", "--no-video", "--log", "plain", root); !strings.Contains(text, "nothing can be written into h/2026-03-02, which belongs to user 65102") {
				t.Errorf("whose it is isn't said:\n%s", text)
			}
		})
	}
	t.Run("a person who shares nothing", func(t *testing.T) {
		root := t.TempDir()
		smallClip(t, filepath.Join(root, "h", "2026-03-02", "a.mp4"), 0)
		alone := person{0, 0, 0o077, program}
		if code, text := alone.run(t, "batch", "--log", "plain", root); code != exitPartly {
			t.Fatalf("%d\n%s", code, text)
		}
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			info, err := d.Info()
			made := strings.Contains(path, ".out") || strings.Contains(path, "morning") || strings.Contains(path, batch.StateFolder)
			if err == nil && made && info.Mode()&0o077 != 0 {
				t.Errorf("%s is %v with umask 077", path, info.Mode())
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}

func must1[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// A clip of 7680 × 4320 px is measured within the memory that the batch was given; what
// needs more than that is ended and says so, and a limit of the process that others have
// set gives a clear outcome, too.
func TestMemory(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	root := t.TempDir()
	large := filepath.Join(root, "large", "a.mp4")
	if err := os.MkdirAll(filepath.Dir(large), 0o755); err != nil {
		t.Fatal(err)
	}
	scenetest.Coded(t, large, "-f", "lavfi", "-i", "testsrc2=size=7680x4320:rate=60", "-frames:v", "4", "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p")
	m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 7680, Height: 4320}}
	for k, l := range []traj.Landmark{traj.Head, traj.LeftFore, traj.RightFore} {
		m.Marks = append(m.Marks, record.At(0, l, 3000+500*float64(k), 3000))
	}
	if err := record.WriteMarks(record.MarksPath(large), m); err != nil {
		t.Fatal(err)
	}
	const given = 1 << 30
	out, most, err := weighed(t, "batch", "--no-video", "--log", "plain", "--memory", "1GiB", filepath.Dir(large))
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitPartly || !strings.Contains(string(out), "second look") {
		t.Fatalf("%v\n%s", err, out)
	}
	if most > given || most < 100<<20 {
		t.Errorf("it took %d MiB of 1024", most>>20)
	}
	text := must(t, exitPartly, []string{"of memory", "the batch has 64 MiB", "--memory"}, "batch", "--again", "--no-video", "--log", "plain", "--memory", "64MiB", filepath.Dir(large))
	if strings.Contains(text, "signal") {
		t.Error(text)
	}
	script := `ulimit -d 400000; exec "$0" "$@"`
	out, err = exec.Command("bash", "-c", script, builtProgram(t), "batch", "--again", "--no-video", "--log", "plain", filepath.Dir(large)).CombinedOutput()
	if !errors.As(err, &exit) || exit.ExitCode() != exitPartly || !strings.Contains(string(out), "memory") {
		t.Errorf("with a limit of 400 MB: %v\n%s", err, out)
	}
	out, err = exec.Command("bash", "-c", script, builtProgram(t), "measure", "--no-video", large).CombinedOutput()
	if !errors.As(err, &exit) || exit.ExitCode() != exitFatal || !strings.Contains(string(out), "this process may take 390 MiB") || strings.Contains(string(out), "goroutine") {
		t.Errorf("measure with a limit of 400 MB: %v\n%s", err, out)
	}
	// A limit of addresses, of which most are set aside.
	out, err = exec.Command("bash", "-c", `ulimit -v 2000000; exec "$0" "$@"`, builtProgram(t), "measure", "--no-video", large).CombinedOutput()
	if !errors.As(err, &exit) || exit.ExitCode() != exitFatal || !strings.Contains(string(out), "this process may take 161 MiB") || strings.Contains(string(out), "goroutine") {
		t.Errorf("measure with a limit of addresses: %v\n%s", err, out)
	}
}

// Through the program: visits of two horses, one visit twice, one film under several
// names, other marks than were measured, results without a clip.
func TestCompareThroughTheProgram(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	yard := t.TempDir()
	write(t, filepath.Join(yard, "yard.toml"), "name = \"Hill\"\n")
	visit := func(horse, date string) string { return filepath.Join(yard, "horses", horse, date) }
	for i, v := range []string{visit("thistle", "2026-03-02"), visit("thistle", "2026-03-30"), visit("sorrel", "2026-03-30")} {
		smallClip(t, filepath.Join(v, "toward-1.mp4"), i)
	}
	copyClip(t, filepath.Join(visit("thistle", "2026-03-30"), "toward-1.mp4"), filepath.Join(visit("thistle", "2026-03-30"), "toward-2.mp4"))
	smallClip(t, filepath.Join(visit("thistle", "2026-03-30"), "toward-3.mp4"), 3)
	smallClip(t, filepath.Join(visit("thistle", "2026-03-30"), "toward-4.mp4"), 4)
	must(t, exitPartly, nil, "batch", "--no-video", "--log", "plain", yard)
	before, after := visit("thistle", "2026-03-02"), visit("thistle", "2026-03-30")

	must(t, exitFatal, []string{"two horses, thistle (before) and sorrel (after)", "--other-horse"}, "compare", before, visit("sorrel", "2026-03-30"))
	must(t, exitGood, []string{"two horses", "no change"}, "compare", "--other-horse", before, visit("sorrel", "2026-03-30"))
	must(t, exitFatal, []string{"given twice"}, "compare", after, after)
	must(t, exitPartly, []string{"wrong order", "2026-03-02 is compared as before", "toward-2.mp4 is the same film as toward-1.mp4"}, "compare", after, before)
	page, err := os.ReadFile(filepath.Join(visit("sorrel", "2026-03-30"), "compared-with-2026-03-02.out", "report.html"))
	if err != nil || !strings.Contains(string(page), "thistle (before) and sorrel (after)") {
		t.Errorf("the page does not name both: %v", err)
	}

	marks := record.MarksPath(filepath.Join(after, "toward-3.mp4"))
	write(t, marks, string(must1(os.ReadFile(marks)))+" ")
	if err := os.Remove(filepath.Join(after, "toward-4.mp4")); err != nil {
		t.Fatal(err)
	}
	must(t, exitPartly, []string{"toward-3.mp4: its marks have changed", "its clip toward-4.mp4 is gone", "3 things were left out"}, "compare", before, after)
	must(t, exitPartly, []string{"toward-4.mp4 is gone"}, "history", visit("thistle", ""))
	must(t, exitPartly, nil, "batch", "--no-video", "--log", "plain", yard)
	page, err = os.ReadFile(filepath.Join(after, "visit.out", "report.html"))
	if err != nil || !strings.Contains(string(page), "toward-4.mp4 is gone") || !strings.Contains(string(page), "same film as toward-1.mp4") || strings.Contains(string(page), "toward-3.mp4: its marks") {
		t.Errorf("the visit's page after the next batch: %v\n%s", err, page[:min(len(page), 0)])
	}
}
