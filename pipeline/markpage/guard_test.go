package markpage

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report/stepping"
	"jogstrip/track/traj"
)

// listen opens the page of dir without serving it: requests go to the handler.
func listenOn(t testing.TB, dir string) *Server {
	t.Helper()
	s, err := Listen(Options{Folder: dir})
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

// ask sends a request as the page itself would; change makes it an attack.
func ask(s *Server, method, target string, body io.Reader, change func(r *http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+s.Address()+target, body)
	r.Host = s.Address()
	r.AddCookie(&http.Cookie{Name: s.door.Cookie, Value: s.door.Token()})
	if method != http.MethodGet {
		r.Header.Set("Origin", "http://"+s.Address())
	}
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	return w
}

func TestOnlyThePageItselfIsAnswered(t *testing.T) {
	t.Parallel()
	s := listenOn(t, t.TempDir())
	_, port, _ := net.SplitHostPort(s.Address())
	without := func(r *http.Request) { r.Header.Del("Cookie") }
	tests := []struct {
		name, method, path string
		change             func(r *http.Request)
		want               int
	}{
		{"the page itself", "GET", "/api/clips", nil, 200},
		{"localhost by name", "GET", "/api/clips", func(r *http.Request) { r.Host = "localhost:" + port }, 200},
		{"no token", "GET", "/api/clips", without, 401},
		{"no token for the page", "GET", "/", without, 401},
		{"no token for its files", "GET", "/app/main.js", without, 401},
		{"no token for a picture", "GET", "/picture?clip=a.mp4", without, 401},
		{"wrong token in the address", "GET", "/?token=x", without, 401},
		{"wrong cookie", "GET", "/api/clips", func(r *http.Request) { r.Header.Set("Cookie", s.door.Cookie+"=x") }, 401},
		{"cookie of another port's page", "GET", "/api/clips", func(r *http.Request) { r.Header.Set("Cookie", "jogstrip-1="+s.door.Token()) }, 401},
		{"token in the address of something else than the page", "GET", "/api/clips?token=" + s.door.Token(), without, 401},
		{"a name that resolves here (DNS rebinding)", "GET", "/api/clips", func(r *http.Request) { r.Host = "attacker.example:" + port }, 421},
		{"the same, with the token", "GET", "/?token=" + s.door.Token(), func(r *http.Request) { r.Host = "attacker.example:" + port }, 421},
		{"another address of this machine", "GET", "/api/clips", func(r *http.Request) { r.Host = "127.0.0.2:" + port }, 421},
		{"no port", "GET", "/api/clips", func(r *http.Request) { r.Host = "127.0.0.1" }, 421},
		{"another port", "GET", "/api/clips", func(r *http.Request) { r.Host = "127.0.0.1:1" }, 421},
		{"foreign origin reads", "GET", "/api/clips", func(r *http.Request) { r.Header.Set("Origin", "http://attacker.example") }, 403},
		{"foreign origin writes", "PUT", "/api/marks?clip=a.mp4", func(r *http.Request) { r.Header.Set("Origin", "http://attacker.example") }, 403},
		{"opaque origin writes", "PUT", "/api/marks?clip=a.mp4", func(r *http.Request) { r.Header.Set("Origin", "null") }, 403},
		{"another port's page writes", "POST", "/api/measure?clip=a.mp4", func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:1") }, 403},
		{"no origin writes", "POST", "/api/measure?clip=a.mp4", func(r *http.Request) { r.Header.Del("Origin") }, 403},
		{"a foreign page embeds a picture", "GET", "/picture?clip=a.mp4", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, 403},
		{"a page of the same site on another port", "GET", "/api/clips", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") }, 403},
		{"an unknown method", "DELETE", "/api/marks?clip=a.mp4", nil, 405},
		{"an unknown file", "GET", "/app/nothing.js", nil, 404},
		{"a file of the program", "GET", "/app/..%2fserver.go", nil, 404},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			w := ask(s, tt.method, tt.path, strings.NewReader("{}"), tt.change)
			if w.Code != tt.want {
				t.Errorf("%d: %s; want %d", w.Code, w.Body, tt.want)
			}
			if w.Code != 200 && strings.Contains(w.Body.String(), s.door.Token()) {
				t.Error("the answer gives the token away")
			}
			csp := w.Header().Get("Content-Security-Policy")
			if !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
				t.Errorf("content-security policy %q", csp)
			}
		})
	}
}

