package announce

import (
	"context"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"net"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"golang.org/x/net/dns/dnsmessage"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// long is for what must come, and would be a failure if it did not.
const long = 30 * time.Second

// private is a service that no other test on this machine announces.
var private = fmt.Sprintf("_ab-%08x._tcp.local.", rand.Uint32())

var loopback = netip.MustParseAddr("127.0.0.1")

// local announces on loopback, which the product never does.
func local(t *testing.T, o Options) *Announcer {
	t.Helper()
	o.Loopback, o.Address, o.Service = true, loopback, private
	if o.Path == "" {
		o.Path = "/v1/live"
	}
	a, err := Start(o)
	require.NoError(t, err)
	require.Equal(t, []netip.Addr{loopback}, a.Where())
	return a
}

func find(t *testing.T) []Collector {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), long)
	defer cancel()
	found, err := Find(ctx, Options{Address: loopback, Service: private})
	require.NoError(t, err)
	return found
}

func TestFound(t *testing.T) {
	a := local(t, Options{Port: 4151, Version: "1"})
	found := find(t)
	require.Len(t, found, 1)
	assert.Equal(t, "ws://127.0.0.1:4151/v1/live", found[0].URL)
	b := local(t, Options{Port: 4152, TLS: true, Path: "/there"})
	urls := []string{}
	for _, c := range find(t) {
		urls = append(urls, c.URL)
	}
	assert.ElementsMatch(t, []string{"ws://127.0.0.1:4151/v1/live", "wss://127.0.0.1:4152/there"}, urls)
	require.NoError(t, a.Close())
	require.Len(t, find(t), 1)
	require.NoError(t, b.Close())
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, err := Find(ctx, Options{Address: loopback, Service: private})
	require.ErrorContains(t, err, "no collector has answered")
	_, err = Find(ctx, Options{Address: netip.MustParseAddr("198.51.100.7")}) // of RFC 5737, for documents only
	require.ErrorContains(t, err, "198.51.100.7 is no address of this machine")
}

// Loopback is no network, whatever the collector listens on.
func TestNeverOnLoopback(t *testing.T) {
	for _, address := range []string{"127.0.0.1", "0.0.0.0"} {
		found, err := networks(Options{Address: netip.MustParseAddr(address)})
		require.NoError(t, err)
		for _, n := range found {
			assert.False(t, n.prefix.Addr().IsLoopback())
		}
		if address == "127.0.0.1" {
			assert.Empty(t, found)
		}
	}
	_, err := Start(Options{Port: 1, Address: netip.MustParseAddr("fd00::1")})
	require.ErrorContains(t, err, "IPv4")
}

func said() records {
	a := &Announcer{o: Options{Port: 4151, Path: "/v1/live", Version: "1", Service: Service}, host: "afterbell-1"}
	return a.said(network{prefix: netip.MustParsePrefix("10.0.0.5/24")})
}

func question(name string, kind dnsmessage.Type, class dnsmessage.Class) *dnsmessage.Message {
	return &dnsmessage.Message{Header: dnsmessage.Header{ID: 7}, Questions: []dnsmessage.Question{{Name: dnsmessage.MustNewName(name), Type: kind, Class: class}}}
}

func kinds(rs []dnsmessage.Resource) string {
	var out []string
	for _, r := range rs {
		out = append(out, strings.TrimPrefix(r.Body.GoString(), "dnsmessage.")[:3])
	}
	return strings.Join(out, " ")
}

