package markpage

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/door"
)

// Options says what is served and where.
type Options struct {
	// Folder is the yard folder, or any folder with clips. It must exist.
	Folder string
	// Address is where to listen, a host:port of this machine alone with a numeric
	// host. Empty means a port derived from the folder, or a free one where that is
	// taken. Other machines come in through a server of package phone, which
	// encrypts.
	Address string
	// Published, where it is not 0, says that this runs in a container that publishes this
	// port at the same port of the computer's own address, 127.0.0.1: there the page is
	// opened, and under no other name is it served. It is listened on at every address of
	// the container.
	Published int
	// Phones lets other machines in; nil where none are.
	Phones Phones
	// Measurer measures clips for the second look; nil leaves that out.
	Measurer Measurer
	// Proposer proposes marks; nil leaves that out.
	Proposer Proposer
	// Probe looks into clips; nil means clip.Probe, which a clip that brings a
	// decoder down would end this process in.
	Probe Probe
	// Lengths is how the yard reads lengths.
	Lengths lengths.System
	// Logger is told what goes wrong; nil keeps quiet.
	Logger *slog.Logger
	// PictureBytes bounds the memory for pictures ready to be shown; 0 means 96 MiB.
	PictureBytes int64
}

// mostStreams bounds the streams of progress that are open at a time.
const mostStreams = 24

// ErrRemote is wrapped where Listen is asked for an address that other machines
// can reach.
var ErrRemote = errors.New("other machines could reach it")

// Probe returns what the container of the clip at path says.
type Probe func(ctx context.Context, path string) (*clip.Info, error)

// Server is the marks page of one folder. Its methods are safe for use by
// several goroutines.
type Server struct {
	folder    *folder
	pictures  *pictures
	clips     *clipCache
	overviews *overviews
	thumbs    *thumbs
	queue     *queue
	locks     keyedMutex
	proposer  Proposer
	proposed  *proposedSets
	lengths   lengths.System
	// headWithin is how long a request's head may take.
	headWithin time.Duration
	phones     Phones
	streams    chan struct{} // Holds one for each stream of progress that is open.
	door       *door.Door
	logger     *slog.Logger
	listener   net.Listener
	handler    http.Handler
	ctx        context.Context // Ends with the server.
	stop       context.CancelFunc
	work       sync.WaitGroup // What goes on without a request.
}

