package senders

import (
	"encoding/pem"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
)

func TestEverythingArrivesOnce(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		w.record(r, 500)
		r.close()
		w.check(t, server)
		st := r.stats()
		assert.Equal(t, 2000, st.Recorded)
		assert.Equal(t, 2000, st.Acked)
		assert.Zero(t, st.Waiting+st.Dropped+st.Unfit+st.Lost+st.Refused+st.Spooled)
		server.Look(func(boots []*standin.Boot) {
			assert.Equal(t, "V", boots[0].Samples()[0].Unit)
			assert.Equal(t, "main", boots[0].Source)
			assert.GreaterOrEqual(t, len(boots[0].Name), 16, "a name that no other start has")
		})
	})
}

// The server has a mix of troubles, drawn from a seed that is printed.
func TestNothingIsLostInTrouble(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		seed := rand.Uint64()
		t.Log("seed ", seed)
		rnd := rand.New(rand.NewPCG(seed, 7)) // the server's
		server := server(t)
		kinds := []standin.Trouble{standin.Cut, standin.CutTook, standin.Crash, standin.Skip, standin.Storage}
		left := 15 // troubles, so that it ends
		server.On = func(*standin.Boot, uint64, int) standin.Trouble {
			if left > 0 && rnd.IntN(3) == 0 {
				left--
				return kinds[left%len(kinds)]
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
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		for range 40 {
			w.record(r, 20)
			time.Sleep(25 * time.Millisecond) // a batch is cut, so that there are several
		}
		r.close()
		w.check(t, server)
		st := r.stats()
		assert.Equal(t, len(w.want), st.Acked)
		assert.Zero(t, st.Lost+st.Refused+st.Dropped)
		assert.Greater(t, st.Connects, 2)
	})
}

// A batch that never arrived, and none behind it that would show the hole: it comes again when
// no ack has come for long, whatever pings went meanwhile, and the connection stays.
func TestTheLastBatchComesAgain(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		came := map[uint64]int{}
		server.On = func(_ *standin.Boot, seq uint64, _ int) standin.Trouble {
			if came[seq]++; came[seq] == 1 {
				return standin.Skip
			}
			return standin.None
		}
		r := l.recorded(t, server, 20)
		assert.Equal(t, 1, r.stats().Connects)
		server.Look(func([]*standin.Boot) { assert.Equal(t, 2, came[1]) })
	})
}

// recorded is a robot that has recorded n samples, all of which came to the server, and is closed.
func (l *language) recorded(t *testing.T, server *standin.Server, n int) *robot {
	r := l.start(t, server.URL())
	w := newScript()
	w.begin(r)
	w.record(r, n)
	r.close()
	w.check(t, server)
	return r
}

// A batch that never arrived leaves a hole, and all that was on its way behind it is refused.
func TestGap(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		came := map[uint64]int{}
		var last atomic.Uint64
		server.On = func(_ *standin.Boot, seq uint64, _ int) standin.Trouble {
			last.Store(seq)
			if came[seq]++; seq == 3 && came[seq] == 1 {
				time.Sleep(time.Second) // others are on their way when it is found missing
				return standin.Skip
			}
			return standin.None
		}
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		for began := time.Now(); last.Load() < 12 && time.Since(began) < long; {
			w.record(r, 20)
			time.Sleep(25 * time.Millisecond)
		}
		r.close()
		w.check(t, server)
		assert.Equal(t, 1, r.stats().Connects, "the connection stays")
		server.Look(func([]*standin.Boot) {
			assert.Equal(t, 2, came[3])
			assert.Equal(t, 2, came[5], "it was on its way")
			for seq, n := range came {
				assert.LessOrEqual(t, n, 2, "batch %d came again and again", seq)
			}
		})
	})
}

// A disk that takes nothing for a while: the connection stays, and what was refused is sent again
// although nothing comes behind it.
func TestFullDiskOfTheCollector(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		refusals := 0
		server.On = func(*standin.Boot, uint64, int) standin.Trouble {
			if refusals++; refusals <= 3 {
				return standin.Storage
			}
			return standin.None
		}
		r := l.recorded(t, server, 10)
		assert.Equal(t, 1, r.stats().Connects)
		assert.Contains(t, r.said.String(), "no space left on device")
	})
}

func TestAnotherCollectorTakesOver(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		for range 5 {
			w.record(r, 10)
			r.until("all acked", func(s stats) bool { return s.Waiting == 0 && s.Acked == len(w.want) })
		}
		server.Forget()
		later := newScript()
		later.n = 1000
		later.record(r, 10)
		r.close()
		later.check(t, server) // which also sees that the numbers have no hole
	})
}

