package markpage

import (
	"net"
	"net/http"

	"jogstrip/pipeline/door"
)

// The largest body of a request, bytes. Marks files are bounded likewise.
const bodyLimit = 8 << 20

const tokenBytes = 32

// openDoor returns the way into the page that listener serves, at the port that a
// container publishes where that is not 0.
func openDoor(listener net.Listener, published int) (*door.Door, error) {
	_, port, _ := net.SplitHostPort(listener.Addr().String())
	d := &door.Door{
		Cookie: "jogstrip-" + port, Entry: "/", Address: listener.Addr(), Published: published,
		Closed: "This page opens with the whole address that the program printed when it was started.\n" +
			"Copy it from there, with everything after the question mark, or start the program again.\n",
	}
	token, err := door.NewToken(tokenBytes)
	if err != nil {
		return nil, err
	}
	d.SetToken(token)
	return d, nil
}

// bounded hands requests on with bodies of at most bodyLimit.
func bounded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, bodyLimit)
		next.ServeHTTP(w, r)
	})
}
