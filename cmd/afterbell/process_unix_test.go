//go:build unix

package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/home"
)

// child is the command in a process of its own.
type child struct {
	*exec.Cmd
	stdout, stderr bytes.Buffer
}

func newChild(args ...string) *child {
	c := &child{Cmd: exec.Command(os.Args[0], args...)}
	c.Env = append(os.Environ(), asCommand+"=1")
	c.Stdout, c.Stderr = &c.stdout, &c.stderr
	return c
}

// start starts it, and sees to it that it does not outlive the test.
func (c *child) start(t testing.TB) {
	t.Helper()
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill() })
}

// outcome waits for its end. The status is -1 when a signal ended it.
func (c *child) outcome(t testing.TB) outcome {
	t.Helper()
	var exit *exec.ExitError
	if err := c.Wait(); err != nil && !errors.As(err, &exit) {
		require.NoError(t, err)
	}
	return outcome{c.ProcessState.ExitCode(), c.stdout.String(), c.stderr.String()}
}

func (c *child) run(t testing.TB) outcome {
	t.Helper()
	c.start(t)
	return c.outcome(t)
}

// pipeLog is a log that is a named pipe: the command that reads it waits for the test.
func pipeLog(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "q14.csv")
	require.NoError(t, syscall.Mkfifo(path, 0o644))
	return path
}

// importing starts an import that is in the middle of reading its log, with the data
// folder locked, and returns what the log is written into.
func importing(t testing.TB, data string) (*child, io.WriteCloser) {
	t.Helper()
	require.NoError(t, os.MkdirAll(data, 0o755)) // so that it is locked before the log is read
	path := pipeLog(t)
	c := newChild("import", path, "--profile", sample("curlew.yaml"), "--data", data, "--season", "2031", "--event", "millbrook-open")
	c.start(t)
	log, err := os.OpenFile(path, os.O_WRONLY, 0) // waits for the other side
	require.NoError(t, err)
	_, err = io.WriteString(log, "time_s,signal,value\n0,power/voltage,12.5\n")
	require.NoError(t, err)
	return c, log
}

func TestTheSecondWriterNamesTheFirst(t *testing.T) {
	data := dataFolder(t)
	first, log := importing(t, data)
	owner := fmt.Sprintf("is being written by process %d", first.Process.Pid)
	args := []string{"import", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--data", data}
	failed(t, afterbell(args...), exitFailed, data+" "+owner, "wait for it to end or stop it")
	failed(t, newChild(args...).run(t), exitFailed, data+" "+owner)
	failed(t, afterbell("verify", "--rebuild", "--data", data), exitFailed, owner)
	done(t, afterbell("verify", "--data", data)) // reading needs no lock

	_, err := io.WriteString(log, "1,power/voltage,12.4\n")
	require.NoError(t, err)
	require.NoError(t, log.Close())
	o := done(t, first.outcome(t))
	assert.Contains(t, o.stdout, "2031/millbrook-open/q14/curlew: ")
	done(t, afterbell(args...))
}

func TestAnInterruptedImportLeavesNothing(t *testing.T) {
	for _, s := range []os.Signal{os.Interrupt, syscall.SIGTERM} {
		data := dataFolder(t)
		c, log := importing(t, data)
		require.NoError(t, c.Process.Signal(s))
		// It sees the signal when it reads on, for which it is given rows until it reads no more.
		var err error
		for i := 0; err == nil; i++ {
			_, err = fmt.Fprintf(log, "%d,power/voltage,12.5\n", i)
		}
		require.ErrorIs(t, err, syscall.EPIPE)
		failed(t, c.outcome(t), exitFailed, "interrupted: what was not finished is not stored")
		requireEmpty(t, data)
	}
}

// requireEmpty checks that a data folder holds its locks and nothing else.
func requireEmpty(t testing.TB, data string) {
	t.Helper()
	entries, err := os.ReadDir(data)
	require.NoError(t, err)
	for _, e := range entries {
		require.True(t, home.IsLock(e.Name()), e.Name())
	}
}

// A command that waits for a log that does not come is ended by a second interrupt.
func TestASecondInterruptEndsACommandThatWaits(t *testing.T) {
	data := dataFolder(t)
	c, log := importing(t, data)
	defer log.Close()
	ended := make(chan outcome, 1)
	go func() { ended <- c.outcome(t) }()
	for signals := 0; ; signals++ {
		select {
		case o := <-ended:
			if o.code != -1 { // it saw the first in time, between two readings
				failed(t, o, exitFailed, "interrupted")
			}
			assert.Positive(t, signals)
			requireEmpty(t, data)
			return
		default:
			_ = c.Process.Signal(os.Interrupt)
			runtime.Gosched()
		}
	}
}

// kill -9 at any moment: while the log is read, and as often as it goes while the match is
// written. The next import finds nothing of it, or all, and works.
func TestAKilledImportLeavesNoHalfMatch(t *testing.T) {
	t.Parallel()
	data := dataFolder(t)
	c, log := importing(t, data)
	defer log.Close()
	require.NoError(t, c.Process.Kill())
	c.outcome(t)
	requireEmpty(t, data)

	args := []string{"import", sample("jam-stuck.csv.zst"), "--profile", sample("heron.yaml"), "--data", data, "--season", "2031", "--match", "q14", "--replace"}
	for files := range 16 {
		c := newChild(args...)
		c.start(t)
		ended := make(chan outcome, 1)
		go func() { ended <- c.outcome(t) }()
		for underWay(data) < files && len(ended) == 0 {
			runtime.Gosched()
		}
		_ = c.Process.Kill()
		<-ended
		h, err := home.Open(data)
		require.NoError(t, err)
		ids, err := h.List()
		require.NoError(t, err)
		for _, id := range ids {
			problems, err := h.Verify(id)
			require.NoError(t, err)
			require.Empty(t, problems, "killed with %d files written", files)
		}
	}
	done(t, afterbell(args...))
	requireWhole(t, data)
	done(t, afterbell("analyze", "q14", "--data", data))
}

// underWay is how many files of a match that is being written are there.
func underWay(data string) int {
	n := 0
	dirs, _ := filepath.Glob(filepath.Join(data, ".incoming-*"))
	for _, dir := range dirs {
		files, _ := os.ReadDir(dir)
		n += len(files)
	}
	return n
}

// fileLimit is the largest file in bytes that a child may write, as on a disk that is full.
const fileLimit = "AFTERBELL_TEST_FILE_LIMIT"

func limitFiles() {
	if text := os.Getenv(fileLimit); text != "" {
		n, err := strconv.ParseUint(text, 10, 63)
		if err == nil {
			err = syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: n})
		}
		if err != nil {
			panic(err)
		}
	}
}

