package collector

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// shelf is a store in memory.
type shelf struct {
	mu      sync.Mutex
	matches map[schemas.MatchID]Sealed
	fail    error
	seals   []Sealed
}

func (s *shelf) Load(id schemas.MatchID) (*schemas.Log, map[string]string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m, ok := s.matches[id]
	if !ok {
		return nil, nil, nil
	}
	return copied(m.Log), m.Meta, nil
}

func (s *shelf) Taken(season, event, match string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for id := range s.matches {
		if id.Season == season && id.Event == event && id.Match == match {
			return true
		}
	}
	return false
}

func (s *shelf) Publish(_ context.Context, m Sealed) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail != nil {
		return s.fail
	}
	if s.matches == nil {
		s.matches = map[schemas.MatchID]Sealed{}
	}
	m.Log = copied(m.Log)
	s.matches[m.ID] = m
	s.seals = append(s.seals, m)
	return nil
}

func (s *shelf) get(t testing.TB, match, robot string) Sealed {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	m, ok := s.matches[schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: match, Robot: robot}]
	require.True(t, ok, "%s of %s is not stored", match, robot)
	return m
}

func (s *shelf) names() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := []string{}
	for id := range s.matches {
		out = append(out, id.Match+"/"+id.Robot)
	}
	slices.Sort(out)
	return out
}

func copied(l *schemas.Log) *schemas.Log {
	out := &schemas.Log{}
	for _, s := range l.Signals {
		c := *s
		c.Time, c.Boot = slices.Clone(s.Time), slices.Clone(s.Boot)
		c.Float, c.Int, c.Bool, c.Text = slices.Clone(s.Float), slices.Clone(s.Int), slices.Clone(s.Bool), slices.Clone(s.Text)
		out.Signals = append(out.Signals, &c)
	}
	return out
}

const heronYAML = "profile: 1\nrobot: heron\nmode: {signal: robot/mode}\npower: {voltage: power/voltage}\n"

// field is a collector under test, served on loopback, with a clock that the test moves.
type field struct {
	t     testing.TB
	dir   string
	shelf *shelf
	c     *Collector
	http  *httptest.Server
	o     Options
	mu    sync.Mutex
	time  time.Time
}

func (f *field) now() time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.time
}

// pass lets time pass for the collector.
func (f *field) pass(d time.Duration) {
	f.mu.Lock()
	f.time = f.time.Add(d)
	f.mu.Unlock()
	f.c.look()
}

func newField(t testing.TB, change ...func(*Options)) *field {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(heronYAML))
	require.NoError(t, err)
	f := &field{t: t, dir: t.TempDir(), shelf: &shelf{}, time: time.Date(2031, 3, 1, 10, 20, 0, 0, time.UTC)}
	f.o = Options{
		Dir: f.dir, Season: "2031", Event: "millbrook-open", Store: f.shelf, Now: f.now,
		Robots: map[string]*profile.Profile{"heron": p},
		// Small segments, so that journals are rotated and read ahead in every test.
		Journal: journal.Options{Every: time.Microsecond, Retry: time.Millisecond, Segment: 16 << 10},
	}
	for _, c := range change {
		c(&f.o)
	}
	f.open()
	t.Cleanup(func() { f.close() })
	return f
}

func (f *field) open() {
	f.t.Helper()
	var err error
	f.c, err = Open(f.o)
	require.NoError(f.t, err)
	f.http = httptest.NewServer(f.c)
}

func (f *field) close() {
	if f.c == nil {
		return
	}
	require.NoError(f.t, f.c.Close())
	f.http.Close()
	f.c = nil
}

// reopen is a new collector over what the old one left.
func (f *field) reopen() {
	f.t.Helper()
	f.close()
	f.open()
}

// radio is a robot's connection.
type radio struct {
	t    testing.TB
	conn *websocket.Conn
	seq  uint64
}

