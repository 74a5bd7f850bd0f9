package sender

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"github.com/afterbell/afterbell/ingest/announce"
	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// hurried is a pace at which troubles are over soon.
var hurried = pace{
	base: time.Millisecond, most: 10 * time.Millisecond, handshake: time.Second, silence: 200 * time.Millisecond,
	write: time.Second, ack: 60 * time.Millisecond, clock: 20 * time.Millisecond, pause: 5 * time.Millisecond,
}

// long is for what must come, and would be a failure if it did not.
const long = 60 * time.Second

func soon(t testing.TB) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), long)
	t.Cleanup(cancel)
	return ctx
}

func server(t testing.TB) *standin.Server {
	s := standin.New()
	t.Cleanup(func() {
		s.Close()
		assert.Empty(t, s.Wrong(), "the wire's rules were broken")
	})
	return s
}

func config(url string) Config {
	return Config{
		URL: url, Robot: "heron", Every: 2 * time.Millisecond, pace: hurried,
		Log: slog.New(slog.DiscardHandler),
	}
}

func begin(t testing.TB, c Config) *Sender {
	t.Helper()
	s, err := New(c)
	require.NoError(t, err)
	t.Cleanup(func() { // in case the test ended early
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		_ = s.Close(ctx)
	})
	return s
}

// key is what is unique in a boot.
type key struct {
	signal string
	time   int64
}

// script is what a robot records in a test, and what must arrive of it.
type script struct {
	want map[key]any
	n    int64
}

func newScript() *script { return &script{want: map[key]any{}} }

// record records one sample of each of four signals, n times over.
func (w *script) record(s *Sender, n int) {
	volts := s.Signal("power/voltage [V]", schemas.Float64)
	count := s.Signal("game/score", schemas.Int64)
	beam := s.Signal("path/mouth/beam", schemas.Bool)
	mode := s.Signal("robot/mode", schemas.Text)
	for range n {
		w.n++
		t := w.n * 1000
		v := math.Sqrt(float64(w.n))
		if w.n%10 == 0 {
			v = math.NaN()
		}
		volts.Record(t, v)
		count.RecordInt(t, -w.n<<40)
		beam.RecordBool(t, w.n%3 == 0)
		mode.RecordText(t, "driver "+fmt.Sprint(w.n))
		w.want[key{"power/voltage", t}] = math.Float64bits(v)
		w.want[key{"game/score", t}] = -w.n << 40
		w.want[key{"path/mouth/beam", t}] = w.n%3 == 0
		w.want[key{"robot/mode", t}] = "driver " + fmt.Sprint(w.n)
	}
}

// arrived are the samples of a boot, each of which may be there once.
func arrived(t testing.TB, b *standin.Boot) map[key]any {
	got := map[key]any{}
	for _, s := range b.Samples() {
		k := key{s.Signal, s.Time}
		_, twice := got[k]
		require.False(t, twice, "%v came twice", k)
		got[k] = s.Bits()
	}
	return got
}