func TestHalfOpenConnectionIsNoticed(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		dead := true
		server.On = func(*standin.Boot, uint64, int) standin.Trouble {
			if dead {
				dead = false
				return standin.Dead
			}
			return standin.None
		}
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		w.record(r, 10)
		r.close()
		w.check(t, server)
		assert.Equal(t, 2, r.stats().Connects)
	})
}

func TestNobodyBehindThePort(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		url, closeIt, err := standin.Blackhole()
		require.NoError(t, err)
		defer closeIt()
		r := l.start(t, url)
		w := newScript()
		w.begin(r)
		w.record(r, 10)
		assert.Equal(t, "closed false", r.ask("close 0.3"))
		assert.Equal(t, 40, r.stats().Waiting)
	})
}

func TestToken(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		server.Token = "bread"
		r := l.start(t, server.URL(), "--token", "cake")
		st := r.until("refused", func(s stats) bool { return strings.Contains(s.Trouble, "401") })
		assert.Contains(t, st.Trouble, "give the token")
		assert.False(t, st.Connected)
		r = l.start(t, server.URL(), "--token", "bread")
		w := newScript()
		w.begin(r)
		w.record(r, 10)
		r.close()
		w.check(t, server)
	})
}

// A certificate is checked; what it is not good for is not sent to.
func TestEncrypted(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		if !l.tls {
			r := l.launch(t, "wss://127.0.0.1:1/v1/live")
			assert.Contains(t, r.first, "refused")
			assert.Contains(t, r.first, "wss")
			return
		}
		plain := server(t)
		encrypted := httptest.NewUnstartedServer(plain)
		encrypted.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
		encrypted.StartTLS()
		defer encrypted.Close()
		url := "wss" + strings.TrimPrefix(encrypted.URL, "https")
		stranger := l.start(t, url)
		stranger.until("refused", func(s stats) bool { return strings.Contains(strings.ToLower(s.Trouble), "certif") })
		ca := filepath.Join(t.TempDir(), "ca.pem")
		require.NoError(t, os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: encrypted.Certificate().Raw}), 0o600))
		r := l.start(t, url, "--ca", ca)
		w := newScript()
		w.begin(r)
		for range 10 {
			w.record(r, 200)
		}
		r.close()
		w.check(t, plain)
	})
}

func TestConfigurationsThatCannotBe(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		for _, c := range []struct {
			url  string
			args []string
			why  string
		}{
			{"http://127.0.0.1:1/v1/live", nil, "ws://HOST:PORT"},
			{"127.0.0.1:4151", nil, "ws://HOST:PORT"},
			{"ws://127.0.0.1:1/v1/live", []string{"--source", "Main"}, `source`},
			{"ws://127.0.0.1:1/v1/live", []string{"--token", "a b"}, "token"},
			{"ws://127.0.0.1:1/v1/live", []string{"--spool-bytes", "1000"}, "65536"},
			{"ws://127.0.0.1:1/v1/live", []string{"--boot", ""}, "boot"},
		} {
			r := l.launch(t, c.url, c.args...)
			assert.True(t, strings.HasPrefix(r.first, "refused ") && strings.Contains(r.first, c.why), r.first)
		}
	})
}

func TestBatchTheCollectorDoesNotWant(t *testing.T) {
	for name, trouble := range map[string]standin.Trouble{"bad": standin.Bad, "large": standin.Large} {
		t.Run(name, func(t *testing.T) {
			each(t, func(t *testing.T, l *language) {
				server := server(t)
				server.On = func(_ *standin.Boot, seq uint64, samples int) standin.Trouble {
					if seq == 3 && samples > 0 {
						return trouble
					}
					return standin.None
				}
				r := l.start(t, server.URL())
				w := newScript()
				w.begin(r)
				for range 10 {
					w.record(r, 5)
					time.Sleep(25 * time.Millisecond)
				}
				r.close()
				st := r.stats()
				assert.Positive(t, st.Refused)
				assert.Equal(t, st.Recorded, st.Acked+st.Refused)
				server.Look(func(boots []*standin.Boot) {
					got := arrived(t, boots[0])
					assert.Len(t, got, st.Acked, "what was not refused is there")
					for k, v := range got {
						assert.Equal(t, w.want[k], v)
					}
				})
			})
		})
	}
}