func (f *field) dial(header http.Header, protocols ...string) (*websocket.Conn, *http.Response, error) {
	d := websocket.Dialer{Subprotocols: protocols}
	return d.Dial("ws"+strings.TrimPrefix(f.http.URL, "http")+wire.Path, header)
}

// radio connects, says hello, and takes up behind what is durable.
func (f *field) radio(robot, source, boot string) *radio {
	f.t.Helper()
	conn, _, err := f.dial(nil, wire.Subprotocol)
	require.NoError(f.t, err)
	r := &radio{t: f.t, conn: conn}
	r.send(wire.Hello{Type: "hello", Robot: robot, Source: source, Boot: boot})
	var w wire.Welcome
	r.want("welcome", &w)
	r.seq = w.DurableSeq
	f.t.Cleanup(func() { conn.Close() })
	return r
}

func (r *radio) send(m any) {
	r.t.Helper()
	require.NoError(r.t, r.conn.WriteMessage(websocket.TextMessage, wire.Encode(m)))
}

// want reads messages until one of that type comes.
func (r *radio) want(kind string, to any) {
	r.t.Helper()
	for {
		require.NoError(r.t, r.conn.SetReadDeadline(time.Now().Add(20*time.Second)))
		_, data, err := r.conn.ReadMessage()
		require.NoError(r.t, err, "waiting for %s", kind)
		var head struct{ Type string }
		require.NoError(r.t, json.Unmarshal(data, &head))
		if head.Type == kind {
			require.NoError(r.t, json.Unmarshal(data, to))
			return
		}
		require.NotEqual(r.t, "error", head.Type, "%s", data)
	}
}

// batch sends samples [name, seconds, value] as the next batch.
func (r *radio) batch(samples ...[3]any) {
	r.t.Helper()
	r.seq++
	r.raw(r.seq, samples...)
}

func (r *radio) raw(seq uint64, samples ...[3]any) {
	r.t.Helper()
	out := make([][3]any, len(samples))
	for i, s := range samples {
		out[i] = s
		if sec, ok := s[1].(float64); ok {
			out[i][1] = schemas.Micros(sec)
		}
	}
	r.send(map[string]any{"type": "batch", "seq": seq, "samples": out})
}

// acked waits until everything sent is acknowledged.
func (r *radio) acked() {
	r.t.Helper()
	for {
		var a wire.Ack
		r.want("ack", &a)
		require.LessOrEqual(r.t, a.DurableSeq, r.seq)
		if a.DurableSeq == r.seq {
			return
		}
	}
}

// play sends a stretch of a match log at 10 Hz, mode and voltage and a counter.
func (r *radio) play(from, to float64, mode func(t float64) string) {
	r.t.Helper()
	for t := from; t < to-1e-9; t += 1 {
		var samples [][3]any
		for k := range 10 {
			at := t + float64(k)/10
			if at >= to-1e-9 {
				break
			}
			samples = append(samples, [3]any{"robot/mode", at, mode(at)}, [3]any{"power/voltage [V]", at, 12 + at/1000})
		}
		r.batch(samples...)
	}
}

// aMatch is 20 s of autonomous from t=start on, 2 s of disabled and 40 s of driver.
func aMatch(start float64) func(float64) string {
	return func(t float64) string {
		switch at := t - start; {
		case at < -1e-9 || at >= 62-1e-9:
			return "disabled"
		case at < 20-1e-9:
			return "autonomous"
		case at < 22-1e-9:
			return "disabled"
		default:
			return "driver"
		}
	}
}

// settled waits until nothing is due any more.
func (f *field) settled() {
	f.t.Helper()
	require.Eventually(f.t, func() bool {
		f.c.look()
		f.c.mu.Lock()
		defer f.c.mu.Unlock()
		for _, r := range f.c.robots {
			if r.settling || r.due(f.c.now(), false) != nothingDue {
				return false
			}
		}
		return true
	}, 20*time.Second, time.Millisecond)
}

