package clip_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image/jpeg"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/scene/scenetest"
)

// Every frame of a counting clip is one shade of gray: 16 + 4·index, which
// survives coding, so a test can tell which frame it was given.
func shade(index int) float64 { return 16 + 4*float64(index) }

const frames = 40

// make writes a counting clip (160 × 96, 20 frames/s) through ffmpeg with
// more arguments for the output.
func counting(t *testing.T, name string, filter string, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	source := "color=black:s=160x96:r=20:d=2,format=yuv420p,geq=lum='if(lt(X,20)*lt(Y,20),235,16+4*N)':cb=128:cr=128"
	if filter != "" {
		source += "," + filter
	}
	all := append([]string{"-v", "error", "-y", "-f", "lavfi", "-i", source}, args...)
	run(t, append(all, path)...)
	return path
}

// run has ffmpeg make the last of its arguments of a source of its own.
func run(t testing.TB, args ...string) {
	t.Helper()
	scenetest.Coded(t, args[len(args)-1], args[:len(args)-1]...)
}

// ffmpegGives returns what ffmpeg makes of a clip with args for the output. It is asked
// once for each clip.
func ffmpegGives(t testing.TB, path string, args ...string) []byte {
	t.Helper()
	given := filepath.Join(t.TempDir(), "given")
	scenetest.Recoded(t, path, given, args...)
	data, err := os.ReadFile(given)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// read returns the shade in the middle and the time of every frame, and the
// reader's word on whether the clip was whole.
func read(t *testing.T, info *clip.Info) (shades, times []float64, corner [4]bool, broken error) {
	t.Helper()
	ctx := context.Background()
	r, err := clip.Open(ctx, info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	w, h := r.Size()
	for {
		pixels, at, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(pixels) != w*h {
			t.Fatalf("frame has %d pixels, want %d × %d", len(pixels), w, h)
		}
		sum := 0.0
		for y := h/2 - 4; y < h/2+4; y++ {
			for x := w/2 - 4; x < w/2+4; x++ {
				sum += float64(pixels[y*w+x])
			}
		}
		shades, times = append(shades, sum/64), append(times, at)
		white := func(x, y int) bool { return pixels[y*w+x] > 220 }
		corner = [4]bool{white(4, 4), white(w-5, 4), white(w-5, h-5), white(4, h-5)}
	}
	return shades, times, corner, r.Broken()
}

func TestReader(t *testing.T) {
	x264 := []string{"-c:v", "libx264", "-preset", "veryfast", "-crf", "8"}
	with := func(more ...string) []string { return append(append([]string(nil), x264...), more...) }
	tests := []struct {
		name, file, filter string
		args               []string
		depth              int
		variable           bool
		times              func(i int) float64
	}{
		{name: "H.264 with B-frames", file: "a.mp4", args: with("-bf", "3"), depth: 8},
		{name: "H.264 in QuickTime", file: "a.mov", args: x264, depth: 8},
		{name: "HEVC", file: "a.mp4", args: []string{"-c:v", "libx265", "-preset", "ultrafast", "-crf", "8", "-tag:v", "hvc1", "-x265-params", "log-level=error"}, depth: 8},
		{name: "HEVC 10 bit", file: "a.mov", args: []string{"-c:v", "libx265", "-preset", "ultrafast", "-crf", "8", "-pix_fmt", "yuv420p10le", "-tag:v", "hvc1", "-x265-params", "log-level=error"}, depth: 10},
		{name: "variable frame rate", file: "a.mp4", filter: "settb=1/1000,setpts='50*N+20*mod(N,2)'", args: with("-fps_mode", "passthrough", "-enc_time_base", "1/1000"), depth: 8, variable: true,
			times: func(i int) float64 { return 0.05*float64(i) + 0.02*float64(i%2) }},
		{name: "starts late", file: "a.mp4", filter: "setpts=PTS+1.5/TB", args: with("-fps_mode", "passthrough"), depth: 8},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := counting(t, tt.file, tt.filter, tt.args...)
			info, err := clip.Probe(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			if info.BitDepth != tt.depth || info.Variable != tt.variable || info.Width != 160 || info.Height != 96 {
				t.Errorf("probe: %+v", info)
			}
			shades, times, _, broken := read(t, info)
			if broken != nil {
				t.Errorf("whole clip said to be broken: %v", broken)
			}
			if len(shades) != frames || len(info.Times) != frames {
				t.Fatalf("read %d frames, promised %d, want %d", len(shades), len(info.Times), frames)
			}
			want := tt.times
			if want == nil {
				want = func(i int) float64 { return float64(i) / 20 }
			}
			for i := range shades {
				if math.Abs(shades[i]-shade(i)) > 1.5 {
					t.Errorf("frame %d shows shade %.1f, want %.1f", i, shades[i], shade(i))
				}
				if math.Abs(times[i]-want(i)) > 1e-3 || math.Abs(info.Times[i]-times[i]) > 1e-6 {
					t.Errorf("frame %d at %.4f s (promised %.4f), want %.4f", i, times[i], info.Times[i], want(i))
				}
			}
		})
	}
}

func TestRotationMakesPictureUpright(t *testing.T) {
	plain := counting(t, "plain.mp4", "", "-c:v", "libx264", "-crf", "8")
	for i, degrees := range []int{0, 90, 180, 270} {
		t.Run(fmt.Sprint(degrees), func(t *testing.T) {
			path := withMatrix(t, plain, turns[degrees])
			info, err := clip.Probe(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			if info.Rotation != degrees {
				t.Fatalf("rotation %d, want %d", info.Rotation, degrees)
			}
			_, _, corner, _ := read(t, info)
			// The white corner sits top left in the coded picture; each quarter turn
			// clockwise takes it to the next corner clockwise.
			want := [4]bool{}
			want[i] = true
			if corner != want {
				t.Errorf("white corner at %v, want %v (clockwise from top left)", corner, want)
			}
			// ffmpeg's own automatic rotation is the reference for the JPEG path.
			got, err := onePicture(context.Background(), info, 7, clip.PictureOptions{Quality: 2})
			if err != nil {
				t.Fatal(err)
			}
			img, err := jpeg.Decode(bytes.NewReader(got))
			if err != nil {
				t.Fatal(err)
			}
			if b := img.Bounds(); b.Dx() != info.Width || b.Dy() != info.Height {
				t.Errorf("picture is %v, want %d × %d", b, info.Width, info.Height)
			}
			reference := ffmpegGives(t, path, "-vf", "select=eq(n\\,7)", "-frames:v", "1", "-pix_fmt", "yuvj420p", "-c:v", "mjpeg", "-q:v", "2", "-f", "mjpeg")
			ref, err := jpeg.Decode(bytes.NewReader(reference))
			if err != nil {
				t.Fatal(err)
			}
			if ref.Bounds() != img.Bounds() {
				t.Fatalf("ffmpeg shows %v", ref.Bounds())
			}
			for y := 2; y < img.Bounds().Dy(); y += 5 {
				for x := 2; x < img.Bounds().Dx(); x += 5 {
					a, _, _, _ := img.At(x, y).RGBA()
					b, _, _, _ := ref.At(x, y).RGBA()
					if math.Abs(float64(a)-float64(b)) > 12*257 {
						t.Fatalf("pixel %d,%d is %d, ffmpeg's own rotation gives %d", x, y, a/257, b/257)
					}
				}
			}
		})
	}
}

func TestPicturesAreTheFramesOfTheReader(t *testing.T) {
	sound := []string{"-f", "lavfi", "-i", "sine=duration=4"}
	h264 := []string{"-c:v", "libx264", "-crf", "8", "-bf", "2"}
	for _, tt := range []struct {
		name, file, filter string
		input, codec       []string
	}{
		{"plain", "a.mp4", "", nil, h264},
		{"starts late", "a.mp4", "setpts=PTS+1.5/TB", nil, h264},
		{"the sound starts before", "a.mp4", "setpts=PTS+1.5/TB", sound, h264},
		{"the sound starts before, in a .mkv", "a.mkv", "setpts=PTS+1.5/TB", sound, h264},
		{"times do not begin at zero, and no list of key frames", "a.ts", "", sound, h264},
		{"the same, so long that it is sought in", "a.ts", "setpts=10*PTS", nil, h264},
		{"a camcorder's stream", "a.m2ts", "", sound, h264},
		{"a program stream", "a.mpg", "fps=25", sound, []string{"-c:v", "mpeg2video", "-q:v", "2", "-bf", "2"}},
		{"a stream whose container has no times", "a.avi", "", nil, h264},
		{"an old phone's", "a.avi", "", nil, []string{"-c:v", "mpeg4", "-q:v", "2"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := counting(t, tt.file, tt.filter, slices.Concat(tt.input, tt.codec, []string{"-g", "15", "-fps_mode", "passthrough"})...)
			info, err := clip.Probe(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			shades, _, _, _ := read(t, info)
			last := len(shades) - 3
			for _, span := range [][2]int{{0, 5}, {3, last}, {last - 1, last}} {
				next := span[0]
				err = clip.Pictures(context.Background(), info, span[0], span[1], clip.PictureOptions{}, func(index int, b []byte) error {
					if index != next {
						t.Fatalf("got picture %d, want %d", index, next)
					}
					next++
					img, err := jpeg.Decode(bytes.NewReader(b))
					if err != nil {
						return err
					}
					r, _, _, _ := img.At(80, 48).RGBA()
					// JPEG uses the full range, the clip 16 to 235.
					got := float64(r)/257*219/255 + 16
					if math.Abs(got-shades[index]) > 2 {
						t.Errorf("picture %d has shade %.1f, the reader's frame %.1f", index, got, shades[index])
					}
					return nil
				})
				if err != nil || next != span[1]+1 {
					t.Errorf("ended before picture %d of %d to %d: %v", next, span[0], span[1], err)
				}
			}
			for _, wanted := range [][]int{{0, 1, last}, {2, 3, last - 1, last}, {len(shades) - 1}} {
				var got []int
				err = clip.Frames(t.Context(), info, wanted[0], wanted[len(wanted)-1], func(i int) bool { return slices.Contains(wanted, i) }, func(index int, p clip.Planes) {
					got = append(got, index)
					if shade := float64(p.Y[48*p.Width+80]); math.Abs(shade-shades[index]) > 1 {
						t.Errorf("frame %d in colour has shade %.0f, the reader's %.1f", index, shade, shades[index])
					}
				})
				if err != nil || !slices.Equal(got, wanted) {
					t.Errorf("frames %v, want %v: %v", got, wanted, err)
				}
			}
			if err := clip.Frames(t.Context(), info, 1, len(info.Times), func(int) bool { return true }, func(int, clip.Planes) {}); err == nil {
				t.Error("a frame past the end gave no error")
			}
			if _, err := onePicture(context.Background(), info, len(info.Times), clip.PictureOptions{}); err == nil {
				t.Error("a picture past the end gave no error")
			}
		})
	}
}

func TestBadFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, b []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	sound := filepath.Join(dir, "sound.m4a")
	run(t, "-v", "error", "-f", "lavfi", "-i", "sine=d=1", "-c:a", "aac", sound)
	whole, err := os.ReadFile(counting(t, "a.mp4", "", "-c:v", "libx264"))
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct{ name, path string }{
		{"empty", write("empty.mp4", nil)},
		{"text", write("text.mp4", []byte("not a clip at all"))},
		{"sound only", sound},
		{"index missing", write("cut.mp4", whole[:len(whole)/2])}, // Without faststart the index stands at the end.
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := clip.Probe(context.Background(), tt.path)
			if !errors.Is(err, clip.ErrNoPicture) {
				t.Fatalf("got %v, want ErrNoPicture", err)
			}
			if !bytes.Contains([]byte(err.Error()), []byte(tt.path)) {
				t.Errorf("error does not name the file: %v", err)
			}
		})
	}
	if _, err := clip.Probe(context.Background(), filepath.Join(dir, "absent.mp4")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("absent file: %v", err)
	}
}

