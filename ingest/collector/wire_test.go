package collector

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/wire"
)

// RFC 6455: the key and its answer of section 1.3, and the masked frame of section 5.7.
func TestHandshakeAndFramesOfTheStandard(t *testing.T) {
	f := newField(t)
	conn, err := net.Dial("tcp", strings.TrimPrefix(f.http.URL, "http://"))
	require.NoError(t, err)
	defer conn.Close()
	_, err = fmt.Fprintf(conn, "GET %s HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"+
		"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Protocol: %s\r\n\r\n", wire.Path, wire.Subprotocol)
	require.NoError(t, err)
	r := bufio.NewReader(conn)
	res, err := http.ReadResponse(r, nil)
	require.NoError(t, err)
	require.Equal(t, http.StatusSwitchingProtocols, res.StatusCode)
	require.Equal(t, "s3pPLMBiTxaQ9kYGzzhZRbK+xOo=", res.Header.Get("Sec-WebSocket-Accept"))
	require.Equal(t, wire.Subprotocol, res.Header.Get("Sec-WebSocket-Protocol"))
	hello, err := hex.DecodeString("818537fa213d7f9f4d5158") // the text Hello, masked
	require.NoError(t, err)
	_, err = conn.Write(hello)
	require.NoError(t, err)
	head := make([]byte, 2)
	_, err = io.ReadFull(r, head)
	require.NoError(t, err)
	require.EqualValues(t, 0x81, head[0], "one unmasked text frame")
	require.Less(t, head[1], byte(126))
	text := make([]byte, head[1])
	_, err = io.ReadFull(r, text)
	require.NoError(t, err)
	require.Contains(t, string(text), `"code":"no_hello"`)
}

// badRadio passes bytes on to a collector as a bad radio link does: it stalls, it loses the
// connection with or without saying so, and what was on the way is gone.
type badRadio struct {
	to       string
	listener net.Listener
	mu       sync.Mutex
	links    []net.Conn
	stalled  bool
	wake     sync.Cond
}

func newBadRadio(t *testing.T, to string) *badRadio {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	b := &badRadio{to: to, listener: l}
	b.wake.L = &b.mu
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", b.to)
			if err != nil {
				near.Close()
				continue
			}
			b.mu.Lock()
			b.links = append(b.links, near, far)
			b.mu.Unlock()
			go b.pass(near, far)
			go b.pass(far, near)
		}
	}()
	t.Cleanup(func() {
		l.Close()
		b.stall(false)
		b.cut()
	})
	return b
}

func (b *badRadio) pass(from, to net.Conn) {
	defer from.Close()
	defer to.Close()
	buf := make([]byte, 1400) // about a packet
	for {
		n, err := from.Read(buf)
		if err != nil {
			return
		}
		b.mu.Lock()
		for b.stalled {
			b.wake.Wait()
		}
		b.mu.Unlock()
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

func (b *badRadio) stall(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stalled = on
	b.wake.Broadcast()
}

func (b *badRadio) cut() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, l := range b.links {
		l.Close()
	}
	b.links = nil
}

// Over a link that stalls and breaks, what is sent again behind the last ack comes in once.
func TestBadRadio(t *testing.T) {
	f := newField(t)
	radio := newBadRadio(t, strings.TrimPrefix(f.http.URL, "http://"))
	d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}, HandshakeTimeout: 5 * time.Second}
	const batches = 120
	acked, tries := uint64(0), 0
	for acked < batches {
		tries++
		conn, _, err := d.Dial("ws://"+radio.listener.Addr().String()+wire.Path, nil)
		if err != nil {
			continue
		}
		acked = sendUntilCut(t, radio, conn, acked, batches, tries)
		conn.Close()
	}
	require.Greater(t, tries, 3)
	require.NoError(t, f.c.Settle("heron"))
	seen := map[int64]int{}
	for _, m := range f.shelf.matches {
		for _, at := range m.Log.Find("x").Time {
			seen[at]++
		}
	}
	require.Equal(t, batches, len(seen))
	for at, n := range seen {
		require.Equal(t, 1, n, "sample at %d", at)
	}
}

// sendUntilCut sends batches until the link is cut, and returns how many are acknowledged.
func sendUntilCut(t *testing.T, radio *badRadio, conn *websocket.Conn, acked, batches uint64, try int) uint64 {
	t.Helper()
	_ = conn.WriteMessage(websocket.TextMessage, wire.Encode(wire.Hello{Type: "hello", Robot: "heron", Boot: "b"}))
	_ = conn.SetReadDeadline(time.Now().Add(10 * time.Second))
	_, data, err := conn.ReadMessage()
	if err != nil {
		return acked
	}
	var w wire.Welcome
	require.Nil(t, wire.Decode(data, &w))
	require.GreaterOrEqual(t, w.DurableSeq, acked, "what was acknowledged is there")
	next := w.DurableSeq
	for n := 0; next < batches; n++ {
		next++
		text := fmt.Sprintf(`{"type":"batch","seq":%d,"samples":[["x",%d,%d]]}`, next, next*20_000, next)
		if conn.WriteMessage(websocket.TextMessage, []byte(text)) != nil {
			break
		}
		switch {
		case n == 8 && try%2 == 0:
			radio.stall(true)
			time.AfterFunc(30*time.Millisecond, func() { radio.stall(false) })
		case n == 15+try:
			radio.cut() // with batches and acks on the way
		}
	}
	for {
		var a wire.Ack
		_, data, err := conn.ReadMessage()
		if err != nil || wire.Decode(data, &a) != nil {
			return max(acked, w.DurableSeq)
		}
		if acked = max(acked, a.DurableSeq); acked == batches {
			return acked
		}
	}
}

// Whatever a sender says, the collector stays up and serves the next.
func FuzzMessages(f *testing.F) {
	for _, seed := range []string{
		`{"type":"hello","robot":"heron","boot":"b"}`, `{"type":"clock","t0_us":1}`, `{"type":"clock","t0_us":1,"t3_us":-9223372036854775808}`,
		`{"type":"signals","first":4294967295,"names":["a"],"types":["text"]}`, `{"type":"match","state":"start","match":"q1","at_us":5}`,
		`{"type":"match","state":"end"}`, `{"type":"batch","seq":1,"samples":[["a",1,2]]}`, "\x01\x00\x00\x00\x00\x00\x00\x00crc",
	} {
		f.Add(seed, false)
		f.Add(seed, true)
	}
	field := newField(f, func(o *Options) { o.Limits = Limits{Signals: 20} })
	n := 0
	f.Fuzz(func(t *testing.T, message string, binary bool) {
		n++
		field.t = t
		r := field.radio("heron", "", fmt.Sprint("fuzz ", n))
		kind := websocket.TextMessage
		if binary {
			kind = websocket.BinaryMessage
		}
		require.NoError(t, r.conn.WriteMessage(kind, []byte(message)))
		r.conn.Close()
		again := field.radio("heron", "", fmt.Sprint("after ", n))
		again.batch([3]any{"x", 1.0, 1})
		again.acked()
		again.conn.Close()
	})
}
