package senders

import (
	"bufio"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// The key and answer of RFC 6455, section 1.3, and the frames of section 5.7 as a client
// sends them: those that the section has masked or does not mask are built from the same
// payloads by the layout of section 5.2.
func TestHandshakeAndFramesOfTheStandard(t *testing.T) {
	eachOf(t, func(l *language) bool { return !l.library }, func(t *testing.T, l *language) {
		r := l.start(t, "ws://127.0.0.1:1/v1/live")
		assert.Equal(t, "s3pPLMBiTxaQ9kYGzzhZRbK+xOo=", r.ask("accept dGhlIHNhbXBsZSBub25jZQ=="))
		assert.Equal(t, "818537fa213d7f9f4d5158", r.ask("frame 1 37fa213d 48656c6c6f"), "a single-frame masked text message")
		assert.Equal(t, "898537fa213d7f9f4d5158", r.ask("frame 9 37fa213d 48656c6c6f"), "a ping with it")
		assert.Equal(t, "818000000000", r.ask("frame 1 00000000"))
		// With a mask of zeros the payload stands as it is.
		assert.Equal(t, "82fe010000000000"+strings.Repeat("61", 256), r.ask("frame 2 00000000 %s", strings.Repeat("61", 256)), "256 bytes in a single frame")
		assert.Equal(t, "82ff000000000001000000000000"+strings.Repeat("61", 65536), r.ask("frame 2 00000000 %s", strings.Repeat("61", 65536)), "64KiB in a single frame")
		for _, n := range []int{125, 126, 65535} { // where the length changes its form
			head := map[int]string{125: "81fd", 126: "81fe007e", 65535: "81feffff"}[n]
			assert.Equal(t, head+"ffffffff"+strings.Repeat("9e", n), r.ask("frame 1 ffffffff %s", strings.Repeat("61", n)))
		}
	})
}

// peer is a server that speaks bytes, to say what no library would.
type peer struct {
	t       testing.TB
	l       net.Listener
	conn    net.Conn
	r       *bufio.Reader
	request *http.Request
}

func newPeer(t testing.TB) *peer {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &peer{t: t, l: l}
	t.Cleanup(func() {
		l.Close()
		if p.conn != nil {
			p.conn.Close()
		}
	})
	return p
}

func (p *peer) url() string { return "ws://" + p.l.Addr().String() + wire.Path }

// accept takes the next connection and reads its handshake.
func (p *peer) accept() {
	p.t.Helper()
	if p.conn != nil {
		p.conn.Close()
	}
	require.NoError(p.t, p.l.(*net.TCPListener).SetDeadline(time.Now().Add(long)))
	var err error
	p.conn, err = p.l.Accept()
	require.NoError(p.t, err)
	require.NoError(p.t, p.conn.SetDeadline(time.Now().Add(long)))
	p.r = bufio.NewReader(p.conn)
	p.request, err = http.ReadRequest(p.r)
	require.NoError(p.t, err)
}

// upgrade answers the handshake, and what is in other replaces a field of the answer.
func (p *peer) upgrade(other map[string]string) {
	fields := map[string]string{
		"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Protocol": wire.Subprotocol,
		"Sec-WebSocket-Accept": acceptFor(p.request.Header.Get("Sec-WebSocket-Key")),
	}
	for k, v := range other {
		fields[k] = v
	}
	text := "HTTP/1.1 101 Switching Protocols\r\n"
	for k, v := range fields {
		if v != "" {
			text += k + ": " + v + "\r\n"
		}
	}
	_, _ = io.WriteString(p.conn, text+"\r\n")
}

func (p *peer) say(frames ...string) {
	p.t.Helper()
	for _, f := range frames {
		_, err := io.WriteString(p.conn, f)
		require.NoError(p.t, err)
	}
}

// plain is an unmasked frame of a server; first is its first byte.
func plain(first byte, payload string) string {
	n := len(payload)
	switch {
	case n < 126:
		return string([]byte{first, byte(n)}) + payload
	case n < 65536:
		return string([]byte{first, 126, byte(n >> 8), byte(n)}) + payload
	default:
		return string(binary.BigEndian.AppendUint64([]byte{first, 127}, uint64(n))) + payload
	}
}

// incoming is a frame of the client.
type incoming struct {
	first   byte
	mask    [4]byte
	payload string
}

// frame is the next frame, which must be masked and whole.
func (p *peer) frame() (incoming, error) {
	var f incoming
	head := make([]byte, 2)
	if _, err := io.ReadFull(p.r, head); err != nil {
		return f, err
	}
	f.first = head[0]
	require.NotZero(p.t, head[1]&0x80, "a client's frames are masked (RFC 6455, section 5.1)")
	require.Zero(p.t, head[0]&0x70, "reserved bits")
	size := uint64(head[1] & 0x7f)
	if size > 125 {
		more := make([]byte, map[uint64]int{126: 2, 127: 8}[size])
		if _, err := io.ReadFull(p.r, more); err != nil {
			return f, err
		}
		size = 0
		for _, b := range more {
			size = size<<8 | uint64(b)
		}
	}
	if _, err := io.ReadFull(p.r, f.mask[:]); err != nil {
		return f, err
	}
	payload := make([]byte, size)
	if _, err := io.ReadFull(p.r, payload); err != nil {
		return f, err
	}
	for i := range payload {
		payload[i] ^= f.mask[i%4]
	}
	f.payload = string(payload)
	return f, nil
}

// until reads frames until one is wanted. Texts are joined from fragments by want's caller.
func (p *peer) until(first byte) incoming {
	p.t.Helper()
	for {
		f, err := p.frame()
		require.NoError(p.t, err)
		if f.first == first {
			return f
		}
	}
}

const welcome = `{"type":"welcome","durable_seq":0}`

func TestHandshakeIsOfTheStandard(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		p := newPeer(t)
		r := l.start(t, p.url(), "--token", "bread")
		keys := map[string]bool{}
		for why, other := range map[string]map[string]string{
			"wrong answer": {"Sec-WebSocket-Accept": "s3pPLMBiTxaQ9kYGzzhZRbK+xOo="},
			"no upgrade":   {"Upgrade": ""},
			"no protocol":  {"Sec-WebSocket-Protocol": ""},
			"another one":  {"Sec-WebSocket-Protocol": "chat"},
		} {
			p.accept()
			h := p.request.Header
			assert.Equal(t, http.MethodGet, p.request.Method)
			assert.Equal(t, wire.Path, p.request.URL.Path)
			assert.Equal(t, p.l.Addr().String(), p.request.Host)
			assert.Equal(t, "13", h.Get("Sec-WebSocket-Version"))
			assert.Equal(t, wire.Subprotocol, h.Get("Sec-WebSocket-Protocol"))
			assert.Equal(t, "websocket", strings.ToLower(h.Get("Upgrade")))
			assert.Equal(t, "Bearer bread", h.Get("Authorization"))
			assert.Empty(t, h.Get("Origin"))
			keys[h.Get("Sec-WebSocket-Key")] = true
			p.upgrade(other)
			_, err := p.frame()
			assert.Error(t, err, "a client does not speak after %s", why)
			r.until(why, func(s stats) bool { return s.Trouble != "" && !s.Connected })
		}
		assert.Len(t, keys, 4, "a key is new each time")
		p.accept()
		p.upgrade(nil)
		assert.Contains(t, p.until(0x81).payload, `"hello"`)
	})
}

