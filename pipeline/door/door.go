// Package door decides which requests a page's server answers: those that name
// the address at which they arrived, come from the page itself, and carry the
// page's token. It keeps out other machines' pages, names that someone's DNS
// points here, and whoever was not given the address.
package door

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"sync/atomic"
)

// Policy is a content security policy that lets a page load its own files and
// nothing else. Pictures also come from memory (blob:).
const Policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// NewToken returns a random token of so many bytes in base64url.
func NewToken(bytes int) (string, error) {
	b := make([]byte, bytes)
	if _, err := rand.Read(b); err != nil {
		return "", fmt.Errorf("make token: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(b), nil
}

// Door is the way into one page. Its methods are safe for use by several
// goroutines.
type Door struct {
	// Cookie names what carries the token. Browsers share cookies between the ports
	// of a host, so the name must be the server's own.
	Cookie string
	// Entry is the path that is opened with ?token=; the cookie is set there.
	Entry string
	// Closed tells a person who opens Entry without the token what to do.
	Closed string
	// Address is where the server listens, for requests that do not say where they
	// arrived.
	Address net.Addr
	// Published is the port at which this computer's browsers reach the page where a
	// container hands them on; 0 where they come by themselves.
	Published int
	token     atomic.Pointer[string]
}

// SetToken lets in who has this token and nobody else, from the next request on.
func (d *Door) SetToken(token string) { d.token.Store(&token) }

// Token returns the token that lets in.
func (d *Door) Token() string { return *d.token.Load() }

// Guard hands on to next what may come in and refuses everything else.
func (d *Door) Guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", Policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")

		if !d.ownHost(r) {
			fail(w, http.StatusMisdirectedRequest, fmt.Errorf("this page is not served under the name %q", r.Host))
			return
		}
		if !d.sameOrigin(r) {
			fail(w, http.StatusForbidden, errors.New("requests from other pages are refused"))
			return
		}
		if given := r.URL.Query().Get("token"); r.URL.Path == d.Entry && given != "" {
			if !d.is(given) {
				d.refuse(w, r)
				return
			}
			d.Admit(w, r)
			// The token leaves the address bar and the history.
			http.Redirect(w, r, d.Entry, http.StatusSeeOther)
			return
		}
		cookie, err := r.Cookie(d.Cookie)
		if err != nil || !d.is(cookie.Value) {
			d.refuse(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// Admit gives the browser that asks the token as it is now.
func (d *Door) Admit(w http.ResponseWriter, r *http.Request) {
	http.SetCookie(w, &http.Cookie{Name: d.Cookie, Value: d.Token(), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil})
}

func (d *Door) is(given string) bool {
	return subtle.ConstantTimeCompare([]byte(given), []byte(d.Token())) == 1
}

func (d *Door) refuse(w http.ResponseWriter, r *http.Request) {
	if r.URL.Path == d.Entry {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.WriteHeader(http.StatusUnauthorized)
		_, _ = w.Write([]byte(d.Closed))
		return
	}
	fail(w, http.StatusUnauthorized, errors.New("the program was started anew: open the address it printed"))
}

func fail(w http.ResponseWriter, status int, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	data, _ := json.Marshal(map[string]string{"error": err.Error()})
	_, _ = w.Write(data)
}

// ownHost reports whether the request names the address at which it arrived,
// by number. A name that someone's DNS points here does not pass.
func (d *Door) ownHost(r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
	if !ok {
		local = d.Address
	}
	address, err := netip.ParseAddrPort(local.String())
	if err != nil {
		return false
	}
	host, port, err := net.SplitHostPort(r.Host)
	if d.Published != 0 {
		named, notNumber := netip.ParseAddr(host)
		return err == nil && port == strconv.Itoa(d.Published) && (host == "localhost" || notNumber == nil && named.IsLoopback())
	}
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
func (d *Door) sameOrigin(r *http.Request) bool {
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	if origin := r.Header.Get("Origin"); origin != "" {
		u, err := url.Parse(origin)
		if err != nil || u.Scheme != scheme || u.Host != r.Host {
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
	return r.URL.Path == d.Entry && r.Header.Get("Sec-Fetch-Mode") == "navigate"
}
