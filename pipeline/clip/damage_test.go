package clip_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"jogstrip/pipeline/clip"
)

// packet is one of a clip's packets as ffprobe tells of it.
type packet struct {
	PTS      string `json:"pts_time"`
	Pos      string `json:"pos"`
	Size     string `json:"size"`
	Flags    string `json:"flags"`
	position int
	size     int
	frame    int // Its place in the order of times.
}

// packets returns the clip's packets in the file's order.
func packets(t *testing.T, path string, info *clip.Info) []packet {
	t.Helper()
	out, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "packet=pts_time,pos,size,flags", "-of", "json", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	var told struct{ Packets []packet }
	if err := json.Unmarshal(out, &told); err != nil {
		t.Fatal(err)
	}
	var first float64
	times := make([]float64, len(told.Packets))
	for i, p := range told.Packets {
		times[i], _ = strconv.ParseFloat(p.PTS, 64)
		if i == 0 || times[i] < first {
			first = times[i]
		}
	}
	for i := range told.Packets {
		p := &told.Packets[i]
		p.position, _ = strconv.Atoi(p.Pos)
		p.size, _ = strconv.Atoi(p.Size)
		for k, at := range info.Times {
			if d := times[i] - first - at; d > -0.002 && d < 0.002 {
				p.frame = k
			}
		}
	}
	return told.Packets
}

// readAll reads a clip to its end and returns every frame and its time.
func readAll(t *testing.T, info *clip.Info, opts clip.OpenOptions) (frames [][]byte, times []float64, damage clip.Damage, err error) {
	t.Helper()
	r, err := clip.OpenWith(t.Context(), info, opts)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for {
		pixels, at, err := r.Next(t.Context())
		if errors.Is(err, io.EOF) {
			return frames, times, r.Damage(), nil
		}
		if err != nil {
			return nil, nil, clip.Damage{}, err
		}
		frames, times = append(frames, bytes.Clone(pixels)), append(times, at)
	}
}

// A frame that is decoded with an error and every frame predicted from it are known,
// none of them is delivered as it came, and every other frame has its place.
func TestCarefulReadingKnowsDamagedFrames(t *testing.T) {
	for _, tt := range []struct {
		name, file string
		args       []string
		victim     int // In the file's order.
		how        func(data []byte)
	}{
		{"H.264, wrong bytes", "a.mp4", []string{"-c:v", "libx264", "-preset", "veryfast", "-bf", "2", "-g", "10", "-x264-params", "scenecut=0:threads=1", "-pix_fmt", "yuv420p"}, 14, garbage},
		{"H.264, a key picture", "a.mp4", []string{"-c:v", "libx264", "-preset", "veryfast", "-bf", "2", "-g", "10", "-x264-params", "scenecut=0:threads=1", "-pix_fmt", "yuv420p"}, 20, garbage},
		{"H.264, no bytes", "a.mkv", []string{"-c:v", "libx264", "-preset", "veryfast", "-bf", "0", "-g", "10", "-x264-params", "scenecut=0:threads=1", "-pix_fmt", "yuv420p"}, 23, zeros},
		{"HEVC, leading pictures", "a.mov", []string{"-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none:keyint=10:min-keyint=10:open-gop=1:bframes=3:scenecut=0", "-pix_fmt", "yuv420p"}, 12, zeros},
		{"motion JPEG", "a.avi", []string{"-c:v", "mjpeg", "-q:v", "3", "-pix_fmt", "yuvj422p"}, 17, zeros},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), tt.file)
			run(t, append(moving("320x240", 40, "", tt.args...), path)...)
			info, err := clip.Probe(t.Context(), path)
			if err != nil {
				t.Fatal(err)
			}
			good, times, none, err := readAll(t, info, clip.OpenOptions{Careful: true})
			if err != nil || len(good) != 40 || len(none.Frames)+len(none.Errors)+none.Extra != 0 {
				t.Fatalf("whole: %d frames, %+v, %v", len(good), none, err)
			}
			if _, _, _, err := readAll(t, info, clip.OpenOptions{Whole: true}); err != nil {
				t.Fatalf("whole: %v", err)
			}
			all := packets(t, path, info)
			want := map[int]bool{}
			harmed := false
			leading := -1 // The frame of the key picture after the damage.
			for i, p := range all {
				switch key := p.Flags[0] == 'K'; {
				case i == tt.victim:
					harmed = true
				case key && harmed:
					harmed, leading = false, p.frame
				}
				if harmed || p.frame < leading && i > tt.victim {
					want[p.frame] = true
				}
			}
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			v := all[tt.victim]
			tt.how(data[v.position+v.size/4 : v.position+v.size])
			if err := os.WriteFile(path, data, 0o644); err != nil {
				t.Fatal(err)
			}
			if info, err = clip.Probe(t.Context(), path); err != nil {
				t.Fatal(err)
			}
			if _, _, _, err := readAll(t, info, clip.OpenOptions{Whole: true}); !errors.Is(err, clip.ErrDamaged) {
				t.Errorf("reading that must be whole: %v", err)
			}
			got, gotTimes, damage, err := readAll(t, info, clip.OpenOptions{Careful: true})
			if err != nil {
				t.Fatal(err)
			}
			if len(got) > len(good) || len(got) < len(good)-1 || damage.Extra != 0 {
				t.Fatalf("%d frames, %+v", len(got), damage)
			}
			var frames []int
			for f := range want {
				frames = append(frames, f)
			}
			slices.Sort(frames)
			if !slices.Equal(damage.Frames, frames) {
				t.Errorf("damaged frames %v, want %v", damage.Frames, frames)
			}
			if len(damage.Errors) == 0 || damage.Errors[0].Frame != v.frame || damage.Errors[0].Count == 0 {
				t.Errorf("errors %+v, want frame %d first", damage.Errors, v.frame)
			}
			before := good[0]
			for i := range got {
				if !want[i] {
					before = good[i]
				}
				if gotTimes[i] != times[i] || !bytes.Equal(got[i], before) {
					t.Errorf("frame %d at %g s (want %g): not the last whole picture", i, gotTimes[i], times[i])
				}
			}
		})
	}
}

