//go:build unix

package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/profile"
)

// kills is how often the collector is killed: a few in every test run, AFTERBELL_KILLS=200 for
// a campaign.
func kills(t *testing.T) int {
	text := os.Getenv("AFTERBELL_KILLS")
	if text == "" {
		return 10
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return n
}

// collecting starts the command and waits until it listens.
func collecting(t *testing.T, listen, data string, more ...string) (cmd *exec.Cmd, url string) {
	t.Helper()
	c := newChild(append([]string{"collect", "--data", data, "--listen", listen, "--pages", "off", "--season", "2031", "--event", "millbrook-open"}, more...)...)
	c.Cmd.Stdout = nil
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	c.start(t)
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err, c.stderr.String())
	url, ok := strings.CutPrefix(strings.TrimSpace(line), "listening on ")
	require.True(t, ok, line)
	go io.Copy(io.Discard, out)
	return c.Cmd, url
}

// point is one sample as it was sent: a float by its bits.
type point struct {
	signal string
	time   int64
	bits   uint64
}

// sendingRobot sends matches without end over whatever connection it gets, and remembers what
// was acknowledged.
type sendingRobot struct {
	name, boot string
	rng        *rand.Rand

	sent  [][]point // by seq-1; what a batch held does not change
	text  [][]byte
	acked int          // batches
	known atomic.Int64 // acked, for others to read
	at    int64
}

// next makes the next batch: a second of a match that comes again every 90 s.
func (r *sendingRobot) next() {
	mode := func(us int64) string {
		switch s := us / 1e6 % 90; {
		case s < 32:
			return "disabled"
		case s < 47:
			return "autonomous"
		case s < 49:
			return "disabled"
		case s < 79:
			return "driver"
		default:
			return "disabled"
		}
	}
	var points []point
	var samples [][3]any
	for range 50 {
		r.at += 20_000
		v := r.rng.NormFloat64()
		if r.rng.IntN(50) == 0 {
			v = math.Copysign(0, -1)
		}
		points = append(points, point{"power/voltage", r.at, math.Float64bits(v)})
		samples = append(samples, [3]any{"power/voltage", r.at, v}, [3]any{"robot/mode", r.at, mode(r.at)})
	}
	r.sent = append(r.sent, points)
	r.text = append(r.text, wire.Encode(map[string]any{"type": "batch", "seq": len(r.sent), "samples": samples}))
}

// run sends until stop is closed and everything is acknowledged.
func (r *sendingRobot) run(url string, stop <-chan struct{}) error {
	for {
		err := r.connect(url, stop)
		if err == nil {
			return nil
		}
		time.Sleep(time.Duration(r.rng.IntN(10)) * time.Millisecond)
	}
}

func (r *sendingRobot) connect(url string, stop <-chan struct{}) error {
	d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}, HandshakeTimeout: time.Second}
	conn, _, err := d.Dial(url, nil)
	if err != nil {
		return err
	}
	defer conn.Close()
	if err := conn.WriteMessage(websocket.TextMessage, wire.Encode(wire.Hello{Type: "hello", Robot: r.name, Boot: r.boot})); err != nil {
		return err
	}
	durable, err := readSeq(conn)
	if err != nil {
		return err
	}
	if durable < r.acked {
		panic(fmt.Sprintf("%s: %d batches were acknowledged, and %d are there", r.name, r.acked, durable))
	}
	r.acked = durable
	next := durable
	for {
		stopping := false
		select {
		case <-stop:
			stopping = true
		default:
		}
		if stopping && r.acked == len(r.sent) {
			return nil
		}
		for next < r.acked+20 && (next < len(r.sent) || !stopping) {
			if next == len(r.sent) {
				r.next()
			}
			if err := conn.WriteMessage(websocket.TextMessage, r.text[next]); err != nil {
				return err
			}
			next++
		}
		if r.acked, err = readSeq(conn); err != nil {
			return err
		}
		r.known.Store(int64(r.acked))
	}
}

func readSeq(conn *websocket.Conn) (int, error) {
	_ = conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	_, data, err := conn.ReadMessage()
	if err != nil {
		return 0, err
	}
	var m struct {
		Type string `json:"type"`
		Seq  int    `json:"durable_seq"`
	}
	if err := json.Unmarshal(data, &m); err != nil || m.Type == "error" {
		panic(fmt.Sprintf("the collector said %s", data))
	}
	return m.Seq, nil
}

