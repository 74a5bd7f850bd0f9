// Package announce tells robots on a network where the collector is, and finds collectors: by
// DNS-based service discovery (RFC 6763) over multicast DNS (RFC 6762), for robots have no name
// server. IPv4 only, as robots' radios are.
//
// An Announcer answers in the networks it was given and in no other, with its address there.
// Libraries that answer were looked at and left out: they do not tell by which network a question
// came, so all addresses are told everywhere, and a laptop in the pits is in more networks than
// the robot's. Packets and sockets are those of golang.org/x/net; what is said is in records.go.
//
// A collector is called by a random name that is new each time, so that two of them are never
// taken for one. That is why nothing probes for names in use (RFC 6762, section 8.1).
package announce

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"slices"
	"sync"
	"time"

	"golang.org/x/net/dns/dnsmessage"
	"golang.org/x/net/ipv4"
)

// Service is what collectors are called in DNS (RFC 6763, section 7).
const Service = "_afterbell._tcp.local."

// The group of multicast DNS (RFC 6762, section 3).
var group = net.UDPAddr{IP: net.IPv4(224, 0, 0, 251), Port: 5353}

// Options say what is announced where.
type Options struct {
	Port    int        // that robots connect to
	Address netip.Addr // that the collector listens on; unspecified for all of this machine's
	TLS     bool
	Path    string // of the WebSocket
	Version string // of the collector
	Log     *slog.Logger

	Service  string // as Service; tests have their own
	Loopback bool   // on loopback instead, for tests
}

// network is one of this machine's networks: where to answer, and with which address.
type network struct {
	card   net.Interface
	prefix netip.Prefix // our address in it, and how much of it is the network's
}

// Announcer is at work from Start to Close.
type Announcer struct {
	o    Options
	host string // random
	conn *net.UDPConn
	pc   *ipv4.PacketConn

	mu       sync.Mutex // of the networks, and of sending: the interface is set before
	networks []network
	done     chan struct{}
	running  sync.WaitGroup
}

// every is how often networks are looked for: a laptop joins the robot's when it comes up.
const every = 5 * time.Second

// Start begins to announce. Networks that come later are announced to as well.
func Start(o Options) (*Announcer, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Service == "" {
		o.Service = Service
	}
	if o.Address.Is6() && !o.Address.Is4In6() && !o.Address.IsUnspecified() {
		return nil, errors.New("a collector is announced at IPv4 addresses only")
	}
	o.Address = o.Address.Unmap()
	conn, err := net.ListenMulticastUDP("udp4", nil, &group) // on 0.0.0.0:5353, which others may share
	if err != nil {
		return nil, err
	}
	raw := make([]byte, 6)
	rand.Read(raw)
	a := &Announcer{o: o, host: "afterbell-" + hex.EncodeToString(raw), conn: conn, pc: ipv4.NewPacketConn(conn), done: make(chan struct{})}
	// RFC 6762, section 11. Not every system can, and nobody may check.
	_, _ = a.pc.SetMulticastTTL(255), a.pc.SetTTL(255)
	a.look()
	a.running.Go(a.keepLooking)
	a.running.Go(a.answering)
	return a, nil
}

// Where are the addresses that are announced now.
func (a *Announcer) Where() []netip.Addr {
	a.mu.Lock()
	defer a.mu.Unlock()
	var out []netip.Addr
	for _, n := range a.networks {
		out = append(out, n.prefix.Addr())
	}
	return out
}

// Close says goodbye (RFC 6762, section 10.1).
func (a *Announcer) Close() error {
	close(a.done)
	for _, n := range a.current() {
		a.tell(n, 0)
	}
	err := a.conn.Close()
	a.running.Wait()
	return err
}

func (a *Announcer) current() []network {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.networks)
}

// networks are those of this machine on which a collector at that address is reached.
func networks(o Options) ([]network, error) {
	cards, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	var out []network
	for _, card := range cards {
		loopback := card.Flags&net.FlagLoopback != 0
		switch {
		case card.Flags&net.FlagUp == 0 || loopback != o.Loopback:
			continue
		case card.Flags&net.FlagMulticast == 0 && !loopback:
			continue
		}
		addresses, err := card.Addrs()
		if err != nil {
			continue // it has just gone
		}
		for _, address := range addresses {
			p, err := netip.ParsePrefix(address.String())
			if err != nil || !p.Addr().Is4() {
				continue
			}
			if o.Address.IsValid() && !o.Address.IsUnspecified() && o.Address != p.Addr() {
				continue
			}
			out = append(out, network{card, p})
		}
	}
	return out, nil
}