func garbage(data []byte) {
	for i := range data {
		data[i] ^= byte(0x5a + 7*i)
	}
}

func zeros(data []byte) { clear(data) }

// A file that lists others is opened neither by the libraries nor by an ffmpeg child,
// whatever its name is.
func TestPlaylistsOpenNothing(t *testing.T) {
	dir := t.TempDir()
	film := filepath.Join(dir, "film.mp4")
	run(t, append(moving("64x48", 10, "", "-c:v", "libx264", "-pix_fmt", "yuv420p"), film)...)
	good, err := clip.Probe(t.Context(), film)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"ffconcat": "ffconcat version 1.0\nfile film.mp4\n",
		"HLS":      "#EXTM3U\n#EXT-X-VERSION:7\n#EXT-X-TARGETDURATION:2\n#EXTINF:1,\nfilm.mp4\n#EXT-X-ENDLIST\n",
		"DASH":     `<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static" mediaPresentationDuration="PT1S" profiles="urn:mpeg:dash:profile:isoff-on-demand:2011"><Period><AdaptationSet mimeType="video/mp4"><Representation id="1" bandwidth="1000" width="64" height="48"><BaseURL>film.mp4</BaseURL></Representation></AdaptationSet></Period></MPD>`,
		"picture":  "P6\n64 48\n255\n" + string(make([]byte, 64*48*3)),
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(dir, name+".mp4")
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			if info, err := clip.Probe(t.Context(), path); !errors.Is(err, clip.ErrNoPicture) {
				t.Errorf("%+v %v", info, err)
			}
			// As where a clip is replaced after it was looked at.
			swapped := *good
			swapped.Path = path
			if jpeg, err := onePicture(t.Context(), &swapped, 0, clip.PictureOptions{}); err == nil {
				t.Errorf("a picture of %d bytes was made", len(jpeg))
			}
			if frames, _, _, err := readAll(t, &swapped, clip.OpenOptions{}); err == nil || len(frames) > 0 {
				t.Errorf("%d frames, %v", len(frames), err)
			}
		})
	}
}

// Film as phones and cameras made it is whole: nothing in it is taken for damage.
func TestRealFilmIsWhole(t *testing.T) {
	shared := os.Getenv("JOGSTRIP_SHARED")
	if shared == "" {
		shared = "../../../shared"
	}
	films, _ := filepath.Glob(filepath.Join(shared, "data", "real", "*.mp4"))
	if len(films) == 0 {
		t.Skip("SKIPPED: no real film below data/real of the shared folder (JOGSTRIP_SHARED)")
	}
	for _, path := range films {
		if stat, err := os.Stat(path); err != nil || stat.Size() < 10000 {
			continue // A name that stands for another film.
		}
		info, err := clip.Probe(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		r, err := clip.OpenWith(t.Context(), info, clip.OpenOptions{Whole: true})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for err == nil {
			if _, _, err = r.Next(t.Context()); err == nil {
				n++
			}
		}
		if !errors.Is(err, io.EOF) || n != len(info.Times) {
			t.Errorf("%s: %d of %d frames: %v", filepath.Base(path), n, len(info.Times), err)
		}
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	}
}