// times are the times in seconds of a signal of a stored match.
func times(t testing.TB, m Sealed, name string) []float64 {
	t.Helper()
	s := m.Log.Find(name)
	require.NotNil(t, s, name)
	out := make([]float64, s.Len())
	for i, us := range s.Time {
		out[i] = float64(us) / 1e6
	}
	return out
}

func TestMatchIsSealedWhenItsModeEnds(t *testing.T) {
	f := newField(t)
	r := f.radio("heron", "", "boot-1")
	r.play(0, 40, aMatch(40))
	r.play(40, 108, aMatch(40))
	r.acked()
	f.settled()
	m := f.shelf.get(t, "m001", "heron")
	require.Equal(t, 1, m.Seal)
	require.EqualValues(t, 40e6, m.Match.Start)
	require.EqualValues(t, 102e6, m.Match.End)
	got := times(t, m, "power/voltage")
	require.InDelta(t, 10, got[0], 1e-9)
	require.Equal(t, "V", m.Log.Find("power/voltage").Unit)
	require.Contains(t, f.shelf.names(), "idle-1/heron")

	// The seconds behind the match come into it when they are there, and nothing twice.
	r.play(108, 125, aMatch(40))
	r.acked()
	f.settled()
	m = f.shelf.get(t, "m001", "heron")
	require.Equal(t, 2, m.Seal)
	require.Zero(t, m.Late)
	got = times(t, m, "power/voltage")
	require.Len(t, got, 1021) // 10.0 to 112.0
	require.InDelta(t, 112, got[len(got)-1], 1e-9)
	idle := times(t, f.shelf.get(t, "idle-1", "heron"), "power/voltage")
	require.Len(t, idle, 100) // 0.0 to 9.9
}

func TestNothingIsLostOrDoubledOverMatchesAndRestarts(t *testing.T) {
	f := newField(t)
	total := 0.0
	boot := "boot-1"
	rng := rand.New(rand.NewPCG(1, 2))
	r := f.radio("heron", "", boot)
	for n := range 3 {
		start := total + 35
		mode := aMatch(start)
		for total < start+80 {
			step := float64(1 + rng.IntN(6))
			r.play(total, total+step, mode)
			total += step
			f.pass(time.Duration(step) * time.Second)
			if rng.IntN(4) == 0 {
				r.acked()
				f.reopen()
				r = f.radio("heron", "", boot)
			}
		}
		r.acked()
		f.settled()
		f.shelf.get(t, fmt.Sprintf("m%03d", n+1), "heron")
	}
	f.pass(20 * time.Minute)
	f.settled()
	require.NoError(t, f.c.Settle("heron"))
	seen := map[int64]int{}
	for _, m := range f.shelf.matches {
		for _, at := range m.Log.Find("power/voltage").Time {
			seen[at]++
		}
	}
	require.Len(t, seen, int(total*10+0.5))
	for at, n := range seen {
		require.Equal(t, 1, n, "sample at %d", at)
	}
}

func TestBatchesHeldBackByTheRadioReseal(t *testing.T) {
	f := newField(t)
	mode := aMatch(40)
	r := f.radio("heron", "", "boot-1")
	r.play(0, 80, mode)
	r.acked()
	f.pass(61 * time.Second) // the radio is gone in mid-match
	f.settled()
	m := f.shelf.get(t, "m001", "heron")
	require.Len(t, times(t, m, "power/voltage"), 700)
	r.play(80, 130, mode) // what the robot kept meanwhile
	r.acked()
	f.settled()
	m = f.shelf.get(t, "m001", "heron")
	require.Greater(t, m.Seal, 1)
	require.EqualValues(t, 102e6, m.Match.End)
	require.Len(t, times(t, m, "power/voltage"), 1021)
	f.pass(20 * time.Minute)
	f.settled()
	for _, name := range f.shelf.names() {
		require.NotContains(t, name, "m002")
	}
}

