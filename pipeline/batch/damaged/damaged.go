//go:build unix

// Package damaged makes a folder of clips as they come in when things go
// wrong: cut off, with flipped bytes, with another content than their names
// say, with absurd headers and awkward names. Tests measure it; nothing that
// measures imports it.
//
// Everything is made on the spot by ffmpeg and by changing bytes of what it
// made, always in the same way.
package damaged

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// Case is one clip of the folder and what must come of it.
type Case struct {
	Name string // Path below the folder, with slashes.
	Why  string // What is wrong with it.
	// Allowed lists the outcomes that are right; where decoders may differ there
	// is more than one.
	Allowed []batch.Outcome
	// Words must all be in the reason where the outcome is Failed.
	Words []string
}

// Size of the pictures of the clips that the others are made from, px.
const width, height = 192, 144

// Frames of these clips.
const frames = 24

var (
	failed = []batch.Outcome{batch.Failed}
	// measured: this material has no horse in it, so nothing but a second look
	// can come of it.
	measured = []batch.Outcome{batch.SecondLook}
	either   = []batch.Outcome{batch.Failed, batch.SecondLook}
)

// maker makes cases below root.
type maker struct {
	t     testing.TB
	root  string
	cases []Case
	bases map[string][]byte
}

// Make fills the folder root, which must be there, and returns its cases.
func Make(t testing.TB, root string) ([]Case, error) {
	m := &maker{t: t, root: root, bases: map[string][]byte{}}
	for _, step := range []func() error{m.cut, m.flipped, m.misnamed, m.odd, m.turned, m.joined, m.named, m.linked, m.badlyMarked} {
		if err := step(); err != nil {
			return nil, fmt.Errorf("make damaged clips in %s: %w", root, err)
		}
	}
	return m.cases, nil
}

// encode returns what ffmpeg makes with args for a clip with the ending ext.
func (m *maker) encode(ext string, args ...string) ([]byte, error) {
	key := ext + strings.Join(args, "\x00")
	if data, done := m.bases[key]; done {
		return data, nil
	}
	path := filepath.Join(m.root, ".base"+ext)
	scenetest.Coded(m.t, path, append(slices.Clone(args), "-fflags", "+bitexact")...)
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	m.bases[key] = data
	return data, os.Remove(path)
}

// source is a moving, textured picture of the given size.
func source(w, h int) []string {
	return []string{"-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=%dx%d:rate=60", w, h)}
}

// h264 returns the arguments for a plain phone-like clip, and more of them.
func h264(more ...string) []string {
	args := append(source(width, height), "-frames:v", fmt.Sprint(frames), "-c:v", "libx264", "-preset", "ultrafast", "-bf", "2", "-g", "12", "-pix_fmt", "yuv420p")
	return append(args, more...)
}

// add writes a clip and good marks for a picture of w × h px beside it.
func (m *maker) add(name, why string, data []byte, w, h int, allowed []batch.Outcome, words ...string) error {
	path := filepath.Join(m.root, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		return err
	}
	m.cases = append(m.cases, Case{name, why, allowed, words})
	return record.WriteMarks(record.MarksPath(path), marks(w, h))
}

// marks marks two landmarks in the first frame.
func marks(w, h int) *record.Marks {
	x, y := float64(w), float64(h)
	return &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: w, Height: h}, Marks: []record.Mark{
		record.At(0, traj.Head, x*0.5, y*0.3), record.At(0, traj.LeftFore, x*0.6, y*0.7), record.At(0, traj.RightFore, x*0.4, y*0.7),
	}}
}

// cut adds clips that end too early: a phone's (index at the end) and one that
// was made for the web (index in front), the latter readable in part.
func (m *maker) cut() error {
	phone, err := m.encode(".mp4", h264()...)
	if err != nil {
		return err
	}
	web, err := m.encode(".mp4", h264("-movflags", "+faststart")...)
	if err != nil {
		return err
	}
	for _, percent := range []int{1, 30, 60, 95} {
		if err := m.add(fmt.Sprintf("cut/phone-%d.mp4", percent), "cut off before its index", phone[:len(phone)*percent/100], width, height, failed, "phone"); err != nil {
			return err
		}
	}
	for _, percent := range []int{5, 20, 40, 60, 80, 99} {
		if err := m.add(fmt.Sprintf("cut/web-%d.mp4", percent), "cut off after its index", web[:len(web)*percent/100], width, height, either, "web"); err != nil {
			return err
		}
	}
	return errors.Join(
		m.add("cut/empty.mp4", "no bytes", nil, width, height, failed, "empty"),
		m.add("cut/byte.mp4", "one byte", phone[:1], width, height, failed, "byte.mp4"),
		m.add("cut/zeros.mp4", "copied as zeros", make([]byte, len(phone)), width, height, failed, "zeros.mp4"),
		m.add("cut/tail-zeros.mp4", "its second half copied as zeros", append(bytes.Clone(web[:len(web)/2]), make([]byte, len(web)-len(web)/2)...), width, height, either),
	)
}