// check holds what arrived against what was recorded.
func (w *script) check(t testing.TB, server *standin.Server) {
	t.Helper()
	server.Look(func(boots []*standin.Boot) {
		require.Len(t, boots, 1)
		same(t, w.want, arrived(t, boots[0]))
		for i, seq := 0, uint64(1); i < len(boots[0].Items); i++ {
			if item := boots[0].Items[i]; item.Match == nil {
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
		}
	}
	require.Zero(t, missing+other, "of %d samples %d are missing and %d are not what was recorded", len(want), missing, other)
	require.Len(t, got, len(want))
}

func TestEverythingArrivesOnce(t *testing.T) {
	server := server(t)
	s := begin(t, config(server.URL()))
	w := newScript()
	w.record(s, 500)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
	st := s.Stats()
	assert.EqualValues(t, 2000, st.Recorded)
	assert.EqualValues(t, 2000, st.Acked)
	assert.Zero(t, st.Waiting+st.Dropped+st.Unfit+st.Lost+st.Refused)
	assert.Zero(t, st.Spooled)
	server.Look(func(boots []*standin.Boot) {
		assert.Equal(t, "V", boots[0].Samples()[0].Unit)
		assert.Equal(t, "main", boots[0].Source)
		assert.Equal(t, s.Boot(), boots[0].Name)
	})
	require.ErrorIs(t, s.Close(soon(t)), ErrClosed)
}

// In each round the server has another mix of troubles, drawn from a seed that is printed.
func TestNothingIsLostInTrouble(t *testing.T) {
	for round := range 9 {
		t.Run(fmt.Sprint("seed ", round), func(t *testing.T) {
			t.Parallel()
			rnd := rand.New(rand.NewPCG(uint64(round), 7)) // the server's
			server := server(t)
			kinds := []standin.Trouble{standin.Cut, standin.CutTook, standin.Crash, standin.Skip, standin.Storage}
			if round%3 == 0 {
				kinds = append(kinds, standin.Dead) // which takes long to notice
			}
			left := 60 // troubles, so that it ends
			server.On = func(*standin.Boot, uint64, int) standin.Trouble {
				if left > 0 && rnd.IntN(3) == 0 {
					left--
					return kinds[rnd.IntN(len(kinds))]
				}
				return standin.None
			}
			server.Acks = func(seq uint64) bool { return seq%3 == 0 || rnd.IntN(2) == 0 || left == 0 }
			var refusals atomic.Int32
			server.Refuse = func() int {
				if n := refusals.Add(1); n < 20 && n%3 == 0 {
					return []int{http.StatusServiceUnavailable, http.StatusTooManyRequests}[n%2]
				}
				return 0
			}
			s := begin(t, config(server.URL()))
			w := newScript()
			for i := range 40 {
				w.record(s, 20)
				wait(t, i)
			}
			require.NoError(t, s.Close(soon(t)))
			w.check(t, server)
			st := s.Stats()
			assert.EqualValues(t, len(w.want), st.Acked)
			assert.Zero(t, st.Lost+st.Refused+st.Dropped)
			assert.Greater(t, st.Connects, uint64(2))
		})
	}
}

// wait lets a batch or two be cut, so that a test has several.
func wait(t testing.TB, i int) {
	timer := time.NewTimer(time.Duration(i%5) * time.Millisecond)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-t.Context().Done():
	}
}

func TestTheCollectorComesLater(t *testing.T) {
	server := server(t)
	var open atomic.Bool
	server.Refuse = func() int {
		if open.Load() {
			return 0
		}
		return http.StatusServiceUnavailable
	}
	s := begin(t, config(server.URL()))
	w := newScript()
	w.record(s, 100)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
	defer cancel()
	require.ErrorContains(t, s.Ready(ctx), "503")
	assert.Contains(t, s.Stats().Trouble, "503 Service Unavailable: not now")
	assert.EqualValues(t, 400, s.Stats().Waiting)
	open.Store(true)
	require.NoError(t, s.Ready(soon(t)))
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
}

func TestAnotherCollectorTakesOver(t *testing.T) {
	server := server(t)
	s := begin(t, config(server.URL()))
	w := newScript()
	for range 5 { // several batches
		w.record(s, 10)
		n := len(w.want)
		require.True(t, server.Wait(long, func(b []*standin.Boot) bool { return len(b) == 1 && len(b[0].Samples()) == n }))
	}
	require.Eventually(t, func() bool { return s.Stats().Waiting == 0 }, long, time.Millisecond)
	server.Forget()
	later := newScript()
	later.n = 1000
	later.record(s, 10)
	require.NoError(t, s.Close(soon(t)))
	later.check(t, server) // which also sees that the numbers have no hole
}

func TestHalfOpenConnectionIsNoticed(t *testing.T) {
	server := server(t)
	dead := true
	server.On = func(*standin.Boot, uint64, int) standin.Trouble {
		if dead {
			dead = false
			return standin.Dead
		}
		return standin.None
	}
	s := begin(t, config(server.URL()))
	w := newScript()
	w.record(s, 10)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, server)
	assert.EqualValues(t, 2, s.Stats().Connects)
}

func TestNobodyBehindThePort(t *testing.T) {
	url, closeIt, err := standin.Blackhole()
	require.NoError(t, err)
	defer closeIt()
	c := config(url)
	c.pace.handshake = 30 * time.Millisecond
	s := begin(t, c)
	w := newScript()
	w.record(s, 10)
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	err = s.Close(ctx)
	require.ErrorContains(t, err, "40 samples are not acknowledged")
	require.ErrorContains(t, err, "connecting to "+url)
}

func TestRefusals(t *testing.T) {
	server := server(t)
	server.Token = "bread"
	s := begin(t, config(server.URL()))
	var refused *RefusedError
	require.ErrorAs(t, s.Ready(soon(t)), &refused)
	assert.Equal(t, http.StatusUnauthorized, refused.Status)
	assert.Contains(t, refused.Text, "token")
	c := config(server.URL())
	c.Token = "bread"
	require.NoError(t, begin(t, c).Ready(soon(t)))

	server.Hello = func(h wire.Hello) *wire.Fault { return wire.Faultf(wire.BadName, "not here") }
	require.ErrorContains(t, begin(t, c).Ready(soon(t)), "not here")
}