func TestMatchByHand(t *testing.T) {
	f := newField(t)
	r := f.radio("bittern", "", "b") // without profile
	r.send(wire.Match{Type: "match", Event: "millbrook-open", Match: "q14", State: "start"})
	r.batch([3]any{"x", 5.0, 1.5}, [3]any{"x", 4.0, 1})
	r.batch([3]any{"x", 30.0, 2})
	at := int64(20e6)
	r.send(wire.Match{Type: "match", State: "end", At: &at})
	var s wire.MatchState
	r.want("match", &s)
	require.Equal(t, "start", s.State)
	r.want("match", &s)
	require.Equal(t, wire.MatchState{Type: "match", State: "end"}, s)
	f.settled()
	m := f.shelf.get(t, "q14", "bittern")
	require.EqualValues(t, 4e6, m.Match.Start)
	require.EqualValues(t, 20e6, m.Match.End)
	require.Equal(t, []float64{4, 5, 30}, times(t, m, "x"))
	require.Equal(t, "4000000", m.Meta["match_start_us"])
}

func TestSecondComputerAndSecondBootShareOneTime(t *testing.T) {
	f := newField(t)
	mode := aMatch(40)
	main := f.radio("heron", "", "boot-1")
	vision := f.radio("heron", "vision", "eye-1")
	for at := 0.0; at < 60; at++ {
		main.play(at, at+1, mode)
		vision.batch([3]any{"vision/error", at + 1000, at}, [3]any{"power/voltage", at + 1000.05, 1})
		main.acked()
		vision.acked()
		f.pass(time.Second)
	}
	again := f.radio("heron", "", "boot-2") // the robot restarts: its clock begins at 0 again
	for at := 0.0; at < 55; at++ {
		again.play(at, at+1, func(t float64) string { return mode(t + 60) })
		again.acked()
		f.pass(time.Second)
	}
	f.settled()
	m := f.shelf.get(t, "m001", "heron")
	v := m.Log.Find("power/voltage")
	count := map[int32]int{}
	for i := range v.Time {
		count[v.BootAt(i)]++
	}
	require.Equal(t, map[int32]int{0: 500, 1: 521, 2: 50}, count)
	errs := times(t, m, "vision/error")
	require.InDelta(t, 10.9, errs[0], 0.95)
	for i := range v.Time {
		if v.BootAt(i) == 1 {
			require.Greater(t, v.Time[i], int64(59.9e6))
			require.LessOrEqual(t, v.Time[i], int64(113e6))
		}
	}
	var boots []clock.BootMeta
	require.NoError(t, json.Unmarshal([]byte(m.Meta["boots"]), &boots))
	require.Equal(t, []string{"boot-1", "boot-2", "eye-1"}, []string{boots[0].Boot, boots[1].Boot, boots[2].Boot})
	require.Zero(t, boots[0].ShiftUS)
}

func TestRepeatsGapsAndBadBatches(t *testing.T) {
	f := newField(t)
	r := f.radio("heron", "", "b")
	r.batch([3]any{"x", 1.0, 1})
	r.acked()
	r.raw(1, [3]any{"x", 1.0, 2}) // a repeat: dropped, and answered
	r.acked()
	r.raw(4, [3]any{"x", 2.0, 2})
	var e wire.Error
	r.want0("error", &e)
	require.Equal(t, wire.Gap, e.Code)
	require.EqualValues(t, 2, *e.Expected)
	r.raw(2, [3]any{"x", 3.0, "text"}, [3]any{"new", 3.0, 1})
	r.want0("error", &e)
	require.Equal(t, wire.BadMessage, e.Code)
	r.raw(2, [3]any{"x", 3.0, 3}) // the same seq with other content
	r.seq = 2
	r.acked()
	require.NoError(t, f.c.Settle("heron"))
	f.pass(time.Hour)
	f.settled()
	m := f.shelf.get(t, "idle-1", "heron")
	require.Len(t, m.Log.Signals, 1)
	require.Equal(t, []float64{1, 3}, m.Log.Find("x").Float)
}

