package phone

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"time"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/door"
	"jogstrip/pipeline/fsx"
)

// Options says what is served and where.
type Options struct {
	// Folder is the yard folder that clips are sent to. It must exist.
	Folder string
	// Address is where to listen, host:port with a numeric host; empty means this
	// computer's address in the local network and a port derived from the folder.
	Address string
	// Keep is the folder for the certificate and the handlers' token. It holds
	// secrets; it is made where it is missing, for its owner alone.
	Keep string
	// Plain leaves the encryption out: others in the network can read along.
	Plain bool
	// Check is the film check of a clip that arrived; it must outlive a bad clip. Probe
	// tells whether a file is a film; nil means clip.Probe, which does not outlive one.
	Check Check
	Probe func(ctx context.Context, path string) (*clip.Info, error)
	// Logger is told what goes wrong; nil keeps quiet.
	Logger *slog.Logger
	// MostBytes bounds a clip; 0 means 8 GB. Reserve is what stays free of the disk,
	// bytes; 0 means 1 GB.
	MostBytes, Reserve int64
}

// Server is the handlers' page of one folder. Its methods are safe for use by
// several goroutines.
type Server struct {
	store    *store
	checks   *checker
	door     *door.Door
	keep     string // The file with the handlers' token.
	listener net.Listener
	// host is the address that phones use, which is not that listened on where that
	// is all of them.
	host   netip.AddrPort
	cert   *tls.Certificate
	busy   chan struct{} // Holds one for each piece that is being taken.
	logger *slog.Logger
	stop   context.CancelFunc
	pages  http.Handler
}

// piecesAtOnce bounds how many pieces are held in memory.
const piecesAtOnce = 24

// Listen opens the folder and the port. The caller must then call Serve, or
// Close to give both up.
func Listen(opts Options) (*Server, error) {
	dir, err := filepath.Abs(opts.Folder)
	if err == nil {
		dir, err = filepath.EvalSymlinks(dir)
	}
	if err != nil {
		return nil, fmt.Errorf("open folder: %w", err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("open folder: %w", err)
	}
	if opts.Probe == nil {
		opts.Probe = clip.Probe
	}
	s := &Server{logger: opts.Logger, busy: make(chan struct{}, piecesAtOnce)}
	if s.logger == nil {
		s.logger = slog.New(slog.DiscardHandler)
	}
	if err := s.listen(opts, dir); err != nil {
		return nil, errors.Join(err, root.Close())
	}
	s.store = &store{root: root, dir: dir, reserve: opts.Reserve, most: opts.MostBytes, free: fsx.FreeSpace, isFilm: filmIn(opts.Probe), now: time.Now}
	if s.store.reserve == 0 {
		s.store.reserve = 1e9
	}
	if s.store.most == 0 {
		s.store.most = 8e9
	}
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	s.checks = &checker{ctx: ctx, check: opts.Check, note: s.store.noted, path: func(rel string) string { return filepath.Join(dir, filepath.FromSlash(rel)) }, started: map[string]bool{}}
	s.door = &door.Door{
		Cookie: "jogstrip-phone-" + strconv.Itoa(int(s.host.Port())), Entry: "/phone", Address: s.listener.Addr(),
		Closed: "This page opens with the code that the computer shows.\nPoint the phone’s camera at it again: the old code may have been taken back.\n",
	}
	s.keep = filepath.Join(opts.Keep, fmt.Sprintf("handlers-%016x.json", sumOf(dir)))
	if err := s.takeUpToken(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	s.pages = s.door.Guard(s.routes())
	return s, nil
}

func sumOf(dir string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(dir))
	return h.Sum64()
}

// listen opens the port and gets the certificate.
func (s *Server) listen(opts Options, dir string) error {
	var address netip.AddrPort
	if opts.Address != "" {
		var err error
		if address, err = netip.ParseAddrPort(opts.Address); err != nil {
			return fmt.Errorf("listen for phones on %q: it must be a numeric address and a port, such as 192.168.1.20:8765", opts.Address)
		}
	} else {
		here, err := localAddress()
		if err != nil {
			return err
		}
		// The same folder gets the same port, below those that systems take for
		// outgoing connections, so that a page left open on a phone finds the program again.
		address = netip.AddrPortFrom(here, uint16(10000+sumOf(dir)%10000))
	}
	l, err := net.Listen("tcp", address.String())
	if err != nil && opts.Address == "" {
		l, err = net.Listen("tcp", netip.AddrPortFrom(address.Addr(), 0).String())
	}
	if err != nil {
		return fmt.Errorf("listen for phones: %w", err)
	}
	s.listener = l
	port := netip.MustParseAddrPort(l.Addr().String()).Port()
	host := address.Addr().Unmap()
	if host.IsUnspecified() {
		if host, err = localAddress(); err != nil {
			return errors.Join(err, l.Close())
		}
	}
	s.host = netip.AddrPortFrom(host, port)
	if opts.Plain {
		return nil
	}
	cert, err := certificate(filepath.Join(opts.Keep, "certificate.pem"), []netip.Addr{host}, time.Now())
	if err != nil {
		return errors.Join(err, l.Close())
	}
	s.cert = &cert
	return nil
}

// localAddress returns this computer's address in the network that phones are in.
func localAddress() (netip.Addr, error) {
	// A connectionless socket is bound to the address that would be used; nothing is
	// sent. The address is one kept for documentation (RFC 5737).
	if c, err := net.Dial("udp4", "192.0.2.1:9"); err == nil {
		at, err := netip.ParseAddrPort(c.LocalAddr().String())
		_ = c.Close()
		if err == nil && !at.Addr().IsLoopback() {
			return at.Addr(), nil
		}
	}
	// Without a way out: the first private address (a phone's or the computer's own hotspot).
	all, err := net.InterfaceAddrs()
	if err != nil {
		return netip.Addr{}, fmt.Errorf("look for this computer’s address: %w", err)
	}
	for _, a := range all {
		if p, err := netip.ParsePrefix(a.String()); err == nil && p.Addr().Is4() && p.Addr().IsPrivate() {
			return p.Addr(), nil
		}
	}
	return netip.Addr{}, errors.New("this computer is in no network that a phone could reach it in: join the yard’s, or open a hotspot on the computer or the phone")
}

// keptToken is what is kept of the handlers' token.
type keptToken struct {
	Folder string `json:"folder"`
	Token  string `json:"token"`
}

// takeUpToken lets in the phones that were let in before.
func (s *Server) takeUpToken() error {
	data, err := os.ReadFile(s.keep)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("read the handlers' token: %w", err)
	}
	var kept keptToken
	if err == nil && json.Unmarshal(data, &kept) == nil && kept.Folder == s.store.dir && len(kept.Token) >= 22 {
		s.door.SetToken(kept.Token)
		return nil
	}
	return s.Renew()
}

