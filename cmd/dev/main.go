// Command dev is the one way to set up, test, check, measure and release this project, the
// same on Windows, macOS and Linux:
//
//	go run ./cmd/dev demo     build the pages, then run `afterbell demo`
//	go run ./cmd/dev test     set up and run every test
//	go run ./cmd/dev check    vet, staticcheck, gofumpt, types, links in documents
//	go run ./cmd/dev bench    benchmarks, each beside a peer in the same run; the bench in a browser
//	go run ./cmd/dev release  binaries for Windows, macOS and Linux
//	go run ./cmd/dev pages    build the pages only
//	go run ./cmd/dev logs     make the sample logs again
//	go run ./cmd/dev score    how well the analyses do on simulated matches
//
// It imports nothing that embeds built pages, so that it runs on a fresh clone.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"strings"
)

// Tools are pinned here and nowhere else.
const (
	staticcheck = "honnef.co/go/tools/cmd/staticcheck@v0.8.2"
	gofumpt     = "mvdan.cc/gofumpt@v0.12.0"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Stdout, os.Stderr))
}

// run does one command and returns the exit status: 0 done, 1 something failed, 2 no such
// command or a mistake in its arguments.
func run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	commands := map[string]func(*dev, []string) error{
		"demo": (*dev).demo, "test": (*dev).test, "check": (*dev).check, "bench": (*dev).bench,
		"release": (*dev).release, "pages": (*dev).pages, "logs": (*dev).logs, "score": (*dev).score,
	}
	if len(args) == 0 || commands[args[0]] == nil {
		fmt.Fprintln(stderr, "usage: go run ./cmd/dev demo|test|check|bench|release|pages|logs|score")
		return 2
	}
	root, err := projectRoot()
	if err != nil {
		fmt.Fprintln(stderr, "dev:", err)
		return 1
	}
	d := &dev{ctx: ctx, root: root, stdout: stdout, stderr: stderr}
	if err := commands[args[0]](d, args[1:]); err != nil {
		if !errors.Is(err, errShown) {
			fmt.Fprintln(stderr, "dev:", err)
		}
		if errors.As(err, &usageError{}) {
			return 2
		}
		return 1
	}
	return 0
}

// usageError is a mistake in the arguments.
type usageError struct{ error }

// errShown is returned when what went wrong is already on the screen.
var errShown = errors.New("shown")

type dev struct {
	ctx            context.Context
	root           string
	stdout, stderr io.Writer
}

// projectRoot is the folder of go.mod, from wherever the command is run.
func projectRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for d := dir; ; d = filepath.Dir(d) {
		if _, err := os.Stat(filepath.Join(d, "go.mod")); err == nil {
			return d, nil
		}
		if d == filepath.Dir(d) {
			return "", fmt.Errorf("no go.mod at or above %s: run this inside the project", dir)
		}
	}
}

func (d *dev) say(format string, a ...any) { fmt.Fprintf(d.stderr, "· "+format+"\n", a...) }

// exec runs a program in a folder of the project with its output on the screen.
func (d *dev) exec(dir string, env []string, name string, args ...string) error {
	cmd := d.command(dir, env, name, args...)
	cmd.Stdout, cmd.Stderr, cmd.Stdin = d.stdout, d.stderr, os.Stdin
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("%s %s: %w", name, strings.Join(args, " "), err)
	}
	return nil
}

func (d *dev) command(dir string, env []string, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(d.ctx, name, args...)
	cmd.Dir = filepath.Join(d.root, dir)
	cmd.Env = append(os.Environ(), env...)
	return cmd
}

func npm() string {
	if runtime.GOOS == "windows" {
		return "npm.cmd"
	}
	return "npm"
}

// demo builds the pages, then is `afterbell demo`. Without npm the pages that need a
// script are left out and everything else runs.
func (d *dev) demo(args []string) error {
	if err := d.pages(nil); err != nil {
		d.say("the pages' scripts were not built (%v); every sheet still works without them", err)
	}
	bin, err := d.build()
	if err != nil {
		return err
	}
	cmd := d.command(".", nil, bin, append([]string{"demo"}, args...)...)
	cmd.Stdout, cmd.Stderr, cmd.Stdin = d.stdout, d.stderr, os.Stdin
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	err = cmd.Run()
	var exit *exec.ExitError
	if d.ctx.Err() != nil || errors.As(err, &exit) {
		return errors.Join(errShown, d.ctx.Err())
	}
	return err
}

// build makes the afterbell binary in a scratch folder that go's cache keeps quick.
func (d *dev) build() (string, error) {
	name := "afterbell"
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	bin := filepath.Join(os.TempDir(), "afterbell-dev", name)
	d.say("building afterbell")
	return bin, d.exec(".", nil, "go", "build", "-o", bin, "./cmd/afterbell")
}

func (d *dev) logs([]string) error {
	return d.exec(".", nil, "go", "run", "./sample-logs/make")
}