func TestReplies(t *testing.T) {
	in := dnsmessage.ClassINET
	for _, c := range []struct {
		name                 string
		kind                 dnsmessage.Type
		class                dnsmessage.Class
		answers, additionals string
		direct               bool
	}{
		{Service, dnsmessage.TypePTR, in, "PTR", "SRV TXT ARe", false},
		{"_AfterBell._TCP.LOCAL.", dnsmessage.TypePTR, in, "PTR", "SRV TXT ARe", false}, // RFC 6762, section 16
		{Service, dnsmessage.TypePTR, in | topBit, "PTR", "SRV TXT ARe", true},
		{Service, dnsmessage.TypeALL, dnsmessage.ClassANY, "PTR", "SRV TXT ARe", false},
		{everything, dnsmessage.TypePTR, in, "PTR", "", false},
		{"afterbell-1." + Service, dnsmessage.TypeSRV, in, "SRV", "TXT ARe", false},
		{"afterbell-1." + Service, dnsmessage.TypeTXT, in, "TXT", "ARe", false},
		{"afterbell-1." + Service, dnsmessage.TypeALL, in, "SRV TXT", "ARe", false},
		{"afterbell-1.local.", dnsmessage.TypeA, in, "ARe", "", false},
		{"afterbell-1.local.", dnsmessage.TypeAAAA, in, "", "", false},
		{"_other._tcp.local.", dnsmessage.TypePTR, in, "", "", false},
		{Service, dnsmessage.TypePTR, dnsmessage.ClassCHAOS, "", "", false},
	} {
		m, direct := said().reply(question(c.name, c.kind, c.class), false)
		if c.answers == "" {
			assert.Nil(t, m, c.name)
			continue
		}
		require.NotNil(t, m, c.name)
		assert.Equal(t, c.answers, kinds(m.Answers), c.name)
		assert.Equal(t, c.additionals, kinds(m.Additionals), c.name)
		assert.Equal(t, c.direct, direct, c.name)
		assert.Zero(t, m.ID, "RFC 6762, section 18.1")
		assert.True(t, m.Response && m.Authoritative)
		assert.Empty(t, m.Questions, "RFC 6762, section 6")
	}
}

// RFC 6762, section 6.7: the question again with its number, a short life, no top bit.
func TestLegacyReply(t *testing.T) {
	m, _ := said().reply(question(Service, dnsmessage.TypePTR, dnsmessage.ClassINET), true)
	assert.EqualValues(t, 7, m.ID)
	require.Len(t, m.Questions, 1)
	for _, r := range append(m.Answers, m.Additionals...) {
		assert.EqualValues(t, dnsmessage.ClassINET, r.Header.Class)
		assert.LessOrEqual(t, r.Header.TTL, uint32(10))
	}
}

// RFC 6762, sections 10.1, 10.2 and 7.1.
func TestAnnouncementsGoodbyesAndKnownAnswers(t *testing.T) {
	m := said().announcement(lifetime)
	assert.Equal(t, "PTR SRV TXT ARe", kinds(m.Answers))
	for _, r := range m.Answers {
		_, shared := r.Body.(*dnsmessage.PTRResource)
		assert.Equal(t, !shared, r.Header.Class&topBit != 0)
		assert.EqualValues(t, 120, r.Header.TTL)
	}
	for _, r := range said().announcement(0).Answers {
		assert.Zero(t, r.Header.TTL)
	}
	q := question(Service, dnsmessage.TypePTR, dnsmessage.ClassINET)
	q.Answers = m.Answers[:1]
	reply, _ := said().reply(q, false)
	assert.Nil(t, reply, "it is known")
	q.Answers[0].Header.TTL = lifetime/2 - 1
	reply, _ = said().reply(q, false)
	assert.NotNil(t, reply, "and not for much longer")
	answer := question(Service, dnsmessage.TypePTR, dnsmessage.ClassINET)
	answer.Response = true
	reply, _ = said().reply(answer, false)
	assert.Nil(t, reply)
}

// Nothing of this machine or its owner is told but the address.
func TestNothingPrivateIsTold(t *testing.T) {
	m, _ := said().reply(question(Service, dnsmessage.TypePTR, dnsmessage.ClassINET), false)
	var txt []string
	for _, r := range m.Additionals {
		if x, ok := r.Body.(*dnsmessage.TXTResource); ok {
			txt = x.TXT
		}
	}
	assert.Equal(t, []string{"txtvers=1", "path=/v1/live", "tls=0", "version=1"}, txt)
	assert.Equal(t, "afterbell-1.local.", said().host.String())
}