func TestTheTokenBecomesACookie(t *testing.T) {
	t.Parallel()
	s := listenOn(t, t.TempDir())
	w := ask(s, "GET", "/?token="+s.door.Token(), nil, func(r *http.Request) { r.Header.Del("Cookie") })
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/" {
		t.Fatalf("%d to %q, want a redirect to /", w.Code, w.Header().Get("Location"))
	}
	cookies := w.Result().Cookies()
	if len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteStrictMode || cookies[0].Path != "/" || cookies[0].Domain != "" {
		t.Errorf("cookies %+v", cookies)
	}
	other := listenOn(t, t.TempDir())
	if other.door.Token() == s.door.Token() || len(s.door.Token()) < 40 {
		t.Error("tokens are not random")
	}
}

func TestOtherMachinesOnlyWhenSaid(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, address := range []string{"0.0.0.0:0", "[::]:0", "example.org:80", "8765", ":8765"} {
		s, err := Listen(Options{Folder: dir, Address: address})
		if numeric := strings.Contains(address, "]:") || strings.HasPrefix(address, "0."); numeric && !errors.Is(err, ErrRemote) {
			t.Errorf("%s: %v", address, err)
		}
		if err == nil {
			t.Errorf("%s is listened on without being asked for", address)
			_ = s.Close()
		}
	}
	s := listenOn(t, dir)
	// A request that came in from another machine needs the token as well, and must
	// name the address at which it arrived.
	_, port, _ := net.SplitHostPort(s.Address())
	local := &net.TCPAddr{IP: net.ParseIP("192.0.2.7")}
	_, _ = fmt.Sscan(port, &local.Port)
	for _, tt := range []struct {
		host   string
		cookie bool
		want   int
	}{{"192.0.2.7:" + port, true, 200}, {"192.0.2.7:" + port, false, 401}, {"192.0.2.8:" + port, true, 421}, {"barn.example:" + port, true, 421}} {
		r := httptest.NewRequest("GET", "http://"+tt.host+"/api/clips", nil)
		r = r.WithContext(contextWith(r, local))
		if tt.cookie {
			r.AddCookie(&http.Cookie{Name: s.door.Cookie, Value: s.door.Token()})
		}
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, r)
		if w.Code != tt.want {
			t.Errorf("host %s, cookie %v: %d, want %d", tt.host, tt.cookie, w.Code, tt.want)
		}
	}
}

