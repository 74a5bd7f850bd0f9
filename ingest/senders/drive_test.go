// Package senders holds a sender for each of several languages, a file each, without
// dependencies. The tests run them as a robot would, against the collector itself and
// against a stand-in that makes trouble.
package senders

import (
	"bufio"
	"crypto/sha1"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
)

// long is for what must come, and would be a failure if it did not.
const long = 60 * time.Second

// language is one that there is a sender for. build makes the program of testdata in a
// folder, to be tested or to be quick, and returns the command that runs it.
type language struct {
	name  string
	tools []string // one of each list must be there
	hint  string
	file  bool // it can keep its spool in a file
	tls   bool // it speaks wss://
	finds bool // it finds a collector in the network

	library bool // its WebSocket is one of the language's own library
	build   func(dir string, tools []string, quick bool) ([]string, error)

	once    sync.Once
	command []string
	err     error
	missing string
}

var languages = []*language{
	{
		name: "python", tools: []string{"python3 python"}, hint: "Python 3.9 or later", file: true, tls: true, finds: true,
		build: func(_ string, tools []string, quick bool) ([]string, error) {
			if quick {
				return []string{tools[0], "-B", filepath.Join("testdata", "drive.py")}, nil
			}
			return []string{tools[0], "-B", "-X", "dev", "-W", "error", filepath.Join("testdata", "drive.py")}, nil
		},
	},
	{
		name: "java", tools: []string{"javac", "java"}, hint: "a JDK, 17 or later", file: true, tls: true, library: true,
		build: func(dir string, tools []string, quick bool) ([]string, error) {
			err := built(tools[0], "--release", "17", "-Xlint:all", "-Werror", "-d", dir, "AfterbellSender.java", filepath.Join("testdata", "Drive.java"))
			if quick {
				return []string{tools[1], "-cp", dir, "Drive"}, err
			}
			return []string{tools[1], "-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-cp", dir, "Drive"}, err // starts sooner
		},
	},
	{
		name: "c++", tools: []string{"g++ clang++ c++"}, hint: "g++, or another compiler of C++17",
		build: func(dir string, tools []string, quick bool) ([]string, error) {
			bin := filepath.Join(dir, "drive")
			args := []string{"-std=c++17", "-Wall", "-Wextra", "-Wpedantic", "-Wshadow", "-Wconversion", "-Wsign-conversion", "-Werror", "-pthread"}
			if quick {
				args = append(args, "-O2")
			} else {
				args = append(args, "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
			}
			return []string{bin}, built(tools[0], append(args, "-o", bin, filepath.Join("testdata", "drive.cpp"))...)
		},
	},
}

// built runs a compiler, whose warnings are errors.
func built(name string, args ...string) error {
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%s %v: %w\n%s", name, args, err, out)
	}
	return nil
}