// want0 is want for a message that may be an error.
func (r *radio) want0(kind string, to any) {
	r.t.Helper()
	for {
		require.NoError(r.t, r.conn.SetReadDeadline(time.Now().Add(20*time.Second)))
		_, data, err := r.conn.ReadMessage()
		require.NoError(r.t, err)
		if strings.Contains(string(data), `"type":"`+kind+`"`) {
			require.NoError(r.t, json.Unmarshal(data, to))
			return
		}
	}
}

func TestFailedSealIsTriedAgainAfterACrash(t *testing.T) {
	f := newField(t)
	f.shelf.fail = errors.New("no space left on device")
	r := f.radio("heron", "", "b")
	r.play(0, 110, aMatch(40))
	r.acked()
	c := f.c
	require.Eventually(t, func() bool { return c.Counts().FailedSeals > 0 }, 20*time.Second, time.Millisecond)
	require.False(t, c.Health().OK)
	f.reopen()
	f.shelf.mu.Lock()
	f.shelf.fail = nil
	f.shelf.mu.Unlock()
	f.pass(6 * time.Second)
	f.settled()
	require.Len(t, times(t, f.shelf.get(t, "m001", "heron"), "power/voltage"), 1000)
	require.True(t, f.c.Health().OK)
}

func TestNewerConnectionTakesOver(t *testing.T) {
	f := newField(t)
	old := f.radio("heron", "", "b")
	old.batch([3]any{"x", 1.0, 1})
	old.acked()
	newer := f.radio("heron", "", "b")
	require.EqualValues(t, 1, newer.seq)
	newer.batch([3]any{"x", 2.0, 1})
	newer.acked()
	_, _, err := old.conn.ReadMessage()
	require.True(t, websocket.IsCloseError(err, websocket.ClosePolicyViolation), "%v", err)
}

func TestHandshakeIsGuarded(t *testing.T) {
	f := newField(t, func(o *Options) { o.Token = func(s string) bool { return s == "secret" } })
	good := http.Header{"Authorization": {"Bearer secret"}}
	for name, c := range map[string]struct {
		header    http.Header
		protocols []string
		want      int
	}{
		"no token":    {nil, []string{wire.Subprotocol}, 401},
		"wrong token": {http.Header{"Authorization": {"Bearer x"}}, []string{wire.Subprotocol}, 401},
		"no protocol": {good, nil, 400},
		"foreign page": {
			http.Header{"Authorization": {"Bearer secret"}, "Origin": {"https://elsewhere.example"}},
			[]string{wire.Subprotocol},
			403,
		},
	} {
		_, res, err := f.dial(c.header, c.protocols...)
		require.Error(t, err, name)
		require.Equal(t, c.want, res.StatusCode, name)
	}
	conn, _, err := f.dial(good, wire.Subprotocol)
	require.NoError(t, err)
	conn.Close()
}