// Messages come in fragments with a ping between them (RFC 6455, section 5.4), and a pong has
// the ping's payload (5.5.3). A close is answered with its code (5.5.1).
func TestFragmentsPingsAndClose(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		p := newPeer(t)
		r := l.start(t, p.url())
		p.accept()
		p.upgrade(nil)
		p.say(plain(0x01, welcome[:5]), plain(0x89, "Hello"), plain(0x00, welcome[5:9]), plain(0x80, welcome[9:]))
		pong := p.until(0x8a)
		assert.Equal(t, "Hello", pong.payload)
		r.until("connected", func(s stats) bool { return s.Connected })
		masks := map[[4]byte]bool{pong.mask: true}
		r.signal(schemas.Float64, "a")
		for seq := 1; seq <= 8; seq++ {
			r.record(0, int64(seq), float64(seq))
			r.flush()
			for got := ""; !strings.Contains(got, `"batch"`); {
				f, err := p.frame()
				require.NoError(t, err)
				masks[f.mask] = true
				if f.first == 0x89 {
					p.say(plain(0x8a, f.payload))
				}
				if got = f.payload; f.first == 0x81 {
					require.True(t, json.Valid([]byte(got)), got)
				}
			}
			p.say(plain(0x81, fmt.Sprintf(`{"durable_seq":%d, "new":{"type":[1,"}",{"a":"\"ack\""}]},"type":"ack"}`, seq)))
		}
		assert.GreaterOrEqual(t, len(masks), 9, "a mask is new each time (section 5.3)")
		r.until("acked", func(s stats) bool { return s.Acked == 8 })
		p.say(plain(0x88, "\x03\xe9the collector stops"))
		closing := p.until(0x88)
		assert.Equal(t, "\x03\xe9", closing.payload[:2])
		st := r.until("closed", func(s stats) bool { return !s.Connected })
		assert.Contains(t, st.Trouble, "the collector stops")
		p.accept() // it comes again
		p.upgrade(nil)
		p.say(plain(0x81, strings.Replace(welcome, ":0", ":8", 1)))
		r.until("again", func(s stats) bool { return s.Connects == 2 })
		r.do("close 10")
		r.flush()
		assert.Equal(t, "\x03\xe8", p.until(0x88).payload[:2], "a program that ends says so: 1000, normal closure")
		p.say(plain(0x88, "\x03\xe8"))
		assert.Equal(t, "closed true", r.line())
	})
}

