package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
)

func replayServer(t testing.TB) *standin.Server {
	t.Helper()
	s := standin.New()
	t.Cleanup(func() {
		s.Close()
		assert.Empty(t, s.Wrong(), "the wire's rules were broken")
	})
	return s
}

// bitsOf are the samples of a boot of a log, by signal with its unit, kind and time.
func bitsOf(log *schemas.Log, boot int32) map[standin.Sample]any {
	out := map[standin.Sample]any{}
	for _, s := range log.Signals {
		for i := range s.Len() {
			if s.BootAt(i) != boot {
				continue
			}
			k := standin.Sample{Signal: s.Name, Unit: s.Unit, Kind: s.Kind, Time: s.Time[i]}
			switch s.Kind {
			case schemas.Float64:
				out[k] = math.Float64bits(s.Float[i])
			case schemas.Int64:
				out[k] = s.Int[i]
			case schemas.Bool:
				out[k] = s.Bool[i]
			default:
				out[k] = s.Text[i]
			}
		}
	}
	return out
}

// arrivedAs is what a server took of a boot, in the same form.
func arrivedAs(t testing.TB, b *standin.Boot) map[standin.Sample]any {
	t.Helper()
	out := map[standin.Sample]any{}
	for _, s := range b.Samples() {
		bits := s.Bits()
		s.Value = nil
		_, twice := out[s]
		require.False(t, twice, "%v came twice", s)
		out[s] = bits
	}
	return out
}

func sameBits(t testing.TB, want, got map[standin.Sample]any) {
	t.Helper()
	require.Len(t, got, len(want))
	for k, v := range want {
		if got[k] != v {
			t.Fatalf("%v is %v and was %v", k, got[k], v)
		}
	}
}

// A log file, and the stored match of it, arrive bit for bit, on a bad connection too.
func TestReplayBitForBit(t *testing.T) {
	t.Parallel()
	log, _, err := ingest.ReadFiles(t.Context(), []string{sample("rookie.csv.gz")}, ingest.Options{})
	require.NoError(t, err)
	server := replayServer(t)
	batches := 0
	server.On = func(b *standin.Boot, _ uint64, _ int) standin.Trouble {
		if b.Source != "main" {
			return standin.None
		}
		batches++
		return map[int]standin.Trouble{2: standin.Cut, 5: standin.Skip, 7: standin.Crash, 11: standin.CutTook}[batches]
	}
	o := done(t, afterbell("replay", sample("rookie.csv.gz"), "--robot", "curlew", "--speed", "max", "--to", server.URL(), "--json"))
	var r replayed
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &r))
	assert.Equal(t, log.Samples(), r.Samples)
	assert.Equal(t, "curlew", r.Robot)
	require.Len(t, r.Boots, 1)
	server.Look(func(boots []*standin.Boot) {
		require.Len(t, boots, 1)
		assert.Equal(t, []string{"curlew", "main", r.Boots[0]}, []string{boots[0].Robot, boots[0].Source, boots[0].Name})
		assert.Empty(t, boots[0].Matches(), "the mode signal opens the match")
		sameBits(t, bitsOf(log, 0), arrivedAs(t, boots[0]))
	})

	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	first, last, _ := log.Bounds()
	from := math.Round(schemas.Seconds((first + last) / 2))
	until := from + 20
	o = done(t, afterbell("replay", "q14", "--data", data, "--speed", "max", "--to", server.URL(), "--source", "vision",
		"--from", fmt.Sprint(from), "--until", fmt.Sprint(until), "--event", "alder-cup", "--match", "q2"))
	assert.Contains(t, o.stdout, "in 1 power-up of curlew are on the collector's disk")
	server.Look(func(boots []*standin.Boot) {
		require.Len(t, boots, 2, "a second replay is no repeat of the first")
		assert.Equal(t, "vision", boots[1].Source)
		part := period.Stretch(log, micros(from), micros(until), last, period.Holds)
		sameBits(t, bitsOf(part, 0), arrivedAs(t, boots[1]))
		matches := boots[1].Matches()
		require.Len(t, matches, 2)
		assert.Equal(t, []string{"alder-cup", "q2", "start", "end"}, []string{matches[0].Event, matches[0].Match, matches[0].State, matches[1].State})
		first, last, _ := part.Bounds()
		assert.Equal(t, []int64{first, last}, []int64{*matches[0].At, *matches[1].At})
	})
}

