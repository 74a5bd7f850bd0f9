package senders

import (
	"fmt"
	"math/rand/v2"
	"net/netip"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/announce"
	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/ingest/wire"
)

// tell announces a stand-in on loopback.
func tell(t *testing.T, s *standin.Server, service string) {
	u, err := url.Parse(s.HTTP.URL)
	require.NoError(t, err)
	at := netip.MustParseAddrPort(u.Host)
	a, err := announce.Start(announce.Options{Port: int(at.Port()), Address: at.Addr(), Path: wire.Path, Loopback: true, Service: service + "."})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
}

func TestCollectorIsFound(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		if !l.finds {
			assert.Contains(t, l.launch(t, "mdns:").first, "ws://HOST:PORT", "it must be given an address")
			return
		}
		service := fmt.Sprintf("_ab-%08x._tcp.local", rand.Uint32()) // which no other test announces
		server := server(t)
		tell(t, server, service)
		r := l.start(t, "mdns:127.0.0.1", "--service", service)
		w := newScript()
		w.begin(r)
		w.record(r, 10)
		r.close()
		w.check(t, server)
		other := standin.New()
		t.Cleanup(other.Close)
		tell(t, other, service)
		r = l.start(t, "mdns:127.0.0.1", "--service", service)
		r.until("there are two", func(s stats) bool { return strings.Contains(s.Trouble, "several collectors answer") })
	})
}

// The names of the example in RFC 1035, section 4.1.4, which point to one another: F.ISI.ARPA,
// FOO.F.ISI.ARPA and ARPA, as a service, a collector and its host.
func TestNamesOfTheStandard(t *testing.T) {
	eachOf(t, func(l *language) bool { return l.finds }, func(t *testing.T, l *language) {
		r := l.start(t, "ws://127.0.0.1:1/v1/live")
		packet := "000084000000000400000000" + // a response with four answers
			// F.ISI.ARPA (at 12) PTR FOO.F.ISI.ARPA
			"0146034953490441525041" + "00" + "000c0001000000780006" + "03464f4f" + "c00c" +
			// FOO.F.ISI.ARPA (at 34) SRV 0 0 4151 ARPA (at 18)
			"c022" + "00210001000000780008" + "000000001037" + "c012" +
			"c022" + "00100001000000780006" + "05746c733d31" +
			"c012" + "00010001000000780004" + "c0000201" // 192.0.2.1
		assert.Equal(t, "wss://192.0.2.1:4151/v1/live", r.ask("collectors %s f.isi.arpa", packet))
		assert.Equal(t, "-", r.ask("collectors %s isi.arpa", packet))
		assert.Equal(t, "-", r.ask("collectors %s f.isi.arpa", strings.Replace(packet, "8400", "0000", 1)), "a question is no answer")
		for n := 0; n < len(packet); n += 2 {
			if n > 0 {
				assert.Equal(t, "-", r.ask("collectors %s f.isi.arpa", packet[:n]), "cut at byte %d", n/2)
			}
		}
		circle := "000084000000000100000000" + "c00c" + "000c00010000007800020000"
		assert.Equal(t, "-", r.ask("collectors %s f.isi.arpa", circle))
	})
}
