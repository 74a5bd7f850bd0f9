// Package apart does work on bytes that may be made to do harm in a process of its own: this
// program, started again. It can take too much memory, never end or die of a panic no recover
// catches; then that process is gone, and the one that asked gets an error.
//
// The process apart has a limit of memory and of time. On unix it is the kernel's limit on
// data and processor time, on Windows that of a job object; besides, a watchman in the
// process itself ends it, which is all there is where the kernel has no such limit (macOS).
package apart

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

// Limits of a process apart. A field that is 0 has its default.
type Limits struct {
	Memory int64         // bytes; 2 GiB
	Time   time.Duration // 2 minutes
}

func (l Limits) orDefault() Limits {
	if l.Memory == 0 {
		l.Memory = 2 << 30
	}
	if l.Time == 0 {
		l.Time = 2 * time.Minute
	}
	return l
}

// Work is what is done apart: it reads the file in and writes to out. What it returns is for
// the process that asked, if out cannot carry it.
type Work func(in *os.File, out io.Writer) error

// What a process apart is told.
const (
	workVar   = "AFTERBELL_APART"
	memoryVar = "AFTERBELL_APART_MEMORY"
	timeVar   = "AFTERBELL_APART_SECONDS"
)

// Exit statuses of a process apart.
const (
	exitDone   = 0
	exitFailed = 1
	exitMemory = 97
)

// serving is whether this program does its work when it is started again. A program that does
// not call Serve, as a test may, must not be started: it would begin all over.
var serving atomic.Bool

// Serve is called first thing in main. In a process that was started to do one of works it
// does that and does not return.
func Serve(works map[string]Work) {
	name, asked := os.LookupEnv(workVar)
	if !asked {
		serving.Store(true)
		return
	}
	work := works[name]
	if work == nil {
		fmt.Fprintf(os.Stderr, "no work %q\n", name)
		os.Exit(exitFailed)
	}
	memory, _ := strconv.ParseInt(os.Getenv(memoryVar), 10, 64)
	seconds, _ := strconv.ParseInt(os.Getenv(timeVar), 10, 64)
	if memory <= 0 || seconds <= 0 {
		os.Exit(exitFailed)
	}
	debug.SetTraceback("none")
	debug.SetMemoryLimit(memory / 2) // collect harder before the limit is met
	limitSelf(memory, seconds)
	go watch(memory, time.Duration(seconds)*time.Second)
	if err := work(os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(exitFailed)
	}
	os.Exit(exitDone)
}

// watch ends the process when it takes more memory, or longer, than it may.
func watch(memory int64, most time.Duration) {
	sample := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	for end := time.Now().Add(most); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		metrics.Read(sample)
		if int64(sample[0].Value.Uint64()-sample[1].Value.Uint64()) > memory {
			os.Exit(exitMemory)
		}
	}
	os.Exit(exitFailed)
}

// Error says how a process apart ended before its work was done.
type Error struct{ What string }

func (e *Error) Error() string { return e.What }

// Run does a work on file in a process apart and hands what it writes to use. The error is
// that of use, unless the process died: then an *Error. Where this program does not serve, the
// work is done here, as well as that goes: a panic is an *Error, and there are no limits.
func Run(ctx context.Context, name string, works map[string]Work, file *os.File, limits Limits, use func(io.Reader) error) error {
	limits = limits.orDefault()
	if !serving.Load() {
		return here(works[name], file, use)
	}
	program, err := self()
	if err != nil {
		return fmt.Errorf("start this program again: %w", err)
	}
	timed, cancel := context.WithTimeout(ctx, limits.Time)
	defer cancel()
	cmd := exec.CommandContext(timed, program)
	cmd.Args[0] = "afterbell-apart"
	cmd.Env = append(os.Environ(), workVar+"="+name, memoryVar+"="+strconv.FormatInt(limits.Memory, 10),
		timeVar+"="+strconv.FormatInt(int64(limits.Time/time.Second)+1, 10))
	cmd.Stdin = file
	var talk tail
	cmd.Stderr = &talk
	cmd.WaitDelay = 5 * time.Second
	out, err := cmd.StdoutPipe()
	if err != nil {
		return fmt.Errorf("start this program again: %w", err)
	}
	release, err := start(cmd, limits.Memory)
	if err != nil {
		return fmt.Errorf("start this program again: %w", err)
	}
	defer release()
	used := use(out)
	if used != nil {
		cancel() // what is still to come is of no use
	}
	out.Close()
	waited := cmd.Wait()
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(timed.Err(), context.DeadlineExceeded):
		return &Error{fmt.Sprintf("it takes longer than %s", limits.Time)}
	case used != nil && !errors.Is(used, io.ErrUnexpectedEOF):
		return used
	case waited == nil && used == nil:
		return nil
	default:
		return &Error{ending(cmd, talk.String(), limits)}
	}
}

// ending words the end of a process that did not finish its work.
func ending(cmd *exec.Cmd, talk string, limits Limits) string {
	code := cmd.ProcessState.ExitCode()
	switch {
	case code == exitMemory, strings.Contains(talk, "out of memory"), strings.Contains(talk, "cannot allocate memory"):
		return fmt.Sprintf("it takes more than %d MiB of memory", limits.Memory>>20)
	case strings.Contains(talk, "panic: "):
		_, what, _ := strings.Cut(talk, "panic: ")
		what, _, _ = strings.Cut(what, "\n")
		return what
	case talk != "":
		what, _, _ := strings.Cut(talk, "\n")
		return what
	default:
		return "its reader ended with " + cmd.ProcessState.String()
	}
}

// here does the work in this process.
func here(work Work, file *os.File, use func(io.Reader) error) error {
	in, out := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := guarded(work, file, out)
		out.CloseWithError(err)
		done <- err
	}()
	used := use(in)
	in.CloseWithError(errors.New("nobody reads"))
	worked := <-done
	if used != nil && !errors.Is(used, io.ErrUnexpectedEOF) {
		return used
	}
	if worked != nil {
		return &Error{worked.Error()}
	}
	return used
}

func guarded(work Work, file *os.File, out io.Writer) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v", p)
		}
	}()
	return work(file, out)
}

// self is the path of this program. On Linux it is the program that runs, even if the file
// was replaced meanwhile.
func self() (string, error) {
	if runtime.GOOS == "linux" {
		if _, err := os.Stat("/proc/self/exe"); err == nil {
			return "/proc/self/exe", nil
		}
	}
	return os.Executable()
}

// tail keeps the beginning of what a process says.
type tail struct{ bytes.Buffer }

func (t *tail) Write(p []byte) (int, error) {
	if room := 4096 - t.Len(); room > 0 {
		t.Buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}
