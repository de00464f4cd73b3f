package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// strange is one clip that is damaged or unusual.
type strange struct {
	kind, name string // The name has the ending.
	make       func() []byte
}

// strangeFilm is a film of a horse that is plainly lame on the left fore, coded in
// several ways.
type strangeFilm struct {
	t     testing.TB
	dir   string
	film  string
	marks *record.Marks
	bases []base
}

// base is a way in which the film is coded.
type base struct {
	name string
	args []string
}

func newStrangeFilm(t testing.TB) *strangeFilm {
	t.Helper()
	f := &strangeFilm{t: t, dir: t.TempDir()}
	f.film = filepath.Join(f.dir, "film.mp4")
	s := scene.Scene{Seed: 71, Asymmetry: scene.ShortFore(traj.Left, 1.5), Motion: scene.Motion{StartM: 15}, Camera: scene.Camera{Width: 960, Height: 540, FPS: 60}, Encoding: scene.Encoding{CRF: 10}}
	s.Horse.Markers = true
	truth := scenetest.Render(t, s, f.film)
	f.marks = demo.Clicked(truth, s, "", demo.Clicking{})
	f.marks.Turned = "0" // As the marks page writes it.
	var frames []int
	for _, m := range f.marks.Marks {
		if !slices.Contains(frames, m.Frame) {
			frames = append(frames, m.Frame)
		}
	}
	for _, c := range truth.Clicks(frames, scene.ClickOptions{SD: 0.4, Seed: 5, Landmarks: []traj.Landmark{traj.Withers}}) {
		f.marks.Marks = append(f.marks.Marks, record.At(c.Frame, c.Landmark, c.X, c.Y))
	}
	h264 := []string{"-c:v", "libx264", "-preset", "fast", "-crf", "16", "-pix_fmt", "yuv420p", "-x264-params", "scenecut=0"}
	f.bases = []base{
		{"phone.mp4", append(h264, "-g", "30", "-bf", "0", "-movflags", "+faststart")},
		{"phone.mov", append(h264, "-g", "60", "-bf", "2")},
		{"hevc.mov", []string{"-c:v", "libx265", "-preset", "ultrafast", "-crf", "16", "-x265-params", "log-level=none:keyint=30:bframes=2", "-tag:v", "hvc1"}},
		{"matroska.mkv", append(h264, "-g", "30", "-bf", "2")},
		{"camcorder.mts", append(h264, "-g", "30", "-bf", "2", "-f", "mpegts")},
		{"camera.avi", []string{"-c:v", "mjpeg", "-q:v", "2", "-pix_fmt", "yuvj420p"}},
	}
	return f
}

// coded returns the film as one of the bases; it is made once.
func (f *strangeFilm) coded(number int) []byte {
	b := f.bases[number]
	if data, err := os.ReadFile(filepath.Join(f.dir, "made-"+b.name)); err == nil {
		return data
	}
	return f.ffmpeg(b.name, b.args...)
}

// path returns where a base lies.
func (f *strangeFilm) path(number int) string {
	f.coded(number)
	return filepath.Join(f.dir, "made-"+f.bases[number].name)
}

// ffmpeg returns what ffmpeg makes of the film.
func (f *strangeFilm) ffmpeg(name string, args ...string) []byte {
	f.t.Helper()
	return f.ffmpegOf(f.film, name, append([]string{"-fps_mode", "passthrough"}, args...)...)
}

func (f *strangeFilm) ffmpegOf(from, name string, args ...string) []byte {
	f.t.Helper()
	path := filepath.Join(f.dir, "made-"+name)
	scenetest.Recoded(f.t, from, path, args...)
	data, err := os.ReadFile(path)
	if err != nil {
		f.t.Fatal(err)
	}
	return data
}

