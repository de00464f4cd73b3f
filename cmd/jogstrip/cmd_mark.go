package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/sync/errgroup"
	"golang.org/x/term"

	"jogstrip/pipeline"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/phone"
	"jogstrip/pipeline/proc"
)

type markOptions struct {
	address     string
	published   int
	remote      bool
	plain       bool
	noOpen      bool
	noProposals bool
	verbose     bool
}

func (o *markOptions) addFlags(f *pflag.FlagSet) {
	f.BoolVar(&o.remote, "remote", false, "let handlers' phones send clips, and a tablet of yours in; shows a code to scan")
	f.StringVar(&o.address, "address", "", "address and port to listen on: with --remote for phones (default: this computer's in the local network), without it for this computer alone")
	f.IntVar(&o.published, "published", 0, "in a container: the port that it publishes at the same port of the computer's own address, 127.0.0.1")
	f.BoolVar(&o.plain, "plain-http", false, "with --remote: do not encrypt, so that others in the network can read along")
	f.BoolVar(&o.noProposals, "no-proposals", false, "propose no marks: leaves the processor to others")
	f.BoolVar(&o.noOpen, "no-open", false, "do not open the browser")
	f.BoolVar(&o.verbose, "verbose", false, "say which requests were refused and why")
}

func (o *markOptions) check() error {
	if o.plain && !o.remote {
		return fmt.Errorf("%w: --plain-http is for --remote; on this computer alone nothing leaves it", errUsage)
	}
	if o.published != 0 && (o.remote || o.address != "") {
		return fmt.Errorf("%w: --published is for the marks page in a container, without --remote and --address", errUsage)
	}
	if o.published < 0 || o.published > 65535 {
		return fmt.Errorf("%w: --published is %d; allowed: a port, 1 to 65535", errUsage, o.published)
	}
	return nil
}

func newMarkCommand(a *app) *cobra.Command {
	var opts markOptions
	c := &cobra.Command{
		Use:   "mark FOLDER",
		Short: "Mark clips and keep the visit's record, in the browser",
		Long: `Serve a page for this folder and open it in the browser: the list of clips with
what each one needs, marking, ground marks, film check, second look and the
visit's record. Every click is saved at once beside the clip.

The page is reachable from this computer only and needs the token in the address
that is printed. Stop with ctrl-C: nothing is lost.

With --remote, phones and tablets in the same network can reach the page, too;
what they send is encrypted. A code is shown here and on the page under Handlers'
phones. A handler points the phone's camera at it, gets the film guide, and sends
clips into the visit's folder; seconds later the phone says whether the clip is
good. The code opens nothing else. You can take it back on the page.

The program makes the certificate for the encryption itself, since no authority
knows this computer. So the phone's browser warns, once, that it cannot tell who
is there. Look at the certificate's SHA-256 fingerprint in the browser's details,
compare it with the one shown beside the code, and go on only if they are equal.`,
		Example: `  jogstrip mark yard
  jogstrip mark --no-open yard/horses/bramble/2026-03-02
  jogstrip mark --remote yard
  jogstrip mark --remote --address 192.168.1.20:8765 yard`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opts.check(); err != nil {
				return err
			}
			measurer, err := newClipMeasurer()
			if err != nil {
				return err
			}
			self, err := proc.Self()
			if err != nil {
				return err
			}
			// The page lies open all evening beside other programs: pictures that nobody
			// wants any more are tidied up in time.
			defer debug.SetMemoryLimit(debug.SetMemoryLimit(pageMemory))
			return runMark(cmd.Context(), a, opts, args[0], markTools{measurer, newClipProposer(self), probeAside(self), checkAside(self)})
		},
	}
	opts.addFlags(c.Flags())
	return c
}

// pageMemory is what the marks page should stay within, bytes: twice the pictures
// that it keeps, and what else it needs. The decoders that it starts have their own.
const pageMemory = 256 << 20

// markTools are what looks into clips and measures them, each in a process of its
// own.
type markTools struct {
	measurer markpage.Measurer
	proposer markpage.Proposer
	probe    func(ctx context.Context, path string) (*clip.Info, error)
	check    phone.Check
}