// flipped adds clips with wrong bytes in the index and in the pictures.
func (m *maker) flipped() error {
	web, err := m.encode(".mp4", h264("-movflags", "+faststart")...)
	if err != nil {
		return err
	}
	pictures := bytes.Index(web, []byte("mdat")) + 4
	flip := func(name, why string, from, to, count int, seed uint64) error {
		data := bytes.Clone(web)
		random := rand.New(rand.NewPCG(seed, 1))
		for range count {
			data[from+random.IntN(to-from)] ^= byte(1 + random.IntN(255))
		}
		return m.add(name, why, data, width, height, either)
	}
	for seed := range uint64(4) {
		if err := flip(fmt.Sprintf("flipped/index-%d.mp4", seed), "wrong bytes in its index", 40, pictures-8, 12, seed); err != nil {
			return err
		}
		if err := flip(fmt.Sprintf("flipped/pictures-%d.mp4", seed), "wrong bytes in its pictures", pictures, len(web), 8<<seed, seed); err != nil {
			return err
		}
	}
	return nil
}

// misnamed adds files that are not what their names say.
func (m *maker) misnamed() error {
	mkv, err := m.encode(".mkv", h264()...)
	if err != nil {
		return err
	}
	picture, err := m.encode(".jpg", append(source(width, height), "-frames:v", "1")...)
	if err != nil {
		return err
	}
	sound, err := m.encode(".m4a", "-f", "lavfi", "-i", "sine=duration=1", "-c:a", "aac")
	if err != nil {
		return err
	}
	cover, err := m.encode(".mp4", []string{"-f", "lavfi", "-i", "sine=duration=1", "-f", "lavfi", "-i", "testsrc2=size=64x64:rate=60:duration=0.01", "-map", "0:a", "-map", "1:v", "-c:a", "aac", "-c:v", "mjpeg", "-frames:v", "1", "-disposition:v:0", "attached_pic"}...)
	if err != nil {
		return err
	}
	noise := make([]byte, 20000)
	random := rand.New(rand.NewPCG(7, 7))
	for i := range noise {
		noise[i] = byte(random.UintN(256))
	}
	return errors.Join(
		m.add("misnamed/matroska.mp4", "a Matroska file", mkv, width, height, measured),
		m.add("misnamed/picture.mov", "a photograph", picture, width, height, either),
		m.add("misnamed/text.mov", "a letter", []byte(strings.Repeat("Dear Sir, the mare is better. ", 100)), width, height, failed, "text.mov"),
		m.add("misnamed/page.mp4", "a web page saved in place of the clip", []byte("<!doctype html><title>Sign in</title>"), width, height, failed, "page.mp4"),
		m.add("misnamed/noise.avi", "noise", noise, width, height, failed, "noise.avi"),
		m.add("misnamed/playlist.mp4", "a playlist that names another file", []byte("#EXTM3U\n#EXTINF:1,\n/etc/hostname\n"), width, height, failed, "playlist.mp4"),
		m.add("misnamed/sound.mp4", "sound only", sound, width, height, failed, "only sound"),
		m.add("misnamed/cover.mp4", "sound with a cover picture", cover, width, height, failed, "cover"),
	)
}

