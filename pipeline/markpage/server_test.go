package markpage

import (
	"bufio"
	"context"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// A server that is told to end does so with a stream of progress open, a
// picture half decoded and a clip half measured, and leaves nothing behind.
func TestServeEndsWithEverythingItStarted(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	dir := t.TempDir()
	plainClip(t, filepath.Join(dir, "a.mp4"), "640x360", "30", "300")
	s, err := Listen(Options{Folder: dir, Measurer: &pretendMeasurer{frames: 300}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()

	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	send := func(method, path string) *http.Response {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), method, "http://"+s.Address()+path, strings.NewReader(""))
		if err != nil {
			t.Fatal(err)
		}
		r.AddCookie(&http.Cookie{Name: s.door.Cookie, Value: s.door.Token()})
		r.Header.Set("Origin", "http://"+s.Address())
		response, err := client.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		if response.StatusCode != http.StatusOK {
			t.Fatalf("%s %s: %d", method, path, response.StatusCode)
		}
		return response
	}
	_ = send("POST", "/api/measure?clip=a.mp4").Body.Close()
	stream := send("GET", "/api/progress")
	lines := bufio.NewScanner(stream.Body)
	running := false
	for !running && lines.Scan() {
		running = strings.Contains(lines.Text(), `"phase":"running"`)
	}
	if !running {
		t.Fatal("the stream ended before the clip was being measured")
	}
	_ = send("GET", "/picture?clip=a.mp4&size=step&frame=3").Body.Close()
	cancel()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(30 * time.Second):
		t.Fatal("the server does not end")
	}
	_ = stream.Body.Close()
	if err := s.Close(); err != nil {
		t.Errorf("closed twice: %v", err)
	}
}

// The same folder gets the same port, so that the browser finds what it kept.
func TestTheAddressStays(t *testing.T) {
	dir := t.TempDir()
	first, err := Listen(Options{Folder: dir})
	if err != nil {
		t.Fatal(err)
	}
	second, err := Listen(Options{Folder: dir}) // The port is taken: another one.
	if err != nil {
		t.Fatal(err)
	}
	if first.Address() == second.Address() {
		t.Error("two servers on one port")
	}
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Listen(Options{Folder: dir})
	if err != nil {
		t.Fatal(err)
	}
	if again.Address() != first.Address() {
		t.Errorf("the address changed from %s to %s", first.Address(), again.Address())
	}
	for _, s := range []*Server{second, again} {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

func FuzzPlain(f *testing.F) {
	for _, p := range []string{"a.mp4", "horses/b/2026-01-01/a.mp4", "../a", "a/../b", "/a", ".x/a", "a.out/b", "a//b", "a\x00b", "C:\\a", "."} {
		f.Add(p)
	}
	f.Fuzz(func(t *testing.T, p string) {
		if !plain(p) {
			return
		}
		joined := filepath.Join("/yard", filepath.FromSlash(p))
		if joined != "/yard" && !strings.HasPrefix(joined, "/yard/") {
			t.Errorf("%q leads to %s", p, joined)
		}
		if p != "." && (strings.HasPrefix(p, "/") || strings.Contains("/"+p, "/.") || strings.Contains(p+"/", ".out/")) {
			t.Errorf("%q is taken for plain", p)
		}
	})
}
