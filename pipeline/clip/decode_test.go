package clip_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/scene/scenetest"
)

// moving is a source whose every picture differs, with texture and noise.
func moving(size string, frames int, filter string, args ...string) []string {
	source := fmt.Sprintf("testsrc2=size=%s:rate=30,noise=alls=12:allf=t", size)
	if filter != "" {
		source += "," + filter
	}
	return append([]string{"-v", "error", "-y", "-f", "lavfi", "-i", source, "-frames:v", strconv.Itoa(frames)}, args...)
}

// reference returns what the ffmpeg program makes of a clip's luma: upright, 8
// bits, row by row, one picture after the other, and each picture's time.
// before is a filter that comes first.
func reference(t testing.TB, info *clip.Info, before string) (pixels []byte, times []float64) {
	t.Helper()
	data, err := os.ReadFile(info.Path)
	if err != nil {
		t.Fatal(err)
	}
	turn := map[int]string{90: ",transpose=clock", 180: ",hflip,vflip", 270: ",transpose=cclock"}[info.Rotation]
	filters := before + fmt.Sprintf("extractplanes=y%s,scale=%d:%d,showinfo=checksum=0", turn, info.Width, info.Height)
	given := filepath.Join(t.TempDir(), "given")
	// What it says, a zero byte, and the pixels.
	scenetest.Keep(t, fmt.Sprintf("times and pixels by %s in %d threads of %x", filters, clip.Threads(), sha256.Sum256(data)), given, func(ctx context.Context, path string) error {
		cmd := exec.CommandContext(ctx, "ffmpeg", "-v", "info", "-nostats", "-nostdin", "-noautorotate", "-threads", strconv.Itoa(clip.Threads()), "-i", "file:"+info.Path, "-map", "0:v:0", "-fps_mode", "passthrough",
			"-vf", filters, "-pix_fmt", "gray", "-f", "rawvideo", "pipe:1")
		var said bytes.Buffer
		cmd.Stderr = &said
		pixels, err := cmd.Output()
		if err != nil {
			return fmt.Errorf("ffmpeg: %w: %s", err, said.String())
		}
		return os.WriteFile(path, slices.Concat(said.Bytes(), []byte{0}, pixels), 0o644)
	})
	if data, err = os.ReadFile(given); err != nil {
		t.Fatal(err)
	}
	said, pixels, _ := bytes.Cut(data, []byte{0})
	for _, line := range strings.Split(string(said), "\n") {
		if _, after, ok := strings.Cut(line, "pts_time:"); ok && strings.HasPrefix(line, "[Parsed_showinfo") {
			at, err := strconv.ParseFloat(strings.Fields(after)[0], 64)
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			times = append(times, at)
		}
	}
	if len(pixels) != len(times)*info.Width*info.Height {
		t.Fatalf("ffmpeg tells of %d pictures and gives %d bytes for %d × %d", len(times), len(pixels), info.Width, info.Height)
	}
	return pixels, times
}

// major returns the first number of a version such as 7.1.5-0+deb13u1.
func major(version string) int {
	first, _, _ := strings.Cut(strings.TrimPrefix(version, "n"), ".")
	n, _ := strconv.Atoi(first)
	return n
}