// severalBoots is a log of two power-ups with every kind and the values that are hard to keep.
func severalBoots() *schemas.Log {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{
			Name: "a", Unit: "V", Kind: schemas.Float64, Time: []int64{-5, 0, 10, 3, 4}, Boot: []int32{1, 1, 1, 4, 4},
			Float: []float64{math.NaN(), math.Copysign(0, -1), math.Inf(-1), 5e-324, math.Float64frombits(0x7ff8000000000123)},
		},
		{Name: "b", Kind: schemas.Int64, Time: []int64{-5, 3}, Boot: []int32{1, 4}, Int: []int64{math.MinInt64, 1<<53 + 1}},
		{Name: "c [x", Kind: schemas.Bool, Time: []int64{1, 2}, Boot: []int32{4, 4}, Bool: []bool{true, false}},
		{Name: "d", Kind: schemas.Text, Time: []int64{1, 2, 3}, Boot: []int32{1, 1, 1}, Text: []string{"", "nan", "é\n\"\x00"}},
	}}
	log.Normalize()
	return log
}

func TestReplayEachPowerUpByItself(t *testing.T) {
	t.Parallel()
	server := replayServer(t)
	o := replayOptions{to: server.URL(), robot: "heron", source: "main", speed: "max", patience: time.Minute}
	log := severalBoots()
	p, err := newPlayer(log, o)
	require.NoError(t, err)
	require.NoError(t, p.run(t.Context(), &app{}, math.Inf(1), o))
	server.Look(func(boots []*standin.Boot) {
		require.Len(t, boots, 2)
		for i, b := range boots {
			want := bitsOf(log, []int32{1, 4}[i])
			if p.boots[i].Boot() != b.Name { // they connect in any order
				want = bitsOf(log, []int32{4, 1}[i])
			}
			sameBits(t, want, arrivedAs(t, b))
		}
	})
}

func TestReplayKeepsThePace(t *testing.T) {
	t.Parallel()
	server := replayServer(t)
	file := written(t, "slow.csv", "time_s,signal,value\n0,a,1\n0.3,a,2\n0.6,a,3\n")
	o := done(t, afterbell("replay", file, "--robot", "heron", "--speed", "2", "--to", server.URL(), "--json"))
	var r replayed
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &r))
	assert.InDelta(t, 0.6, r.LogS, 1e-9)
	assert.GreaterOrEqual(t, r.TookS, 0.3, "a sample is not sent before its time")
}

func TestReplayThatCannotBe(t *testing.T) {
	t.Parallel()
	server := replayServer(t)
	server.Token = "bread"
	file := written(t, "one.csv", "time_s,signal,value\n0,a,1\n")
	data := dataFolder(t)
	to := server.URL()
	for _, c := range []struct {
		args []string
		code int
		says []string
	}{
		{[]string{file, "--robot", "heron"}, exitUsage, []string{"--to is missing"}},
		{[]string{file, "--to", to}, exitUsage, []string{"--robot is missing", file}},
		{[]string{file, "--to", to, "--robot", "Heron"}, exitUsage, []string{`--robot: robot "Heron" is not a name`}},
		{[]string{file, "--to", to, "--robot", "heron", "--match", "Q 1"}, exitUsage, []string{"--match"}},
		{[]string{file, "--to", "http://x", "--robot", "heron"}, exitUsage, []string{"--to", "not of the form ws://"}},
		{[]string{file, "--to", to, "--robot", "heron", "--speed", "0"}, exitUsage, []string{"--speed", "max"}},
		{[]string{file, "--to", to, "--robot", "heron", "--speed", "inf"}, exitUsage, []string{"--speed"}},
		{[]string{file, "--to", to, "--robot", "heron", "--from", "2", "--until", "1"}, exitUsage, []string{"--from 2"}},
		{[]string{file, "--to", to, "--robot", "heron", "--from", "2"}, exitFailed, []string{"no samples"}},
		{[]string{file, "--to", to, "--robot", "heron"}, exitFailed, []string{"replaying " + file, "401 Unauthorized", "token"}},
		{[]string{"q14", "--to", to, "--data", data}, exitFailed, []string{"q14 is no file", "no data folder"}},
	} {
		failed(t, afterbell(append([]string{"replay"}, c.args...)...), c.code, c.says...)
	}
}

func TestReplayGivesUp(t *testing.T) {
	t.Parallel()
	url, closeIt, err := standin.Blackhole()
	require.NoError(t, err)
	defer closeIt()
	o := replayOptions{to: url, robot: "heron", source: "main", speed: "max", patience: 300 * time.Millisecond}
	p, err := newPlayer(severalBoots(), o)
	require.NoError(t, err)
	require.ErrorContains(t, p.run(t.Context(), &app{}, math.Inf(1), o), "is a collector running there?")

	server := replayServer(t) // welcomes, and then takes nothing
	server.On = func(*standin.Boot, uint64, int) standin.Trouble { return standin.Storage }
	o.to = server.URL()
	o.patience = 3 * time.Second
	p, err = newPlayer(severalBoots(), o)
	require.NoError(t, err)
	require.ErrorContains(t, p.run(t.Context(), &app{}, math.Inf(1), o), "12 samples are not on the collector's disk")

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	failed(t, afterbellIn(ctx, "replay", written(t, "one.csv", "time_s,signal,value\n0,a,1\n"), "--robot", "heron", "--to", url), exitFailed, "interrupted")
}
