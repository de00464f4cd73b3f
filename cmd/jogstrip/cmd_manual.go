package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func newManualCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "manual FOLDER",
		Short:  "Write the manual pages of all commands",
		Long:   "Write a manual page for each command into FOLDER, from what --help says, for man 1 jogstrip and man 1 jogstrip-mark. Packages are made with it.",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return writeManual(cmd.Root(), args[0])
		},
	}
}

// writeManual writes the manual pages of root and of its commands into folder, which it
// makes.
func writeManual(root *cobra.Command, folder string) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("write manual pages: %w", err)
	}
	for _, c := range append([]*cobra.Command{root}, root.Commands()...) {
		if c.Hidden || c.Name() == "help" || c.Name() == "completion" {
			continue
		}
		path := filepath.Join(folder, manualName(c)+".1")
		if err := os.WriteFile(path, []byte(manualPage(c)), 0o644); err != nil {
			return fmt.Errorf("write manual pages: %w", err)
		}
	}
	return nil
}

func manualName(c *cobra.Command) string { return strings.ReplaceAll(c.CommandPath(), " ", "-") }

// manualPage returns the manual page of c in the man macros of roff.
func manualPage(c *cobra.Command) string {
	var b strings.Builder
	name := manualName(c)
	fmt.Fprintf(&b, ".TH %s 1 \"\" \"jogstrip %s\" \"User Commands\"\n", strings.ToUpper(roff(name)), version)
	fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n", roff(name), roff(lowerFirst(c.Short)))
	fmt.Fprintf(&b, ".SH SYNOPSIS\n.nf\n%s\n.fi\n", roff(strings.TrimPrefix(c.UseLine(), "\n")))
	text, codes, _ := strings.Cut(c.Long, "\nExit codes:\n")
	b.WriteString(".SH DESCRIPTION\n" + paragraphs(text))
	var flags strings.Builder
	c.NonInheritedFlags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			flags.WriteString(manualFlag(f))
		}
	})
	if flags.Len() > 0 {
		b.WriteString(".SH OPTIONS\n" + flags.String())
	}
	if codes != "" {
		b.WriteString(".SH EXIT STATUS\n" + exitStatus(codes))
	}
	if c.Example != "" {
		b.WriteString(".SH EXAMPLES\n.nf\n" + roff(c.Example) + "\n.fi\n")
	}
	b.WriteString(".SH SEE ALSO\n")
	others := []*cobra.Command{c.Root()}
	if !c.HasParent() {
		others = c.Commands()
	}
	var also []string
	for _, o := range others {
		if !o.Hidden && o.Name() != "help" && o.Name() != "completion" {
			also = append(also, `\fB`+roff(manualName(o))+`\fR(1)`)
		}
	}
	b.WriteString(strings.Join(also, ",\n") + "\n")
	return b.String()
}

func manualFlag(f *pflag.Flag) string {
	value, usage := pflag.UnquoteUsage(f)
	head := `\fB` + roff("--"+f.Name) + `\fR`
	if f.Shorthand != "" {
		head = `\fB` + roff("-"+f.Shorthand) + `\fR, ` + head
	}
	if value != "" {
		head += ` \fI` + roff(value) + `\fR`
	}
	switch f.DefValue {
	case "", "0", "false", "0s":
	default:
		usage += fmt.Sprintf(" (default %s)", f.DefValue)
	}
	return fmt.Sprintf(".TP\n%s\n%s\n", head, roff(usage))
}

// exitStatus writes the table of exit codes, a line each.
func exitStatus(codes string) string {
	var b strings.Builder
	for line := range strings.Lines(codes) {
		if code, means, found := strings.Cut(strings.TrimSpace(line), " "); found {
			fmt.Fprintf(&b, ".TP\n\\fB%s\\fR\n%s\n", roff(code), roff(strings.TrimSpace(means)))
		}
	}
	return b.String()
}

// paragraphs writes text as --help shows it: paragraphs, of which those that are
// indented keep their lines.
func paragraphs(text string) string {
	var b strings.Builder
	for part := range strings.SplitSeq(strings.TrimSpace(text), "\n\n") {
		part = strings.Trim(part, "\n")
		if strings.HasPrefix(part, " ") {
			b.WriteString(".PP\n.nf\n" + roff(part) + "\n.fi\n")
		} else {
			b.WriteString(".PP\n" + roff(part) + "\n")
		}
	}
	return b.String()
}

// roff escapes text: hyphens are those that are typed, and no line begins a request.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`, "’", `\(cq`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}

func lowerFirst(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToLower(text[:1]) + text[1:]
}