// Listen opens the folder and the port. The caller must then call Serve, or
// Close to give both up.
func Listen(opts Options) (*Server, error) {
	f, err := openFolder(opts.Folder)
	if err != nil {
		return nil, err
	}
	listener, err := listen(opts, f.dir)
	if err != nil {
		return nil, errors.Join(err, f.close())
	}
	entry, err := openDoor(listener, opts.Published)
	if err != nil {
		return nil, errors.Join(err, listener.Close(), f.close())
	}
	logger := opts.Logger
	if logger == nil {
		logger = slog.New(slog.DiscardHandler)
	}
	limit := opts.PictureBytes
	if limit == 0 {
		limit = 96 << 20
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &Server{
		folder: f, pictures: newPictures(ctx, limit), clips: newClipCache(opts.Probe), overviews: newOverviews(), thumbs: newThumbs(),
		door: entry, phones: opts.Phones, logger: logger, listener: listener, ctx: ctx, stop: stop, streams: make(chan struct{}, mostStreams),
		proposer: opts.Proposer, proposed: newProposedSets(), lengths: opts.Lengths, headWithin: 10 * time.Second,
	}
	s.queue = newQueue(ctx, opts.Measurer, s.absolute)
	s.handler = s.door.Guard(bounded(s.routes()))
	return s, nil
}

func listen(opts Options, dir string) (net.Listener, error) {
	if opts.Published != 0 {
		l, err := net.Listen("tcp", net.JoinHostPort("", strconv.Itoa(opts.Published)))
		if err != nil {
			return nil, fmt.Errorf("listen: %w", err)
		}
		return l, nil
	}
	if opts.Address != "" {
		address, err := netip.ParseAddrPort(opts.Address)
		if err != nil {
			return nil, fmt.Errorf("listen on %q: it must be a numeric address and a port, such as 127.0.0.1:8765", opts.Address)
		}
		if !address.Addr().IsLoopback() {
			return nil, fmt.Errorf("listen on %s: %w", opts.Address, ErrRemote)
		}
		l, err := net.Listen("tcp", opts.Address)
		if err != nil {
			return nil, fmt.Errorf("listen: %w", err)
		}
		return l, nil
	}
	// The same folder gets the same port, so that a page left open finds the
	// program again and a browser finds what it kept for the page.
	l, err := net.Listen("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(portOf(dir))))
	if err != nil {
		l, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	return l, nil
}

// portOf derives a port from the folder, below the range from which systems
// take ports of outgoing connections.
func portOf(dir string) int {
	h := fnv.New32a()
	_, _ = h.Write([]byte(dir))
	return 20000 + int(h.Sum32()%10000)
}

// URL returns the address to open, with the token in it.
func (s *Server) URL() string { return "http://" + s.Address() + s.Entry() }

// Entry returns what follows scheme and host in an address that opens the page.
func (s *Server) Entry() string { return "/?token=" + s.door.Token() }

// Address returns the host and port at which the page is opened.
func (s *Server) Address() string {
	if s.door.Published != 0 {
		return net.JoinHostPort("127.0.0.1", strconv.Itoa(s.door.Published))
	}
	return s.listener.Addr().String()
}

// Folder returns the folder served, as an absolute path.
func (s *Server) Folder() string { return s.folder.dir }

// Handler returns what answers requests, guard included.
func (s *Server) Handler() http.Handler { return s.handler }

// Serve answers requests until ctx ends; then it lets those under way finish
// for a moment and returns nil.
func (s *Server) Serve(ctx context.Context) error {
	server := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: s.headWithin,
		ReadTimeout:       60 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    64 << 10,
		ErrorLog:          slog.NewLogLogger(s.logger.Handler(), slog.LevelWarn),
	}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(s.listener) }()
	var err error
	select {
	case err = <-ended:
	case <-ctx.Done():
		s.stop() // Streams of progress end with it.
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

// Close ends everything the server has under way and gives the folder up. It
// may be called more than once.
func (s *Server) Close() error {
	s.stop()
	s.work.Wait()
	s.pictures.wait()
	s.queue.wait()
	err := s.listener.Close()
	if errors.Is(err, net.ErrClosed) {
		err = nil
	}
	return errors.Join(err, s.folder.close())
}

func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.index)
	mux.HandleFunc("GET /app/{file}", s.asset)
	mux.HandleFunc("GET /guide", s.guide)
	mux.HandleFunc("GET /picture", s.picture)
	mux.HandleFunc("GET /strip", s.getStrip)
	mux.HandleFunc("GET /api/overview", s.getOverview)
	mux.HandleFunc("GET /api/carry", s.carry)
	mux.HandleFunc("POST /api/prepare", s.prepare)
	mux.HandleFunc("GET /api/proposals", s.proposals)
	mux.HandleFunc("GET /results/{path...}", s.result)
	mux.HandleFunc("GET /api/clips", s.listClips)
	mux.HandleFunc("GET /api/clip", s.oneClip)
	mux.HandleFunc("PUT /api/marks", s.putMarks)
	mux.HandleFunc("POST /api/calibrate", s.calibrate)
	mux.HandleFunc("GET /api/check", s.checkClip)
	mux.HandleFunc("GET /api/look", s.look)
	mux.HandleFunc("POST /api/measure", s.measure)
	mux.HandleFunc("POST /api/confirm", s.confirm)
	mux.HandleFunc("GET /api/progress", s.progress)
	mux.HandleFunc("GET /api/visit", s.getVisit)
	mux.HandleFunc("PUT /api/visit", s.putVisit)
	mux.HandleFunc("POST /api/visit/make", s.makePage)
	mux.HandleFunc("GET /api/phones", s.getPhones)
	mux.HandleFunc("POST /api/phones/renew", s.renewPhones)
	mux.HandleFunc("POST /api/renew", s.renew)
	return mux
}

// absolute returns where the clip at the slash-separated rel lies.
func (s *Server) absolute(rel string) string {
	return filepath.Join(s.folder.dir, filepath.FromSlash(rel))
}
