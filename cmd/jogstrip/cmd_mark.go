package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os/exec"
	"runtime"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jogstrip/pipeline/markpage"
)

type markOptions struct {
	address string
	remote  bool
	noOpen  bool
	verbose bool
}

func (o *markOptions) addFlags(f *pflag.FlagSet) {
	f.StringVar(&o.address, "address", "", "address and port to listen on (default: this machine only, the same port for the same folder)")
	f.BoolVar(&o.remote, "remote", false, "allow an --address that other machines can reach; what is sent there is not encrypted")
	f.BoolVar(&o.noOpen, "no-open", false, "do not open the browser")
	f.BoolVar(&o.verbose, "verbose", false, "say which requests were refused and why")
}

func (o *markOptions) check() error {
	if o.remote && o.address == "" {
		return fmt.Errorf("%w: --remote needs an --address, such as 192.168.1.20:8765", errUsage)
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

The page is reachable from this machine only and needs the token in the address
that is printed. For a tablet beside the computer, name an address of this
computer with --address and --remote; use it only in a network you trust.
Stop with ctrl-C: nothing is lost.
` + exitHelp,
		Example: `  jogstrip mark yard
  jogstrip mark --no-open yard/horses/bramble/2026-03-02
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
			self, err := ownProgram()
			if err != nil {
				return err
			}
			return runMark(cmd.Context(), a, opts, args[0], measurer, probeAside(self))
		},
	}
	opts.addFlags(c.Flags())
	return c
}

func runMark(ctx context.Context, a *app, opts markOptions, folder string, measurer markpage.Measurer, probe markpage.Probe) error {
	logger := slog.New(slog.DiscardHandler)
	if opts.verbose {
		logger = slog.New(slog.NewTextHandler(a.stderr, nil))
	}
	server, err := markpage.Listen(markpage.Options{Folder: folder, Address: opts.address, Remote: opts.remote, Measurer: measurer, Probe: probe, Logger: logger})
	if errors.Is(err, markpage.ErrRemote) {
		return fmt.Errorf("%w: %w; --remote allows that", errUsage, err)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "The marks page of %s is at\n\n  %s\n\nStop with ctrl-C.\n", server.Folder(), server.URL())
	if !opts.noOpen {
		if err := openBrowser(server.URL()); err != nil {
			fmt.Fprintf(a.stderr, "jogstrip: open the address above in a browser (%v)\n", err)
		}
	}
	return server.Serve(ctx)
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