func TestLimits(t *testing.T) {
	f := newField(t, func(o *Options) {
		o.Limits = Limits{Message: 2000, Signals: 3, Connections: 2, Idle: 300 * time.Millisecond, Hello: 200 * time.Millisecond}
	})
	closes := func(conn *websocket.Conn) int {
		for {
			_ = conn.SetReadDeadline(time.Now().Add(10 * time.Second))
			if _, _, err := conn.ReadMessage(); err != nil {
				var e *websocket.CloseError
				require.ErrorAs(t, err, &e)
				return e.Code
			}
		}
	}
	alone := func(t *testing.T) { // the last one counts until it is served to its end
		require.Eventually(t, func() bool { return f.c.Health().Connections == 0 }, 10*time.Second, time.Millisecond)
	}
	t.Run("message", func(t *testing.T) {
		r := f.radio("heron", "", "b")
		require.NoError(t, r.conn.WriteMessage(websocket.TextMessage, make([]byte, 3000)))
		require.Equal(t, websocket.CloseMessageTooBig, closes(r.conn))
	})
	t.Run("UTF-8", func(t *testing.T) {
		alone(t)
		r := f.radio("heron", "", "b")
		require.NoError(t, r.conn.WriteMessage(websocket.TextMessage, []byte("{\"type\":\"\xff\"}")))
		require.Equal(t, websocket.CloseInvalidFramePayloadData, closes(r.conn))
	})
	t.Run("signals", func(t *testing.T) {
		alone(t)
		r := f.radio("heron", "", "b")
		r.raw(1, [3]any{"a", 1.0, 1}, [3]any{"b", 1.0, 1}, [3]any{"c", 1.0, 1}, [3]any{"d", 1.0, 1})
		var e wire.Error
		r.want0("error", &e)
		require.Equal(t, wire.TooMany, e.Code)
		r.conn.Close()
	})
	t.Run("no hello", func(t *testing.T) {
		alone(t)
		conn, _, err := f.dial(nil, wire.Subprotocol)
		require.NoError(t, err)
		require.Equal(t, websocket.ClosePolicyViolation, closes(conn))
	})
	t.Run("not hello", func(t *testing.T) {
		alone(t)
		conn, _, err := f.dial(nil, wire.Subprotocol)
		require.NoError(t, err)
		r := &radio{t: t, conn: conn}
		r.send(map[string]any{"type": "batch", "seq": 1, "samples": []int{}})
		var e wire.Error
		r.want0("error", &e)
		require.Equal(t, wire.NoHello, e.Code)
	})
	t.Run("name", func(t *testing.T) {
		alone(t)
		conn, _, err := f.dial(nil, wire.Subprotocol)
		require.NoError(t, err)
		r := &radio{t: t, conn: conn}
		r.send(wire.Hello{Type: "hello", Robot: "Not A Name", Boot: "b"})
		var e wire.Error
		r.want0("error", &e)
		require.Equal(t, wire.BadName, e.Code)
	})
	t.Run("connections", func(t *testing.T) {
		alone(t)
		a := f.radio("heron", "", "b")
		b := f.radio("heron", "vision", "b")
		_, res, err := f.dial(nil, wire.Subprotocol)
		require.Error(t, err)
		require.Equal(t, http.StatusServiceUnavailable, res.StatusCode)
		a.conn.Close()
		b.conn.Close()
	})
	t.Run("idle", func(t *testing.T) {
		alone(t)
		r := f.radio("heron", "", "b")
		r.conn.SetPingHandler(func(string) error { return nil }) // pings are not answered
		require.Equal(t, websocket.ClosePolicyViolation, closes(r.conn))
	})
}

func TestSendersAreSlowedToTheRate(t *testing.T) {
	r := rate{perSecond: 1000}
	done := make(chan struct{})
	require.True(t, r.wait(1000, done))
	close(done)
	require.False(t, r.wait(500, done), "half a second is owed")
}

func TestBinaryBatchesAndClock(t *testing.T) {
	f := newField(t)
	r := f.radio("heron", "", "b")
	r.send(wire.Signals{Type: "signals", Names: []string{"power/voltage [V]", "robot/mode"}, Types: []string{"float64", "text"}})
	b := &wire.Batch{Seq: 1}
	b.AddSample(0, 5_000_000, 11.5)
	b.AddSample(1, 5_000_000, "driver")
	data, err := wire.NewEncoder().Encode(b, []schemas.Kind{schemas.Float64, schemas.Text})
	require.NoError(t, err)
	require.NoError(t, r.conn.WriteMessage(websocket.BinaryMessage, data))
	r.seq = 1
	r.acked()
	t0 := int64(5_100_000)
	r.send(wire.Clock{Type: "clock", T0: &t0})
	var c wire.Clock
	r.want("clock", &c)
	require.Equal(t, t0, *c.T0)
	t3 := t0 + 400
	r.send(wire.Clock{Type: "clock", T0: &t0, T3: &t3})
	require.Eventually(t, func() bool { return f.c.Robots()[0].BoundMS != nil }, 10*time.Second, time.Millisecond)
	s := f.c.Robots()[0]
	require.InDelta(t, 0.2, *s.BoundMS, 0.06) // half the delay, and what drift may add in 0.1 s
	want := float64(f.now().UnixMicro()-t0-200) / 1e3
	require.InDelta(t, want, *s.OffsetMS, 0.01)
	require.True(t, s.Connected)
	require.EqualValues(t, 2, s.Samples)
}

