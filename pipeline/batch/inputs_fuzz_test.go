package batch

import (
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
)

// Everything that a batch reads of a folder may be damaged: these give it any
// bytes. (Marks, results and tolerances are given any bytes where they are
// parsed.)

// FuzzContainer opens any bytes as a clip and decodes what there is.
func FuzzContainer(f *testing.F) {
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		f.Skip("NOT TESTED: ffmpeg is not installed (Debian: apt install ffmpeg)")
	}
	for _, c := range []struct{ name, codec, format string }{
		{"a.mp4", "libx264", "yuv420p"}, {"a.mkv", "libx264", "yuv420p10le"}, {"a.avi", "libx264", "yuv420p"}, {"a.ts", "libx264", "yuv420p"},
		{"b.mov", "libx265", "yuv420p10le"}, {"b.avi", "mjpeg", "yuvj422p"}, {"c.mp4", "mpeg4", "yuv420p"},
	} {
		path := filepath.Join(f.TempDir(), c.name)
		if out, err := exec.Command("ffmpeg", "-v", "error", "-nostdin", "-f", "lavfi", "-i", "testsrc2=size=32x32:rate=30", "-frames:v", "3", "-c:v", c.codec, "-x265-params", "log-level=none", "-pix_fmt", c.format, path).CombinedOutput(); err != nil {
			f.Fatalf("ffmpeg: %v: %s", err, out)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("#EXTM3U\nhttp://127.0.0.1:1/x\n"))
	f.Add([]byte("ffconcat version 1.0\nfile /etc/hostname\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		path := filepath.Join(t.TempDir(), "a.mp4")
		write(t, path, string(data))
		info, err := clip.Probe(ctx, path)
		if ctx.Err() != nil {
			t.Skip("reading this one takes its time; a batch has a limit for that")
		}
		if err != nil {
			if info != nil || err.Error() == "" {
				t.Fatalf("half an answer: %v, %v", info, err)
			}
			return
		}
		if info.Width < 16 || info.Height < 16 || info.Width > 8192 || info.Height > 8192 || len(info.Times) == 0 || info.Times[0] != 0 || !slices.IsSorted(info.Times) {
			t.Fatalf("believes %+v", info)
		}
		if info.Width*info.Height > 1<<22 {
			return // Decoding it proves nothing more and takes long.
		}
		r, err := clip.Open(ctx, info)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		last := -1.0
		for range 8 {
			pixels, at, err := r.Next(ctx)
			if errors.Is(err, io.EOF) || err != nil {
				return
			}
			if len(pixels) != info.Width*info.Height || at < 0 || at < last {
				t.Fatalf("%d pixels of %d × %d at %g s after %g s", len(pixels), info.Width, info.Height, at, last)
			}
			last = at
		}
	})
}

// FuzzPages reads any bytes as the pages of horse, visit and yard.
func FuzzPages(f *testing.F) {
	f.Add([]byte("name = \"Bramble\"\ngait = \"trot\"\nwithers_m = 1.58\n"))
	f.Add([]byte("reason = \"short\"\n[[palpation]]\nregion = \"poll\"\nside = \"left\"\nsoreness = 2\npressure = 4\npressure_unit = \"N\"\n[function]\nbarn = \"x\"\n"))
	f.Add([]byte("letterhead = [\"A\", \"B\"]\ntolerances = \"t.toml\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		path := filepath.Join(t.TempDir(), "page.toml")
		write(t, path, string(data))
		if h, _, err := record.ReadHorse(path); err == nil && (!h.Gait.Valid() || h.WithersM < 0 || h.WithersM > 3) {
			t.Fatalf("believes %+v", h)
		}
		if v, _, err := record.ReadVisit(path); err == nil {
			for _, p := range v.Palpation {
				if p.Soreness < 0 || p.Soreness > 4 || p.Region == "" {
					t.Fatalf("believes %+v", p)
				}
			}
		}
		if y, _, err := record.ReadYard(path); err == nil && y.Tolerances != "" && !filepath.IsLocal(y.Tolerances) {
			t.Fatalf("would read %q outside the yard", y.Tolerances)
		}
	})
}
