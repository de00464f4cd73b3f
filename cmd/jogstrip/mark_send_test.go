package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"jogstrip/pipeline/film"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
)

// remote is the program itself, letting phones in, as a process of its own.
type remote struct {
	cmd        *exec.Cmd
	phone, own string // The addresses for phones and for the practitioner's tablet.
	print      string // The fingerprint shown.
}

// startRemote starts the program; config is the folder for what it keeps.
func startRemote(t *testing.T, dir, config, address string) (*remote, error) {
	t.Helper()
	cmd := jogstrip(t, "mark", "--no-open", "--remote", "--address", address, dir)
	cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+config)
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	r := &remote{cmd: cmd}
	var text strings.Builder
	for lines := bufio.NewScanner(out); lines.Scan(); {
		fmt.Fprintln(&text, lines.Text())
		if strings.HasPrefix(lines.Text(), "Stop with ctrl-C") {
			break
		}
	}
	r.phone = regexp.MustCompile(`https://\S+/phone\?\S+`).FindString(text.String())
	r.own = regexp.MustCompile(`https://\S+/\?token=\S+`).FindString(text.String())
	r.print = strings.Join(regexp.MustCompile(`(?m)^  ([0-9A-F]{2}:[0-9A-F:]+)$`).FindAllString(text.String(), -1), "")
	if r.phone == "" || r.own == "" || r.print == "" {
		r.kill()
		return nil, fmt.Errorf("the program printed no addresses:\n%s", text.String())
	}
	return r, nil
}

func (r *remote) kill() {
	_ = r.cmd.Process.Kill()
	_ = r.cmd.Wait()
}

