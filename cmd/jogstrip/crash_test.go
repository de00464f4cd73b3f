package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// How often the crash tests kill a batch; scripts/crash-test asks for more.
const crashKills = "JOGSTRIP_CRASH_KILLS"

func kills(t *testing.T, few int) int {
	text := os.Getenv(crashKills)
	if text == "" {
		return few
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("%s is %q", crashKills, text)
	}
	return n
}

// crashYard is a yard of small clips with two versions of their marks: at any
// moment a clip's results are those of one of them, whole.
type crashYard struct {
	t     *testing.T
	root  string
	clips []string
	marks [2]map[string][]byte            // By version and clip.
	want  [2]map[string]map[string]string // By version, clip, file: what an undisturbed batch gives.
	fixed map[string]string               // Clips and pages.
	whole time.Duration                   // What an undisturbed batch takes.
}

func newCrashYard(t *testing.T, root string) *crashYard {
	t.Helper()
	y := &crashYard{t: t, root: root}
	y.clips = []string{"h/2026-03-02/toward-1.mp4", "h/2026-03-09/away-1.mp4"}
	if os.Getenv(crashKills) != "" {
		y.clips = append(y.clips, "h/2026-03-02/toward-2.mp4") // A third, while both workers are busy.
	}
	for i, name := range y.clips {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		source := fmt.Sprintf("testsrc2=size=%dx96:rate=60", 128+16*i)
		scenetest.Coded(t, path, "-f", "lavfi", "-i", source, "-frames:v", "16", "-c:v", "libx264", "-pix_fmt", "yuv420p")
		for version := range y.marks {
			m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 128 + 16*i, Height: 96}}
			for k, l := range []traj.Landmark{traj.Head, traj.LeftFore, traj.RightFore} {
				m.Marks = append(m.Marks, record.At(0, l, 40+15*float64(k), 40+8*float64(version)))
			}
			if err := record.WriteMarks(record.MarksPath(path), m); err != nil {
				t.Fatal(err)
			}
			data, err := os.ReadFile(record.MarksPath(path))
			if err != nil {
				t.Fatal(err)
			}
			if y.marks[version] == nil {
				y.marks[version] = map[string][]byte{}
			}
			y.marks[version][name] = data
		}
	}
	write(t, filepath.Join(root, "yard.toml"), `name = "Crash"`)
	write(t, filepath.Join(root, "h/2026-03-02/visit.toml"), `reason = "moves short"`)
	y.fixed = contents(t, root)
	for _, name := range y.clips {
		delete(y.fixed, record.MarksPath(name))
	}
	if undisturbed.whole == 0 {
		for version := range y.marks {
			y.mark(version)
			begun := time.Now()
			y.finish()
			undisturbed.whole = max(undisturbed.whole, time.Since(begun))
			want := map[string]map[string]string{}
			for _, name := range y.clips {
				want[name] = folder(t, record.OutPath(filepath.Join(root, name)))
				if want[name][record.ResultFile] == "" {
					t.Fatalf("%s has no result", name)
				}
			}
			undisturbed.want[version] = want
		}
	}
	y.want, y.whole = undisturbed.want, undisturbed.whole
	for _, name := range y.clips {
		if y.want[0][name][record.ResultFile] == y.want[1][name][record.ResultFile] {
			t.Fatalf("%s: both versions give the same result: the test would say nothing", name)
		}
		// As the second of two batches has left it.
		for file, text := range y.want[1][name] {
			path := filepath.Join(record.OutPath(filepath.Join(root, name)), file)
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			write(t, path, text)
		}
	}
	return y
}