// A collector is found in the network, and found again when it is elsewhere.
func TestDiscovered(t *testing.T) {
	service := fmt.Sprintf("_ab-%08x._tcp.local.", rand.Uint32())
	tell := func(s *standin.Server) *announce.Announcer {
		u, err := url.Parse(s.HTTP.URL)
		require.NoError(t, err)
		at := netip.MustParseAddrPort(u.Host)
		a, err := announce.Start(announce.Options{Port: int(at.Port()), Address: at.Addr(), Path: wire.Path, Loopback: true, Service: service})
		require.NoError(t, err)
		return a
	}
	first := server(t)
	there := tell(first)
	c := config("mdns:127.0.0.1")
	c.service = service
	s := begin(t, c)
	require.NoError(t, s.Ready(soon(t)))
	require.NoError(t, there.Close())
	second := server(t)
	defer tell(second).Close()
	first.Close()
	w := newScript()
	w.record(s, 10)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, second)

	defer tell(server(t)).Close()
	lost := begin(t, c)
	require.Eventually(t, func() bool { return strings.Contains(lost.Stats().Trouble, "several collectors answer") }, long, time.Millisecond)
	for _, bad := range []string{"mdns:heron", "mdns:fd00::1", "mdns://10.0.0.2"} {
		_, err := New(config(bad))
		require.ErrorContains(t, err, "behind mdns:", bad)
	}
}

func TestEncrypted(t *testing.T) {
	plain := server(t)
	encrypted := httptest.NewUnstartedServer(plain)
	encrypted.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	encrypted.StartTLS()
	defer encrypted.Close()
	c := config("wss" + strings.TrimPrefix(encrypted.URL, "https"))
	stranger := begin(t, c)
	require.Eventually(t, func() bool { return strings.Contains(stranger.Stats().Trouble, "certificate") }, long, time.Millisecond)
	c.TLS = encrypted.Client().Transport.(*http.Transport).TLSClientConfig
	s := begin(t, c)
	w := newScript()
	w.record(s, 10)
	require.NoError(t, s.Close(soon(t)))
	w.check(t, plain)
}

func TestBatchTheCollectorDoesNotWant(t *testing.T) {
	for _, trouble := range []standin.Trouble{standin.Bad, standin.Large} {
		server := server(t)
		server.On = func(_ *standin.Boot, seq uint64, samples int) standin.Trouble {
			if seq == 3 && samples > 0 {
				return trouble
			}
			return standin.None
		}
		s := begin(t, config(server.URL()))
		w := newScript()
		for range 10 {
			w.record(s, 5)
			cutSince(t, s)
		}
		require.NoError(t, s.Close(soon(t)))
		st := s.Stats()
		assert.Positive(t, st.Refused)
		assert.Equal(t, st.Recorded, st.Acked+st.Refused)
		server.Look(func(boots []*standin.Boot) {
			got := arrived(t, boots[0])
			assert.EqualValues(t, st.Acked, len(got), "what was not refused is there")
			for k, v := range got {
				assert.Equal(t, w.want[k], v)
			}
		})
	}
}

// cutSince waits until what was recorded is in a batch.
func cutSince(t testing.TB, s *Sender) {
	require.Eventually(t, func() bool {
		s.ring.mu.Lock()
		defer s.ring.mu.Unlock()
		return len(s.ring.page.rows) == 0
	}, long, time.Millisecond)
}

func TestFullSpoolEmptiesTheOldest(t *testing.T) {
	server := server(t)
	var open atomic.Bool
	server.Refuse = func() int {
		if open.Load() {
			return 0
		}
		return http.StatusServiceUnavailable
	}
	var log lines
	c := config(server.URL())
	c.Spool.Bytes = Least
	c.Log = slog.New(slog.NewTextHandler(&log, nil))
	s := begin(t, c)
	require.NoError(t, s.Match("", "q1", Start, Newest)) // stays although its batch is emptied
	w := newScript()
	for range 60 {
		w.record(s, 50)
		cutSince(t, s)
	}
	st := s.Stats()
	assert.Positive(t, st.Lost)
	assert.LessOrEqual(t, st.Spooled, int64(Least))
	open.Store(true)
	require.NoError(t, s.Close(soon(t)))
	st = s.Stats()
	assert.Equal(t, st.Recorded, st.Acked+st.Lost)
	assert.Zero(t, st.Dropped)
	assert.Equal(t, 1, strings.Count(log.String(), "the spool is full"))
	server.Look(func(boots []*standin.Boot) {
		got := arrived(t, boots[0])
		assert.EqualValues(t, st.Acked, len(got))
		oldest := int64(math.MaxInt64)
		for k, v := range got {
			assert.Equal(t, w.want[k], v)
			oldest = min(oldest, k.time)
		}
		for k := range w.want {
			if _, ok := got[k]; !ok && k.time > oldest {
				t.Fatalf("%v is lost, and is not the oldest", k)
			}
		}
		require.Len(t, boots[0].Matches(), 1)
	})
}