func TestTruncatedClipIsReadAsFarAsItGoes(t *testing.T) {
	whole := counting(t, "a.mp4", "noise=alls=20:allf=t", "-c:v", "libx264", "-crf", "12", "-g", "10", "-bf", "0", "-movflags", "+faststart")
	b, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "cut.mp4")
	if err := os.WriteFile(path, b[:len(b)*6/10], 0o644); err != nil {
		t.Fatal(err)
	}
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	shades, times, _, broken := read(t, info)
	if !errors.Is(broken, clip.ErrBroken) {
		t.Errorf("got %v, want ErrBroken", broken)
	}
	t.Log(broken)
	if len(shades) < frames/3 || len(shades) >= frames {
		t.Fatalf("read %d frames of %d", len(shades), frames)
	}
	for i := range times {
		if math.Abs(times[i]-float64(i)/20) > 1e-3 {
			t.Errorf("frame %d at %.3f s", i, times[i])
		}
	}
}

// FFmpeg's messages pass through one place in the process: each reader must get
// its own.
func TestReadersAtOnceGiveTheirOwnCauses(t *testing.T) {
	whole, err := os.ReadFile(counting(t, "a.mp4", "noise=alls=20:allf=t", "-c:v", "libx264", "-crf", "12", "-g", "10", "-bf", "0", "-movflags", "+faststart"))
	if err != nil {
		t.Fatal(err)
	}
	var infos []*clip.Info
	var causes []string
	for _, tenths := range []int{4, 6, 8, 10} {
		path := filepath.Join(t.TempDir(), "cut.mp4")
		if err := os.WriteFile(path, whole[:len(whole)*tenths/10], 0o644); err != nil {
			t.Fatal(err)
		}
		info, err := clip.Probe(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		_, _, _, broken := read(t, info)
		if (broken == nil) != (tenths == 10) {
			t.Fatalf("cut to %d tenths: %v", tenths, broken)
		}
		t.Log(broken)
		infos, causes = append(infos, info), append(causes, fmt.Sprint(broken))
	}
	var readers sync.WaitGroup
	for i := range 24 {
		readers.Go(func() {
			info, want := infos[i%len(infos)], causes[i%len(infos)]
			r, err := clip.Open(t.Context(), info)
			if err != nil {
				t.Error(err)
				return
			}
			defer r.Close()
			for err == nil {
				_, _, err = r.Next(t.Context())
			}
			if got := fmt.Sprint(r.Broken()); got != want {
				t.Errorf("cause beside others: %s, alone: %s", got, want)
			}
		})
	}
	readers.Wait()
}

func TestDamagedMiddleKeepsTheRightTimes(t *testing.T) {
	whole := counting(t, "a.mp4", "", "-c:v", "libx264", "-crf", "8", "-g", "5", "-bf", "0", "-movflags", "+faststart")
	b, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(b, []byte("mdat")) + (len(b)-bytes.Index(b, []byte("mdat")))/2
	for i := at; i < at+400 && i < len(b); i++ {
		b[i] ^= 0x5A
	}
	path := filepath.Join(t.TempDir(), "damaged.mp4")
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	shades, times, _, broken := read(t, info)
	t.Logf("%d frames, %v", len(shades), broken)
	// Frames before and well after the damage are whole: their shade tells their
	// number, their time must agree whatever was lost between.
	agree := 0
	for i := range shades {
		number := math.Round((shades[i] - 16) / 4)
		if math.Abs(times[i]-number/20) < 1e-3 {
			agree++
		}
	}
	if agree < len(shades)-12 || len(shades) < 25 {
		t.Errorf("%d of %d frames have the time of the picture they show", agree, len(shades))
	}
}

func TestCancelEndsDecoding(t *testing.T) {
	path := counting(t, "a.mp4", "", "-c:v", "libx264")
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	r, err := clip.Open(ctx, info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, _, err := r.Next(ctx); err != nil {
		t.Fatal(err)
	}
	cancel()
	for range frames + 1 {
		if _, _, err = r.Next(ctx); err != nil {
			break
		}
	}
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want context.Canceled", err)
	}
}

// Whenever the end is asked for, there is no clip without its times.
func TestCancelEndsProbing(t *testing.T) {
	path := counting(t, "a.mp4", "", "-c:v", "libx264")
	for i := range 30 {
		ctx, cancel := context.WithCancel(context.Background())
		if i == 0 {
			cancel()
		} else {
			time.AfterFunc(time.Duration(i)*100*time.Microsecond, cancel)
		}
		info, err := clip.Probe(ctx, path)
		if err == nil && len(info.Times) != frames || err != nil && !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled after %d tenths of a millisecond: %v, %v", i, info, err)
		}
		cancel()
	}
}