// sameAsReference reads a clip and compares every byte and time with what the
// ffmpeg program gives, pictures of no new time left out.
func sameAsReference(t *testing.T, path, before string) (info *clip.Info, frames int) {
	t.Helper()
	info, err := clip.Probe(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	want, times := reference(t, info, before)
	size := info.Width * info.Height
	levels := 0
	if info.BitDepth > 8 && major(clip.Version()) >= 6 {
		// From version 6.1 on, filters take a gray picture as full range: 1023 becomes 255,
		// not 1020. The libraries give the same pixels in all versions.
		levels = 1
	}
	return info, compare(t, info, times, func(n int, got []byte) {
		if picture := want[n*size:][:size]; !bytes.Equal(got, picture) {
			different := 0
			for i := range got {
				if got[i] != picture[i] {
					different++
				}
			}
			if most := differ(got, picture); most > levels {
				t.Fatalf("frame %d: %d of %d pixels differ from ffmpeg's, by up to %d levels", n, different, size, most)
			}
		}
	})
}

// compare reads a clip and compares its times with those that the ffmpeg program
// gives its pictures; each is called with a frame and the number that ffmpeg gives
// it. It returns the number of frames.
func compare(t *testing.T, info *clip.Info, times []float64, each func(n int, pixels []byte)) (frames int) {
	t.Helper()
	r, err := clip.Open(t.Context(), info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	next, last := 0, math.Inf(-1)
	skip := func() {
		for next < len(times) && times[next] <= last {
			next++
		}
	}
	for ; ; frames++ {
		got, at, err := r.Next(t.Context())
		skip()
		if errors.Is(err, io.EOF) || errors.Is(err, clip.ErrNoPicture) {
			break
		}
		if err != nil {
			t.Fatalf("frame %d: %v", frames, err)
		}
		if next == len(times) {
			t.Fatalf("frame %d at %.4f s is one more than ffmpeg gives", frames, at)
		}
		if math.Abs(at-(times[next]-times[0])) > 2e-5 {
			t.Fatalf("frame %d at %.6f s, ffmpeg's at %.6f s", frames, at, times[next]-times[0])
		}
		each(next, got)
		last = times[next]
	}
	if next < len(times) {
		t.Errorf("read %d frames, ffmpeg gives %d more", frames, len(times)-next)
	}
	return frames
}

// The ffmpeg program is the outside reference for what a clip's pixels are.
func TestPixelsAreThoseOfFFmpeg(t *testing.T) {
	h264 := []string{"-c:v", "libx264", "-preset", "ultrafast", "-crf", "20"}
	hevc := []string{"-c:v", "libx265", "-preset", "ultrafast", "-crf", "20", "-x265-params", "log-level=error"}
	raw := []string{"-c:v", "rawvideo"}
	with := func(base []string, more ...string) []string { return append(append([]string(nil), base...), more...) }
	for _, tt := range []struct {
		name, file, size, filter string
		args                     []string
		depth                    int    // Of its luma, bits, as probed.
		before                   string // What ffmpeg must be told to make a luma of it.
	}{
		{"H.264 with B-frames", "a.mp4", "320x240", "", with(h264, "-bf", "3", "-preset", "veryfast", "-pix_fmt", "yuv420p"), 8, ""},
		{"H.264, rows longer than the picture", "a.mp4", "202x106", "", with(h264, "-pix_fmt", "yuv420p"), 8, ""},
		{"H.264, odd size", "a.mp4", "320x240", "scale=193:145", with(h264, "-pix_fmt", "yuv444p"), 8, ""},
		{"H.264, full range", "a.mp4", "320x240", "", with(h264, "-pix_fmt", "yuvj420p"), 8, ""},
		{"H.264, 4:2:2", "a.mov", "320x240", "", with(h264, "-pix_fmt", "yuv422p"), 8, ""},
		{"H.264, 10 bit", "a.mov", "322x242", "", with(h264, "-pix_fmt", "yuv420p10le"), 10, ""},
		{"H.264, interlaced", "a.mp4", "320x240", "interlace", with(h264, "-flags", "+ildct+ilme", "-x264-params", "tff=1", "-pix_fmt", "yuv420p"), 8, ""},
		{"H.264, grey, full range", "a.mkv", "320x240", "", with(h264, "-pix_fmt", "gray"), 8, ""},
		{"HEVC", "a.mp4", "320x240", "", with(hevc, "-pix_fmt", "yuv420p"), 8, ""},
		{"HEVC, 10 bit", "a.mov", "336x190", "", with(hevc, "-pix_fmt", "yuv420p10le"), 10, ""},
		{"HEVC, 12 bit", "a.mkv", "320x240", "", with(hevc, "-pix_fmt", "yuv422p12le"), 12, ""},
		{"VP9", "a.webm", "320x240", "", []string{"-c:v", "libvpx-vp9", "-cpu-used", "8", "-deadline", "realtime", "-pix_fmt", "yuv420p"}, 8, ""},
		{"MPEG-4 in AVI", "a.avi", "320x240", "", []string{"-c:v", "mpeg4", "-bf", "2", "-q:v", "3"}, 8, ""},
		{"H.264 in AVI", "a.avi", "320x240", "", with(h264, "-bf", "2", "-pix_fmt", "yuv420p"), 8, ""},
		{"MPEG-2", "a.mpg", "320x240", "", []string{"-c:v", "mpeg2video", "-q:v", "3", "-bf", "2"}, 8, ""},
		{"MPEG transport stream", "a.ts", "320x240", "", with(h264, "-bf", "2", "-pix_fmt", "yuv420p"), 8, ""},
		{"motion JPEG", "a.avi", "320x240", "", []string{"-c:v", "mjpeg", "-q:v", "3", "-pix_fmt", "yuvj422p"}, 8, ""},
		{"ProRes, 10 bit", "a.mov", "320x240", "", []string{"-c:v", "prores_ks", "-pix_fmt", "yuv422p10le"}, 10, ""},
		{"uncompressed, half-planar", "a.avi", "320x240", "", with(raw, "-pix_fmt", "nv12"), 8, ""},
		{"uncompressed, packed", "a.avi", "320x240", "", with(raw, "-pix_fmt", "yuyv422"), 8, ""},
		{"big-endian", "a.mov", "320x240", "", []string{"-c:v", "png", "-pix_fmt", "gray16be"}, 16, ""},
		{"16 bit", "a.mkv", "320x240", "", []string{"-c:v", "ffv1", "-pix_fmt", "gray16le"}, 16, ""},
		{"colours: PNG", "a.mov", "320x240", "", []string{"-c:v", "png", "-pix_fmt", "rgb24"}, 8, "format=yuv444p,"},
		{"colours: H.264", "a.mov", "320x240", "", []string{"-c:v", "libx264rgb", "-preset", "ultrafast"}, 8, "format=yuv444p,"},
		{"colours: a palette", "a.mov", "320x240", "", []string{"-c:v", "qtrle", "-pix_fmt", "rgb24"}, 8, "format=yuv444p,"},
		{"starts late", "a.mp4", "320x240", "setpts=PTS+1.5/TB", with(h264, "-pix_fmt", "yuv420p", "-fps_mode", "passthrough"), 8, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), tt.file)
			run(t, append(moving(tt.size, 12, tt.filter, tt.args...), path)...)
			if info, _ := sameAsReference(t, path, tt.before); info.BitDepth != tt.depth {
				t.Errorf("%d bits, want %d", info.BitDepth, tt.depth)
			}
		})
	}
}