// lines is a log.
type lines struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func TestMatchKeepsItsPlace(t *testing.T) {
	server := server(t)
	cut := 0
	server.On = func(_ *standin.Boot, seq uint64, samples int) standin.Trouble {
		if cut++; cut <= 3 {
			return standin.Crash // the match messages are gone with the batch
		}
		return standin.None
	}
	s := begin(t, config(server.URL()))
	volts := s.Signal("power/voltage", schemas.Float64)
	volts.Record(1000, 12)
	require.NoError(t, s.Match("millbrook-open", "q14", Start, 1500))
	volts.Record(2000, 12)
	volts.Record(3000, 11)
	require.NoError(t, s.Match("", "", End, Newest))
	require.NoError(t, s.Close(soon(t)))
	assert.ErrorContains(t, s.Match("", "Q 14", Start, 0), "not a name")
	assert.ErrorContains(t, s.Match("", "", "begin", 0), "start or end")
	assert.ErrorIs(t, s.Match("", "", Start, 0), ErrClosed)
	server.Look(func(boots []*standin.Boot) {
		var times []any
		state := ""
		for _, i := range boots[0].Items {
			for _, x := range i.Samples {
				times = append(times, x.Time)
			}
			if i.Match != nil && i.Match.State != state { // a repeat changes nothing
				state = i.Match.State
				times = append(times, fmt.Sprint(i.Match.State, " ", i.Match.Match, " ", *i.Match.At))
			}
		}
		assert.Equal(t, []any{int64(1000), "start q14 1500", int64(2000), int64(3000), "end  3000"}, times)
	})
}

func TestMatchBeforeAnySample(t *testing.T) {
	server := server(t)
	s := begin(t, config(server.URL()))
	require.NoError(t, s.Match("", "q1", Start, Newest))
	require.NoError(t, s.Close(soon(t)))
	server.Look(func(boots []*standin.Boot) {
		require.Len(t, boots[0].Matches(), 1)
		assert.Nil(t, boots[0].Matches()[0].At, "that of the first sample that follows")
		assert.Nil(t, boots[0].Items[0].Samples)
		assert.EqualValues(t, 1, boots[0].Items[1].Seq, "a batch behind it makes it durable")
	})
}

// The offset of RFC 5905, section 8: ((T2-T1)+(T3-T4))/2 of the four times in its numbering.
func TestClockExchange(t *testing.T) {
	server := server(t)
	c := config(server.URL())
	began := time.Now()
	const ahead = 3_000_000
	c.Clock = func() int64 { return time.Since(began).Microseconds() + ahead }
	s := begin(t, c)
	require.True(t, server.Wait(long, func(b []*standin.Boot) bool { return len(b) == 1 && len(b[0].Clocks) >= 5 }))
	require.NoError(t, s.Close(soon(t)))
	server.Look(func(boots []*standin.Boot) {
		for _, e := range boots[0].Clocks {
			delay := (e.T3 - e.T0) - (e.T2 - e.T1)
			offset := ((e.T1 - e.T0) + (e.T2 - e.T3)) / 2
			truth := server.Time(began) - ahead
			assert.GreaterOrEqual(t, delay, int64(0))
			assert.InDelta(t, truth, offset, float64(delay)/2+2, "half the delay is the most it can be off")
		}
	})
}

func TestRecordingAllocatesNothing(t *testing.T) {
	c := withDefaults(t, config("ws://127.0.0.1:1"))
	p, err := openSpool(c)
	require.NoError(t, err)
	// Without its goroutines, which allocate.
	s := &Sender{c: c, log: c.Log, ring: newRing(2000, 1<<20), spool: p, kick: make(chan struct{}, 1), signals: map[string]*Signal{}}
	volts, mode := s.Signal("power/voltage", schemas.Float64), s.Signal("robot/mode", schemas.Text)
	text := strings.Repeat("autonomous ", 20)
	assert.Zero(t, testing.AllocsPerRun(2000, func() { // also when it is full
		volts.Record(1, 12.5)
		mode.RecordText(1, text)
	}))
	recorded, dropped, _ := s.ring.counts()
	assert.EqualValues(t, 2000, recorded)
	assert.Positive(t, dropped)
}