// look takes up networks that are new, and announces the collector there.
func (a *Announcer) look() {
	now, err := networks(a.o)
	if err != nil {
		a.o.Log.Warn("this machine's networks cannot be listed", "err", err)
		return
	}
	before := a.current()
	known := func(of []network, n network) bool {
		return slices.ContainsFunc(of, func(m network) bool { return m.prefix == n.prefix && m.card.Index == n.card.Index })
	}
	var kept []network
	for _, n := range now {
		if !known(before, n) {
			err := a.pc.JoinGroup(&n.card, &group)
			// A second address of a card joins it again.
			if err != nil && !slices.ContainsFunc(append(before, kept...), func(m network) bool { return m.card.Index == n.card.Index }) {
				a.o.Log.Warn("the collector is not announced on an interface", "interface", n.card.Name, "err", err)
				continue
			}
			a.o.Log.Info("telling this network where the collector is (--no-announce if it should not know)", "interface", n.card.Name, "address", n.prefix.Addr().String())
		}
		kept = append(kept, n)
	}
	a.mu.Lock()
	a.networks = kept
	a.mu.Unlock()
	for _, n := range kept {
		if !known(before, n) {
			a.tell(n, lifetime)
		}
	}
}

func (a *Announcer) keepLooking() {
	// The second announcement comes a second after the first (RFC 6762, section 8.3).
	second := time.NewTimer(time.Second)
	defer second.Stop()
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-a.done:
			return
		case <-second.C:
			for _, n := range a.current() {
				a.tell(n, lifetime)
			}
		case <-tick.C:
			a.look()
		}
	}
}

// answering reads questions. It answers those that come from one of our networks (RFC 6762,
// section 11), with our address there.
func (a *Announcer) answering() {
	buf := make([]byte, 9000) // the most there is (RFC 6762, section 17)
	for {
		n, from, err := a.conn.ReadFromUDPAddrPort(buf)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			select {
			case <-a.done:
				return
			case <-time.After(100 * time.Millisecond): // a network that has just gone
				continue
			}
		}
		for _, net := range a.current() {
			if !net.prefix.Contains(from.Addr().Unmap()) {
				continue
			}
			a.answer(net, buf[:n], from)
			break
		}
	}
}

func (a *Announcer) answer(n network, question []byte, from netip.AddrPort) {
	asked, err := read(question)
	if err != nil {
		return // it may be anybody's
	}
	// A questioner that is not at port 5353 knows nothing of multicast: it gets its answer as
	// one of unicast DNS (RFC 6762, section 6.7).
	legacy := int(from.Port()) != group.Port
	m, direct := a.said(n).reply(asked, legacy)
	if m == nil {
		return
	}
	data, err := m.Pack()
	if err != nil {
		a.o.Log.Warn("an answer cannot be written", "err", err)
		return
	}
	if legacy || direct {
		_, _ = a.conn.WriteToUDPAddrPort(data, from) // it may have gone
		return
	}
	a.multicast(n, data)
}

// tell announces the collector on a network; a lifetime of 0 is goodbye.
func (a *Announcer) tell(n network, seconds uint32) {
	m := a.said(n).announcement(seconds)
	data, err := m.Pack()
	if err != nil {
		a.o.Log.Warn("an announcement cannot be written", "err", err)
		return
	}
	a.multicast(n, data)
}

func (a *Announcer) multicast(n network, data []byte) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if err := a.pc.SetMulticastInterface(&n.card); err != nil {
		return // it has gone; look will see
	}
	_, _ = a.conn.WriteToUDP(data, &group)
}

// said is what there is to say on a network.
func (a *Announcer) said(n network) records {
	tls := "tls=0"
	if a.o.TLS {
		tls = "tls=1"
	}
	host := dnsmessage.MustNewName(a.host + ".local.")
	return records{
		service:  dnsmessage.MustNewName(a.o.Service),
		instance: dnsmessage.MustNewName(a.host + "." + a.o.Service),
		host:     host,
		srv:      dnsmessage.SRVResource{Port: uint16(a.o.Port), Target: host},
		txt:      dnsmessage.TXTResource{TXT: []string{"txtvers=1", "path=" + a.o.Path, tls, "version=" + a.o.Version}},
		address:  dnsmessage.AResource{A: n.prefix.Addr().As4()},
	}
}

// String names what is announced.
func (a *Announcer) String() string { return fmt.Sprintf("%s at port %d", a.host, a.o.Port) }