func TestTurnedPixelsAreThoseOfFFmpeg(t *testing.T) {
	for _, tt := range []struct{ name, size, format, codec string }{
		{"8 bit", "320x240", "yuv420p", "libx264"},
		{"8 bit, no whole squares", "330x250", "yuv420p", "libx264"},
		{"10 bit, no whole squares", "330x250", "yuv420p10le", "libx265"},
	} {
		plain := filepath.Join(t.TempDir(), "plain.mp4")
		run(t, append(moving(tt.size, 12, "", "-c:v", tt.codec, "-preset", "ultrafast", "-x265-params", "log-level=error", "-pix_fmt", tt.format), plain)...)
		for _, degrees := range []int{0, 90, 180, 270} {
			t.Run(fmt.Sprintf("%s, %d", tt.name, degrees), func(t *testing.T) {
				path := withMatrix(t, plain, turns[degrees])
				if info, n := sameAsReference(t, path, ""); info.Rotation != degrees || n != 12 {
					t.Errorf("turned by %d°, %d frames", info.Rotation, n)
				}
			})
		}
	}
}

// Streams of two sizes one after the other, as a damaged or joined clip may hold.
func TestSizeThatChangesIsScaledAsFFmpegDoes(t *testing.T) {
	dir := t.TempDir()
	joined := []byte{}
	for i, size := range []string{"320x240", "256x200", "320x240"} {
		path := filepath.Join(dir, fmt.Sprintf("%d.ts", i))
		run(t, append(moving(size, 10, "", "-c:v", "libx264", "-preset", "ultrafast", "-bf", "0", "-pix_fmt", "yuv420p", "-output_ts_offset", fmt.Sprint(float64(i*10)/30)), path)...)
		part, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		joined = append(joined, part...)
	}
	path := filepath.Join(dir, "joined.ts")
	if err := os.WriteFile(path, joined, 0o644); err != nil {
		t.Fatal(err)
	}
	if info, n := sameAsReference(t, path, ""); n < 20 || info.Width != 320 {
		t.Errorf("%d frames of width %d", n, info.Width)
	}
}

