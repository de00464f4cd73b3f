package phone

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"io"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// The certificate stays the same from start to start, so that its fingerprint,
// compared once, is worth something; it is made anew only for another address or
// when its year is over. Its key is the owner's alone.
func TestTheCertificateStays(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "made", "certificate.pem")
	here, there := netip.MustParseAddr("192.0.2.7"), netip.MustParseAddr("192.0.2.8")
	now := time.Now()
	get := func(at time.Time, addresses ...netip.Addr) string {
		t.Helper()
		c, err := certificate(path, addresses, at)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range addresses {
			if err := c.Leaf.VerifyHostname(a.String()); err != nil {
				t.Error(err)
			}
		}
		if at.Before(c.Leaf.NotBefore) || at.After(c.Leaf.NotAfter) {
			t.Errorf("at %s it holds from %s to %s", at, c.Leaf.NotBefore, c.Leaf.NotAfter)
		}
		return fingerprint(c)
	}
	first := get(now, here)
	if again := get(now.Add(300*24*time.Hour), here); again != first {
		t.Error("another certificate without need")
	}
	if stat, err := os.Stat(path); err != nil || stat.Mode().Perm() != 0o600 {
		t.Errorf("the key lies open: %v, %v", stat.Mode(), err)
	}
	other := get(now, there)
	if other == first {
		t.Error("the same certificate for another address")
	}
	if later := get(now.Add(365*24*time.Hour), there); later == other {
		t.Error("the same certificate after its year")
	}
	if err := os.WriteFile(path, []byte("damaged"), 0o600); err != nil {
		t.Fatal(err)
	}
	get(now, here)
	if err := os.Chmod(filepath.Dir(path), 0o500); err == nil && os.Geteuid() != 0 {
		if _, err := certificate(filepath.Join(filepath.Dir(path), "b", "c.pem"), nil, now); err == nil {
			t.Error("kept where nothing can be kept")
		}
	}
}

// Over the network the page is encrypted, and the fingerprint shown is that of
// the certificate that a browser gets. Plain HTTP on the same port is refused.
func TestTheWayIsEncrypted(t *testing.T) {
	t.Parallel()
	s := listenOn(t, t.TempDir(), func(o *Options) { o.Plain = false })
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, http.NotFoundHandler()) }()
	code, err := s.Code()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(code.Address, "https://127.0.0.1:") {
		t.Fatalf("the code says %s", code.Address)
	}
	var got string
	pool := x509.NewCertPool()
	pool.AddCert(s.cert.Leaf)
	client := &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: &tls.Config{RootCAs: pool, VerifyConnection: func(c tls.ConnectionState) error {
			sum := sha256.Sum256(c.PeerCertificates[0].Raw)
			got = strings.ToUpper(hex.EncodeToString(sum[:]))
			return nil
		}}},
	}
	r, err := client.Get(code.Address)
	if err != nil {
		t.Fatal(err)
	}
	_ = r.Body.Close()
	if got != strings.ReplaceAll(code.Fingerprint, ":", "") || len(got) != 64 {
		t.Errorf("shown %s, met %s", code.Fingerprint, got)
	}
	if c := r.Cookies(); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/phone" || len(c) != 1 || !c[0].Secure || !c[0].HttpOnly || c[0].SameSite != http.SameSiteStrictMode {
		t.Errorf("%d to %q, cookies %+v", r.StatusCode, r.Header.Get("Location"), c)
	}
	plain := strings.Replace(code.Address, "https:", "http:", 1)
	if r, err := client.Get(plain); err == nil {
		body, _ := io.ReadAll(r.Body)
		_ = r.Body.Close()
		if r.StatusCode < 400 {
			t.Errorf("without encryption: %d %s", r.StatusCode, body)
		}
	}
	_, err = (&http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{MaxVersion: tls.VersionTLS11}}}).Get(code.Address)
	if err == nil {
		t.Error("an old version of TLS is let in")
	}
	var unknown *tls.CertificateVerificationError
	if _, err := http.Get(code.Address); !errors.As(err, &unknown) {
		t.Errorf("a client that trusts nobody says %v", err)
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// Listening on every address, the code names one that a phone can open.
func TestTheCodeNamesAnAddressThatOpens(t *testing.T) {
	t.Parallel()
	if _, err := localAddress(); err != nil {
		t.Skipf("SKIPPED: this machine is in no network: %v", err)
	}
	for _, address := range []string{"0.0.0.0:0", "[::]:0", ""} {
		s, err := Listen(Options{Folder: t.TempDir(), Address: address, Keep: t.TempDir(), Plain: true})
		if err != nil {
			t.Errorf("%q: %v", address, err)
			continue
		}
		if a := s.host.Addr(); a.IsUnspecified() || a.IsLoopback() {
			t.Errorf("listening on %q, the code names %s", address, s.host)
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan error, 1)
		go func() { ended <- s.Serve(ctx, http.NotFoundHandler()) }()
		r, err := http.Get(s.URL("/phone"))
		if err != nil {
			t.Errorf("listening on %q: %v", address, err)
		} else if _ = r.Body.Close(); r.StatusCode != http.StatusUnauthorized {
			t.Errorf("listening on %q: %s answers %d", address, s.URL("/phone"), r.StatusCode)
		}
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	for _, address := range []string{"example.org:80", "8765", ":8765", "192.0.2.1"} {
		if s, err := Listen(Options{Folder: t.TempDir(), Address: address, Keep: t.TempDir()}); err == nil {
			t.Errorf("%q is listened on", address)
			_ = s.Close()
		}
	}
}