// undisturbed is what batches over such yards give that nothing happens to, whatever
// disk they lie on: they are run for the first yard.
var undisturbed struct {
	want  [2]map[string]map[string]string
	whole time.Duration
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func mkdir(t *testing.T, path string) string {
	t.Helper()
	if err := os.Mkdir(path, 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

// folder returns every file in and below dir; nil where it is not there.
func folder(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[rel] = string(data)
		return err
	})
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// mark puts one version of the marks in place.
func (y *crashYard) mark(version int) {
	y.t.Helper()
	for name, data := range y.marks[version] {
		if err := fsx.WriteFile(record.MarksPath(filepath.Join(y.root, name)), data); err != nil {
			y.t.Fatal(err)
		}
	}
}

func (y *crashYard) batch() *exec.Cmd {
	cmd := jogstrip(y.t, "batch", y.root, "--workers", "2", "--log", "plain")
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	return cmd
}

// finish runs a batch to its end.
func (y *crashYard) finish() {
	y.t.Helper()
	out, err := y.batch().CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitPartly { // This material has no horse in it: a second look.
		y.t.Fatalf("batch: %v\n%s", err, out)
	}
}

// check looks at everything a kill could have harmed. version is the one whose
// marks are in place.
func (y *crashYard) check(moment string) (news int) {
	y.t.Helper()
	for name, text := range y.fixed {
		if data, err := os.ReadFile(filepath.Join(y.root, name)); err != nil || string(data) != text {
			y.t.Fatalf("%s: %s was changed (%v)", moment, name, err)
		}
	}
	for _, name := range y.clips {
		found := folder(y.t, record.OutPath(filepath.Join(y.root, name)))
		old, made := same(found, y.want[0][name]), same(found, y.want[1][name])
		if old != "" && made != "" {
			y.t.Fatalf("%s: the results of %s are neither the old ones (%s) nor the new ones (%s)", moment, name, old, made)
		}
		if made == "" {
			news++
		}
	}
	state, err := filepath.Glob(filepath.Join(y.root, batch.StateFolder, "*.json"))
	if err != nil {
		y.t.Fatal(err)
	}
	for _, path := range append(state, filepath.Join(y.root, batch.MorningData)) {
		data, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			y.t.Fatal(err)
		}
		if !bytes.HasSuffix(data, []byte("}\n")) {
			y.t.Fatalf("%s: %s is not whole", moment, path)
		}
		if strings.Contains(path, "hashes") {
			continue
		}
		if _, err := batch.ParseLedger(path, data); err != nil {
			y.t.Fatalf("%s: %v", moment, err)
		}
	}
	return news
}

// same returns "" where found is want, else the first difference. What names
// the day on which it was written is compared by its presence.
func same(found, want map[string]string) string {
	if found == nil {
		return "it is not there"
	}
	for name, text := range want {
		got, ok := found[name]
		if !ok {
			return name + " is missing"
		}
		if got != text && !strings.HasSuffix(name, ".html") {
			return name + " differs"
		}
		if strings.HasSuffix(name, ".html") && !strings.HasSuffix(strings.TrimSpace(got), "</html>") {
			return name + " is not whole"
		}
	}
	for name := range found {
		if _, ok := want[name]; !ok {
			return name + " does not belong there"
		}
	}
	return ""
}

// descendants returns the processes that pid has started, directly or not.
func descendants(pid int) []int {
	stats, _ := filepath.Glob("/proc/[0-9]*/stat")
	children := map[int][]int{}
	for _, path := range stats {
		data, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		_, rest, ok := strings.Cut(string(data[bytes.LastIndexByte(data, ')'):]), ") ")
		fields := strings.Fields(rest)
		if !ok || len(fields) < 2 {
			continue
		}
		parent, _ := strconv.Atoi(fields[1])
		child, _ := strconv.Atoi(filepath.Base(filepath.Dir(path)))
		children[parent] = append(children[parent], child)
	}
	var all []int
	for queue := []int{pid}; len(queue) > 0; queue = queue[1:] {
		all = append(all, children[queue[0]]...)
		queue = append(queue, children[queue[0]]...)
	}
	return all
}

func alive(pid int) bool {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	return err == nil && !bytes.Contains(data, []byte(") Z "))
}

// A batch is killed at random moments: it alone, it with all its processes at
// once, or one of its processes. Whatever the moment, every file is whole, and
// the batch that is let run gives what an undisturbed one gives, bit for bit.
// A power cut is more than this: what the kernel holds is lost, too. That
// everything is synced before it takes its place is checked in package fsx's
// own code, not here.
func TestKilledBatchLeavesEverythingWhole(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	y := newCrashYard(t, t.TempDir())
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 1))
	number := kills(t, 2)
	version, killed, during := 0, 0, 0
	y.mark(version)
	for killed < number {
		cmd := y.batch()
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		wait := time.Duration(random.Float64() * float64(y.whole) * 1.1)
		select {
		case <-ended: // It came through; the other marks give it something to do.
			y.check("after a whole batch")
			version = 1 - version
			y.mark(version)
			continue
		case <-time.After(wait):
		}
		started := descendants(cmd.Process.Pid)
		how := "the batch alone"
		switch random.IntN(3) {
		case 0:
			_ = cmd.Process.Kill()
		case 1:
			how = "the batch and all its processes"
			_ = cmd.Process.Kill()
			for _, pid := range started {
				_ = syscall.Kill(pid, syscall.SIGKILL)
			}
		case 2:
			how = "one of its processes, then the batch"
			if len(started) > 0 {
				_ = syscall.Kill(started[random.IntN(len(started))], syscall.SIGKILL)
				time.Sleep(time.Duration(random.IntN(300)) * time.Millisecond)
			}
			started = append(started, descendants(cmd.Process.Pid)...)
			_ = cmd.Process.Kill()
		}
		<-ended
		killed++
		if len(started) > 0 {
			during++
		}
		moment := fmt.Sprintf("kill %d (seed %d) after %s, %s", killed, seed, wait, how)
		for _, pid := range started {
			for begun := time.Now(); alive(pid); time.Sleep(10 * time.Millisecond) {
				if time.Since(begun) > 20*time.Second {
					t.Fatalf("%s: process %d lives on", moment, pid)
				}
			}
		}
		y.check(moment)
	}
	y.finish()
	// What a kill leaves between putting results in place and removing the old ones goes
	// with the next batch, to which the clip is up to date.
	write(t, filepath.Join(mkdir(t, filepath.Join(y.root, "h/2026-03-09/.away-1.out.making-1")), record.ResultFile), "old")
	write(t, filepath.Join(mkdir(t, filepath.Join(y.root, "h/2026-03-09/.visit.out.making-1")), "report.html"), "old")
	y.finish()
	y.check("at the end")
	for _, name := range y.clips {
		if diff := same(folder(t, record.OutPath(filepath.Join(y.root, name))), y.want[version][name]); diff != "" {
			t.Errorf("%s: the result differs from that of an undisturbed batch: %s", name, diff)
		}
	}
	for _, left := range leftovers(t, y.root) {
		t.Errorf("left behind: %s", left)
	}
	t.Logf("%d kills, %d of them while clips were being measured", killed, during)
	if number >= 20 && during < number/4 {
		t.Errorf("only %d of %d kills fell while clips were being measured", during, killed)
	}
}