func TestRemakePlaysInABrowser(t *testing.T) {
	path := counting(t, "a.mov", "", "-c:v", "libx265", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le", "-x265-params", "log-level=error")
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	target := filepath.Join(t.TempDir(), "tracked.mp4")
	drawn := 0
	err = clip.Remake(context.Background(), info, target, clip.RemakeOptions{MaxWidth: 80}, func(index int, p clip.Planes, scale float64) {
		if index != drawn || p.Width != 80 || p.Height != 48 || scale != 2 {
			t.Errorf("picture %d is %d × %d at scale %g", index, p.Width, p.Height, scale)
		}
		drawn++
		for i := range p.Y {
			p.Y[i] = 200
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	made, err := clip.Probe(context.Background(), target)
	if err != nil {
		t.Fatal(err)
	}
	if drawn != frames || len(made.Times) != frames || made.Codec != "h264" {
		t.Errorf("drew %d, made %+v", drawn, made)
	}
	// Browsers show H.264 of no other format everywhere (common practice).
	format, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "stream=pix_fmt", "-of", "csv=p=0", target).Output()
	if err != nil || strings.TrimSpace(string(format)) != "yuv420p" {
		t.Errorf("pixels are %q, %v", format, err)
	}
	shades, _, _, _ := read(t, made)
	if math.Abs(shades[10]-200) > 3 {
		t.Errorf("drawn shade came out as %.0f", shades[10])
	}
}

// ffmpeg pads the numbers of frames and times with blanks to four and seven
// digits: a long clip's leave no blank.
func TestLongClipIsReadToItsEnd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "long.mp4")
	const frames = 1300
	run(t, "-f", "lavfi", "-i", "testsrc2=size=64x48:rate=60", "-frames:v", strconv.Itoa(frames),
		"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-video_track_timescale", "600000", path)
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	info, err := clip.Probe(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	r, err := clip.Open(ctx, info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	n, last := 0, 0.0
	for {
		_, at, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("frame %d: %v", n, err)
		}
		n, last = n+1, at
	}
	if err := r.Broken(); err != nil || n != frames || math.Abs(last-(frames-1)/60.0) > 1e-4 {
		t.Errorf("%d frames up to %.4f s (%v), want %d", n, last, err, frames)
	}
}

// onePicture returns frame number index as an upright colour JPEG.
func onePicture(ctx context.Context, info *clip.Info, index int, opts clip.PictureOptions) (picture []byte, err error) {
	err = clip.Pictures(ctx, info, index, index, opts, func(_ int, jpeg []byte) error {
		picture = jpeg
		return nil
	})
	return picture, err
}