func TestFullSpoolGivesUpTheOldest(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		var open atomic.Bool
		server.Refuse = func() int {
			if open.Load() {
				return 0
			}
			return http.StatusServiceUnavailable
		}
		r := l.start(t, server.URL(), "--spool-bytes", "65536")
		r.do("match start - q1 -") // stays although its batch is given up
		w := newScript()
		w.begin(r)
		for range 60 {
			w.record(r, 30)
			time.Sleep(5 * time.Millisecond)
		}
		st := r.until("all is in batches", func(s stats) bool { return s.Recorded == len(w.want) && s.Lost > 0 })
		assert.LessOrEqual(t, st.Spooled, 65536)
		open.Store(true)
		r.close()
		st = r.stats()
		assert.Equal(t, st.Recorded, st.Acked+st.Lost)
		assert.Zero(t, st.Dropped)
		assert.Equal(t, 1, strings.Count(r.said.String(), "the spool is full"), "it is said once")
		server.Look(func(boots []*standin.Boot) {
			got := arrived(t, boots[0])
			assert.Len(t, got, st.Acked)
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
	})
}

func TestMatchKeepsItsPlace(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		crash := 0
		server.On = func(*standin.Boot, uint64, int) standin.Trouble {
			if crash++; crash <= 3 {
				return standin.Crash // the match messages are gone with the batch
			}
			return standin.None
		}
		r := l.start(t, server.URL())
		r.signal(schemas.Float64, "power/voltage")
		r.record(0, 1000, 12.0)
		r.do("match start millbrook-open q14 1500")
		r.record(0, 2000, 12.0)
		r.record(0, 3000, 11.0)
		r.do("match end - - -")
		r.close()
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
	})
}

// The offset of RFC 5905, section 8: ((T2-T1)+(T3-T4))/2 of the four times in its numbering.
// The truth is the robot's clock, asked for over a pipe.
func TestClockExchange(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		r := l.start(t, server.URL(), "--ahead", "3000000000")
		require.True(t, server.Wait(long, func(b []*standin.Boot) bool { return len(b) == 1 && len(b[0].Clocks) >= 2 }))
		var lowest, highest int64 // of the truth
		for i := range 20 {
			before := server.Time(time.Now())
			var now int64
			_, err := fmt.Sscan(r.ask("now"), &now)
			require.NoError(t, err)
			low, high := before-now, server.Time(time.Now())-now
			if i == 0 || low > lowest {
				lowest = low
			}
			if i == 0 || high < highest {
				highest = high
			}
		}
		require.Less(t, highest-lowest, int64(1_000_000), "the truth is known well enough to see a second")
		now := server.Time(time.Now())
		r.close()
		server.Look(func(boots []*standin.Boot) {
			for _, e := range boots[0].Clocks {
				delay := (e.T3 - e.T0) - (e.T2 - e.T1)
				offset := ((e.T1 - e.T0) + (e.T2 - e.T3)) / 2
				assert.GreaterOrEqual(t, delay, int64(0))
				assert.LessOrEqual(t, e.T0+lowest, e.T1, "it asked before the collector was asked")
				assert.GreaterOrEqual(t, e.T3+highest, e.T2, "the answer came after it was given")
				assert.LessOrEqual(t, e.T3+lowest, now, "and not in the future")
				assert.GreaterOrEqual(t, offset+delay/2+2, lowest, "half the delay is the most it can be off")
				assert.LessOrEqual(t, offset-delay/2-2, highest, "half the delay is the most it can be off")
			}
		})
	})
}

// A collector that takes its time slows the sender down and loses nothing; as long as acks
// come, nothing is sent twice.
func TestSlowCollector(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		came := 0
		server.On = func(*standin.Boot, uint64, int) standin.Trouble {
			came++
			time.Sleep(30 * time.Millisecond) // longer than it takes to make one
			return standin.None
		}
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		for range 60 {
			w.record(r, 100)
			time.Sleep(20 * time.Millisecond)
		}
		st := r.stats()
		assert.Equal(t, len(w.want), st.Recorded, "recording waits for nobody")
		r.close()
		w.check(t, server)
		st = r.stats()
		assert.Zero(t, st.Dropped+st.Lost)
		server.Look(func([]*standin.Boot) { assert.Equal(t, st.Batches, came) })
	})
}

// close returns when the collector says that it has everything, and not before.
func TestCloseWaitsForTheAck(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		var release atomic.Bool
		server.Acks = func(uint64) bool { return release.Load() }
		r := l.start(t, server.URL())
		w := newScript()
		w.begin(r)
		w.record(r, 10)
		r.do("close 50")
		r.flush()
		require.True(t, server.Wait(long, func(b []*standin.Boot) bool { return len(b) == 1 && len(b[0].Samples()) == len(w.want) }))
		select {
		case line := <-r.lines:
			t.Fatalf("it said %q, and nothing was acknowledged", line)
		case <-time.After(300 * time.Millisecond):
		}
		release.Store(true)
		server.CutAll() // what is sent again is acknowledged
		assert.Equal(t, "closed true", r.line())
		w.check(t, server)
	})
}
