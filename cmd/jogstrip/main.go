// Command jogstrip measures how evenly a horse moves from phone video of it
// trotting toward and away from the camera, and remembers it from visit to
// visit. It measures movement; a veterinarian diagnoses.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"jogstrip/pipeline/proc"
)

// version is the program's own version.
const version = "0.1.0"

// The exit codes are a contract that scripts rely on.
const (
	exitGood        = 0   // All good.
	exitFatal       = 1   // Nothing usable came of it.
	exitUsage       = 2   // The command line is wrong.
	exitPartly      = 3   // Finished, but some clips failed or need a look.
	exitHeld        = 11  // Another batch holds the folder.
	exitInterrupted = 130 // Interrupted, by ctrl-C, a closed terminal or whoever ends processes.
)

const exitHelp = `Every command ends with one of these codes:

  0    all is good
  1    nothing usable came of it
  2    the command line is wrong
  3    finished, but some clips failed, should be filmed again or need a second look
  11   another batch is working on the folder
  130  interrupted: by ctrl-C, a closed terminal or a signal to end`

// Errors that decide the exit code. Commands wrap them.
var (
	errUsage  = errors.New("usage")
	errPartly = errors.New("some clips failed or need a look")
	errHeld   = errors.New("another batch holds the folder")
	errSaid   = errors.New("nothing usable came of it") // And why was said already.
)

// partial is an error that gives exit code 3: the text says what is left to do.
type partial string

func (p partial) Error() string        { return string(p) }
func (p partial) Is(target error) bool { return target == errPartly }

// interrupted is an error of something that was interrupted; the text says what
// became of it.
type interrupted string

func (i interrupted) Error() string        { return string(i) }
func (i interrupted) Is(target error) bool { return target == context.Canceled }

// app is what every command gets: where to write.
type app struct {
	stdout, stderr io.Writer
}

func main() {
	preferOwnTools()
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// preferOwnTools has programs looked for first where a package puts the ffmpeg that it
// brings (scripts/package-ffmpeg).
func preferOwnTools() {
	self, err := os.Executable()
	if err != nil {
		return
	}
	folder := filepath.Join(filepath.Dir(self), "..", "libexec", "jogstrip")
	if _, err := os.Stat(filepath.Join(folder, "ffmpeg")); err == nil {
		// Where that fails the system's is found.
		_ = os.Setenv("PATH", folder+string(os.PathListSeparator)+os.Getenv("PATH"))
	}
}

// run is main without the process: it returns the exit code.
func run(args []string, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), proc.Ends()...)
	defer stop()
	root := newRootCommand(&app{stdout, stderr})
	root.SetArgs(args)
	return report(root.ExecuteContext(ctx), stderr)
}

// report says what went wrong and turns it into an exit code.
func report(err error, stderr io.Writer) int {
	switch {
	case err == nil:
		return exitGood
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(stderr, "jogstrip: interrupted"+what(err))
		return exitInterrupted
	case errors.Is(err, errPartly):
		if text := err.Error(); text != "" && text != errPartly.Error() {
			fmt.Fprintf(stderr, "jogstrip: %s\n", text)
		}
		return exitPartly
	}
	if errors.Is(err, errSaid) {
		return exitFatal
	}
	fmt.Fprintf(stderr, "jogstrip: %v\n", err)
	switch {
	case errors.Is(err, errHeld):
		return exitHeld
	case errors.Is(err, errUsage):
		fmt.Fprintln(stderr, "jogstrip: see jogstrip --help")
		return exitUsage
	}
	return exitFatal
}

// what says what became of what was interrupted.
func what(err error) string {
	var i interrupted
	if errors.As(err, &i) {
		return "; " + string(i)
	}
	return ""
}

// promptly ends the process where a command that was interrupted has not come back
// soon after. What it writes is put in place whole or not at all, so nothing is lost;
// a long calculation need not look up every second to see whether it is still wanted.
func promptly(ctx context.Context, stderr io.Writer) (end func()) {
	ended := make(chan struct{})
	go func() {
		select {
		case <-ended:
			return
		case <-ctx.Done():
		}
		const patience = 1500 * time.Millisecond
		select {
		case <-ended:
		case <-time.After(patience):
			os.Exit(report(ctx.Err(), stderr))
		}
	}()
	return func() { close(ended) }
}

func newRootCommand(a *app) *cobra.Command {
	cobra.EnableCommandSorting = false // The job has an order of its own.
	root := &cobra.Command{
		Use:   "jogstrip",
		Short: "Measure how evenly a horse moves, from phone video",
		Long: `jogstrip measures how evenly a horse moves. It takes phone video of a horse led
straight toward or away from the camera, and a few marks placed by hand. It
measures head, steps and hoof placement of every stride, left against right, with
honest intervals, and compares one visit with another.

  handler       films a straight pass toward and away:   jogstrip guide, jogstrip check
  practitioner  marks the clips, batches them overnight:  jogstrip mark, jogstrip batch
  reviewer      compares before and after:                jogstrip compare, jogstrip history

It measures movement. It never names a disease: a veterinarian diagnoses.`,
		Example: `  jogstrip check toward-1.mp4          is the clip fit to be measured?
  jogstrip mark yard/horses/bramble    place the marks in the browser
  jogstrip batch yard                  measure every marked clip below the folder
  jogstrip compare 2026-03-02 2026-03-30   what has changed between two visits`,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return cmd.Help()
		},
	}
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		return fmt.Errorf("%w: %w", errUsage, flagError(err))
	})
	for _, c := range commands(a) {
		if c.Args != nil {
			c.Args = usageArgs(c.Args)
		}
		root.AddCommand(c)
	}
	root.AddCommand(&cobra.Command{Use: "exit-codes", Short: "What the exit codes mean", Long: exitHelp}) // A topic of help.
	root.Args = usageArgs(root.Args)
	if err := completeWords(root); err != nil {
		panic(err) // A flag is named twice.
	}
	return root
}

// flagError says in words what a flag's value must be.
func flagError(err error) error {
	var invalid *pflag.InvalidValueError
	if !errors.As(err, &invalid) {
		return err
	}
	allowed := map[string]string{"int": "a whole number", "duration": "a time such as 90s, 15m or 2h", "bool": "true or false"}[invalid.GetFlag().Value.Type()]
	if allowed == "" {
		return err
	}
	return fmt.Errorf("--%s is %q; allowed: %s", invalid.GetFlag().Name, invalid.GetValue(), allowed)
}

// usageArgs turns a complaint about arguments into a usage error.
func usageArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			if cmd.HasParent() { // Else a command was mistyped, which the library says well.
				err = fmt.Errorf("names given: %d; write: %s", len(args), cmd.UseLine())
			}
			return fmt.Errorf("%w: %w", errUsage, err)
		}
		return nil
	}
}
