package clip_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/scene/scenetest"
)

// withMatrix writes a copy of an MP4 file with another display matrix (a, b, c, d of
// ISO/IEC 14496-12, 8.3.2) in its first track header.
func withMatrix(t *testing.T, path string, m [4]int32) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(data, []byte("tkhd"))
	if at < 0 || data[at+4] != 0 {
		t.Fatal("no track header of version 0")
	}
	matrix := data[at+4+40:]
	for i, v := range []int32{m[0] << 16, m[1] << 16, 0, m[2] << 16, m[3] << 16} {
		binary.BigEndian.PutUint32(matrix[4*i:], uint32(v))
	}
	out := filepath.Join(t.TempDir(), "matrix.mp4")
	if err := os.WriteFile(out, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return out
}

// turns are the display matrices that turn a picture clockwise by so many degrees.
var turns = map[int][4]int32{0: {1, 0, 0, 1}, 90: {0, 1, -1, 0}, 180: {-1, 0, 0, -1}, 270: {0, -1, 1, 0}}

// luma returns the first picture of the clip as the reader gives it.
func luma(t *testing.T, info *clip.Info) []byte {
	t.Helper()
	r, err := clip.Open(context.Background(), info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	pixels, _, err := r.Next(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return bytes.Clone(pixels)
}

// differ returns the largest difference of two pictures.
func differ(a, b []byte) int {
	worst := 0
	for i := range a {
		worst = max(worst, int(math.Abs(float64(a[i])-float64(b[i]))))
	}
	return worst
}

// Every display matrix that keeps right angles is followed, those that mirror
// included, for numbers, pictures and videos alike. The reference is what the ffmpeg
// program shows by itself.
func TestDisplayMatrixIsFollowedInFull(t *testing.T) {
	plain := filepath.Join(t.TempDir(), "plain.mp4")
	run(t, "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=160x96:rate=20", "-frames:v", "4", "-pix_fmt", "yuv420p", "-c:v", "libx264", "-crf", "4", plain)
	for _, tt := range []struct {
		matrix   [4]int32
		rotation int
		mirrored bool
	}{
		{[4]int32{1, 0, 0, 1}, 0, false},
		{[4]int32{0, 1, -1, 0}, 90, false},
		{[4]int32{-1, 0, 0, -1}, 180, false},
		{[4]int32{0, -1, 1, 0}, 270, false},
		{[4]int32{-1, 0, 0, 1}, 0, true},
		{[4]int32{1, 0, 0, -1}, 180, true},
		{[4]int32{0, 1, 1, 0}, 270, true},
		{[4]int32{0, -1, -1, 0}, 90, true},
	} {
		t.Run(fmt.Sprint(tt.matrix), func(t *testing.T) {
			path := withMatrix(t, plain, tt.matrix)
			info, err := clip.Probe(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			if info.Rotation != tt.rotation || info.Mirrored != tt.mirrored {
				t.Errorf("turned by %d°, mirrored %v; want %d°, %v", info.Rotation, info.Mirrored, tt.rotation, tt.mirrored)
			}
			want := ffmpegGives(t, path, "-frames:v", "1", "-vf", "extractplanes=y", "-pix_fmt", "gray", "-f", "rawvideo")
			got := luma(t, info)
			if len(got) != len(want) || differ(got, want) > 0 {
				t.Errorf("the picture differs from what ffmpeg shows (%d and %d pixels)", len(got), len(want))
			}
			picture, err := onePicture(context.Background(), info, 0, clip.PictureOptions{Quality: 2})
			if err != nil {
				t.Fatal(err)
			}
			img, err := jpeg.Decode(bytes.NewReader(picture))
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range [][2]int{{3, 3}, {info.Width - 4, 3}, {3, info.Height - 4}, {info.Width / 4, info.Height / 3}} {
				_, g, _, _ := img.At(p[0], p[1]).RGBA()
				y := float64(want[p[1]*info.Width+p[0]])
				if r, _, b, _ := img.At(p[0], p[1]).RGBA(); math.Abs(16+219*(0.299*float64(r)+0.587*float64(g)+0.114*float64(b))/65535-y) > 20 {
					t.Errorf("the page's picture differs at %v", p)
				}
			}
			small := filepath.Join(t.TempDir(), "remade.mp4")
			if err := clip.Remake(context.Background(), info, small, clip.RemakeOptions{}, func(int, clip.Planes, float64) {}); err != nil {
				t.Fatal(err)
			}
			again, err := clip.Probe(context.Background(), small)
			if err != nil || again.Width != info.Width || again.Height != info.Height {
				t.Fatalf("%+v %v", again, err)
			}
			remade, sum := luma(t, again), 0.0
			for i := range remade {
				sum += math.Abs(float64(remade[i]) - float64(want[i]))
			}
			if mean := sum / float64(len(remade)); mean > 8 {
				t.Errorf("the remade video differs by %.1f on average", mean)
			}
		})
	}
}

// Pixels that aren't square are made square: the picture is as wide as it is shown.
func TestPixelsAreMadeSquare(t *testing.T) {
	for _, tt := range []struct {
		aspect        string
		width, height int
		turned        []int
	}{
		{"1", 144, 108, []int{0}}, {"4/3", 192, 108, []int{0, 90}}, {"3/4", 144, 144, []int{0}}, {"64/45", 205, 108, []int{0, 90}}, {"0", 144, 108, []int{0}},
	} {
		for _, degrees := range tt.turned {
			t.Run(fmt.Sprintf("%s turned by %d", tt.aspect, degrees), func(t *testing.T) {
				plain := filepath.Join(t.TempDir(), "a.mp4")
				run(t, "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=144x108:rate=20", "-frames:v", "3", "-vf", "setsar="+tt.aspect, "-pix_fmt", "yuv420p", "-c:v", "libx264", "-crf", "4", plain)
				path := plain
				width, height, turn := tt.width, tt.height, ""
				if degrees == 90 {
					path = withMatrix(t, plain, [4]int32{0, 1, -1, 0})
					width, height, turn = height, width, ",transpose=clock"
				}
				info, err := clip.Probe(context.Background(), path)
				if err != nil {
					t.Fatal(err)
				}
				if info.Width != width || info.Height != height {
					t.Fatalf("%d × %d px, want %d × %d", info.Width, info.Height, width, height)
				}
				coded := path // The turn is told to ffmpeg, too, which is given the clip without its matrix.
				if degrees == 90 {
					coded = plain
				}
				want := ffmpegGives(t, coded, "-frames:v", "1", "-vf", fmt.Sprintf("extractplanes=y%s,scale=%d:%d:flags=bicubic", turn, width, height), "-pix_fmt", "gray", "-f", "rawvideo")
				if got := luma(t, info); len(got) != len(want) || differ(got, want) > 2 {
					t.Errorf("the picture differs from ffmpeg's own by %d", differ(got, want))
				}
				picture, err := onePicture(context.Background(), info, 0, clip.PictureOptions{})
				if err != nil {
					t.Fatal(err)
				}
				if c, err := jpeg.DecodeConfig(bytes.NewReader(picture)); err != nil || c.Width != width || c.Height != height {
					t.Errorf("the page's picture is %d × %d px (%v)", c.Width, c.Height, err)
				}
				picture, err = onePicture(context.Background(), info, 0, clip.PictureOptions{MaxWidth: 96})
				if c, err2 := jpeg.DecodeConfig(bytes.NewReader(picture)); err != nil || err2 != nil || c.Width != 96 || math.Abs(float64(c.Height)-96*float64(height)/float64(width)) > 1.01 {
					t.Errorf("the small picture is %d × %d px (%v)", c.Width, c.Height, err)
				}
			})
		}
	}
	// Where only the pictures say it, as in some files that were put into another
	// container, nothing is measured on pixels taken for square.
	plain, hidden := filepath.Join(t.TempDir(), "plain.mp4"), filepath.Join(t.TempDir(), "hidden.mp4")
	run(t, "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=144x108:rate=20", "-frames:v", "3", "-pix_fmt", "yuv420p", "-c:v", "libx264", plain)
	scenetest.Recoded(t, plain, hidden, "-c", "copy", "-bsf:v", "h264_metadata=sample_aspect_ratio=4/3")
	data, err := os.ReadFile(hidden)
	if err != nil {
		t.Fatal(err)
	}
	// ffmpeg has the container say that pixels are square.
	if err := os.WriteFile(hidden, bytes.Replace(data, []byte("pasp"), []byte("free"), 1), 0o644); err != nil {
		t.Fatal(err)
	}
	info, err := clip.Probe(context.Background(), hidden)
	if err != nil {
		t.Fatal(err)
	}
	r, err := clip.Open(context.Background(), info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, _, err := r.Next(context.Background()); info.Width != 192 && (err == nil || !strings.Contains(err.Error(), "1.33 times as wide as high")) {
		t.Errorf("pictures that alone say that pixels are 4:3: %d px wide, %v", info.Width, err)
	}
	path := filepath.Join(t.TempDir(), "wild.mp4")
	run(t, "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=144x108:rate=20", "-frames:v", "3", "-vf", "setsar=9/1", "-pix_fmt", "yuv420p", "-c:v", "libx264", path)
	if _, err = clip.Probe(context.Background(), path); err == nil {
		t.Error("pixels nine times as wide as high are believed")
	}
}
