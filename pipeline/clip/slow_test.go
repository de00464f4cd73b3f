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
	"testing"

	"jogstrip/pipeline/clip"
)

// Slow motion that the phone's tag tells of has the times at which it was filmed; a
// tag that names an ordinary rate changes nothing.
func TestSlowMotionHasItsTrueTimes(t *testing.T) {
	for _, tt := range []struct {
		tag    string
		rate   float64 // Of the file.
		slowed float64
	}{
		{"240", 30, 8}, {"240.000000", 60, 4}, {"120", 30, 4}, {"120", 60, 2}, {"960", 30, 32},
		{"240", 240, 1}, {"60", 60, 1}, {"60", 30, 1}, {"30", 24, 1}, {"0", 30, 1}, {"nan", 30, 1}, {"1e9", 30, 1}, {"-240", 30, 1}, {"fast", 30, 1},
	} {
		t.Run(fmt.Sprintf("%s at %g", tt.tag, tt.rate), func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "slow.mp4")
			run(t, "-v", "error", "-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=64x48:rate=%g", tt.rate), "-frames:v", "12", "-pix_fmt", "yuv420p", "-c:v", "libx264", "-preset", "ultrafast",
				"-movflags", "use_metadata_tags", "-metadata", "com.android.capture.fps="+tt.tag, path)
			info, err := clip.Probe(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(info.Slowed-tt.slowed) > 0.01*tt.slowed || math.Abs(info.FrameRate-tt.rate*tt.slowed) > 0.01*info.FrameRate {
				t.Fatalf("slowed %g times, %g frames a second", info.Slowed, info.FrameRate)
			}
			_, times, _, broken := read(t, info)
			if len(times) != 12 || broken != nil {
				t.Fatalf("%d frames, %v", len(times), broken)
			}
			for i, at := range times {
				if want := float64(i) / (tt.rate * tt.slowed); math.Abs(at-want) > 2e-4 || math.Abs(info.Times[i]-at) > 1e-9 {
					t.Errorf("frame %d at %g s (promised %g), want %g", i, at, info.Times[i], want)
				}
			}
		})
	}
}

// What a person says of the rate holds, and pictures are still those of the reader.
func TestFilmedAt(t *testing.T) {
	path := counting(t, "slow.mp4", "", "-c:v", "libx264", "-crf", "8", "-bf", "2")
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	slow := info.FilmedAt(4 * info.FrameRate)
	if slow.Slowed != 4 || math.Abs(slow.DurationS()*4-info.DurationS()) > 1e-9 || info.Slowed != 1 {
		t.Errorf("slowed %g times, %g s of %g", slow.Slowed, slow.DurationS(), info.DurationS())
	}
	if back := slow.FilmedAt(info.FrameRate); back.Slowed != 1 || math.Abs(back.DurationS()-info.DurationS()) > 1e-9 {
		t.Errorf("and back: slowed %g times, %g s", back.Slowed, back.DurationS())
	}
	if same := info.FilmedAt(0); same != info {
		t.Error("no rate at all changes the clip")
	}
	for _, frame := range []int{0, 1, 13, len(info.Times) - 1} {
		for _, i := range []*clip.Info{info, slow} {
			picture, err := onePicture(context.Background(), i, frame, clip.PictureOptions{Quality: 2})
			if err != nil {
				t.Fatal(err)
			}
			img, err := jpeg.Decode(bytes.NewReader(picture))
			if err != nil {
				t.Fatal(err)
			}
			_, g, _, _ := img.At(i.Width/2, i.Height/2).RGBA()
			if got := 16 + 219*float64(g)/65535; math.Abs(got-shade(frame)) > 2.5 {
				t.Errorf("slowed %g times, frame %d shows shade %.1f, want %.1f", i.Slowed, frame, got, shade(frame))
			}
		}
	}
}

// An edit list may have players show a part slower (media rate, ISO/IEC 14496-12,
// 8.6.6): the pictures keep the times at which they were filmed.
func TestEditListsThatSlowDownChangeNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "edited.mp4")
	run(t, "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=64x48:rate=240", "-frames:v", "48", "-pix_fmt", "yuv420p", "-c:v", "libx264", "-bf", "2", path)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(data, []byte("elst"))
	if at < 0 || data[at+4] != 0 || binary.BigEndian.Uint32(data[at+8:]) != 1 {
		t.Fatal("no edit list of one entry")
	}
	segment := data[at+12:]
	binary.BigEndian.PutUint32(segment, 8*binary.BigEndian.Uint32(segment)) // Lasts eight times as long…
	binary.BigEndian.PutUint32(segment[8:], 1<<16/8)                        // … at an eighth of the rate.
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	_, times, _, broken := read(t, info)
	if broken != nil || len(times) != 48 || math.Abs(info.FrameRate-240) > 1 || math.Abs(times[47]-47.0/240) > 1e-3 {
		t.Errorf("%d frames at %g a second, the last at %g s (%v)", len(times), info.FrameRate, times[len(times)-1], broken)
	}
}