// A damaged clip is read as far as the ffmpeg program reads it, and whatever
// picture that gives whole is whole. (What it makes of damaged pictures differs
// from run to run, and which of them are damaged with the number of threads.)
func TestDamagedClipIsReadAsFFmpegDoes(t *testing.T) {
	for _, tt := range []struct {
		name, file string
		args       []string
	}{
		{"H.264", "a.mp4", []string{"-c:v", "libx264", "-preset", "ultrafast", "-bf", "2", "-g", "12", "-pix_fmt", "yuv420p", "-movflags", "+faststart"}},
		{"HEVC", "a.mp4", []string{"-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=error:keyint=12", "-pix_fmt", "yuv420p", "-movflags", "+faststart"}},
		{"motion JPEG", "a.avi", []string{"-c:v", "mjpeg", "-q:v", "3", "-pix_fmt", "yuvj420p"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			path := filepath.Join(dir, "whole-"+tt.file)
			run(t, append(moving("192x144", 48, "", tt.args...), path)...)
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			info, err := clip.Probe(t.Context(), path)
			if err != nil {
				t.Fatal(err)
			}
			pixels, times := reference(t, info, "")
			size := info.Width * info.Height
			whole := map[float64][]byte{}
			for i, at := range times {
				whole[at] = pixels[i*size:][:size]
			}
			random := rand.New(rand.NewPCG(3, 1))
			good, bad := 0, 0
			for i := range 8 {
				damaged := bytes.Clone(data)
				for range 1 << (i % 7) {
					damaged[len(data)/5+random.IntN(len(data)*4/5)] ^= byte(1 + random.IntN(255)) // The index in front stays whole.
				}
				if i%4 == 3 {
					damaged = damaged[:len(data)/4+random.IntN(len(data)*3/4)]
				}
				path := filepath.Join(dir, fmt.Sprint(i)+tt.file)
				if err := os.WriteFile(path, damaged, 0o644); err != nil {
					t.Fatal(err)
				}
				info, err := clip.Probe(t.Context(), path)
				if err != nil {
					t.Fatalf("damage %d: %v", i, err)
				}
				want, times := reference(t, info, "")
				compare(t, info, times, func(n int, got []byte) {
					if !bytes.Equal(want[n*size:][:size], whole[times[n]]) {
						bad++
						return
					}
					good++
					if !bytes.Equal(got, whole[times[n]]) {
						t.Errorf("damage %d: frame %d is damaged, ffmpeg's is whole", i, n)
					}
				})
				if t.Failed() {
					t.Fatalf("damage %d", i)
				}
			}
			if good == 0 || bad == 0 {
				t.Errorf("%d whole and %d damaged pictures test nothing", good, bad)
			}
		})
	}
}
