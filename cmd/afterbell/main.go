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

	"github.com/afterbell/afterbell/ingest"
)

// version is set by releases (-ldflags "-X main.version=...").
var version = "dev"

func main() {
	ingest.ServeApart()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second interrupt ends the process at once
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
	notes          []string
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
		a.sayNotes()
		return exitDone
	case errors.Is(err, errFindings):
		a.sayNotes()
		return exitFindings
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		err = errors.New("interrupted: what was not finished is not stored; run the command again")
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
	root.SetFlagErrorFunc(flagError)
	root.SetHelpCommand(helpCommand())
	root.CompletionOptions.HiddenDefaultCmd = true
	root.AddCommand(
		a.demoCommand(),
		a.collectCommand(),
		a.importCommand(),
		a.watchCommand(),
		a.analyzeCommand(),
		a.serveCommand(),
		a.simulateCommand(),
		a.exportCommand(),
		a.replayCommand(), a.precheckCommand(),
		a.verdictCommand(),
		a.noteCommand(),
		a.seasonCommand(),
		a.fleetCommand(),
		a.partsCommand(),
		a.verifyCommand(),
		a.renameCommand(),
		a.deleteCommand(),
		a.backupCommand(),
		a.profileCommand(),
		a.versionCommand(),
	)
	return root
}
