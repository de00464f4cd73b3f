package markpage

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
)

// The largest body of a request, bytes. Marks files are bounded likewise.
const bodyLimit = 8 << 20

// policy lets the page load its own files and nothing else. Pictures also come
// from memory (blob:).
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

func newToken() (string, error) {
	var b [32]byte
	if _, err := rand.Read(b[:]); err != nil {
		return "", fmt.Errorf("make token: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(b[:]), nil
}

// cookieName is the server's own: browsers share cookies between the ports of
// a host.
func (s *Server) cookieName() string {
	_, port, _ := net.SplitHostPort(s.Address())
	return "jogstrip-" + port
}

// guard refuses whatever does not come from the page itself.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")

		if !s.ownHost(r) {
			fail(w, http.StatusMisdirectedRequest, fmt.Errorf("this page is not served under the name %q", r.Host))
			return
		}
		if !sameOrigin(r) {
			fail(w, http.StatusForbidden, fmt.Errorf("requests from other pages are refused"))
			return
		}
		if given := r.URL.Query().Get("token"); r.URL.Path == "/" && given != "" {
			if !s.isToken(given) {
				s.refuseToken(w, r)
				return
			}
			http.SetCookie(w, &http.Cookie{Name: s.cookieName(), Value: s.token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
			// The token leaves the address bar and the history.
			http.Redirect(w, r, "/", http.StatusSeeOther)
			return
		}
		cookie, err := r.Cookie(s.cookieName())
		if err != nil || !s.isToken(cookie.Value) {
			s.refuseToken(w, r)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, bodyLimit)
		next.ServeHTTP(w, r)
	})
}

func (s *Server) isToken(given string) bool {
	return subtle.ConstantTimeCompare([]byte(given), []byte(s.token)) == 1
}

func (s *Server) refuseToken(w http.ResponseWriter, r *http.Request) {
	if r.URL.Path == "/" {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(http.StatusUnauthorized)
		_, _ = w.Write([]byte("This page opens with the whole address that the program printed when it was started.\n" +
			"Copy it from there, with everything after the question mark, or start the program again.\n"))
		return
	}
	fail(w, http.StatusUnauthorized, fmt.Errorf("the program was started anew: open the address it printed"))
}

// ownHost reports whether the request names the address at which it arrived,
// by number. A name that someone's DNS points here does not pass.
func (s *Server) ownHost(r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		local = s.listener.Addr()
	}
	address, err := netip.ParseAddrPort(local.String())
	if err != nil {
		return false
	}
	host, port, err := net.SplitHostPort(r.Host)
	if err != nil || port != fmt.Sprint(address.Port()) {
		return false
	}
	ip := address.Addr().Unmap()
	if host == "localhost" {
		return ip.IsLoopback()
	}
	named, err := netip.ParseAddr(host)
	return err == nil && named.Unmap() == ip
}

// sameOrigin reports whether the request was sent by the page itself or by a
// person who opened its address.
func sameOrigin(r *http.Request) bool {
	if origin := r.Header.Get("Origin"); origin != "" {
		u, err := url.Parse(origin)
		if err != nil || u.Scheme != "http" || u.Host != r.Host {
			return false
		}
	} else if r.Method != http.MethodGet && r.Method != http.MethodHead {
		return false // Browsers name the origin of everything that changes something.
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	// A link followed from elsewhere may open the front page, where the cookie,
	// which other sites' links do not carry, decides.
	return r.URL.Path == "/" && r.Header.Get("Sec-Fetch-Mode") == "navigate"
}