// all returns every clip, in an order that does not depend on anything.
func (f *strangeFilm) all() []strange {
	var out []strange
	add := func(kind, name string, make func() []byte) { out = append(out, strange{kind, name, make}) }
	for number, b := range f.bases {
		ext := filepath.Ext(b.name)
		name := func(what string) string { return strings.TrimSuffix(b.name, ext) + "-" + what + ext }
		// change returns a copy of the film that was changed somewhere behind its beginning.
		change := func(seed, more uint64, how func(data []byte, first int, random *rand.Rand) []byte) func() []byte {
			return func() []byte {
				data := bytes.Clone(f.coded(number))
				return how(data, len(data)/20, rand.New(rand.NewPCG(seed, more)))
			}
		}
		add("whole", b.name, func() []byte { return f.coded(number) })
		for _, count := range []int{1, 4, 16, 64, 256} {
			for seed := range uint64(3) {
				add(fmt.Sprintf("%d bytes flipped", count), name(fmt.Sprintf("flip-%d-%d", count, seed)), change(seed, uint64(count), func(data []byte, first int, random *rand.Rand) []byte {
					for range count {
						data[first+random.IntN(len(data)-first)] ^= byte(1 + random.IntN(255))
					}
					return data
				}))
			}
		}
		for _, size := range []int{512, 4096, 65536} {
			for seed := range uint64(2) {
				block := func(how func(data []byte, from, to int, random *rand.Rand) []byte) func() []byte {
					return change(seed, uint64(size), func(data []byte, first int, random *rand.Rand) []byte {
						from := first + random.IntN(max(1, len(data)-first-size))
						return how(data, from, min(from+size, len(data)), random)
					})
				}
				add("a hole of zeros", name(fmt.Sprintf("hole-%d-%d", size, seed)), block(func(data []byte, from, to int, _ *rand.Rand) []byte {
					clear(data[from:to])
					return data
				}))
				add("a block of noise", name(fmt.Sprintf("noise-%d-%d", size, seed)), block(func(data []byte, from, to int, random *rand.Rand) []byte {
					for i := from; i < to; i++ {
						data[i] = byte(random.UintN(256))
					}
					return data
				}))
				add("a block left out", name(fmt.Sprintf("gap-%d-%d", size, seed)), block(func(data []byte, from, to int, _ *rand.Rand) []byte {
					return slices.Delete(data, from, to)
				}))
			}
		}
		for _, percent := range []int{10, 40, 70, 95} {
			add("cut off", name(fmt.Sprintf("cut-%d", percent)), func() []byte {
				data := f.coded(number)
				return data[:len(data)*percent/100]
			})
		}
		add("twice in one file", name("twice"), func() []byte { return append(f.coded(number), f.coded(number)...) })
		add("after other bytes", name("late"), func() []byte { return append(bytes.Repeat([]byte("jpeg "), 200), f.coded(number)...) })
	}
	const phone, mov, hevc, matroska = 0, 1, 2, 3
	web := func() []byte { return bytes.Clone(f.coded(phone)) }
	for seed := range uint64(12) {
		add("wrong bytes in the index", fmt.Sprintf("index-%d.mp4", seed), func() []byte {
			random, data := rand.New(rand.NewPCG(seed, 9)), web()
			for range 6 {
				data[40+random.IntN(bytes.Index(data, []byte("mdat"))-48)] ^= byte(1 + random.IntN(255))
			}
			return data
		})
	}
	for i, m := range [][9]int32{
		{1, 0, 0, 0, 1, 0}, {0, 1, 0, -1, 0, 0}, {-1, 0, 0, 0, -1, 0}, {0, -1, 0, 1, 0, 0}, // Quarter turns.
		{-1, 0, 0, 0, 1, 0}, {1, 0, 0, 0, -1, 0}, {0, 1, 0, 1, 0, 0}, {0, -1, 0, -1, 0, 0}, // Mirrored.
		{}, {2, 0, 0, 0, 2, 0}, {1, 1, 0, 0, 1, 0}, {math.MaxInt16, 0, 0, 0, 1, 0}, {1, 0, 9, 0, 1, 9},
	} {
		add("display matrix", fmt.Sprintf("matrix-%d.mp4", i), func() []byte {
			data := web()
			at := bytes.Index(data, []byte("tkhd")) + 4 + 40
			for k, v := range m {
				scale := int32(65536)
				if k%3 == 2 {
					scale = 1 << 24
				}
				binary.BigEndian.PutUint32(data[at+4*k:], uint32(v*scale))
			}
			binary.BigEndian.PutUint32(data[at+32:], 1<<30)
			return data
		})
	}
	copied := func(from int, name string, args ...string) func() []byte {
		return func() []byte { return f.ffmpegOf(f.path(from), name, append([]string{"-c", "copy"}, args...)...) }
	}
	for i, ratio := range []string{"1/2", "4/3", "3/4", "10/11", "16/15", "255/1", "1/255", "65535/65534"} {
		add("sample aspect ratio", fmt.Sprintf("aspect-%d.mp4", i), copied(phone, "aspect.mp4", "-bsf:v", "h264_metadata=sample_aspect_ratio="+ratio))
	}
	for i, rate := range []string{"30", "60", "120.0", "240.000000", "960", "0", "-240", "1e9", "nan", "fast"} {
		add("slow-motion tag", fmt.Sprintf("rate-%d.mp4", i), copied(phone, "rate.mp4", "-movflags", "use_metadata_tags", "-metadata", "com.android.capture.fps="+rate))
	}
	for i, slow := range []string{"2", "4", "8", "0.5"} {
		add("played slower or faster", fmt.Sprintf("slow-%d.mp4", i), copied(phone, "slow.mp4", "-bsf:v", "setts=ts=TS*"+slow))
	}
	// Edit lists: where each entry shows the film from, for how long, at what rate.
	for i, e := range [][3]uint32{{0, 0, 1 << 16}, {1000, 0, 1 << 16}, {500, 6000, 1 << 16}, {1000, math.MaxUint32, 1 << 16}, {1 << 31, 0, 1 << 16}, {1000, 1 << 31, 1 << 16}, {1000, 0, 0}, {1000, 0, 1 << 15}, {1000, 0, 4 << 16}, {1, 100, 1 << 16}, {math.MaxUint32, 2000, 3 << 16}} {
		add("edit list", fmt.Sprintf("edit-%d.mp4", i), func() []byte {
			data := copied(mov, "edited.mp4", "-movflags", "+faststart")()
			at := bytes.Index(data, []byte("elst"))
			if at < 0 {
				f.t.Fatal("no edit list")
			}
			for k, v := range e {
				binary.BigEndian.PutUint32(data[at+12+4*k:], v)
			}
			return data
		})
	}
	for i, times := range []string{"ts=TS-90000", "ts=TS+1e12", "ts=if(gt(N\\,60)\\,TS+900000\\,TS)", "pts=if(eq(mod(N\\,10)\\,3)\\,PREV_OUTPTS\\,PTS)", "pts=PTS+200*mod(N\\,3)", "ts=floor(TS/3000)*3000", "pts=PTS*PTS/1000"} {
		add("strange times", fmt.Sprintf("times-%d.mkv", i), copied(matroska, "times.mkv", "-bsf:v", "setts="+times))
	}
	behind := f.path(phone)
	for name, text := range map[string]string{
		"ffconcat":       "ffconcat version 1.0\nfile film.mp4\n",
		"ffconcat-path":  "ffconcat version 1.0\nfile '" + behind + "'\n",
		"hls":            "#EXTM3U\n#EXT-X-VERSION:7\n#EXT-X-TARGETDURATION:3\n#EXTINF:3,\n" + behind + "\n#EXT-X-ENDLIST\n",
		"hls-url":        "#EXTM3U\n#EXT-X-TARGETDURATION:3\n#EXTINF:3,\nfile://" + behind + "\n#EXT-X-ENDLIST\n",
		"hls-master":     "#EXTM3U\n#EXT-X-STREAM-INF:BANDWIDTH=1000\nhls.mp4\n",
		"dash":           `<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" mediaPresentationDuration="PT3S" profiles="urn:mpeg:dash:profile:isoff-on-demand:2011"><Period><AdaptationSet mimeType="video/mp4"><Representation id="1" bandwidth="1000" width="640" height="360"><BaseURL>` + behind + `</BaseURL></Representation></AdaptationSet></Period></MPD>`,
		"xspf":           `<?xml version="1.0"?><playlist version="1" xmlns="http://xspf.org/ns/0/"><trackList><track><location>` + behind + `</location></track></trackList></playlist>`,
		"sdp":            "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5004 RTP/AVP 96\na=rtpmap:96 H264/90000\n",
		"smil":           `<smil><body><video src="` + behind + `"/></body></smil>`,
		"rtsp-in-text":   "[Reference]\nRef1=file://" + behind + "\n",
		"lavfi-in-text":  "testsrc2=size=640x360:rate=60",
		"subtitle":       "1\n00:00:00,000 --> 00:00:02,000\ntrot\n",
		"image-sequence": "%03d.png",
	} {
		add("playlist or text", name+".mp4", func() []byte { return []byte(text) })
	}
	// A file whose samples are said to lie in another one (ISO/IEC 14496-12, 8.7.2: the
	// flag of its data entry says "in the same file").
	add("refers to another file", "elsewhere.mp4", func() []byte {
		data := web()
		at := bytes.Index(data, []byte("url \x00\x00\x00\x01"))
		if at < 0 {
			f.t.Fatal("no data entry")
		}
		data[at+7] = 0
		return data
	})
	add("encrypted", "encrypted.mp4", copied(phone, "encrypted.mp4", "-encryption_scheme", "cenc-aes-ctr", "-encryption_key", "76a6c65c5ea762046bd749a2e632ccbb", "-encryption_kid", "a7e61c373e219033c21091fa607bf3b8"))
	add("encrypted", "encrypted-as-a-whole.mp4", func() []byte {
		data := web()
		for i := bytes.Index(data, []byte("mdat")) + 4; i < len(data); i++ {
			data[i] ^= 0xa5
		}
		return data
	})
	add("nested", "attached.mkv", copied(matroska, "attached.mkv", "-attach", behind, "-metadata:s:t", "mimetype=video/mp4"))
	add("nested", "sound-first.mp4", func() []byte {
		return f.ffmpegOf(behind, "sound-first.mp4", "-f", "lavfi", "-i", "sine=duration=2", "-map", "1:a", "-map", "0:v", "-c:v", "copy", "-c:a", "aac")
	})
	add("nested", "two-films.mp4", func() []byte {
		return f.ffmpegOf(behind, "two-films.mp4", "-i", f.path(hevc), "-map", "1:v", "-map", "0:v", "-c", "copy")
	})
	add("nested", "fragments.mp4", copied(phone, "fragments.mp4", "-movflags", "+frag_keyframe+empty_moov+default_base_moof"))
	add("nested", "zip.mp4", func() []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		w, err := z.CreateHeader(&zip.FileHeader{Name: "a.mp4", Method: zip.Store})
		if err == nil {
			_, err = w.Write(web())
		}
		if err := errors.Join(err, z.Close()); err != nil {
			f.t.Fatal(err)
		}
		return b.Bytes()
	})
	add("nested", "tar.mp4", func() []byte {
		var b bytes.Buffer
		w, data := tar.NewWriter(&b), web()
		err := w.WriteHeader(&tar.Header{Name: "a.mp4", Size: int64(len(data)), Mode: 0o644})
		_, writeErr := w.Write(data)
		if err := errors.Join(err, writeErr, w.Close()); err != nil {
			f.t.Fatal(err)
		}
		return b.Bytes()
	})
	slices.SortStableFunc(out, func(x, y strange) int { return strings.Compare(x.name, y.name) })
	return out
}