// The answer as bytes, put together by hand from RFC 1035 (sections 4.1.1 to 4.1.3 for the
// layout, 4.1.4 for the pointers c00c ...), RFC 2782 for SRV and RFC 6763, section 6.1 for TXT.
func TestAnswerAsBytes(t *testing.T) {
	const packet = "0000 8400 0000 0001 0000 0003" + // response, authoritative; one answer, three more
		"0a5f6166746572 62656c6c 045f746370 056c6f63616c 00 000c 0001 00000078 000e 0b61667465 7262656c6c2d31 c00c" +
		"c02d 0021 8001 00000078 0019 0000 0000 1037 0b61667465 7262656c6c2d31 056c6f63616c 00" +
		"c02d 0010 8001 00000078 0028 09747874766572733d31 0d706174683d2f76312f6c697665 05746c733d30 0976657273696f6e3d31" +
		"0b6166746572 62656c6c2d31 c01c 0001 8001 00000078 0004 0a000005"
	data, err := hex.DecodeString(strings.ReplaceAll(packet, " ", ""))
	require.NoError(t, err)
	assert.Equal(t, []Collector{{Name: "afterbell-1", URL: "ws://10.0.0.5:4151/v1/live"}}, collectors(data, Service))
	m, _ := said().reply(question(Service, dnsmessage.TypePTR, dnsmessage.ClassINET), false)
	var byHand dnsmessage.Message
	require.NoError(t, byHand.Unpack(data))
	assert.Equal(t, byHand.GoString(), reread(t, m).GoString())
	for at := range data { // cut anywhere, it tells of no collector and nothing breaks
		assert.Empty(t, collectors(data[:at], Service))
	}
}

func reread(t *testing.T, m *dnsmessage.Message) *dnsmessage.Message {
	data, err := m.Pack()
	require.NoError(t, err)
	out, err := read(data)
	require.NoError(t, err)
	return out
}

// A question that comes from outside our networks, or is none, is not answered; the next one is.
func TestStrangersGetNoAnswer(t *testing.T) {
	a := local(t, Options{Port: 4151})
	defer a.Close()
	a.mu.Lock()
	there := a.networks
	a.networks = []network{{card: there[0].card, prefix: netip.MustParsePrefix("10.0.0.5/24")}}
	a.mu.Unlock()
	conn, err := net.Dial("udp4", "127.0.0.1:5353")
	require.NoError(t, err)
	defer conn.Close()
	q, err := question(private, dnsmessage.TypePTR, dnsmessage.ClassINET).Pack()
	require.NoError(t, err)
	_, err = conn.Write(q)
	require.NoError(t, err)
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(100*time.Millisecond)))
	buf := make([]byte, 2000)
	_, err = conn.Read(buf)
	require.Error(t, err)
	a.mu.Lock()
	a.networks = there
	a.mu.Unlock()
	for _, bad := range []string{"", "x", strings.Repeat("\xc0", 600)} {
		_, err = conn.Write([]byte(bad))
		require.NoError(t, err)
	}
	_, err = conn.Write(q)
	require.NoError(t, err)
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(long)))
	n, err := conn.Read(buf)
	require.NoError(t, err)
	require.Len(t, collectors(buf[:n], private), 1)
}

// FuzzMessages reads whatever a network may bring.
func FuzzMessages(f *testing.F) {
	q, err := query(Service)
	require.NoError(f, err)
	f.Add(q)
	answer, err := said().announcement(lifetime).Pack()
	require.NoError(f, err)
	f.Add(answer)
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, c := range collectors(data, Service) {
			require.Contains(t, c.URL, "://")
		}
		if m, err := read(data); err == nil {
			if reply, _ := said().reply(m, true); reply != nil {
				require.NotEmpty(t, reply.Answers)
			}
		}
	})
}
