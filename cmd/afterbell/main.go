// Command afterbell imports robot logs, analyzes matches and shows their sheets.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
)

// version is set by releases (-ldflags "-X main.version=...").
var version = "dev"

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// Exit statuses. exitHelp below makes the help text of them.
const (
	exitDone     = 0
	exitFailed   = 1
	exitUsage    = 2
	exitFindings = 3
)

const exitHelp = `Exit status: 0 done; 1 the work failed; 2 the command or the profile is wrong;
3 (analyze --fail-on SEVERITY only) findings of at least that severity.`

// usageError says that the command or the profile is wrong: exit status 2.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// errFindings says that analyze --fail-on found something: exit status 3, nothing printed.
var errFindings = errors.New("findings")

// usagef is a usage error in words.
func usagef(format string, a ...any) error { return usageError{fmt.Errorf(format, a...)} }

// app is what every command gets: the streams and where it looks for data.
type app struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	dataDir        string
}

// run does one command. It is what main calls and what tests call; nothing below it ends
// the process.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	a := &app{stdin: stdin, stdout: stdout, stderr: stderr}
	root := a.root()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	var usage usageError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errFindings):
		return exitFindings
	}
	fmt.Fprintln(stderr, "afterbell:", strings.TrimRight(err.Error(), "\n"))
	if errors.As(err, &usage) {
		return exitUsage
	}
	return exitFailed
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "afterbell",
		Short: "Robot logs in, match sheets out",
		Long: `Afterbell stores what a robot logged in a match and says what happened in it: jams in
the piece path, brownouts, slow cycles and balance attempts, with causes and evidence.

` + exitHelp,
		Example:       "  afterbell demo\n  afterbell analyze q14.csv --profile robot.yaml",
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return c.Help()
		},
	}
	data := os.Getenv("AFTERBELL_DATA")
	if data == "" {
		data = "afterbell-data"
	}
	root.PersistentFlags().StringVar(&a.dataDir, "data", data, "data `folder` (or AFTERBELL_DATA)")
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return usagef("%w; see `%s --help`", err, c.CommandPath())
	})
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(
		a.demoCommand(), a.importCommand(), a.analyzeCommand(), a.serveCommand(), a.simulateCommand(),
		a.exportCommand(), a.verifyCommand(), a.profileCommand(), a.versionCommand(),
	)
	return root
}

// noArgs refuses arguments, and tells a mistyped command from a mistyped argument.
func noArgs(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if c.HasSubCommands() {
		hint := ""
		if near := c.SuggestionsFor(args[0]); len(near) > 0 {
			hint = fmt.Sprintf("; nearest is %q", near[0])
		}
		return usagef("no command %q%s; see `%s --help`", args[0], hint, c.CommandPath())
	}
	return usagef("%q is one argument too many; see `%s --help`", args[0], c.CommandPath())
}

// someArgs asks for at least n arguments, named by what.
func someArgs(n int, what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) < n {
			return usagef("%s is missing; see `%s --help`", what, c.CommandPath())
		}
		return nil
	}
}

// oneArg asks for exactly one argument, named by what.
func oneArg(what string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return usagef("%s is missing; see `%s --help`", what, c.CommandPath())
		case len(args) > 1:
			return usagef("%q is one argument too many; see `%s --help`", args[1], c.CommandPath())
		}
		return nil
	}
}