// Renew takes the code back: phones let in before are out, whatever they are
// doing, until they are shown the new one.
func (s *Server) Renew() error {
	token, err := door.NewToken(16)
	if err != nil {
		return err
	}
	data, err := json.Marshal(keptToken{Folder: s.store.dir, Token: token})
	if err == nil {
		err = os.MkdirAll(filepath.Dir(s.keep), 0o700)
	}
	if err == nil {
		err = fsx.WritePrivate(s.keep, data)
	}
	if err != nil {
		return fmt.Errorf("keep the handlers' token: %w", err)
	}
	s.door.SetToken(token)
	return nil
}

// URL returns an address below this server, as phones and tablets reach it.
func (s *Server) URL(path string) string {
	scheme := "https"
	if s.cert == nil {
		scheme = "http"
	}
	return scheme + "://" + s.host.String() + path
}

// Code returns how a phone gets in.
func (s *Server) Code() (Code, error) {
	c := Code{Address: s.URL("/phone?token=" + s.door.Token())}
	if s.cert != nil {
		c.Fingerprint = fingerprint(*s.cert)
	}
	dark, err := squares(c.Address)
	if err != nil {
		return Code{}, err
	}
	c.Size, c.Path = len(dark), drawn(dark)
	return c, nil
}

// Handler answers the phones' requests and hands all others to others, which
// must have a door of its own.
func (s *Server) Handler(others http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/phone", s.pages)
	mux.Handle("/phone/", s.pages)
	mux.Handle("/", others)
	return mux
}

// Serve answers requests until ctx ends; then it lets those under way finish for
// a moment and returns nil. What is not the phones' goes to others.
func (s *Server) Serve(ctx context.Context, others http.Handler) error {
	server := &http.Server{
		Handler:           s.Handler(others),
		ReadHeaderTimeout: 10 * time.Second,
		ReadTimeout:       2 * time.Minute, // For a piece over a poor connection.
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(s.logger.Handler(), slog.LevelInfo),
	}
	listener := s.listener
	if s.cert != nil {
		listener = tls.NewListener(listener, &tls.Config{Certificates: []tls.Certificate{*s.cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}})
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	var err error
	select {
	case err = <-ended:
	case <-ctx.Done():
		s.stop()
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
		defer cancel()
		if server.Shutdown(grace) != nil {
			_ = server.Close()
		}
		err = <-ended
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, s.Close())
}

// Close ends what the server has under way and gives the folder up. It may be
// called more than once.
func (s *Server) Close() error {
	s.stop()
	s.checks.work.Wait()
	err := s.listener.Close()
	if errors.Is(err, net.ErrClosed) {
		err = nil
	}
	return errors.Join(err, s.store.root.Close())
}

// horseChoice is a horse as the page offers it.
type horseChoice struct {
	Horse  string   `json:"horse"`
	Visits []string `json:"visits"` // Of the day that was asked for.
}

func (s *store) choices(date string) []horseChoice {
	out := []horseChoice{}
	for _, h := range s.horses() {
		v := s.visits(h, date)
		slices.Sort(v)
		out = append(out, horseChoice{h, v})
	}
	return out
}