func runMark(ctx context.Context, a *app, opts markOptions, folder string, tools markTools) error {
	logger := slog.New(slog.DiscardHandler)
	if opts.verbose {
		logger = slog.New(slog.NewTextHandler(a.stderr, nil))
	}
	if opts.noProposals {
		tools.proposer = nil
	}
	page := markpage.Options{Folder: folder, Measurer: tools.measurer, Published: opts.published, Proposer: tools.proposer, Probe: tools.probe, Logger: logger}
	if around, err := pipeline.Look(folder); err == nil { // What is wrong with a page there is said where it is opened.
		page.Lengths = around.Yard.Lengths
	}
	var phones *phone.Server
	if opts.remote {
		var err error
		if phones, err = listenToPhones(opts, folder, tools, logger); err != nil {
			return err
		}
		page.Phones = phones
	} else {
		page.Address = opts.address
	}
	server, err := markpage.Listen(page)
	if errors.Is(err, markpage.ErrRemote) {
		err = fmt.Errorf("%w: %w; --remote allows that", errUsage, err)
	}
	if err != nil {
		if phones != nil {
			err = errors.Join(err, phones.Close())
		}
		return err
	}
	fmt.Fprintf(a.stdout, "The marks page of %s is at\n\n  %s\n\n", server.Folder(), server.URL())
	if phones != nil {
		if err := tellCode(a.stdout, phones, server.Entry()); err != nil {
			return errors.Join(err, phones.Close(), server.Close())
		}
	}
	fmt.Fprint(a.stdout, "Stop with ctrl-C.\n")
	if !opts.noOpen {
		if err := openBrowser(server.URL()); err != nil {
			fmt.Fprintf(a.stderr, "jogstrip: open the address above in a browser (%v)\n", err)
		}
	}
	return serve(ctx, server, phones)
}

// listenToPhones opens the way in for phones and tablets in the same network.
func listenToPhones(opts markOptions, folder string, tools markTools, logger *slog.Logger) (*phone.Server, error) {
	config, err := os.UserConfigDir()
	if err != nil {
		return nil, fmt.Errorf("keep what lets phones in: %w", err)
	}
	return phone.Listen(phone.Options{
		Folder: folder, Address: opts.address, Keep: filepath.Join(config, "jogstrip"), Plain: opts.plain,
		Check: tools.check, Probe: tools.probe, Logger: logger,
	})
}

// serve serves the marks page and, unless phones is nil, phones.
func serve(ctx context.Context, server *markpage.Server, phones *phone.Server) error {
	if phones == nil {
		return server.Serve(ctx)
	}
	// Where one of the two ends, the other one ends with it.
	both, ctx := errgroup.WithContext(ctx)
	both.Go(func() error { return orEnded(server.Serve(ctx)) })
	both.Go(func() error { return orEnded(phones.Serve(ctx, server.Handler())) })
	if err := both.Wait(); !errors.Is(err, errEnded) {
		return err
	}
	return nil
}

var errEnded = errors.New("ended")

func orEnded(err error) error {
	if err == nil {
		return errEnded
	}
	return err
}

// tellCode prints how phones, and a tablet of the practitioner's, get in.
func tellCode(w io.Writer, phones *phone.Server, entry string) error {
	code, err := phones.Code()
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Handlers send clips from their phones: point the phone's camera at the code, or open\n\n  %s\n\n", code.Address)
	if f, is := w.(*os.File); is && term.IsTerminal(int(f.Fd())) {
		drawn, err := code.ForTerminal()
		if err != nil {
			return err
		}
		fmt.Fprintln(w, drawn)
	}
	if code.Fingerprint == "" {
		fmt.Fprint(w, "Nothing is encrypted: others in the network can read along.\n\n")
	} else {
		fmt.Fprintf(w, "The browser warns once that nobody vouches for this computer. Compare the\ncertificate's SHA-256 fingerprint, and go on only if it is\n\n  %s\n  %s\n\n", code.Fingerprint[:48], code.Fingerprint[48:])
	}
	fmt.Fprintf(w, "A tablet of your own opens the marks page at\n\n  %s\n\n", phones.URL(entry))
	return nil
}

// checkAside returns the film check in a process of its own, which is self: a
// clip that somebody sent may bring a decoder down.
func checkAside(self string) phone.Check {
	return func(ctx context.Context, path string) (*film.Report, error) {
		ctx, cancel := context.WithTimeout(ctx, 5*time.Minute)
		defer cancel()
		cmd := exec.CommandContext(ctx, self, "check", "--json", "--", path)
		out, err := cmd.Output()
		var ended *exec.ExitError
		if err != nil && !errors.As(err, &ended) {
			return nil, fmt.Errorf("check clip: %w", err)
		}
		r := new(film.Report)
		if json.Unmarshal(out, r) == nil && r.Verdict != "" {
			return r, nil // It exits with a code of its own where the clip is to be filmed again.
		}
		if ctx.Err() != nil {
			return nil, errors.New("it took too long")
		}
		words := strings.TrimPrefix(strings.TrimSpace(string(ended.Stderr)), "jogstrip: ")
		return nil, fmt.Errorf("check clip: %s", strings.ReplaceAll(cmp.Or(words, ended.Error()), filepath.Dir(path)+"/", ""))
	}
}

// openBrowser hands the address to the system's own opener.
func openBrowser(url string) error {
	name, args := "xdg-open", []string{url}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	}
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("open browser: %w", err)
	}
	go func() { _ = cmd.Wait() }() // The opener's own success is not ours to judge.
	return nil
}