// sendingRobots are three robots, with the profiles of two: the third is stored, not analyzed.
// flags name the profiles, written into dir, for `collect`.
func sendingRobots(t *testing.T, dir string, seed uint64) (robots []*sendingRobot, profiles map[string]*robotProfile, flags []string) {
	t.Helper()
	profiles = map[string]*robotProfile{}
	for i, name := range []string{"heron", "bittern", "curlew"} {
		robots = append(robots, &sendingRobot{name: name, boot: "power-up 1", rng: rand.New(rand.NewPCG(uint64(i), seed))})
		if name == "curlew" {
			continue
		}
		file := filepath.Join(dir, name+".yaml")
		text := fmt.Appendf(nil, "profile: 1\nrobot: %s\nmode: {signal: robot/mode}\npower: {voltage: power/voltage}\n", name)
		require.NoError(t, os.WriteFile(file, text, 0o644))
		flags = append(flags, "--profile", file)
		p, err := parseProfile(file, text)
		require.NoError(t, err)
		profiles[name] = p
	}
	return robots, profiles, flags
}

// What was acknowledged is there after any number of kills, once, bit for bit.
func TestKilledCollectorLosesNothingAcknowledged(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	robots, profiles, more := sendingRobots(t, dir, 7)
	cmd, url := collecting(t, "127.0.0.1:0", data, more...)
	listen := strings.TrimSuffix(strings.TrimPrefix(url, "ws://"), wire.Path)
	stop := make(chan struct{})
	var senders sync.WaitGroup
	for _, r := range robots {
		senders.Go(func() { _ = r.run(url, stop) })
	}
	rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 1))
	n := kills(t)
	for range n {
		time.Sleep(time.Duration(20+rng.IntN(400)) * time.Millisecond)
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait()
		cmd, _ = collecting(t, listen, data, more...)
	}
	close(stop)
	senders.Wait()
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()

	stored := settledSamples(t, data, profiles)
	for _, r := range robots {
		checkStored(t, r, stored[r.name])
	}
	t.Logf("%d kills, %d, %d and %d batches acknowledged", n, robots[0].acked, robots[1].acked, robots[2].acked)
}

// settledSamples are the voltages in all folders, after a last collector has given everything
// its place.
func settledSamples(t *testing.T, data string, profiles map[string]*robotProfile) map[string]map[point]int {
	t.Helper()
	w := &writer{dir: data}
	require.NoError(t, w.begin())
	defer w.end()
	bound := map[string]*profile.Profile{}
	for name, p := range profiles {
		bound[name] = p.Profile
	}
	log := slog.New(slog.DiscardHandler)
	c, err := collector.Open(collector.Options{
		Dir: filepath.Join(data, liveDir, "journal"), Season: "2031", Event: "millbrook-open", Robots: bound, Log: log,
		Store: &liveStore{home: w.home, profiles: profiles, log: log},
	})
	require.NoError(t, err)
	for _, name := range []string{"heron", "bittern", "curlew"} {
		require.NoError(t, c.Settle(name))
	}
	require.NoError(t, c.Close())
	return storedSamples(t, w.home, log)
}

func storedSamples(t *testing.T, h *home.Home, log *slog.Logger) map[string]map[point]int {
	t.Helper()
	all, err := h.List()
	require.NoError(t, err)
	out := map[string]map[point]int{}
	for _, id := range all {
		samples, meta, err := (&liveStore{home: h, log: log}).Load(id)
		require.NoError(t, err)
		require.NotNil(t, samples, id.String())
		var boots []clock.BootMeta
		require.NoError(t, json.Unmarshal([]byte(meta[metaBoots]), &boots))
		require.Len(t, boots, 1)
		require.Zero(t, boots[0].ShiftUS)
		s := samples.Find("power/voltage")
		require.NotNil(t, s, id.String())
		t.Logf("%s: %d samples from %d to %d", id, s.Len(), s.Time[0], s.Time[s.Len()-1])
		require.Equal(t, schemas.Float64, s.Kind)
		if out[id.Robot] == nil {
			out[id.Robot] = map[point]int{}
		}
		for i, at := range s.Time {
			out[id.Robot][point{s.Name, at, math.Float64bits(s.Float[i])}]++
		}
	}
	return out
}

func checkStored(t *testing.T, r *sendingRobot, stored map[point]int) {
	t.Helper()
	total := 0
	for seq, batch := range r.sent {
		for _, p := range batch {
			n := stored[p]
			total += n
			if seq < r.acked {
				require.Equal(t, 1, n, "%s: batch %d was acknowledged, its sample at %d is there %d times", r.name, seq+1, p.time, n)
			}
		}
	}
	count := 0
	for _, n := range stored {
		count += n
	}
	require.Equal(t, total, count, "%s: samples are stored that were never sent", r.name)
}