func leftovers(t *testing.T, root string) []string {
	t.Helper()
	var left []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && fsx.Leftover(d.Name()) {
			left = append(left, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return left
}

// The disk of a few MB is full at random moments.
func TestFullDiskLeavesEverythingWhole(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	root := t.TempDir()
	if err := syscall.Mount("jogstrip-test", root, "tmpfs", 0, "size=6m"); err != nil {
		t.Skipf("NOT TESTED: a small disk can't be mounted (%v); run as root", err)
	}
	defer func() {
		if err := syscall.Unmount(root, 0); err != nil {
			t.Error(err)
		}
	}()
	y := newCrashYard(t, root)
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 2))
	number := kills(t, 1)
	ballast := filepath.Join(root, ".ballast")
	version, filled, refused := 0, 0, 0
	y.mark(version)
	for filled < number {
		cmd := y.batch()
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		wait := time.Duration(random.Float64() * float64(y.whole))
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		select {
		case <-ended:
			y.check("after a whole batch")
			version = 1 - version
			y.mark(version)
			continue
		case <-time.After(wait):
		}
		fill(t, ballast)
		filled++
		err := <-ended
		moment := fmt.Sprintf("full disk %d (seed %d) after %s", filled, seed, wait)
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != exitPartly && exit.ExitCode() != exitFatal {
			t.Fatalf("%s: %v\n%s", moment, err, out.String())
		}
		if exit.ExitCode() == exitFatal {
			refused++
			if text := out.String(); !strings.Contains(text, "no space left") && !strings.Contains(text, "disk is full") {
				t.Fatalf("%s: the batch does not say that the disk is full:\n%s", moment, text)
			}
		}
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		y.check(moment)
	}
	y.finish()
	for _, name := range y.clips {
		if diff := same(folder(t, record.OutPath(filepath.Join(y.root, name))), y.want[version][name]); diff != "" {
			t.Errorf("%s: the result differs from that of an undisturbed batch: %s", name, diff)
		}
	}
	t.Logf("the disk was filled %d times; %d batches ended for it", filled, refused)
	if number >= 20 && refused < number/4 {
		t.Errorf("only %d of %d full disks were felt", refused, filled)
	}
}

// fill takes all room that is left.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	block := make([]byte, 4096)
	for {
		if _, err = f.Write(block); err != nil {
			break
		}
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("fill the disk: %v", err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