// tool is the first of the named programs that is on this machine.
func tool(names string) string {
	for name := range strings.FieldsSeq(names) {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// scratch is where programs are built; TestMain removes it.
var scratch string

func (l *language) prepare() { l.command, l.err = l.made(false) }

func (l *language) made(quick bool) ([]string, error) {
	var found []string
	for _, names := range l.tools {
		path := tool(names)
		if path == "" {
			l.missing = fmt.Sprintf("no %s on this machine: the %s sender is not tested; install %s", names, l.name, l.hint)
			return nil, nil
		}
		found = append(found, path)
	}
	dir, err := os.MkdirTemp(scratch, "")
	if err != nil {
		return nil, err
	}
	return l.build(dir, found, quick)
}

// each runs a test for every language. A language that this machine lacks is skipped, and
// fails under CI.
func each(t *testing.T, test func(t *testing.T, l *language)) {
	eachOf(t, func(*language) bool { return true }, test)
}

// eachOf is each for the languages whose sender has what is tested.
func eachOf(t *testing.T, has func(*language) bool, test func(t *testing.T, l *language)) {
	t.Parallel()
	for _, l := range languages {
		if !has(l) {
			continue
		}
		t.Run(l.name, func(t *testing.T) {
			t.Parallel()
			l.once.Do(l.prepare)
			if l.missing != "" {
				if os.Getenv("CI") == "true" {
					t.Fatal(l.missing)
				}
				t.Skip(l.missing)
			}
			require.NoError(t, l.err)
			test(t, l)
		})
	}
}

// robot is a program of testdata that runs. It is told what to do a line at a time:
//
//	signal KIND NAME                      the next signal, from 0 on; names and texts are hex of UTF-8
//	float64|int64|bool|text I TIME VALUE  records a sample of signal I; a float64 is hex of its bits
//	broken I TIME                         records a text that is no Unicode
//	match STATE EVENT MATCH TIME          - for what is left out
//	error I, now, stats, close SECONDS    answer in a line
//	frame OPCODE MASK PAYLOAD, accept KEY show how RFC 6455 is done, where it is not a library
//	collectors PACKET SERVICE             shows what a packet of multicast DNS tells of
//	bench ROUNDS                          measures
type robot struct {
	t     testing.TB
	cmd   *exec.Cmd
	in    *bufio.Writer
	pipe  io.Closer
	lines chan string
	said  *said
	first string // "ready", or why not
}

// said is what a program logs.
type said struct {
	mu sync.Mutex
	b  strings.Builder
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// launch starts the program; its first line says whether it could make a sender.
func (l *language) launch(t testing.TB, url string, args ...string) *robot {
	t.Helper()
	all := append(append([]string{}, l.command[1:]...), "--url", url, "--robot", "heron")
	r := &robot{t: t, cmd: exec.Command(l.command[0], append(all, args...)...), lines: make(chan string, 16), said: &said{}}
	r.cmd.Stderr = r.said
	in, err := r.cmd.StdinPipe()
	require.NoError(t, err)
	out, err := r.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, r.cmd.Start())
	r.in, r.pipe = bufio.NewWriter(in), in
	go func() {
		defer close(r.lines)
		s := bufio.NewScanner(out)
		s.Buffer(nil, 1<<20)
		for s.Scan() {
			r.lines <- s.Text()
		}
	}()
	t.Cleanup(r.end)
	r.first = r.line()
	return r
}

// start is launch for a sender that must be.
func (l *language) start(t testing.TB, url string, args ...string) *robot {
	t.Helper()
	r := l.launch(t, url, args...)
	require.Equal(t, "ready", r.first, r.said)
	return r
}

// end lets the program end, kills it if it does not, and shows what it logged if the test
// failed. A program that complains of something unexpected fails the test.
func (r *robot) end() {
	_ = r.pipe.Close()
	timer := time.AfterFunc(10*time.Second, func() { _ = r.cmd.Process.Kill() })
	for range r.lines {
	}
	_ = r.cmd.Wait()
	timer.Stop()
	log := r.said.String()
	if r.t.Failed() {
		r.t.Logf("it logged:\n%s", log)
	}
	for _, bad := range []string{"Traceback", "Exception in thread", "ResourceWarning", "Sanitizer", "runtime error"} {
		if strings.Contains(log, bad) {
			r.t.Errorf("%s", log)
		}
	}
}

// kill is SIGKILL, or what stands for it.
func (r *robot) kill() {
	require.NoError(r.t, r.cmd.Process.Kill())
	for range r.lines {
	}
}

func (r *robot) do(format string, args ...any) {
	r.t.Helper()
	_, err := fmt.Fprintf(r.in, format+"\n", args...)
	require.NoError(r.t, err, r.said)
}

func (r *robot) flush() {
	r.t.Helper()
	require.NoError(r.t, r.in.Flush(), r.said)
}

// line is the next line the program says.
func (r *robot) line() string {
	r.t.Helper()
	select {
	case line, ok := <-r.lines:
		require.True(r.t, ok, "the program has ended: %s", r.said)
		return line
	case <-time.After(long):
		require.Fail(r.t, "the program says nothing", r.said)
		return ""
	}
}

func (r *robot) ask(format string, args ...any) string {
	r.t.Helper()
	r.do(format, args...)
	r.flush()
	return r.line()
}

// stats are a sender's counts.
type stats struct {
	Recorded, Acked, Waiting, Dropped, Unfit, Lost, Refused, Batches, Connects, Earlier int

	Spooled   int `json:"spooled_bytes"`
	Connected bool
	Trouble   string
}

func (r *robot) stats() stats {
	r.t.Helper()
	var s stats
	text := r.ask("stats")
	require.NoError(r.t, json.Unmarshal([]byte(text), &s), text)
	require.Equal(r.t, s.Recorded, s.Acked+s.Waiting+s.Lost+s.Refused, text)
	return s
}

// until waits until the stats are so.
func (r *robot) until(what string, is func(stats) bool) stats {
	r.t.Helper()
	for deadline := time.Now().Add(long); ; time.Sleep(5 * time.Millisecond) {
		s := r.stats()
		if is(s) {
			return s
		}
		require.True(r.t, time.Now().Before(deadline), "never: %s; %+v", what, s)
	}
}

// close closes the sender, which must be rid of everything.
func (r *robot) close() {
	r.t.Helper()
	require.Equal(r.t, "closed true", r.ask("close 50"), r.said)
}

func (r *robot) signal(kind schemas.Kind, name string) {
	r.t.Helper()
	r.do("signal %s %s", kind, hex.EncodeToString([]byte(name)))
}

// record records a value of signal i.
func (r *robot) record(i int, at int64, value any) {
	r.t.Helper()
	switch v := value.(type) {
	case float64:
		r.do("float64 %d %d %016x", i, at, math.Float64bits(v))
	case string:
		r.do("text %d %d %s", i, at, hex.EncodeToString([]byte(v)))
	case int64:
		r.do("int64 %d %d %d", i, at, v)
	default:
		r.do("bool %d %d %v", i, at, v)
	}
}

// key is what is unique in a boot.
type key struct {
	signal string
	time   int64
}

// bits is a value such that equal bits are equal. All NaN are one: on the wire it is a word.
func bits(v any) any {
	f, ok := v.(float64)
	switch {
	case ok && math.IsNaN(f):
		return "not a number"
	case ok:
		return math.Float64bits(f)
	}
	return v
}

// script is what a robot records in a test, and what must arrive of it.
type script struct {
	want map[key]any
	n    int64
}

func newScript() *script { return &script{want: map[key]any{}} }

// begin declares the four signals of a script.
func (w *script) begin(r *robot) {
	r.signal(schemas.Float64, "power/voltage [V]")
	r.signal(schemas.Int64, "game/score")
	r.signal(schemas.Bool, "path/mouth/beam")
	r.signal(schemas.Text, "robot/mode")
}

// record records one sample of each of the four signals, n times over.
func (w *script) record(r *robot, n int) {
	r.t.Helper()
	for range n {
		w.n++
		at := w.n * 1000
		v := math.Sqrt(float64(w.n))
		if w.n%10 == 0 {
			v = math.NaN()
		}
		for i, value := range []any{v, -w.n << 40, w.n%3 == 0, fmt.Sprint("driver ", w.n)} {
			name := []string{"power/voltage", "game/score", "path/mouth/beam", "robot/mode"}[i]
			r.record(i, at, value)
			w.want[key{name, at}] = bits(value)
		}
	}
	r.flush()
}

// arrived are the samples of a boot, each of which may be there once.
func arrived(t testing.TB, b *standin.Boot) map[key]any {
	got := map[key]any{}
	for _, s := range b.Samples() {
		k := key{s.Signal, s.Time}
		_, twice := got[k]
		require.False(t, twice, "%v came twice", k)
		got[k] = bits(s.Value)
	}
	return got
}

// check holds what arrived at a stand-in against what was recorded.
func (w *script) check(t testing.TB, server *standin.Server) {
	t.Helper()
	server.Look(func(boots []*standin.Boot) {
		require.Len(t, boots, 1)
		same(t, w.want, arrived(t, boots[0]))
		seq := uint64(1)
		for _, item := range boots[0].Items {
			if item.Match == nil {
				require.Equal(t, seq, item.Seq, "no hole")
				seq++
			}
		}
	})
}

// same says of maps that differ how, and not all that is in them.
func same(t testing.TB, want, got map[key]any) {
	t.Helper()
	missing, other := 0, 0
	for k, v := range want {
		if g, ok := got[k]; !ok {
			missing++
		} else if g != v {
			other++
			t.Logf("%v: recorded %v, arrived %v", k, v, g)
		}
	}
	require.Zero(t, missing+other, "of %d samples %d are missing and %d are not what was recorded", len(want), missing, other)
	require.Len(t, got, len(want))
}

// acceptFor is the answer to a key (RFC 6455, section 4.2.2).
func acceptFor(key string) string {
	sum := sha1.Sum([]byte(key + "258EAFA5-E914-47DA-95CA-C5AB0DC85B11"))
	return base64.StdEncoding.EncodeToString(sum[:])
}

// server is a stand-in that must find nothing wrong with its sender.
func server(t testing.TB) *standin.Server {
	s := standin.New()
	t.Cleanup(func() {
		s.Close()
		require.Empty(t, s.Wrong(), "the wire's rules were broken")
	})
	return s
}