// visitor is a browser as far as the program is concerned.
func visitor(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	// A person compared the fingerprint and went on.
	return &http.Client{Jar: jar, Timeout: time.Minute, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
}

// call sends a request as the page would and reads the answer.
func call(c *http.Client, method, url string, body []byte, headers map[string]string, into any) (status int, err error) {
	r, err := http.NewRequest(method, url, bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	r.Header.Set("Origin", "https://"+r.URL.Host)
	for k, v := range headers {
		r.Header.Set(k, v)
	}
	response, err := c.Do(r)
	if err != nil {
		return 0, err
	}
	defer func() { _ = response.Body.Close() }()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		return 0, err
	}
	if into != nil && response.StatusCode < 500 {
		if err := json.Unmarshal(data, into); err != nil {
			return response.StatusCode, fmt.Errorf("%d %.200s: %w", response.StatusCode, data, err)
		}
	}
	return response.StatusCode, nil
}

// sentState is what the program answers about a clip that is sent.
type sentState struct {
	ID       string
	Stage    string
	Received int64
	Name     string
	Error    string
	Check    *struct{ Verdict film.Verdict }
}

// sendClip sends a clip as the phone's page does, through any number of kills,
// until the program calls it received.
func sendClip(ctx context.Context, c *http.Client, base, horse string, data []byte, piece int64) (sentState, error) {
	const sample = 64 << 10
	size := int64(len(data))
	offer, _ := json.Marshal(map[string]any{
		"horse": horse, "date": "2026-03-02", "visit": "", "view": "toward", "name": "IMG_1.MOV", "size": size,
		"head": crc32.ChecksumIEEE(data[:min(size, sample)]), "tail": crc32.ChecksumIEEE(data[max(0, size-sample):]),
	})
	for {
		var st sentState
		status, err := call(c, "POST", base+"/phone/api/sends", offer, nil, &st)
		for at := st.Received; err == nil && status == 200 && at < size; {
			chunk := data[at:min(at+piece, size)]
			var got sentState
			status, err = call(c, "POST", fmt.Sprintf("%s/phone/api/sends/%s/pieces?at=%d&sum=%d", base, st.ID, at, crc32.ChecksumIEEE(chunk)), chunk, nil, &got)
			if err == nil && status == 409 {
				status = 200
			}
			if err == nil && status == 200 && got.Received < at {
				return st, fmt.Errorf("of %d bytes that were called received %d are there", at, got.Received)
			}
			at = got.Received
		}
		if err == nil && status == 200 {
			var ended sentState
			status, err = call(c, "POST", base+"/phone/api/sends/"+st.ID+"/end", nil, nil, &ended)
			if err == nil && status == 200 {
				return ended, nil
			}
			st = ended
		}
		if err == nil && status != 503 && status != 507 && status != 409 && status != 500 {
			return st, fmt.Errorf("%d %s", status, st.Error)
		}
		select {
		case <-ctx.Done():
			return st, errors.Join(ctx.Err(), err)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// noisyClip makes a film of a few hundred kB.
func noisyClip(t *testing.T, path string, seed int) []byte {
	t.Helper()
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "color=gray:size=128x72:rate=30,noise=alls=60:all_seed="+fmt.Sprint(seed)+":allf=t",
		"-frames:v", "24", "-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-pix_fmt", "yuv420p")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// freePort returns an address on which nobody listens.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().String()
}

// While phones send clips and a person writes the visit's record the program is
// killed at random moments, so many times. Every clip that it called received is
// there whole and once, whatever it called saved is there, and nothing half is.
func sendThroughKills(t *testing.T, kills int) {
	dir, config, address := t.TempDir(), t.TempDir(), freePort(t)
	program, err := startRemote(t, dir, config, address)
	if err != nil {
		t.Fatal(err)
	}
	first := program
	phone := visitor(t)
	if status, err := call(phone, "GET", program.phone, nil, nil, nil); err != nil || status != 200 {
		t.Fatalf("%d, %v", status, err)
	}
	ctx, done := context.WithTimeout(t.Context(), time.Duration(kills)*5*time.Second+time.Minute)
	defer done()

	// The killer, who also starts the program again.
	var mu sync.Mutex // Holds program.
	killed := make(chan int)
	over := make(chan struct{})
	random := rand.New(rand.NewPCG(16, uint64(kills)))
	go func() {
		n := 0
		defer func() { killed <- n }()
		for n < kills {
			select {
			case <-time.After(time.Duration(20+random.IntN(1000)) * time.Millisecond):
			case <-over:
				return
			}
			mu.Lock()
			program.kill()
			n++
			next, err := startRemote(t, dir, config, address)
			if err != nil {
				mu.Unlock()
				t.Errorf("start after kill %d: %v", n, err)
				return
			}
			program = next
			mu.Unlock()
		}
	}()

	// The practitioner, who types and is let in anew after every start.
	visit := filepath.Join(dir, "horses", "bramble", "2026-03-02")
	if err := os.MkdirAll(visit, 0o755); err != nil {
		t.Fatal(err)
	}
	typed := make(chan error, 1)
	stopTyping := make(chan struct{})
	go func() {
		called := ""
		for n := 0; ; n++ {
			select {
			case <-stopTyping:
				typed <- nil
				return
			default:
			}
			mu.Lock()
			own := program.own
			mu.Unlock()
			c := visitor(t)
			base := "https://" + address
			if status, err := call(c, "GET", own, nil, nil, nil); err != nil || status != 200 {
				continue
			}
			for {
				var page struct {
					Version string
					Visit   struct{ Notes string }
				}
				status, err := call(c, "GET", base+"/api/visit?visit=horses/bramble/2026-03-02", nil, nil, &page)
				if err != nil || status != 200 {
					break
				}
				// What was sent without an answer may be there or not; what was called saved
				// is.
				if len(page.Visit.Notes) < len(called) {
					typed <- fmt.Errorf("%d letters were called saved, %d are there", len(called), len(page.Visit.Notes))
					return
				}
				text := page.Visit.Notes + "x"
				body, _ := json.Marshal(map[string]string{"notes": text})
				status, err = call(c, "PUT", base+"/api/visit?visit=horses/bramble/2026-03-02", body, map[string]string{"If-Match": page.Version}, nil)
				if err != nil || status != 200 {
					break
				}
				called = text
				select {
				case <-stopTyping:
					typed <- nil
					return
				default:
				}
			}
		}
	}()

	// The phones: clip after clip until the kills are over.
	var sent [][]byte
	made := t.TempDir()
	var clips [][]byte
	for i := range 3 {
		clips = append(clips, noisyClip(t, filepath.Join(made, fmt.Sprintf("%d.mp4", i)), i+1))
	}
	n := 0
	for i := 0; ; i++ {
		// Another film each time: a box of free space behind the last one (ISO/IEC 14496-12).
		data := append(bytes.Clone(clips[i%len(clips)]), 0, 0, 0, 12, 'f', 'r', 'e', 'e', byte(i>>24), byte(i>>16), byte(i>>8), byte(i))
		st, err := sendClip(ctx, phone, "https://"+address, "bramble", data, 40_000)
		if err != nil {
			t.Fatalf("clip %d: %v", i, err)
		}
		if st.Stage != "received" || st.Name == "" {
			t.Fatalf("clip %d: %+v", i, st)
		}
		sent = append(sent, data)
		select {
		case n = <-killed:
		default:
			continue
		}
		break
	}
	close(over)
	close(stopTyping)
	if err := <-typed; err != nil {
		t.Error(err)
	}
	mu.Lock()
	defer mu.Unlock()
	program.kill()
	if n < kills {
		t.Errorf("the program was killed %d times, not %d", n, kills)
	}
	if program.phone != first.phone || program.print != first.print {
		t.Errorf("after a start the phones have another code or certificate")
	}
	there := map[string]int{}
	entries, err := os.ReadDir(visit)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() == record.VisitFile || strings.HasPrefix(e.Name(), ".") {
			continue // A killed write may leave its hidden draft; the file itself is whole.
		}
		data, err := os.ReadFile(filepath.Join(visit, e.Name()))
		if err != nil {
			t.Fatal(err)
		}
		there[string(data)]++
	}
	for i, data := range sent {
		if there[string(data)] != 1 {
			t.Errorf("clip %d lies there %d times", i, there[string(data)])
		}
		delete(there, string(data))
	}
	if len(there) != 0 {
		t.Errorf("%d files are no clip that was sent", len(there))
	}
	if parts, _ := fs.Glob(os.DirFS(dir), ".receiving/*.part"); len(parts) != 0 {
		t.Errorf("left half sent: %v", parts)
	}
	if _, _, err := record.ReadVisit(filepath.Join(visit, record.VisitFile)); err != nil {
		t.Error(err)
	}
	t.Logf("%d kills, %d clips of about %d kB, all there once", n, len(sent), len(sent[0])/1000)
}

func TestSendingThroughKills(t *testing.T) { sendThroughKills(t, 4) }
