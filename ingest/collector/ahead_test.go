package collector

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// readAhead is how many samples were read ahead of a robot.
func (f *field) readAhead(name string) int {
	f.c.mu.Lock()
	r := f.c.robots[name]
	f.c.mu.Unlock()
	r.one.Lock()
	defer r.one.Unlock()
	if r.ahead.read == nil {
		return 0
	}
	return r.ahead.read.samples
}

// conversation is a match of three robots, one with two computers, whose samples come in an
// order of chance. It stops before the match has ended, so that nothing is settled by itself.
func (f *field) conversation(seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 2))
	robots := []struct {
		*radio
		name string
	}{
		{f.radio("heron", "", "boot-1"), "heron"},
		{f.radio("heron", "vision", "boot-v"), "heron"},
		{f.radio("curlew", "", "boot-1"), "curlew"},
		{f.radio("bittern", "", "boot-1"), "bittern"},
	}
	for step := range 60 {
		t := float64(step)
		for i, r := range robots {
			var samples [][3]any
			for k := range 1 + rng.IntN(8) {
				// Out of order, and now and then twice: the later one counts.
				at := t + float64(rng.IntN(900))/1000
				samples = append(samples, [3]any{fmt.Sprintf("signal/%d of %d", rng.IntN(3+step/20), i), at, rng.Float64()},
					[3]any{"text " + r.name, at, fmt.Sprint("state ", k)})
			}
			if i != 1 {
				samples = append(samples, [3]any{"robot/mode", t, aMatch(10)(t)})
			}
			r.batch(samples...)
		}
		if step%30 == 29 {
			for _, r := range robots {
				r.acked()
			}
		}
	}
}

func TestReadingAheadChangesNothing(t *testing.T) {
	for seed := range uint64(3) {
		ahead := newField(t, func(o *Options) { o.Journal.Segment = 2 << 10 })
		ahead.conversation(seed)
		for _, name := range []string{"heron", "curlew", "bittern"} {
			require.Eventually(t, func() bool { return ahead.readAhead(name) > 0 }, 10*time.Second, time.Millisecond, name)
		}
		behind := newField(t, func(o *Options) { o.Journal.Segment, o.Ahead = 2<<10, 1 })
		behind.conversation(seed)
		for _, name := range []string{"heron", "curlew", "bittern"} {
			require.Zero(t, behind.readAhead(name), "of %s more is held than may be", name)
			require.NoError(t, ahead.c.Settle(name))
			require.NoError(t, behind.c.Settle(name))
		}
		require.Equal(t, behind.shelf.names(), ahead.shelf.names())
		require.NotEmpty(t, ahead.shelf.names())
		for id, want := range behind.shelf.matches {
			require.Equal(t, want.Log, ahead.shelf.matches[id].Log, id.String())
		}
		ahead.close()
		behind.close()
	}
}

func TestOnlyWhatIsTooMuchIsNotHeld(t *testing.T) {
	robots := []*robot{{name: "heron"}, {name: "curlew"}, {name: "bittern"}}
	for i, r := range robots {
		c := column{times: make([]int64, 100*(i+1)), values: make([]uint64, 100*(i+1))}
		r.ahead.read = &gathered{boots: map[uint32]*pile{1: {columns: []column{c}}}}
	}
	shed(robots, 16*600)
	require.NotNil(t, robots[2].ahead.read, "600 samples of 16 bytes may be held")
	shed(robots, 16*599)
	require.Nil(t, robots[2].ahead.read)
	require.True(t, robots[2].ahead.tooMuch)
	require.NotNil(t, robots[0].ahead.read)
	require.NotNil(t, robots[1].ahead.read)
	shed(robots[:2], 0)
	require.Nil(t, robots[0].ahead.read)
	require.Nil(t, robots[1].ahead.read)
}

func TestReadingAheadLeavesRoomForTheRest(t *testing.T) {
	entries := []wire.Entry{{Name: "a", Kind: schemas.Float64}, {Name: "b", Kind: schemas.Text}, {Name: "c", Kind: schemas.Bool}}
	p := &pile{boot: bootView{entries: entries}, columns: make([]column, 3)}
	g := &gathered{boots: map[uint32]*pile{1: p}}
	for n := range 5000 {
		for i := range p.columns {
			c := &p.columns[i]
			c.times = append(c.times, int64(n))
			if entries[i].Kind == schemas.Text {
				c.texts = append(c.texts, "state")
			} else {
				c.values = append(c.values, uint64(n))
			}
		}
		if n%97 != 0 {
			continue
		}
		g.makeRoom()
		for i, c := range p.columns {
			require.GreaterOrEqual(t, cap(c.times)-len(c.times), len(c.times)/6)
			require.GreaterOrEqual(t, max(cap(c.values), cap(c.texts)), n+1+n/6, entries[i].Name)
			require.Less(t, cap(c.times), 2*len(c.times)+64, "and not much more")
		}
	}
}