func TestNoPathLeadsOut(t *testing.T) {
	t.Parallel()
	outside := t.TempDir()
	clip := filepath.Join(outside, "secret.mp4")
	plainClip(t, clip, "64x64", "10", "4")
	dir := t.TempDir()
	for from, to := range map[string]string{"link.mp4": clip, "linked": outside, "inner.mp4": "real.mp4"} {
		if err := os.Symlink(to, filepath.Join(dir, from)); err != nil {
			t.Fatal(err)
		}
	}
	copyFile(t, clip, filepath.Join(dir, "real.mp4"))
	for _, d := range []string{".hidden", "a.out", "folder.mp4"} {
		if err := os.Mkdir(filepath.Join(dir, d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	copyFile(t, clip, filepath.Join(dir, ".hidden", "a.mp4"))
	copyFile(t, clip, filepath.Join(dir, "a.out", "tracked.mp4"))
	s := listenOn(t, dir)
	body := marksBody(64, 64)
	paths := []string{"../secret.mp4", "..%2fsecret.mp4", clip, "link.mp4", "linked/secret.mp4", "./real.mp4", "a/../real.mp4", "real.mp4/", "real.mp4\x00.mp4", ".hidden/a.mp4", "a.out/tracked.mp4", "folder.mp4", "", ".", "..", "real.marks.json", `..\secret.mp4`, "missing.mp4", "//etc/passwd.mp4", strings.Repeat("a/", 5000) + "x.mp4"}
	for _, p := range paths {
		q := url.QueryEscape(p)
		for _, r := range []struct{ method, path string }{
			{"GET", "/api/clip?clip=" + q}, {"GET", "/picture?size=thumb&clip=" + q}, {"GET", "/api/check?clip=" + q}, {"PUT", "/api/marks?clip=" + q},
		} {
			w := ask(s, r.method, r.path, strings.NewReader(body), func(r *http.Request) { r.Header.Set("If-Match", noFile) })
			if w.Code != http.StatusNotFound {
				t.Errorf("%s %q: %d %s", r.method, p, w.Code, w.Body)
			}
			if strings.Contains(w.Body.String(), outside) || strings.Contains(w.Body.String(), dir) {
				t.Errorf("%s %q: the answer tells of the machine's folders: %s", r.method, p, w.Body)
			}
		}
	}
	for _, p := range []string{"..", "../x", "linked", "missing", "/etc", ".hidden", "a.out", "real.mp4"} {
		q := url.QueryEscape(p)
		if w := ask(s, "GET", "/api/visit?visit="+q, nil, nil); w.Code != http.StatusNotFound {
			t.Errorf("visit %q: %d %s", p, w.Code, w.Body)
		}
		if w := ask(s, "PUT", "/api/visit?visit="+q, strings.NewReader("{}"), func(r *http.Request) { r.Header.Set("If-Match", noFile) }); w.Code != http.StatusNotFound {
			t.Errorf("write visit %q: %d %s", p, w.Code, w.Body)
		}
	}
	// Links that stay inside are followed; those that lead out are not listed.
	var list struct{ Clips []listedClip }
	if err := json.Unmarshal(ask(s, "GET", "/api/clips", nil, nil).Body.Bytes(), &list); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, c := range list.Clips {
		names = append(names, c.Path)
	}
	if got := strings.Join(names, " "); got != "inner.mp4 real.mp4" {
		t.Errorf("listed: %s", got)
	}
	// A marks file that is a link is neither followed nor replaced.
	victim := filepath.Join(outside, "victim.json")
	if err := os.WriteFile(victim, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(victim, filepath.Join(dir, "real.marks.json")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(victim, filepath.Join(dir, record.VisitFile)); err != nil {
		t.Fatal(err)
	}
	for _, r := range []string{"/api/marks?clip=real.mp4", "/api/visit?visit=."} {
		if w := ask(s, "PUT", r, strings.NewReader(body), func(r *http.Request) { r.Header.Set("If-Match", noFile) }); w.Code < 400 {
			t.Errorf("%s through a link that leads out: %d %s", r, w.Code, w.Body)
		}
	}
	if data, err := os.ReadFile(victim); err != nil || string(data) != "mine" {
		t.Errorf("a file outside was written: %q, %v", data, err)
	}
	entries, err := os.ReadDir(outside)
	if err != nil || len(entries) != 2 {
		t.Errorf("outside there are now %d files, %v", len(entries), err)
	}
}

// Reports are shown without anything that could act on the page's behalf, and
// nothing else of a results folder is.
func TestReportsAreShownInASandbox(t *testing.T) {
	t.Parallel()
	outside := t.TempDir()
	dir := t.TempDir()
	for _, name := range []string{"h/2026-03-02/a.out/report.html", "a.out/report.html", "a.out/tracked.mp4", "a.out/result.json", "report.html", ".x/a.out/report.html", "b.out/deep/report.html", "c.out/report.html/x"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte("<script>fetch('/api/clips')</script>"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(outside, "report.html"), []byte("secret"), 0o644); err != nil {
		t.Fatal(err)
	}
	for link, target := range map[string]string{"d.out": outside, "a.out/link.html": filepath.Join(outside, "report.html")} {
		if err := os.Symlink(target, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(filepath.Join(dir, "e.out"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(outside, "report.html"), filepath.Join(dir, "e.out", "report.html")); err != nil {
		t.Fatal(err)
	}
	s := listenOn(t, dir)
	for path, want := range map[string]int{
		"a.out/report.html": 200, "h/2026-03-02/a.out/report.html": 200, "a.out/tracked.mp4": 200,
		"a.out/result.json": 404, "report.html": 404, ".x/a.out/report.html": 404, "b.out/deep/report.html": 404, "c.out/report.html": 404,
		"d.out/report.html": 404, "e.out/report.html": 404, "f.out/report.html": 404, "a.out/link.html": 404,
		"h%2f..%2fa.out/report.html": 404, "%2e%2e/a.out/report.html": 404, "..%2f" + url.PathEscape(filepath.Base(outside)) + "%2freport.html": 404,
		".out/report.html": 404,
	} {
		w := ask(s, "GET", "/results/"+path, nil, nil)
		if w.Code != want && (want != 404 || w.Code < 300) {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
		if strings.Contains(w.Body.String(), "secret") {
			t.Errorf("%s shows a file outside", path)
		}
		if w.Code != 200 {
			continue
		}
		csp := w.Header().Get("Content-Security-Policy")
		if strings.HasSuffix(path, ".html") != strings.HasPrefix(csp, "sandbox ") || !strings.Contains(csp, "default-src 'none'") ||
			scriptsBut(csp, stepping.Source()) || strings.Contains(csp, "allow-popups") || strings.Contains(csp, "allow-forms") {
			t.Errorf("%s: content-security policy %q", path, csp)
		}
	}
	for _, csp := range []string{"script-src 'self'", "script-src 'unsafe-inline'", "script-src " + stepping.Source() + " 'self'", "default-src 'none'; script-src-elem *"} {
		if !scriptsBut(csp, stepping.Source()) {
			t.Errorf("the check lets %q through", csp)
		}
	}
	if w := ask(s, "GET", "/results/a.out/report.html", nil, func(r *http.Request) { r.Header.Del("Cookie") }); w.Code != 401 {
		t.Errorf("without the token: %d", w.Code)
	}
}

func marksBody(width, height int) string {
	return fmt.Sprintf(`{"schema":"jogstrip-marks/1","view":"toward","gait":"trot","picture":{"width":%d,"height":%d},"marks":[{"frame":1,"landmark":"left-fore","x":10.25,"y":20}]}`, width, height)
}

func TestMarksAreSavedInVersions(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	clip := filepath.Join(dir, "toward 1 \"é\" <b>.mp4")
	plainClip(t, clip, "64x64", "10", "4")
	s := listenOn(t, dir)
	target := "/api/marks?clip=" + url.QueryEscape(filepath.Base(clip))
	put := func(version, body string) *httptest.ResponseRecorder {
		return ask(s, "PUT", target, strings.NewReader(body), func(r *http.Request) {
			if version != "" {
				r.Header.Set("If-Match", version)
			}
		})
	}
	body := marksBody(64, 64)
	for _, tt := range []struct {
		name, version, body string
		want                int
		say                 string
	}{
		{"no version", "", body, 428, "If-Match"},
		{"a version that never was", `"0123"`, body, 412, "another window"},
		{"not JSON", noFile, "{", 422, "JSON"},
		{"another kind of file", noFile, `{"schema":"x"}`, 422, "schema"},
		{"marks of another clip", noFile, marksBody(640, 480), 422, "another clip"},
		{"a frame the clip does not have", noFile, strings.Replace(body, `"frame":1`, `"frame":9`, 1), 422, "frames 0 to 3"},
		{"a place outside the picture", noFile, strings.Replace(body, "10.25", "1000", 1), 422, "outside the picture"},
		{"too large", noFile, strings.Repeat(" ", bodyLimit+1), 413, "larger"},
	} {
		w := put(tt.version, tt.body)
		if w.Code != tt.want || !strings.Contains(w.Body.String(), tt.say) {
			t.Errorf("%s: %d %s; want %d, %q", tt.name, w.Code, w.Body, tt.want, tt.say)
		}
		if strings.Contains(w.Body.String(), dir) {
			t.Errorf("%s: the answer tells of the machine's folders: %s", tt.name, w.Body)
		}
	}
	if _, err := os.Stat(record.MarksPath(clip)); !errors.Is(err, fs.ErrNotExist) {
		t.Fatalf("refused marks left a file: %v", err)
	}
	w := put(noFile, body)
	var first struct{ Version string }
	if err := json.Unmarshal(w.Body.Bytes(), &first); err != nil || w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	m, err := record.ReadMarks(record.MarksPath(clip))
	if err != nil || len(m.Marks) != 1 || *m.Marks[0].X != 10.25 || m.Clip != filepath.Base(clip) {
		t.Fatalf("read back %+v, %v", m, err)
	}

	// Of windows that all change the same version one wins; the others are told.
	var wg sync.WaitGroup
	codes := make([]int, 8)
	for i := range codes {
		wg.Go(func() {
			codes[i] = put(first.Version, strings.Replace(body, `"y":20`, fmt.Sprintf(`"y":%d`, 30+i), 1)).Code
		})
	}
	wg.Wait()
	won := 0
	for _, c := range codes {
		switch c {
		case 200:
			won++
		case 412:
		default:
			t.Errorf("unexpected answer %d", c)
		}
	}
	if won != 1 {
		t.Errorf("%d windows of 8 believe that they won", won)
	}

	// A broken file is reported and left as it is.
	if err := os.WriteFile(record.MarksPath(clip), []byte(`{"schema":"jogstrip-marks/7"}`), 0o644); err != nil {
		t.Fatal(err)
	}
	broken := versionOf([]byte(`{"schema":"jogstrip-marks/7"}`))
	if w := put(broken, body); w.Code != 422 || !strings.Contains(w.Body.String(), "left as it is") {
		t.Errorf("over a file of another version: %d %s", w.Code, w.Body)
	}
	if data, _ := os.ReadFile(record.MarksPath(clip)); !bytes.Equal(data, []byte(`{"schema":"jogstrip-marks/7"}`)) {
		t.Errorf("the broken file became %s", data)
	}
}

func TestTheClipListSaysWhatIsNeeded(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	source := filepath.Join(t.TempDir(), "a.mp4")
	plainClip(t, source, "64x64", "10", "4")
	hooves := []record.Mark{record.At(1, traj.LeftFore, 30, 30), record.At(1, traj.RightFore, 20, 30)}
	for name, m := range map[string]*record.Marks{
		"new.mp4":    nil,
		"one.mp4":    {Marks: hooves[:1]},
		"marked.mp4": {Marks: hooves},
		"broken.mp4": nil,
	} {
		copyFile(t, source, filepath.Join(dir, name))
		if m == nil {
			continue
		}
		m.View, m.Gait, m.Picture = traj.Toward, traj.Trot, record.Picture{Width: 64, Height: 64}
		if err := record.WriteMarks(filepath.Join(dir, record.MarksPath(name)), m); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "broken.marks.json"), []byte("{"), 0o644); err != nil {
		t.Fatal(err)
	}
	s, err := Listen(Options{Folder: dir, Measurer: &pretendMeasurer{frames: 4}})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	var list struct{ Clips []listedClip }
	if err := json.Unmarshal(ask(s, "GET", "/api/clips", nil, nil).Body.Bytes(), &list); err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, c := range list.Clips {
		got[c.Name] = strings.Join(c.Needs, ", ")
	}
	want := map[string]string{"new.mp4": "marks, calibration", "one.mp4": "marks, calibration", "marked.mp4": "calibration, measuring", "broken.mp4": "repair"}
	for name, w := range want {
		if got[name] != w {
			t.Errorf("%s needs %q, want %q", name, got[name], w)
		}
	}
}

func contextWith(r *http.Request, local net.Addr) context.Context {
	return context.WithValue(r.Context(), http.LocalAddrContextKey, local)
}

func TestAPublishedPortIsAnsweredAsThisComputerAlone(t *testing.T) {
	t.Parallel()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := free.Addr().(*net.TCPAddr).Port
	if err := free.Close(); err != nil {
		t.Fatal(err)
	}
	s, err := Listen(Options{Folder: t.TempDir(), Published: port})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	if want := fmt.Sprintf("http://127.0.0.1:%d/?token=", port); !strings.HasPrefix(s.URL(), want) {
		t.Errorf("the page says to open %s, want %s…", s.URL(), want)
	}
	for host, want := range map[string]int{
		fmt.Sprintf("127.0.0.1:%d", port): http.StatusOK, fmt.Sprintf("localhost:%d", port): http.StatusOK, fmt.Sprintf("[::1]:%d", port): http.StatusOK,
		fmt.Sprintf("127.0.0.1:%d", port-1): http.StatusMisdirectedRequest, fmt.Sprintf("192.168.1.20:%d", port): http.StatusMisdirectedRequest,
		fmt.Sprintf("172.17.0.2:%d", port): http.StatusMisdirectedRequest, fmt.Sprintf("yard.example:%d", port): http.StatusMisdirectedRequest, "127.0.0.1": http.StatusMisdirectedRequest,
	} {
		w := ask(s, http.MethodGet, "/", nil, func(r *http.Request) {
			r.Host = host
			// As a request arrives in a container.
			r.Header.Set("Origin", "http://"+host)
			*r = *r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, net.Addr(&net.TCPAddr{IP: net.IPv4(172, 17, 0, 2), Port: port})))
		})
		if w.Code != want {
			t.Errorf("asked as %s: status %d, want %d", host, w.Code, want)
		}
	}
}

// scriptsBut reports whether a policy lets any script run but the one that is named.
func scriptsBut(csp, source string) bool {
	for _, d := range strings.Split(csp, ";") {
		words := strings.Fields(d)
		if len(words) == 0 || !strings.HasPrefix(words[0], "script-src") {
			continue
		}
		for _, w := range words[1:] {
			if w != source && w != "'none'" {
				return true
			}
		}
	}
	return strings.Contains(csp, "unsafe-eval") || strings.Contains(csp, "default-src 'self'")
}