// What a clock that steps back says would be refused, and a batch taken for the reason.
func TestClockThatStepsBack(t *testing.T) {
	server := server(t)
	c := config(server.URL())
	var now atomic.Int64
	c.Clock = func() int64 { return -now.Add(1) }
	s := begin(t, c)
	require.True(t, server.Wait(long, func([]*standin.Boot) bool { return now.Load() > 5 }))
	require.NoError(t, s.Close(soon(t)))
	server.Look(func(boots []*standin.Boot) { assert.Empty(t, boots[0].Clocks) })
}

func TestSamplesThatCannotBeSent(t *testing.T) {
	server := server(t)
	var log lines
	c := config(server.URL())
	c.Log = slog.New(slog.NewTextHandler(&log, nil))
	s := begin(t, c)
	volts := s.Signal("power/voltage [V]", schemas.Float64)
	assert.Same(t, volts, s.Signal("power/voltage [V]", schemas.Float64))
	volts.RecordInt(1, 2)
	volts.Record(math.MaxInt64, 2)
	volts.Record(math.MinInt64, 2)
	volts.Record(9_000_000_000_000_000_000, 1) // the farthest
	s.Signal("note", schemas.Text).RecordText(1, "\xff")
	s.Signal("note", schemas.Text).RecordText(1, strings.Repeat("x", wire.MaxText+1))
	s.Signal("note", schemas.Text).RecordText(1, strings.Repeat("x", wire.MaxText))
	for _, bad := range []string{"", "\xff", strings.Repeat("n", 257), "power/voltage [mV]"} {
		g := s.Signal(bad, schemas.Float64)
		require.Error(t, g.Err(), bad)
		g.Record(1, 1)
		require.Error(t, g.Put(t.Context(), 1, 1))
	}
	require.Error(t, s.Signal("power/voltage", schemas.Bool).Err())
	require.ErrorContains(t, volts.PutInt(t.Context(), 1, 1), "is float64, not int64")
	require.NoError(t, s.Close(soon(t)))
	volts.Record(5, 5)
	require.ErrorIs(t, volts.Put(t.Context(), 5, 5), ErrClosed)
	st := s.Stats()
	assert.EqualValues(t, 2, st.Acked)
	assert.EqualValues(t, 5+8+1+2, st.Unfit)
	assert.Equal(t, 2, strings.Count(log.String(), "said once"), log.String())
}

func TestConfiguration(t *testing.T) {
	for want, change := range map[string]func(*Config){
		"not of the form ws://": func(c *Config) { c.URL = "http://x/v1/live" },
		"robot \"Heron\"":       func(c *Config) { c.Robot = "Heron" },
		"source \"a b\"":        func(c *Config) { c.Source = "a b" },
		"too small":             func(c *Config) { c.Spool.Bytes = Least - 1 },
		"negative":              func(c *Config) { c.Every = -1 },
		"opening the spool":     func(c *Config) { c.Spool.Dir = "/dev/null/x" },
	} {
		c := config("ws://127.0.0.1:1/v1/live")
		change(&c)
		_, err := New(c)
		require.ErrorContains(t, err, want)
	}
	c := Config{URL: "ws://127.0.0.1:1", Robot: "heron"}
	require.NoError(t, c.check())
	assert.Equal(t, "ws://127.0.0.1:1/v1/live", c.URL)
	assert.Equal(t, 20*time.Millisecond, c.Every)
	assert.NotEmpty(t, c.Boot)
}

// Full jitter: anything from nothing to a bound that doubles, up to the most.
func TestBackoff(t *testing.T) {
	p := pace{base: 50 * time.Millisecond, most: 2 * time.Second}
	for attempt, bound := range map[int]time.Duration{0: 50, 1: 100, 2: 200, 5: 1600, 6: 2000, 40: 2000, 1 << 40: 2000} {
		longest := time.Duration(0)
		for range 2000 {
			d := backoff(p, attempt)
			require.GreaterOrEqual(t, d, time.Duration(0))
			longest = max(longest, d)
		}
		require.LessOrEqual(t, longest, bound*time.Millisecond)
		require.Greater(t, longest, bound*time.Millisecond*8/10)
	}
}