// A disk that takes no more: whichever file of the match it is that does not fit, the error
// says so, nothing of the match is left, and what was stored before is still there.
func TestADiskThatIsFull(t *testing.T) {
	empty, full := dataFolder(t), dataFolder(t)
	require.NoError(t, os.MkdirAll(empty, 0o755))
	stored(t, full, "rookie.csv.gz", "curlew.yaml")
	before := contents(t, full)
	for _, limit := range []int{0, 1, 100, 1000, 30_000, 100_000, 300_000} { // the lock, the samples, the sheet
		for _, data := range []string{empty, full} {
			c := newChild("import", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--data", data, "--season", "2031", "--match", "q15")
			c.Env = append(c.Env, fileLimit+"="+strconv.Itoa(limit))
			failed(t, c.run(t), exitFailed, "file too large")
		}
		requireEmpty(t, empty)
		assert.Equal(t, before, contents(t, full), "limit of %d bytes", limit)
		c := newChild("analyze", "q14", "--again", "--data", full)
		c.Env = append(c.Env, fileLimit+"="+strconv.Itoa(limit))
		failed(t, c.run(t), exitFailed, "file too large")
		assert.Equal(t, before, contents(t, full), "limit of %d bytes", limit)
	}
	for _, args := range [][]string{
		{"export", "q14", "--data", full, "--format", "csv", "--out"},
		{"export", "q14", "--data", full, "--format", "parquet", "--out"},
		{"export", "q14", "--data", full, "--format", "arrow", "--out"},
		{"analyze", "q14", "--data", full, "--html"},
	} {
		out := written(t, "out", "old")
		c := newChild(append(args, out)...)
		c.Env = append(c.Env, fileLimit+"=10000")
		failed(t, c.run(t), exitFailed, "writing "+out, "file too large")
		assert.Equal(t, "old", readText(t, out), "what was there is still there")
		entries, err := os.ReadDir(filepath.Dir(out))
		require.NoError(t, err)
		assert.Len(t, entries, 1, "and nothing beside it")
	}
	done(t, importAs(t, full, "q15", sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
}

// asNobody makes the child one of a user who may read and write only what all may, in a
// folder that all can reach. The superuser, as whom tests may run, may do everything.
func asNobody(t testing.TB, c *child) *child {
	t.Helper()
	if os.Geteuid() != 0 {
		return c
	}
	c.Path = filepath.Join(openFolder(t), "afterbell")
	program, err := os.ReadFile(os.Args[0])
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(c.Path, program, 0o755))
	const nobody = 65534
	c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
	return c
}

// openFolder is a folder that every user can read.
func openFolder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "afterbell-test-*")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	return dir
}

func chmodFolders(t testing.TB, dir string, mode fs.FileMode) {
	require.NoError(t, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.IsDir() {
			return err
		}
		return os.Chmod(path, mode)
	}))
}

