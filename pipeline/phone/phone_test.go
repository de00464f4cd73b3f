package phone

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// listenOn opens the handlers' page of dir, with a film check that finds every
// clip good and takes every file for a film that begins like one.
func listenOn(t testing.TB, dir string, change func(*Options)) *Server {
	t.Helper()
	opts := Options{
		Folder: dir, Address: "127.0.0.1:0", Keep: t.TempDir(), Plain: true, Reserve: 1,
		Check: func(context.Context, string) (*film.Report, error) { return &film.Report{Verdict: film.Good}, nil },
		Probe: func(context.Context, string) (*clip.Info, error) { return new(clip.Info), nil },
	}
	if change != nil {
		change(&opts)
	}
	s, err := Listen(opts)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// ask sends a request as the phone's page would; change makes it an attack.
func ask(s *Server, method, target string, body []byte, change func(r *http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+s.listener.Addr().String()+target, bytes.NewReader(body))
	r.Host = s.listener.Addr().String()
	r.AddCookie(&http.Cookie{Name: s.door.Cookie, Value: s.door.Token()})
	if method != http.MethodGet {
		r.Header.Set("Origin", "http://"+r.Host)
	}
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	s.Handler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "the practitioner's page", http.StatusTeapot)
	})).ServeHTTP(w, r)
	return w
}

// filmOf returns bytes that begin as an MP4 file does and go on as no other.
func filmOf(seed uint64, size int) []byte {
	random := rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8)})
	data := make([]byte, size)
	_, _ = random.Read(data)
	copy(data, "\x00\x00\x00\x18ftypisom")
	return data
}

func offerOf(data []byte) offer {
	return offer{
		Horse: "bramble", Date: "2026-03-02", View: traj.Toward, Name: "IMG_0001.MOV", Size: int64(len(data)),
		Head: crc32.ChecksumIEEE(data[:min(len(data), endSample)]), Tail: crc32.ChecksumIEEE(data[max(0, len(data)-endSample):]),
	}
}

func begin(s *Server, o offer) (*httptest.ResponseRecorder, sendState) {
	body, _ := json.Marshal(o)
	w := ask(s, "POST", "/phone/api/sends", body, nil)
	var st sendState
	_ = json.Unmarshal(w.Body.Bytes(), &st)
	return w, st
}

func piece(s *Server, id string, at int64, data []byte) *httptest.ResponseRecorder {
	return ask(s, "POST", fmt.Sprintf("/phone/api/sends/%s/pieces?at=%d&sum=%d", id, at, crc32.ChecksumIEEE(data)), data, nil)
}

// send sends a whole clip, in pieces of so many bytes.
func send(s *Server, o offer, data []byte, size int) (sendState, error) {
	w, st := begin(s, o)
	if w.Code != 200 {
		return st, fmt.Errorf("begin: %d %s", w.Code, w.Body)
	}
	for at := st.Received; at < int64(len(data)); {
		w := piece(s, st.ID, at, data[at:min(at+int64(size), int64(len(data)))])
		if w.Code == http.StatusServiceUnavailable || w.Code == http.StatusInsufficientStorage {
			time.Sleep(2 * time.Millisecond)
			continue
		}
		var got struct{ Received int64 }
		if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Code != 200 && w.Code != 409 {
			return st, fmt.Errorf("piece at %d: %d %s", at, w.Code, w.Body)
		}
		at = got.Received
	}
	w = ask(s, "POST", "/phone/api/sends/"+st.ID+"/end", nil, nil)
	if w.Code != 200 {
		return st, fmt.Errorf("end: %d %s", w.Code, w.Body)
	}
	return st, json.Unmarshal(w.Body.Bytes(), &st)
}

