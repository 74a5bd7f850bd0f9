package senders

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// The collector runs in a process of its own, which is this test program once more, so that
// it can be killed.
const (
	collectorDir    = "AFTERBELL_TEST_COLLECTOR_DIR"
	collectorListen = "AFTERBELL_TEST_COLLECTOR_LISTEN"
)

// shelf is a store in memory; a shelf that is full takes nothing, so that everything stays
// in the journal.
type shelf struct {
	mu   sync.Mutex
	logs map[schemas.MatchID]*schemas.Log
	full bool
}

func (s *shelf) Load(id schemas.MatchID) (*schemas.Log, map[string]string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.logs[id], nil, nil
}

func (s *shelf) Taken(string, string, string) bool { return false }

func (s *shelf) Publish(_ context.Context, m collector.Sealed) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.full {
		return errors.New("the shelf is full")
	}
	s.logs[m.ID] = m.Log
	return nil
}

func options(dir string, s *shelf) collector.Options {
	return collector.Options{Dir: dir, Season: "2031", Event: "millbrook-open", Store: s, Token: func(t string) bool { return t == "bread" }}
}

// collect is the collector's process.
func collect(dir, listen string) {
	c, err := collector.Open(options(dir, &shelf{full: true}))
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println(l.Addr())
	_ = http.Serve(l, c)
}

type process struct {
	cmd     *exec.Cmd
	address string
}

func collecting(t *testing.T, dir, listen string) *process {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), collectorDir+"="+dir, collectorListen+"="+listen)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	p := &process{cmd: cmd}
	t.Cleanup(p.kill)
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	p.address = strings.TrimSpace(line)
	_, _, err = net.SplitHostPort(p.address)
	require.NoError(t, err)
	go io.Copy(io.Discard, out)
	return p
}

// kill is SIGKILL.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	_ = p.cmd.Wait()
}

// kept are the samples that a collector finds in the journal of another one.
func kept(t *testing.T, dir string) map[key]any {
	t.Helper()
	s := &shelf{logs: map[schemas.MatchID]*schemas.Log{}}
	c, err := collector.Open(options(dir, s))
	require.NoError(t, err)
	require.NoError(t, c.Settle("heron"))
	require.NoError(t, c.Close())
	got := map[key]any{}
	for _, log := range s.logs {
		for _, g := range log.Signals {
			for i, at := range g.Time {
				k := key{g.Name, at}
				_, twice := got[k]
				require.False(t, twice, "%v is there twice", k)
				got[k] = bits(valueOf(g, i))
			}
		}
	}
	return got
}

func valueOf(g *schemas.Signal, i int) any {
	switch g.Kind {
	case schemas.Float64:
		return g.Float[i]
	case schemas.Int64:
		return g.Int[i]
	case schemas.Bool:
		return g.Bool[i]
	default:
		return g.Text[i]
	}
}

// Everything that a sample can hold comes through, bit for bit, into the collector itself.
func TestEveryValueBitForBit(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		dir := t.TempDir()
		p := collecting(t, dir, "127.0.0.1:0")
		r := l.start(t, "ws://"+p.address+wire.Path, "--token", "bread")
		want := map[key]any{}
		signals, at := 0, int64(-5_000_000) // times may be negative
		put := func(kind schemas.Kind, spelled, name string, values ...any) {
			r.signal(kind, spelled)
			for _, v := range values {
				at += 250_000
				r.record(signals, at, v)
				want[key{name, at}] = bits(v)
			}
			signals++
		}
		put(schemas.Float64, "float [m/s]", "float", floats()...)
		put(schemas.Int64, "int", "int", integers()...)
		put(schemas.Bool, "bool", "bool", true, false)
		put(schemas.Text, "text", "text", texts()...)
		put(schemas.Float64, `odd "name" \ `+"\u00e9\U0001d11e[0]", `odd "name" \ `+"\u00e9\U0001d11e[0]", 1.5)
		put(schemas.Float64, strings.Repeat("n", 256), strings.Repeat("n", 256), 2.5)
		r.close()
		require.Zero(t, r.stats().Unfit)
		p.kill()
		same(t, want, kept(t, dir))
	})
}

// What was acknowledged survives a collector that is killed, and what was not is sent again.
func TestKilledCollector(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		dir := t.TempDir()
		p := collecting(t, dir, "127.0.0.1:0")
		r := l.start(t, "ws://"+p.address+wire.Path, "--token", "bread")
		w := newScript()
		w.begin(r)
		for range 4 {
			was := r.until("there", func(s stats) bool { return s.Connected }).Connects
			for range 10 {
				w.record(r, 50)
				time.Sleep(time.Duration(rand.IntN(40)) * time.Millisecond)
			}
			p.kill()
			w.record(r, 50)
			p = collecting(t, dir, p.address)
			r.until("there again", func(s stats) bool { return s.Connects > was })
		}
		r.close()
		st := r.stats()
		require.Equal(t, len(w.want), st.Acked)
		p.kill()
		same(t, w.want, kept(t, dir))
	})
}

// Numbers that are hard to write or to read again: the ends of float64 (IEEE 754-2019, 3.4),
// halfway cases of decimal conversion, and what JSON has no number for.
func floats() []any {
	out := []any{
		0.0, math.Copysign(0, -1), 1.0, -1.0, 0.1, 0.3, 1.0 / 3, 12.61, 1e21, 1e22, 1e23, 1e-7, 123456789.123456789,
		math.MaxFloat64, -math.MaxFloat64, math.SmallestNonzeroFloat64, 2.2250738585072014e-308, 2.225073858507201e-308,
		math.Nextafter(1, 2), math.Nextafter(1, 0), 9007199254740991.0, 9007199254740993.0, 18014398509481984.0, 5e-324 * 3,
		math.NaN(), math.Inf(1), math.Inf(-1), 2e16, 4.35, 0.000001, 8.41e21, 9.5e-3, 2.0e-3, 1.0e10, 7.2057594037927933e16,
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		if f := math.Float64frombits(rnd.Uint64()); !math.IsNaN(f) {
			out = append(out, f)
		}
	}
	return out
}

func integers() []any {
	out := []any{int64(0), int64(-1), int64(math.MaxInt64), int64(math.MinInt64)}
	for _, around := range []int64{1 << 53, -1 << 53, 1 << 31, -1 << 31} {
		out = append(out, around-1, around, around+1)
	}
	return out
}

// Every control character, what RFC 8259, section 7 says must be escaped and its example of a
// character beyond the basic plane, the ends of each length of UTF-8 (RFC 3629, section 3), and
// texts that look like something else.
func texts() []any {
	out := []any{
		"", "driver", `"`, `\`, `/`, "\x7f", "\u0080", "\u07ff", "\u0800", "\ud7ff", "\ue000", "\ufffd", "\uffff", "\U00010000",
		"\U0010ffff", "\U0001d11e", "\u2028\u2029", "e\u0301", "\u05d0\u05d1\u202e", "\U0001f916", "nan", "inf", "-inf", "1.5",
		"true", "null", `["a",1,2]`, `]}`, `\u0041`, `\ud834`, " blank ", strings.Repeat("\x01", 65536), strings.Repeat("\U0001d11e", 16384),
	}
	for c := range byte(0x20) {
		out = append(out, "a"+string(rune(c))+"b")
	}
	return out
}