// odd adds clips that are whole and unusual.
func (m *maker) odd() error {
	type made struct {
		name, why string
		ext       string
		args      []string
		w, h      int
		allowed   []batch.Outcome
		words     []string
	}
	raw := append(source(width, height), "-frames:v", fmt.Sprint(frames))
	for _, c := range []made{
		{"odd/ten-bit.mp4", "10 bits a sample", ".mp4", append(raw, "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p10le"), width, height, measured, nil},
		{"odd/odd-size.mp4", "odd numbers of pixels", ".mp4", append(raw, "-vf", "scale=193:145,format=yuv444p", "-c:v", "libx264", "-preset", "ultrafast"), 193, 145, measured, nil},
		{"odd/tiny.mp4", "8 × 8 px", ".mp4", append(source(8, 8), "-frames:v", "5", "-c:v", "mpeg4"), 16, 16, failed, []string{"8 × 8"}},
		{"odd/one-frame.mp4", "one frame", ".mp4", append(source(width, height), "-frames:v", "1", "-c:v", "libx264", "-pix_fmt", "yuv420p"), width, height, either, nil},
		{"odd/two-frames.mp4", "two frames", ".mp4", append(source(width, height), "-frames:v", "2", "-c:v", "libx264", "-pix_fmt", "yuv420p"), width, height, either, nil},
		{"odd/variable.mkv", "a variable frame rate", ".mkv", append(raw, "-vf", "setpts='(N*N/60)/TB/2'", "-fps_mode", "passthrough", "-c:v", "libx264", "-pix_fmt", "yuv420p"), width, height, measured, nil},
		{"odd/elementary.mpg", "a bare stream without timestamps", ".h264", h264(), width, height, either, nil},
		{"odd/still.mp4", "nothing moves", ".mp4", append([]string{"-f", "lavfi", "-i", fmt.Sprintf("color=gray:size=%dx%d:rate=60", width, height)}, "-frames:v", fmt.Sprint(frames), "-c:v", "libx264", "-pix_fmt", "yuv420p"), width, height, either, nil},
		{"odd/black-and-white.avi", "uncompressed", ".avi", append(raw, "-c:v", "rawvideo", "-pix_fmt", "gray"), width, height, either, nil},
	} {
		data, err := m.encode(c.ext, c.args...)
		if err != nil {
			return err
		}
		if err := m.add(c.name, c.why, data, c.w, c.h, c.allowed, c.words...); err != nil {
			return err
		}
	}
	return nil
}

// turned adds clips whose header says that they are held otherwise, or are larger, than
// usual.
func (m *maker) turned() error {
	web, err := m.encode(".mp4", h264("-movflags", "+faststart")...)
	if err != nil {
		return err
	}
	for _, degrees := range []int{90, 180, 270, 45} {
		w, h, allowed, words := width, height, measured, []string(nil)
		if degrees%180 == 90 {
			w, h = h, w
		}
		if degrees == 45 {
			allowed, words = failed, []string{"turned", "quarter"}
		}
		turned, err := turn(web, degrees)
		if err != nil {
			return err
		}
		if err := m.add(fmt.Sprintf("odd/turned-%d.mp4", degrees), fmt.Sprintf("held at %d°", degrees), turned, w, h, allowed, words...); err != nil {
			return err
		}
	}
	huge := bytes.Clone(web)
	box := bytes.Index(huge, []byte("avc1")) // Sample entry: width and height, 16 bit each, 28 bytes on.
	box = box + 4 + bytes.Index(huge[box+4:], []byte("avc1"))
	if box < 4 {
		return errors.New("no sample entry found")
	}
	binary.BigEndian.PutUint16(huge[box+28:], 65535)
	binary.BigEndian.PutUint16(huge[box+30:], 65535)
	return m.add("odd/huge.mp4", "a header that claims 65535 × 65535 px", huge, width, height, either)
}

// joined adds a clip of two sizes, and one of no frames at all.
func (m *maker) joined() error {
	two, err := m.encode(".ts", append(source(320, 240), "-frames:v", "12", "-c:v", "libx264", "-pix_fmt", "yuv420p")...)
	if err != nil {
		return err
	}
	one, err := m.encode(".ts", h264()...)
	if err != nil {
		return err
	}
	if err := m.add("odd/size-changes.mts", "its size changes in the middle", append(bytes.Clone(one), two...), width, height, either); err != nil {
		return err
	}
	none, err := m.encode(".mp4", "-f", "lavfi", "-i", "sine=duration=1", "-f", "lavfi", "-i", "color=s=64x64:d=0.01", "-map", "0", "-c:a", "aac", "-movflags", "+empty_moov+default_base_moof", "-t", "0.001")
	if err != nil {
		return err
	}
	return m.add("odd/no-frames.mp4", "an index and no frames", none, width, height, failed, "no-frames.mp4")
}

// turn writes a rotation into the matrix of the track header (ISO/IEC 14496-12,
// 8.3.2: nine 32-bit numbers, 40 bytes into the box of version 0).
func turn(data []byte, degrees int) ([]byte, error) {
	matrices := map[int][4]float64{90: {0, 1, -1, 0}, 180: {-1, 0, 0, -1}, 270: {0, -1, 1, 0}, 45: {0.70711, 0.70711, -0.70711, 0.70711}}
	turned := bytes.Clone(data)
	box := bytes.Index(turned, []byte("tkhd"))
	if box < 0 || turned[box+4] != 0 {
		return nil, errors.New("no track header of version 0 found")
	}
	at := box + 4 + 40
	for i, position := range []int{0, 1, 3, 4} {
		binary.BigEndian.PutUint32(turned[at+4*position:], uint32(int32(matrices[degrees][i]*65536)))
	}
	return turned, nil
}