// clipsIn returns the files of the yard, relative, with what they hold; what is
// hidden is left out.
func clipsIn(t testing.TB, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			if d.IsDir() && d.Name() == receiving {
				return fs.SkipDir
			}
			return err
		}
		if d.Type()&fs.ModeSymlink != 0 {
			return nil
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[rel] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// A clip arrives as it was sent, under the visit's next free name; sent again it
// is told to be there; another one gets another name; nothing that lies there is
// touched.
func TestAClipArrivesWholeAndOverwritesNothing(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	visit := filepath.Join(dir, "horses", "bramble", "2026-03-02")
	if err := os.MkdirAll(visit, 0o755); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"toward-1.mp4": "mine", "TOWARD-2.marks.json": "marks without their clip"} {
		if err := os.WriteFile(filepath.Join(visit, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s := listenOn(t, dir, nil)
	data := filmOf(1, 300_000)
	st, err := send(s, offerOf(data), data, 70_000)
	if err != nil || st.Stage != stageReceived || st.Name != "toward-3.mov" {
		t.Fatalf("%+v, %v", st, err)
	}
	if again, err := send(s, offerOf(data), data, 70_000); err != nil || again.Name != "toward-3.mov" || again.Received != int64(len(data)) {
		t.Errorf("sent again: %+v, %v", again, err)
	}
	other := filmOf(2, 1000)
	o := offerOf(other)
	o.Name, o.View = "x.mp4", traj.Away
	if st, err := send(s, o, other, 1000); err != nil || st.Name != "away-1.mp4" {
		t.Errorf("%+v, %v", st, err)
	}
	want := map[string]string{"toward-1.mp4": "mine", "TOWARD-2.marks.json": "marks without their clip", "toward-3.mov": string(data), "away-1.mp4": string(other)}
	got := clipsIn(t, dir)
	for name, text := range want {
		if got["horses/bramble/2026-03-02/"+name] != text {
			t.Errorf("%s holds something else", name)
		}
	}
	if len(got) != len(want) {
		t.Errorf("there are %d files, want %d", len(got), len(want))
	}
	// Cleared away by the practitioner, it may be sent again.
	if err := os.Remove(filepath.Join(visit, "toward-3.mov")); err != nil {
		t.Fatal(err)
	}
	if again, err := send(s, offerOf(data), data, 300_000); err != nil || again.Name != "toward-3.mov" {
		t.Errorf("after it was cleared away: %+v, %v", again, err)
	}
	// The verdict comes soon and stays.
	for range 200 {
		w := ask(s, "GET", "/phone/api/sends/"+st.ID, nil, nil)
		if err := json.Unmarshal(w.Body.Bytes(), &st); err != nil {
			t.Fatal(err)
		}
		if st.Check != nil {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if st.Check == nil || st.Check.Verdict != film.Good {
		t.Errorf("no verdict: %+v", st)
	}
}

// Broken off anywhere, a send is gone on with from where it stopped; pieces that
// are garbled, too early, too late or too long change nothing.
func TestASendThatBrokeOffIsGoneOnWith(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	data := filmOf(3, 200_000)
	s := listenOn(t, dir, nil)
	_, st := begin(s, offerOf(data))
	if w := piece(s, st.ID, 0, data[:50_000]); w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	for name, w := range map[string]*httptest.ResponseRecorder{
		"once more":      piece(s, st.ID, 0, data[:50_000]),
		"a gap":          piece(s, st.ID, 60_000, data[60_000:70_000]),
		"past the end":   piece(s, st.ID, 50_000, append(bytes.Clone(data[50_000:]), 1)),
		"garbled":        ask(s, "POST", "/phone/api/sends/"+st.ID+"/pieces?at=50000&sum=1", data[50_000:60_000], nil),
		"ended too soon": ask(s, "POST", "/phone/api/sends/"+st.ID+"/end", nil, nil),
	} {
		var at struct{ Received int64 }
		if err := json.Unmarshal(w.Body.Bytes(), &at); err != nil || w.Code != 409 || at.Received != 50_000 {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
	}
	for name, w := range map[string]*httptest.ResponseRecorder{
		"no such clip":  piece(s, strings.Repeat("0", 32), 0, data[:10]),
		"no id":         piece(s, "..", 0, data[:10]),
		"too large":     piece(s, st.ID, 50_000, make([]byte, pieceLimit+1)),
		"empty":         piece(s, st.ID, 50_000, nil),
		"before itself": ask(s, "POST", "/phone/api/sends/"+st.ID+"/pieces?at=-1&sum=1", data[:10], nil),
	} {
		if w.Code < 300 || w.Code == 409 || w.Code >= 500 {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
	}
	if len(clipsIn(t, dir)) != 0 {
		t.Error("half a clip lies in the yard")
	}
	// The program is started anew with the same folder for what it keeps.
	keep := filepath.Dir(s.keep)
	token := s.door.Token()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again := listenOn(t, dir, func(o *Options) { o.Keep = keep })
	if again.door.Token() != token {
		t.Error("phones that were let in are out after a new start")
	}
	w, st := begin(again, offerOf(data))
	if w.Code != 200 || st.Received != 50_000 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if st, err := send(again, offerOf(data), data, 40_000); err != nil || clipsIn(t, dir)["horses/bramble/2026-03-02/"+st.Name] != string(data) {
		t.Errorf("%+v, %v", st, err)
	}
}

// Killed between any two steps of putting a clip in place, the next start ends
// with the clip there once.
func TestPuttingInPlaceIsGoneOnWith(t *testing.T) {
	t.Parallel()
	data := filmOf(4, 5000)
	for name, prepare := range map[string]func(t *testing.T, s *Server, id string, r *receipt){
		"noted, not moved": func(*testing.T, *Server, string, *receipt) {},
		"noted, the name taken meanwhile": func(t *testing.T, s *Server, _ string, r *receipt) {
			if err := os.WriteFile(filepath.Join(s.store.dir, r.Path), []byte("mine"), 0o644); err != nil {
				t.Fatal(err)
			}
		},
		"moved, not noted": func(t *testing.T, s *Server, id string, r *receipt) {
			if err := os.Rename(filepath.Join(s.store.dir, partName(id)), filepath.Join(s.store.dir, r.Path)); err != nil {
				t.Fatal(err)
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			s := listenOn(t, dir, nil)
			_, st := begin(s, offerOf(data))
			if w := piece(s, st.ID, 0, data); w.Code != 200 {
				t.Fatalf("%d %s", w.Code, w.Body)
			}
			r, err := s.store.read(st.ID)
			if err != nil {
				t.Fatal(err)
			}
			r.Stage, r.Path = stagePlacing, "horses/bramble/2026-03-02/toward-1.mov"
			if err := os.MkdirAll(filepath.Join(dir, "horses/bramble/2026-03-02"), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := s.store.write(st.ID, r); err != nil {
				t.Fatal(err)
			}
			prepare(t, s, st.ID, r)
			got, err := send(s, offerOf(data), data, 5000)
			if err != nil || got.Stage != stageReceived {
				t.Fatalf("%+v, %v", got, err)
			}
			there := 0
			for path, text := range clipsIn(t, dir) {
				if text == string(data) {
					there++
				} else if text != "mine" {
					t.Errorf("%s holds something else", path)
				}
			}
			if there != 1 {
				t.Errorf("the clip lies there %d times", there)
			}
		})
	}
}

// Twenty phones send at once: every clip arrives, each once.
func TestTwentySendsAtOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := listenOn(t, dir, nil)
	var all sync.WaitGroup
	for i := range uint64(20) {
		all.Go(func() {
			data := filmOf(100+i, 20_000)
			if _, err := send(s, offerOf(data), data, 3000); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	seen := map[string]bool{}
	for _, text := range clipsIn(t, dir) {
		seen[text] = true
	}
	if len(clipsIn(t, dir)) != 20 || len(seen) != 20 {
		t.Errorf("%d files, %d different", len(clipsIn(t, dir)), len(seen))
	}
	for i := range uint64(20) {
		if !seen[string(filmOf(100+i, 20_000))] {
			t.Errorf("clip %d is not there", i)
		}
	}
}

// Names that a phone, or somebody with a phone's token, gives never become a
// path; horses get a folder of letters and digits.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	outside := t.TempDir()
	dir := filepath.Join(outside, "yard")
	if err := os.MkdirAll(filepath.Join(dir, "horses"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(outside, "elsewhere"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, link := range []string{"linked", "there"} {
		if err := os.Symlink(filepath.Join(outside, "elsewhere"), filepath.Join(dir, "horses", link)); err != nil {
			t.Fatal(err)
		}
	}
	s := listenOn(t, dir, nil)
	for i, tt := range []struct {
		horse, name, date, visit string
		want                     string // Where it lies; empty: refused.
	}{
		{"Bramble", "../../../etc/passwd", "2026-03-02", "", "horses/bramble/2026-03-02/toward-1.mp4"},
		{"  Żółta  Róża! ", "a\x00b.mov", "2026-03-02", "", "horses/żółta-róża/2026-03-02/toward-1.mov"},
		{"../../up", `c:\x.exe`, "2026-03-02", "", "horses/up/2026-03-02/toward-1.mp4"},
		{".hidden", "<img src=x onerror=alert(1)>.mp4", "2026-03-02", "2", "horses/hidden/2026-03-02-2/toward-1.mp4"},
		{"x.out", strings.Repeat("n", 5000) + ".mp4", "2026-03-02", "", "horses/x-out/2026-03-02/toward-1.mp4"},
		{"CON", ".mp4.sh", "2026-03-02", "", "horses/con/2026-03-02/toward-1.mp4"},
		{"a/b\\c", "-rf.mp4", "2026-03-02", "", "horses/a-b-c/2026-03-02/toward-1.mp4"},
		{"linked", "a.mp4", "2026-03-02", "", ""}, // A link that leads out.
		{"", "a.mp4", "2026-03-02", "", ""},
		{"...", "a.mp4", "2026-03-02", "", ""},
		{strings.Repeat("x", 61), "a.mp4", "2026-03-02", "", ""},
		{"ok", "a.mp4", "../2026-03-02", "", ""},
		{"ok", "a.mp4", "2026-02-31", "", ""},
		{"ok", "a.mp4", "1999-01-01", "", ""},
		{"ok", "a.mp4", "2999-01-01", "", ""},
		{"ok", "a.mp4", "2026-03-02", "../x", ""},
		{"ok", "a.mp4", "2026-03-02", "01", ""},
	} {
		data := filmOf(uint64(200+i), 2000)
		o := offerOf(data)
		o.Horse, o.Name, o.Date, o.Visit = tt.horse, tt.name, tt.date, tt.visit
		_, err := send(s, o, data, 2000)
		if (err == nil) != (tt.want != "") {
			t.Errorf("%q, %q: %v", tt.horse, tt.name, err)
		}
		if got := clipsIn(t, dir); tt.want != "" && got[tt.want] != string(data) {
			t.Errorf("%q, %q: not at %s", tt.horse, tt.name, tt.want)
		}
		if err != nil && strings.Contains(err.Error(), outside) {
			t.Errorf("the answer tells of the machine's folders: %v", err)
		}
	}
	if entries, err := os.ReadDir(filepath.Join(outside, "elsewhere")); err != nil || len(entries) != 0 {
		t.Errorf("something was written outside: %v, %v", entries, err)
	}
	// The folder for what arrives is a link that leads out.
	other := t.TempDir()
	if err := os.Symlink(outside, filepath.Join(other, receiving)); err != nil {
		t.Fatal(err)
	}
	if w, _ := begin(listenOn(t, other, nil), offerOf(filmOf(1, 10))); w.Code < 400 {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// What is no film is refused with its first piece, or once it is whole, and
// leaves nothing behind.
func TestWhatIsNoFilmIsRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := listenOn(t, dir, func(o *Options) { o.Probe = clip.Probe })
	for name, tt := range map[string]struct{ data, say string }{
		"a playlist":            {"#EXTM3U\n#EXTINF:10,\nfile:///etc/passwd\n", "list of films"},
		"a list to be joined":   {"ffconcat version 1.0\nfile '/etc/passwd'\n", "list of films"},
		"a manifest":            {"<?xml version=\"1.0\"?><MPD></MPD>", "list of films"},
		"a zip archive":         {"PK\x03\x04" + strings.Repeat("x", 400), "archive"},
		"a gzip archive":        {"\x1f\x8b\x08" + strings.Repeat("x", 400), "archive"},
		"a photograph":          {"\xff\xd8\xff\xe0" + strings.Repeat("x", 400), "photograph"},
		"a program":             {"\x7fELF" + strings.Repeat("x", 400), "no film"},
		"a page":                {"<html><script>alert(1)</script>", "no film"},
		"one byte":              {"x", "no film"},
		"begins like a film":    {string(filmOf(5, 4000)), "can’t be read as a film"},
		"a playlist in its box": {"\x00\x00\x00\x18ftypisom#EXTM3U\nfile:///etc/passwd\n", "can’t be read as a film"},
	} {
		o := offerOf([]byte(tt.data))
		o.Name = "IMG_0001.mp4"
		_, err := send(s, o, []byte(tt.data), 1<<20)
		if err == nil || !strings.Contains(err.Error(), "422") || !strings.Contains(err.Error(), tt.say) || strings.Contains(err.Error(), dir) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got := clipsIn(t, dir); len(got) != 0 {
		t.Errorf("left in the yard: %v", got)
	}
	if parts, _ := filepath.Glob(filepath.Join(dir, receiving, "*.part")); len(parts) != 0 {
		t.Errorf("left half sent: %v", parts)
	}
	// A real film in the same place is taken.
	film := filepath.Join(t.TempDir(), "a.mp4")
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		t.Skip("SKIPPED: ffmpeg is not installed (Debian: apt install ffmpeg)")
	}
	scenetest.Coded(t, film, "-f", "lavfi", "-i", "testsrc2=size=64x64:rate=10", "-frames:v", "5", "-pix_fmt", "yuv420p")
	data, err := os.ReadFile(film)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := send(s, offerOf(data), data, 1<<20); err != nil {
		t.Error(err)
	}
}

// Sizes are bounded, room on the disk is asked for before, counting what others
// still send; a disk that fills up meanwhile loses nothing, and the clip is gone
// on with once there is room.
func TestSizesAndRoom(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := listenOn(t, dir, func(o *Options) { o.MostBytes, o.Reserve = 100_000, 10_000 })
	var free int64 = 200_000
	s.store.free = func(string) (int64, error) { return free, nil }
	for size, want := range map[int64]int{0: 422, -5: 422, 100_001: 422, 1 << 62: 422} {
		o := offerOf(filmOf(1, 100))
		o.Size = size
		if w, _ := begin(s, o); w.Code != want {
			t.Errorf("a clip of %d bytes: %d %s", size, w.Code, w.Body)
		}
	}
	first, second := filmOf(6, 100_000), filmOf(7, 95_000)
	_, st := begin(s, offerOf(first))
	if w, _ := begin(s, offerOf(second)); w.Code != http.StatusInsufficientStorage || !strings.Contains(w.Body.String(), "room") {
		t.Errorf("no room beside the first clip: %d %s", w.Code, w.Body)
	}
	if w := piece(s, st.ID, 0, first[:40_000]); w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	free = 20_000
	if w := piece(s, st.ID, 40_000, first[40_000:80_000]); w.Code != http.StatusInsufficientStorage {
		t.Errorf("no room for the piece: %d %s", w.Code, w.Body)
	}
	free = 300_000
	if st, err := send(s, offerOf(first), first, 40_000); err != nil || clipsIn(t, dir)["horses/bramble/2026-03-02/"+st.Name] != string(first) {
		t.Errorf("%+v, %v", st, err)
	}
	// Too many that are never finished; those forgotten long ago go.
	small := func(i int) offer {
		o := offerOf(filmOf(8, 100))
		o.Name = fmt.Sprint(i)
		return o
	}
	for i := range unsentLimit {
		if w, _ := begin(s, small(i)); w.Code != 200 {
			t.Fatalf("clip %d: %d %s", i, w.Code, w.Body)
		}
	}
	if w, _ := begin(s, small(-1)); w.Code != http.StatusServiceUnavailable {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	s.store.now = func() time.Time { return time.Now().Add(keptUnsent + time.Hour) }
	if w, _ := begin(s, small(-1)); w.Code != 200 {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	// On a disk that is really full: the memory file system with 300 kB.
	full := t.TempDir()
	if err := exec.Command("mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", full).Run(); err != nil {
		t.Skipf("SKIPPED: a small file system can't be mounted here: %v", err)
	}
	defer func() { _ = exec.Command("umount", full).Run() }()
	f := listenOn(t, full, nil)
	f.store.free = func(string) (int64, error) { return 1 << 40, nil } // It says that there is room.
	data := filmOf(9, 400_000)
	_, st = begin(f, offerOf(data))
	var last *httptest.ResponseRecorder
	var have int64
	for last = piece(f, st.ID, 0, data[:100_000]); last.Code == 200; last = piece(f, st.ID, have, data[have:have+100_000]) {
		have += 100_000
	}
	if last.Code != http.StatusInsufficientStorage || have < 100_000 {
		t.Errorf("after %d bytes: %d %s", have, last.Code, last.Body)
	}
	if w, st := begin(f, offerOf(data)); w.Code != 200 || st.Received != have {
		t.Errorf("after the disk was full: %d %s; want %d bytes", w.Code, w.Body, have)
	}
	if err := exec.Command("mount", "-o", "remount,size=2m", full).Run(); err != nil {
		t.Fatal(err)
	}
	if st, err := send(f, offerOf(data), data, 100_000); err != nil || clipsIn(t, full)["horses/bramble/2026-03-02/"+st.Name] != string(data) {
		t.Errorf("once there is room: %+v, %v", st, err)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
}

// The handlers' token opens the handlers' page and nothing else, and no other
// token, page or name opens that.
func TestTheHandlersTokenIsNarrow(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "horses", "bramble", "2026-03-02"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"visit.toml", "toward-1.mp4", "toward-1.marks.json"} {
		if err := os.WriteFile(filepath.Join(dir, "horses", "bramble", "2026-03-02", name), []byte("reason = \"secret\""), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s := listenOn(t, dir, nil)
	_, port, _ := net.SplitHostPort(s.listener.Addr().String())
	for _, tt := range []struct {
		name, method, path string
		change             func(r *http.Request)
		want               int
	}{
		{"the page", "GET", "/phone", nil, 200},
		{"its script", "GET", "/phone/app/phone.js", nil, 200},
		{"the guide", "GET", "/phone/guide", nil, 200},
		{"the horses", "GET", "/phone/api/horses?date=2026-03-02", nil, 200},
		{"no token", "GET", "/phone", func(r *http.Request) { r.Header.Del("Cookie") }, 401},
		{"no token for a piece", "POST", "/phone/api/sends/00000000000000000000000000000000/pieces?at=0&sum=0", func(r *http.Request) { r.Header.Del("Cookie") }, 401},
		{"another token", "GET", "/phone/api/horses", func(r *http.Request) { r.Header.Set("Cookie", s.door.Cookie+"=x") }, 401},
		{"wrong token in the address", "GET", "/phone?token=x", nil, 401},
		{"a name that resolves here", "GET", "/phone", func(r *http.Request) { r.Host = "attacker.example:" + port }, 421},
		{"a foreign page sends", "POST", "/phone/api/sends", func(r *http.Request) { r.Header.Set("Origin", "http://attacker.example") }, 403},
		{"no origin sends", "POST", "/phone/api/sends", func(r *http.Request) { r.Header.Del("Origin") }, 403},
		{"a foreign page embeds", "GET", "/phone/api/horses", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, 403},
		{"a file of the program", "GET", "/phone/app/..%2fphone.go", nil, 404},
		{"no offer", "POST", "/phone/api/sends", nil, 400},
		{"an offer too long", "POST", "/phone/api/sends", func(r *http.Request) { r.Body = http.NoBody }, 400},
		{"an unknown method", "DELETE", "/phone/api/sends/00000000000000000000000000000000", nil, 405},
		{"somebody else's clip", "GET", "/phone/api/sends/00000000000000000000000000000000", nil, 404},
		// All other paths are the practitioner's page's, which has a door of its own.
		{"the practitioner's page", "GET", "/", nil, http.StatusTeapot},
		{"a record", "GET", "/api/visit?visit=horses/bramble/2026-03-02", nil, http.StatusTeapot},
		{"from here to there", "GET", "/phone/../api/clips", nil, http.StatusTemporaryRedirect},
	} {
		w := ask(s, tt.method, tt.path, []byte(strings.Repeat(" ", 20<<10)), tt.change)
		if w.Code != tt.want {
			t.Errorf("%s: %d %.200s; want %d", tt.name, w.Code, w.Body, tt.want)
		}
		if strings.Contains(w.Body.String(), "secret") || strings.Contains(w.Body.String(), s.door.Token()) {
			t.Errorf("%s: the answer tells too much: %.200s", tt.name, w.Body)
		}
	}
	// Of the yard the page is told horses and days, no clip and no record.
	if got := strings.TrimSpace(ask(s, "GET", "/phone/api/horses?date=2026-03-02", nil, nil).Body.String()); got != `{"horses":[{"horse":"bramble","visits":[""]}],"piece":2097152,"sample":65536}` {
		t.Errorf("told of the yard: %s", got)
	}
	// Taken back, the old code is out at once, in the middle of sending.
	data := filmOf(10, 1000)
	_, st := begin(s, offerOf(data))
	old := &http.Cookie{Name: s.door.Cookie, Value: s.door.Token()}
	if err := s.Renew(); err != nil {
		t.Fatal(err)
	}
	if w := ask(s, "POST", "/phone/api/sends/"+st.ID+"/pieces?at=0&sum=0", data, func(r *http.Request) {
		r.Header.Del("Cookie")
		r.AddCookie(old)
	}); w.Code != 401 {
		t.Errorf("with the code that was taken back: %d", w.Code)
	}
	if stat, err := os.Stat(s.keep); err != nil || stat.Mode().Perm() != 0o600 {
		t.Errorf("the token lies open: %v, %v", stat.Mode(), err)
	}
}

// Who films is told the same everywhere: in the short guide on the phone, on the sheet to
// print and in README.
func TestGuidesAskForTheSame(t *testing.T) {
	t.Parallel()
	short, err := web.ReadFile("web/phone.html")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	aside := regexp.MustCompile(`<[^>]*>|\*\*| \([^)]*\)`) // Markup, and lengths in feet.
	for name, text := range map[string][]byte{"the short guide": short, "the sheet": film.Guide(), "README": readme} {
		plain := strings.Join(strings.Fields(aside.ReplaceAllString(string(text), "")), " ")
		for _, asked := range []string{"2 m above the ground or higher", "2.5 m", "8 m", "about 5 m", "30 m", "120 frames a second"} {
			if !strings.Contains(plain, asked) {
				t.Errorf("%s does not say %q", name, asked)
			}
		}
	}
}

// In a yard that a group shares, what arrives is the group's as well.
func TestASharedYardStaysShared(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o775); err != nil {
		t.Fatal(err)
	}
	s := listenOn(t, dir, nil)
	data := filmOf(13, 1000)
	if _, err := send(s, offerOf(data), data, 1000); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"horses", "horses/bramble", "horses/bramble/2026-03-02", "horses/bramble/2026-03-02/toward-1.mov"} {
		if stat, err := os.Stat(filepath.Join(dir, path)); err != nil || stat.Mode().Perm()&0o060 != 0o060 {
			t.Errorf("%s: %v, %v", path, stat.Mode(), err)
		}
	}
}

// A film check that fails says so; the clip is received all the same.
func TestACheckThatFails(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := listenOn(t, dir, func(o *Options) {
		o.Check = func(context.Context, string) (*film.Report, error) { return nil, errors.New("it fell over") }
	})
	data := filmOf(11, 1000)
	st, err := send(s, offerOf(data), data, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for range 200 {
		if err := json.Unmarshal(ask(s, "GET", "/phone/api/sends/"+st.ID, nil, nil).Body.Bytes(), &st); err != nil {
			t.Fatal(err)
		}
		if st.Check != nil {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if st.Check == nil || st.Check.Verdict != film.NotKnown || st.Check.Problem != "it fell over" {
		t.Errorf("%+v", st.Check)
	}
}

// Pieces that break off in the middle, or stop coming, change nothing and keep
// nobody else from sending.
func TestPiecesThatBreakOff(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := listenOn(t, dir, nil)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, http.NotFoundHandler()) }()
	data := filmOf(12, 50_000)
	_, st := begin(s, offerOf(data))
	address := s.listener.Addr().String()
	var open []net.Conn
	for i := range 12 {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(c, "POST /phone/api/sends/%s/pieces?at=0&sum=%d HTTP/1.1\r\nHost: %s\r\nOrigin: http://%s\r\nCookie: %s=%s\r\nContent-Length: %d\r\n\r\n%s",
			st.ID, crc32.ChecksumIEEE(data), address, address, s.door.Cookie, s.door.Token(), len(data), data[:10_000])
		if i%2 == 0 {
			_ = c.Close()
		} else {
			open = append(open, c) // Says nothing more.
		}
	}
	for range 50 {
		if len(s.busy) >= len(open) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if st, err := send(s, offerOf(data), data, 20_000); err != nil || clipsIn(t, dir)["horses/bramble/2026-03-02/"+st.Name] != string(data) {
		t.Errorf("%+v, %v", st, err)
	}
	for _, c := range open {
		_ = c.Close()
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if got := len(clipsIn(t, dir)); got != 1 {
		t.Errorf("there are %d files", got)
	}
}