func TestRobotsThatPlayTogetherShareAName(t *testing.T) {
	p, err := profile.Parse("robot.yaml", []byte(strings.Replace(heronYAML, "heron", "bittern", 1)))
	require.NoError(t, err)
	f := newField(t, func(o *Options) { o.Robots["bittern"] = p })
	a, b := f.radio("heron", "", "1"), f.radio("bittern", "", "1")
	for at := 0.0; at < 115; at++ {
		a.play(at, at+1, aMatch(40))
		b.play(at+500, at+501, aMatch(541))
		a.acked()
		b.acked()
		f.pass(time.Second)
	}
	f.settled()
	f.shelf.get(t, "m001", "heron")
	f.shelf.get(t, "m001", "bittern")
}

// A power-up that comes after a match is none of its samples, however fast it catches up.
func TestNextPowerUpLeavesTheSealedMatchAlone(t *testing.T) {
	f := newField(t)
	r := f.radio("heron", "", "boot-1")
	for at := 300.0; at < 406; at += 1 { // five times as fast as it was
		r.play(at, at+1, aMatch(340))
		r.acked()
		f.pass(200 * time.Millisecond)
	}
	r.conn.Close()
	f.pass(61 * time.Second)
	f.settled()
	before := f.shelf.get(t, "m001", "heron")
	next := f.radio("heron", "", "boot-2")
	next.send(wire.Match{Type: "match", Match: "q7", State: "start"})
	for at := 381.0; at < 490; at += 1 {
		next.play(at, at+1, aMatch(391))
		f.c.look()
	}
	next.send(wire.Match{Type: "match", Match: "q7", State: "end"})
	next.acked()
	f.settled()
	after := f.shelf.get(t, "m001", "heron")
	require.Zero(t, after.Late)
	require.Equal(t, before.Log.Samples(), after.Log.Samples())
	got := times(t, f.shelf.get(t, "q7", "heron"), "power/voltage")
	require.Equal(t, 1090, len(got), "%v: %v to %v", f.shelf.names(), got[0], got[len(got)-1])
}

// Matches that are sealed in one go have names of their own, also where another robot's match
// began about when both did.
func TestMatchesSealedTogetherHaveTheirOwnNames(t *testing.T) {
	p, err := profile.Parse("robot.yaml", []byte(strings.Replace(heronYAML, "heron", "bittern", 1)))
	require.NoError(t, err)
	f := newField(t, func(o *Options) { o.Robots["bittern"] = p })
	f.shelf.fail = errors.New("not yet")
	a, b := f.radio("heron", "", "1"), f.radio("bittern", "", "1")
	for n := range 3 { // all at once, as from a robot that was out of reach
		start := float64(n) * 120
		a.play(start, start+120, aMatch(start+40))
		b.play(start, start+120, aMatch(start+40))
	}
	a.acked()
	b.acked()
	f.shelf.mu.Lock()
	f.shelf.fail = nil
	f.shelf.mu.Unlock()
	f.pass(6 * time.Second)
	f.settled()
	for _, name := range []string{"heron", "bittern"} {
		require.NoError(t, f.c.Settle(name))
		seen := map[int64]int{}
		for id, m := range f.shelf.matches {
			if id.Robot == name {
				for _, at := range m.Log.Find("power/voltage").Time {
					seen[at]++
				}
			}
		}
		require.Equal(t, 3600, len(seen), name) // a map of thousands is no message
	}
}