// measureStrange measures clips in one batch and checks that each has an outcome with a
// reason, that nothing crashed, hung or took more memory than was given, and that no
// other limb than the lame one is named. It prints a table.
func measureStrange(t *testing.T, f *strangeFilm, clips []strange) map[string]batch.Entry {
	t.Helper()
	root := t.TempDir()
	for i, c := range clips {
		path := filepath.Join(root, fmt.Sprintf("%03d", i), c.name) // A folder each: names may differ in their endings alone.
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, path, string(c.make()))
		if err := record.WriteMarks(record.MarksPath(path), f.marks); err != nil {
			t.Fatal(err)
		}
	}
	begun := time.Now()
	out, peak, err := weighed(t, "batch", root, "--no-video", "--resamples", "200", "--log", "plain", "--stall-limit", "120s", "--time-limit", "5m", "--memory", "2GiB")
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitPartly {
		t.Fatalf("%v\n%s", err, out)
	}
	took := time.Since(begun)
	if data, err := os.ReadFile(f.film); err != nil || len(data) == 0 {
		t.Fatal(err)
	}
	entries := map[string]batch.Entry{}
	for clip, e := range outcomes(t, root) {
		entries[filepath.Base(clip)] = e
	}
	type row struct{ clips, failed, look, measured, named int }
	rows := map[string]*row{}
	var kinds, lines []string
	slowest, slowestName := 0.0, ""
	for i, c := range clips {
		e, known := entries[c.name]
		if !known {
			t.Errorf("%s has no outcome", c.name)
			continue
		}
		k := rows[c.kind]
		if k == nil {
			k = new(row)
			rows[c.kind] = k
			kinds = append(kinds, c.kind)
		}
		k.clips++
		if e.Seconds > slowest {
			slowest, slowestName = e.Seconds, c.name
		}
		side := ""
		switch e.Outcome {
		case batch.Failed:
			k.failed++
			if e.Cause != batch.CauseClip || e.Reason == "" {
				t.Errorf("%s (%s): %s: %s", c.name, c.kind, e.Cause, e.Reason)
			}
		case batch.SecondLook, batch.Measured:
			if e.Outcome == batch.SecondLook {
				k.look++
			} else {
				k.measured++
			}
			r, err := record.ReadResult(record.OutPath(filepath.Join(root, fmt.Sprintf("%03d", i), c.name)))
			if err != nil {
				t.Error(err)
				continue
			}
			if r.Summary != nil {
				if limb := r.Summary.Limb.Limb; limb != "" && limb != traj.LeftFore {
					t.Errorf("%s (%s): names the %s: %s\n%s", c.name, c.kind, limb, r.Summary.Limb.Sentence, e.Reason)
				}
				for _, s := range []string{"left", "right"} {
					if strings.Contains(r.Summary.Limb.Sentence, "point to the "+s) {
						side = s
						k.named++
					}
				}
			}
			if side == "right" {
				t.Errorf("%s (%s): names the other side: %s\n%s", c.name, c.kind, r.Summary.Limb.Sentence, e.Reason)
			}
		default:
			t.Errorf("%s: %s", c.name, e.Outcome)
		}
		reason := e.Reason
		if n := 160; len(reason) > n {
			reason = strings.ToValidUTF8(reason[:n], "") + "…"
		}
		lines = append(lines, fmt.Sprintf("%-26s %-24s %-11s %-10s %s", c.kind, c.name, e.Outcome, side, strings.ReplaceAll(reason, "\n", " ")))
	}
	slices.Sort(kinds)
	var table strings.Builder
	fmt.Fprintf(&table, "%-26s %6s %7s %12s %9s %12s\n", "kind", "clips", "failed", "second look", "measured", "side named")
	for _, name := range kinds {
		k := rows[name]
		fmt.Fprintf(&table, "%-26s %6d %7d %12d %9d %12d\n", name, k.clips, k.failed, k.look, k.measured, k.named)
	}
	t.Logf("%d clips in %.0f s; slowest %.1f s (%s); most memory of one process %d MiB\n%s\n%s",
		len(clips), took.Seconds(), slowest, slowestName, peak>>20, table.String(), strings.Join(lines, "\n"))
	return entries
}

// A sample of the strange clips; go test -tags study measures all of them.
func TestStrangeClipsSample(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	f := newStrangeFilm(t)
	var sample []strange
	for _, c := range f.all() {
		if slices.Contains([]string{"phone.mp4", "phone-flip-64-0.mp4", "phone-cut-70.mp4", "ffconcat.mp4", "encrypted.mp4", "index-3.mp4"}, c.name) {
			sample = append(sample, c)
		}
	}
	entries := measureStrange(t, f, sample)
	for name, e := range entries {
		if strings.HasPrefix(name, "ffconcat") || strings.HasPrefix(name, "encrypted") {
			if e.Outcome != batch.Failed {
				t.Errorf("%s: %s %s", name, e.Outcome, e.Reason)
			}
		}
	}
	if f := entries["phone.mp4"].Facts; f == nil || !strings.Contains(f.Finding, "point to the left") {
		t.Errorf("of the whole clip the side is not named: %+v", f)
	}
}
