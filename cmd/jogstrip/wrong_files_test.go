package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
)

// said runs the program and returns its exit code and what it wrote.
func said(t testing.TB, args ...string) (code int, text string) {
	t.Helper()
	out, err := jogstrip(t, args...).CombinedOutput()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode(), string(out)
	}
	if err != nil {
		t.Fatal(err)
	}
	return 0, string(out)
}

// must fails the test where the program did not end with the code, or did not say
// each of the words.
func must(t testing.TB, wantCode int, words []string, args ...string) string {
	t.Helper()
	code, text := said(t, args...)
	if code != wantCode {
		t.Errorf("%v: exit code %d, want %d\n%s", args, code, wantCode, text)
	}
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%v does not say %q:\n%s", args, w, text)
		}
	}
	return text
}

func copyFile(t testing.TB, from, to string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.MkdirAll(filepath.Dir(to), 0o755), os.WriteFile(to, data, 0o644)); err != nil {
		t.Fatal(err)
	}
}

// copyClip copies a clip and its marks.
func copyClip(t testing.TB, from, to string) {
	t.Helper()
	copyFile(t, from, to)
	copyFile(t, record.MarksPath(from), record.MarksPath(to))
}

// packetsAt returns position and size of a clip's packets in the file's order.
func packetsAt(t testing.TB, path string) (at [][2]int) {
	t.Helper()
	out, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "packet=pos,size", "-of", "json", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var told struct {
		Packets []struct{ Pos, Size string }
	}
	if err := json.Unmarshal(out, &told); err != nil {
		t.Fatal(err)
	}
	for _, p := range told.Packets {
		pos, _ := strconv.Atoi(p.Pos)
		size, _ := strconv.Atoi(p.Size)
		at = append(at, [2]int{pos, size})
	}
	return at
}

// opened reports whether a process has a file open.
func opened(pid int, path string) bool {
	open, _ := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid)) // None: the process has ended.
	return slices.ContainsFunc(open, func(link string) bool {
		target, err := os.Readlink(link)
		return err == nil && target == path
	})
}

// made reports whether there is something at a path.
func made(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// What lies in a yard folder and is not what it seems is named and not measured, or
// measured without what is wrong with it.
func TestWrongFiles(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	film, marks, _ := filmed(t)
	if err := record.WriteMarks(record.MarksPath(film), marks); err != nil {
		t.Fatal(err)
	}
	folder := func(t *testing.T) string { return filepath.Join(t.TempDir(), "a.mp4") }

	t.Run("a playlist opens nothing else", func(t *testing.T) {
		clip := folder(t)
		copyClip(t, film, clip)
		copyFile(t, film, filepath.Join(filepath.Dir(clip), "behind.mp4"))
		for name, text := range map[string]string{
			"ffconcat": "ffconcat version 1.0\nfile behind.mp4\n",
			"HLS":      "#EXTM3U\n#EXT-X-TARGETDURATION:3\n#EXT-X-VERSION:7\n#EXTINF:3,\n" + filepath.Join(filepath.Dir(clip), "behind.mp4") + "\n#EXT-X-ENDLIST\n",
			"DASH":     `<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" mediaPresentationDuration="PT3S" profiles="urn:mpeg:dash:profile:isoff-on-demand:2011"><Period><AdaptationSet mimeType="video/mp4"><Representation id="1" bandwidth="1000" width="960" height="540"><BaseURL>behind.mp4</BaseURL></Representation></AdaptationSet></Period></MPD>`,
		} {
			if err := os.WriteFile(clip, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			words := []string{"a.mp4", "not a film of a kind that phones and cameras write"}
			must(t, exitFatal, words, "measure", "--no-video", clip)
			must(t, exitPartly, words, "check", clip)
			if _, err := os.Stat(record.OutPath(clip)); err == nil {
				t.Errorf("%s has results", name)
			}
		}
	})

	t.Run("ctrl-C ends every command before its work is done", func(t *testing.T) {
		clip := folder(t)
		copyClip(t, film, clip)
		for _, tt := range []struct {
			args  []string
			after time.Duration
			long  bool // It is far from its end by then.
		}{
			{[]string{"measure", "--no-video", clip}, time.Second, false},
			{[]string{"measure", "--no-video", clip}, 0, false},
			{[]string{"measure", "--resamples", "100000", clip}, 300 * time.Millisecond, true},
			{[]string{"measure", "--resamples", "100000", clip}, time.Second, false},
			{[]string{"check", clip}, 300 * time.Millisecond, false},
			{[]string{"demo", filepath.Join(t.TempDir(), "demo")}, time.Second, true},
		} {
			cmd := jogstrip(t, tt.args...)
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			// Until then a busy machine may not even have started the program.
			for range 1000 {
				if opened(cmd.Process.Pid, clip) || tt.args[0] == "demo" && made(tt.args[1]) || !alive(cmd.Process.Pid) {
					break
				}
				time.Sleep(10 * time.Millisecond)
			}
			time.Sleep(tt.after)
			_ = cmd.Process.Signal(os.Interrupt) // It may have ended by itself.
			err := cmd.Wait()
			code := cmd.ProcessState.ExitCode()
			if code != exitInterrupted && (tt.long || err != nil && code != exitPartly) {
				t.Errorf("%v: %v", tt.args, err)
			}
			if _, err := os.Stat(record.OutPath(clip)); code == exitInterrupted && err == nil {
				t.Errorf("%v: it was interrupted, and there are results", tt.args)
			}
			if err := os.RemoveAll(record.OutPath(clip)); err != nil {
				t.Fatal(err)
			}
		}
	})

	t.Run("flipped bytes are no horse", func(t *testing.T) {
		clip := folder(t)
		copyClip(t, film, clip)
		// As phones do, with a picture of its own every third of a second.
		scenetest.Recoded(t, film, clip, "-c:v", "libx264", "-preset", "fast", "-crf", "18", "-g", "20", "-fps_mode", "passthrough")
		data, err := os.ReadFile(clip)
		if err != nil {
			t.Fatal(err)
		}
		all := packetsAt(t, clip)
		random := rand.New(rand.NewPCG(5, 5))
		for _, packet := range []int{25, 31, 45, 85} {
			p := all[packet]
			data[p[0]+p[1]/3+random.IntN(p[1]/3)] ^= 0x55
		}
		if err := os.WriteFile(clip, data, 0o644); err != nil {
			t.Fatal(err)
		}
		must(t, exitPartly, []string{"The clip is damaged", "could not be decoded whole", "Copy the clip from the phone again"}, "measure", "--no-video", clip)
		r, err := record.ReadResult(record.OutPath(clip))
		if err != nil {
			t.Fatal(err)
		}
		if r.Clip.DamagedFrames == 0 || len(r.Clip.DecodeErrors) == 0 || r.Clip.Frames != r.Clip.PromisedFrames {
			t.Errorf("%+v", r.Clip)
		}
		signals, err := os.ReadFile(filepath.Join(record.OutPath(clip), "signals.csv"))
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range r.Clip.DecodeErrors {
			row := bytes.Split(signals, []byte("\n"))[e.Frame+1]
			if !bytes.HasPrefix(row, []byte(fmt.Sprintf("%d,", e.Frame))) || bytes.Contains(row, []byte("tracked")) || bytes.Contains(row, []byte("marked")) {
				t.Errorf("frame %d, which could not be decoded, is followed: %s", e.Frame, row)
			}
		}
	})
}