// named adds good clips with awkward names.
func (m *maker) named() error {
	good, err := m.encode(".mp4", h264()...)
	if err != nil {
		return err
	}
	for _, name := range []string{"with spaces  two.mp4", `it's "quoted".mp4`, "日本の馬.mp4", "Лошадь ß é.MP4", "-v.mp4", "new\nline.mp4", "$(reboot);&|.mp4", "%d%s.mp4", "many.dots.in.it.mp4", "file:x.mp4", "\xff\xfe.mp4", "http:evil.mov"} {
		if err := m.add("named/"+name, "an awkward name", good, width, height, measured); err != nil {
			return err
		}
	}
	return nil
}

// linked adds links, loops and things that are no files.
func (m *maker) linked() error {
	good, err := m.encode(".mp4", h264()...)
	if err != nil {
		return err
	}
	if err := m.add("linked/good.mp4", "nothing: others point to it", good, width, height, measured); err != nil {
		return err
	}
	dir := filepath.Join(m.root, "linked")
	link := func(target, name, why string, allowed []batch.Outcome, words ...string) error {
		if err := os.Symlink(target, filepath.Join(dir, name)); err != nil {
			return err
		}
		m.cases = append(m.cases, Case{"linked/" + name, why, allowed, words})
		return record.WriteMarks(record.MarksPath(filepath.Join(dir, name)), marks(width, height))
	}
	pipe := filepath.Join(dir, "pipe.mp4")
	if err := syscall.Mkfifo(pipe, 0o644); err != nil {
		return err
	}
	m.cases = append(m.cases, Case{"linked/pipe.mp4", "a pipe: reading it would wait for ever", failed, []string{"ordinary file"}})
	return errors.Join(
		record.WriteMarks(record.MarksPath(pipe), marks(width, height)),
		link("good.mp4", "to-good.mp4", "a link to a good clip", measured),
		link("itself.mp4", "itself.mp4", "a link to itself", failed, "too many"),
		link("nowhere.mp4", "dangling.mp4", "a link to nothing", failed, "no such file"),
		link("/dev/zero", "device.mp4", "a link to a device", failed, "ordinary file"),
		os.Symlink("..", filepath.Join(dir, "up")),
		os.Symlink(dir, filepath.Join(dir, "loop.out")),
		os.Mkdir(filepath.Join(dir, "folder.mp4"), 0o755),
	)
}

// badlyMarked adds good clips whose marks cannot be used.
func (m *maker) badlyMarked() error {
	good, err := m.encode(".mp4", h264()...)
	if err != nil {
		return err
	}
	add := func(name, why, text string, words ...string) error {
		if err := m.add("marked/"+name+".mp4", why, good, width, height, failed, words...); err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(m.root, "marked", name+".marks.json"), []byte(text), 0o644)
	}
	const head = `{"schema":"jogstrip-marks/1","view":"toward","gait":"trot","picture":{"width":192,"height":144},"marks":[`
	if err := errors.Join(
		add("half", "half a marks file", head, "half.marks.json", "JSON"),
		add("empty", "an empty marks file", "", "empty.marks.json", "JSON"),
		add("later", "marks of a later program", strings.Replace(head, "marks/1", "marks/9", 1)+"]}", "jogstrip-marks/9"),
		add("elsewhere", "marks of another clip", strings.Replace(head, "192", "1920", 1)+`{"frame":0,"landmark":"head","x":5,"y":6}]}`, "1920", "another clip"),
		add("beyond", "a mark after the end", head+`{"frame":9999,"landmark":"head","x":5,"y":6}]}`, "9999"),
		add("outside", "a mark outside the picture", head+`{"frame":0,"landmark":"head","x":500,"y":6}]}`, "500"),
		add("none", "marks without a mark", head+`]}`, "marks"),
		add("folder", "replaced below", ""),
	); err != nil {
		return err
	}
	m.cases[len(m.cases)-1] = Case{"marked/folder.mp4", "a folder in place of the marks", failed, []string{"folder.marks.json"}}
	path := filepath.Join(m.root, "marked", "folder.marks.json")
	if err := os.Remove(path); err != nil {
		return err
	}
	if err := os.Mkdir(path, 0o755); err != nil {
		return err
	}
	// Two clips of one name would share a results folder.
	if err := m.add("marked/twin.mov", "it shares its name with another", good, width, height, either); err != nil {
		return err
	}
	return m.add("marked/twin.mp4", "it shares its name with another", good, width, height, failed, "twin")
}
