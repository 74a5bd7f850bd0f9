package sender

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// hostile is a server that says the same to everybody, whatever they say.
func hostile(t testing.TB, messages []string) string {
	up := websocket.Upgrader{Subprotocols: []string{wire.Subprotocol}}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ws, err := up.Upgrade(w, r, nil)
		if err != nil {
			return
		}
		defer ws.Close()
		for _, m := range messages {
			if ws.WriteMessage(websocket.TextMessage, []byte(m)) != nil {
				return
			}
		}
		for {
			if _, _, err := ws.ReadMessage(); err != nil {
				return
			}
		}
	}))
	t.Cleanup(server.Close)
	return "ws" + strings.TrimPrefix(server.URL, "http") + wire.Path
}

func TestHostileServer(t *testing.T) {
	welcome := `{"type":"welcome","durable_seq":0}`
	for _, messages := range [][]string{
		{`{"type":"welcome","durable_seq":18446744073709551615}`},
		{`{"type":"welcome","durable_seq":9007199254740993}`},
		{`{"type":"welcome","durable_seq":9007199254740992}`, `{"type":"ack","durable_seq":18446744073709551615}`},
		{`{"type":"welcome"}`},
		{`{"type":"welcome","durable_seq":-1}`},
		{`[]`},
		{`null`},
		{``},
		{"\xff"},
		{`{"type":7}`},
		{welcome, `{"type":"ack","durable_seq":1000000}`},
		{welcome, `{"type":"ack"}`},
		{welcome, `{"type":"error","code":"gap"}`},
		{welcome, `{"type":"error","code":"gap","expected":0}`},
		{welcome, `{"type":"error","code":"gap","expected":18446744073709551615}`},
		{welcome, `{"type":"clock"}`, `{"type":"clock","t0_us":5}`, `{"type":"clock","t0_us":-9223372036854775808,"t1_us":1,"t2_us":2}`},
		{welcome, `{"type":"error","code":"bad_message"}`, `{"type":"error","code":"bad_message"}`, `{"type":"error","code":"x"}`},
		{welcome, welcome, `{"type":"match","state":"start","sealed":true}`, `{"type":"error","code":"bad_name"}`, `{"type":"new"}`},
		{`{"type":"error","code":"bad_name","message":"no"}`},
		{`{"type":"error","code":"storage"}`},
		{welcome, strings.Repeat(`{"type":"`, longest)},
	} {
		s := begin(t, config(hostile(t, messages)))
		g := s.Signal("a", schemas.Int64)
		for i := range int64(20) {
			g.RecordInt(i, i)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
		require.ErrorContains(t, s.Close(ctx), "not acknowledged", messages)
		cancel()
	}
}

// FuzzAnswers lets the collector say anything at any time.
func FuzzAnswers(f *testing.F) {
	f.Add(`{"type":"ack","durable_seq":3}`, uint8(2))
	f.Add(`{"type":"error","code":"gap","expected":2}`+"\n"+`{"type":"error","code":"gap","expected":2}`, uint8(5))
	f.Add(`{"type":"error","code":"bad_message"}`+"\n"+`{"type":"error","code":"too_large"}`, uint8(1))
	f.Add(`{"type":"clock","t0_us":1,"t1_us":2,"t2_us":3}`+"\n"+`{"type":"error","code":"storage"}`, uint8(0))
	f.Fuzz(func(t *testing.T, text string, sent uint8) {
		c := config("ws://127.0.0.1:1")
		require.NoError(t, c.check())
		p := newSpool(c.Spool.Bytes, c.Log)
		for i := range 8 {
			p.push(entry{data: append([]byte{}, nothing...), samples: i})
		}
		require.NoError(t, p.welcome(0))
		l := &link{c: c, spool: p, clock: func() int64 { return 7 }}
		s := &session{l: l, events: make(chan event, 8), dead: make(chan error, 1), quit: make(chan struct{})}
		var drained sync.WaitGroup
		drained.Go(func() {
			for {
				select {
				case <-s.events:
				case <-s.quit:
					return
				}
			}
		})
		for range sent % 10 {
			p.take()
		}
		for line := range strings.Lines(text) {
			var m incoming
			if wire.Decode([]byte(line), &m) != nil {
				continue
			}
			if m.Type == "welcome" && m.DurableSeq != nil {
				_ = p.welcome(*m.DurableSeq)
			} else if s.take(m) != nil {
				p.lost(context.Canceled)
			}
			p.take()
		}
		close(s.quit)
		drained.Wait()
		// Whatever was said, what is left has numbers without holes, and is all there.
		st := p.stats(28)
		require.Equal(t, uint64(28), st.Acked+st.Refused+st.Waiting)
		require.LessOrEqual(t, p.acked+1, max(p.next, p.acked+1))
		require.GreaterOrEqual(t, p.bytes, int64(0))
		require.Less(t, p.last(), uint64(largestSeq)*2)
	})
}