func TestWhatMayNotBeReadOrWritten(t *testing.T) {
	dir := openFolder(t)
	place := func(name string, mode fs.FileMode) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, readSample(t, name), 0o644))
		require.NoError(t, os.Chmod(path, mode))
		return path
	}
	log, profile := place("rookie.csv.gz", 0o444), place("curlew.yaml", 0o444)
	lockedLog, lockedProfile := place("clean.csv.gz", 0), place("heron.yaml", 0)
	readOnly := filepath.Join(dir, "data")
	stored(t, readOnly, "rookie.csv.gz", "curlew.yaml")
	require.NoError(t, os.Remove(filepath.Join(readOnly, ".lock-moving")))
	require.NoError(t, os.Remove(filepath.Join(readOnly, ".lock"))) // it is as good as new, and its owner may write it
	chmodFolders(t, readOnly, 0o555)
	t.Cleanup(func() { chmodFolders(t, readOnly, 0o755) })
	before := contents(t, readOnly)
	denied := func(code int, says string, args ...string) {
		t.Helper()
		failed(t, asNobody(t, newChild(args...)).run(t), code, says, "permission denied")
	}
	denied(exitFailed, lockedLog, "analyze", lockedLog, "--profile", profile)
	denied(exitUsage, lockedProfile, "analyze", log, "--profile", lockedProfile)
	denied(exitFailed, readOnly, "import", log, "--profile", profile, "--data", readOnly)
	denied(exitFailed, readOnly, "analyze", "q14", "--again", "--data", readOnly)
	denied(exitFailed, readOnly, "verify", "--rebuild", "--data", readOnly)
	denied(exitFailed, readOnly, "export", "q14", "--data", readOnly, "--out", filepath.Join(readOnly, "q14.csv"))
	below := filepath.Join(readOnly, "new")
	denied(exitFailed, below, "import", log, "--profile", profile, "--data", below)
	assert.Equal(t, before, contents(t, readOnly))

	// To read it is enough to be allowed to read.
	want := done(t, afterbell("analyze", "q14", "--json", "--data", readOnly)).stdout
	assert.Equal(t, want, done(t, asNobody(t, newChild("analyze", "q14", "--json", "--data", readOnly)).run(t)).stdout)
	done(t, asNobody(t, newChild("verify", "--data", readOnly)).run(t))
}

// A device that takes nothing (full(4)): results that did not arrive are a failure.
func TestResultsThatDoNotArrive(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	curlew := sample("curlew.yaml")
	for _, args := range [][]string{
		{"analyze", "q14"},
		{"analyze", "q14", "--json"},
		{"export", "q14"},
		{"export", "q14", "--format", "parquet"},
		{"export", "q14", "--format", "arrow"},
		{"verify"},
		{"verify", "--json"},
		{"version"},
		{"version", "--json"},
		{"simulate", "--list"},
		{"profile", "check", curlew},
		{"profile", "check", curlew, "--json"},
		{"import", sample("rookie.csv.gz"), "--profile", curlew, "--match", "q15", "--season", "2031"},
		{"import", sample("rookie.csv.gz"), "--profile", curlew, "--match", "q16", "--season", "2031", "--json"},
		{"serve", "--listen", "127.0.0.1:0"},
	} {
		var talk bytes.Buffer
		code := run(t.Context(), append([]string{"--data", data}, args...), strings.NewReader(""), fullDevice{}, &talk)
		failed(t, outcome{code: code, stderr: talk.String()}, exitFailed, "no space left on device")
	}
	done(t, afterbell("verify", "q15", "q16", "--data", data)) // stored all the same
}

type fullDevice struct{}

func (fullDevice) Write([]byte) (int, error) {
	return 0, &fs.PathError{Op: "write", Path: "/dev/stdout", Err: syscall.ENOSPC}
}

// Who reads the results may stop reading (head, a pager): the command ends quietly, as
// others do, and what it stored is whole.
func TestAReaderThatStopsReading(t *testing.T) {
	data := dataFolder(t)
	out, in, err := os.Pipe()
	require.NoError(t, err)
	require.NoError(t, out.Close())
	for _, args := range [][]string{
		{"import", sample("rookie.csv.gz"), "--profile", sample("curlew.yaml"), "--season", "2031", "--match", "q14"},
		{"export", "q14"},
		{"analyze", "q14"},
	} {
		c := newChild(append([]string{"--data", data}, args...)...)
		c.Stdout = in
		o := c.run(t)
		assert.Equal(t, -1, o.code)
		assert.Equal(t, syscall.SIGPIPE, c.ProcessState.Sys().(syscall.WaitStatus).Signal())
		assert.Empty(t, o.stderr)
	}
	require.NoError(t, in.Close())
	done(t, afterbell("verify", "q14", "--data", data))
}

// A log that comes through a pipe needs no file. One that must be read twice cannot be.
func TestALogFromAPipe(t *testing.T) {
	feed := func(text string) (path string) {
		path = pipeLog(t)
		go func() {
			if log, err := os.OpenFile(path, os.O_WRONLY, 0); err == nil {
				_, _ = io.WriteString(log, text)
				_ = log.Close()
			}
		}()
		return path
	}
	r := analyzed(t, feed(string(unpacked(t, "rookie.csv.gz"))), "--profile", sample("curlew.yaml"))
	assert.Equal(t, analyzed(t, sample("rookie.csv.gz"), "--profile", sample("curlew.yaml")).From.SignalsSHA256, r.From.SignalsSHA256)
	const contradicts = "time_s,signal,value\n2,a,on\n1,a,2\n"
	failed(t, afterbell("analyze", feed(contradicts), "--profile", sample("curlew.yaml")), exitFailed, "a pipe cannot be read a second time", "save it to a file first")
}