// What JSON numbers may lose (RFC 8259, section 6: integers beyond 2^53 do not come through
// everywhere) is a string on the wire, and what they have no word for as well.
func TestNumbersOnTheWire(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		p := newPeer(t)
		r := l.start(t, p.url())
		r.signal(schemas.Int64, "i")
		r.signal(schemas.Float64, "f")
		want := map[int64]any{}
		for at, v := range []int64{1<<53 - 1, 1 - 1<<53, 1<<53 + 1, -1<<53 - 1, math.MinInt64} {
			r.record(0, int64(at), v)
			if want[int64(at)] = fmt.Sprint(v); at < 2 {
				want[int64(at)] = float64(v)
			}
		}
		for i, v := range []any{math.NaN(), math.Inf(1), math.Inf(-1), 1.5} {
			at := int64(10 + i)
			r.record(1, at, v)
			want[at] = []any{"nan", "inf", "-inf", 1.5}[i]
		}
		r.flush()
		p.accept()
		p.upgrade(nil)
		p.say(plain(0x81, welcome))
		got := map[int64]any{}
		for text := ""; len(got) < len(want); {
			f, err := p.frame()
			require.NoError(t, err)
			if f.first&0x0f > 1 { // of control
				continue
			}
			if text += f.payload; f.first&0x80 == 0 {
				continue
			}
			var m struct {
				Type    string
				Samples [][]any
			}
			require.NoError(t, json.Unmarshal([]byte(text), &m), text)
			text = ""
			for _, s := range m.Samples {
				got[int64(s[1].(float64))] = s[2]
			}
		}
		assert.Equal(t, want, got)
	})
}

// What a server must not send ends the connection, and the next one works. Where RFC 6455 has
// a code for it (section 7.4.1) the client says it.
func TestFramesAgainstTheStandard(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		p := newPeer(t)
		r := l.start(t, p.url())
		masked := "\x81\x85\x37\xfa\x21\x3d\x7f\x9f\x4d\x51\x58"
		for i, c := range []struct {
			frames string
			code   int // 0: some
		}{
			{masked, 1002},                                        // 5.1
			{plain(0xc1, "{}"), 1002},                             // 5.2: a reserved bit
			{plain(0x83, "{}"), 1002},                             // 5.2: an opcode that is not defined
			{plain(0x09, "a"), 1002},                              // 5.5: a control frame in fragments
			{"\x89\x7e\x00\x7e" + strings.Repeat("a", 126), 1002}, // 5.5: and one that is too long
			{plain(0x80, "{}"), 1002},                             // 5.4: a continuation of nothing
			{plain(0x01, "{") + plain(0x81, "}"), 1002},
			{plain(0x81, "\"\xff\""), 1007},                       // 5.6
			{plain(0x82, "{}"), 1003},                             // binary means nothing here
			{plain(0x81, strings.Repeat(" ", 70_000)+welcome), 0}, // longer than anything a collector says
			{plain(0x81, "[]"), 0},
			{plain(0x81, "null"), 0},
			{plain(0x81, "{"), 0},
			{plain(0x81, `{"type":"ack","durable_seq":1000000}`), 0},
			{plain(0x81, `{"type":"ack","durable_seq":-1}`), 0},
			{plain(0x81, `{"type":"ack"}`), 0},
			{plain(0x81, `{"type":"error","code":"gap"}`), 0},
			{plain(0x81, `{"type":"error","code":"gap","expected":18446744073709551615}`), 0},
			{plain(0x81, `{"type":"error","code":"gap","expected":0}`), 0},
		} {
			p.accept()
			p.upgrade(nil)
			p.say(plain(0x81, welcome))
			r.until("connected", func(s stats) bool { return s.Connects == i+1 })
			_, _ = io.WriteString(p.conn, c.frames)
			for {
				f, err := p.frame()
				if err != nil {
					break
				}
				if f.first == 0x88 && c.code != 0 && len(f.payload) > 1 && !l.library {
					assert.Equal(t, c.code, int(binary.BigEndian.Uint16([]byte(f.payload))), hex.EncodeToString([]byte(c.frames[:2])))
				}
			}
		}
		p.accept()
		p.upgrade(nil)
		p.say(plain(0x81, welcome))
		p.until(0x81)
		r.until("connected", func(s stats) bool { return s.Connected })
	})
}
