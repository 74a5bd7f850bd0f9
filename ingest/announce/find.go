package announce

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/net/dns/dnsmessage"
	"golang.org/x/net/ipv4"
)

// Collector is one that was found.
type Collector struct {
	Name string // new each time it starts
	URL  string
}

// settle is how long others are waited for when one has answered.
const settle = 300 * time.Millisecond

// Find asks the network for collectors, again and again until one answers or ctx ends, and
// returns those that did, sorted by name. o.Address is the address of this machine in the
// network to ask; all of its networks but loopback when it is not valid. Whoever is in that
// network can answer.
func Find(ctx context.Context, o Options) ([]Collector, error) {
	via := o.Address.Unmap()
	service := cmp.Or(o.Service, Service)
	asked, err := networks(Options{Address: via, Loopback: via.IsLoopback()})
	if err != nil {
		return nil, err
	}
	if len(asked) == 0 {
		if via.IsValid() {
			return nil, fmt.Errorf("%s is no address of this machine in a network that can be asked for collectors", via)
		}
		return nil, errors.New("this machine is in no network that can be asked for collectors")
	}
	question, err := query(service)
	if err != nil {
		return nil, err
	}
	found := make(chan Collector)
	ctx, stop := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer stop()
	var troubles []error
	for _, n := range asked {
		conn, err := open(n)
		if err != nil {
			troubles = append(troubles, fmt.Errorf("asking on %s: %w", n.card.Name, err))
			continue
		}
		running.Go(func() { <-ctx.Done(); _ = conn.Close() })
		running.Go(func() { ask(ctx, conn, question) })
		running.Go(func() { listen(ctx, conn, service, found) })
	}
	if len(troubles) == len(asked) {
		return nil, errors.Join(troubles...)
	}
	return gather(ctx, found)
}

func open(n network) (*net.UDPConn, error) {
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: n.prefix.Addr().AsSlice()})
	if err != nil {
		return nil, err
	}
	if err := ipv4.NewPacketConn(conn).SetMulticastInterface(&n.card); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return conn, nil
}

// query is a one-shot question (RFC 6762, section 5.1) whose answer may come to us alone (5.4).
func query(service string) ([]byte, error) {
	m := dnsmessage.Message{Questions: []dnsmessage.Question{
		{Name: dnsmessage.MustNewName(service), Type: dnsmessage.TypePTR, Class: dnsmessage.ClassINET | topBit},
	}}
	return m.Pack()
}

// ask asks at once, after a second, and then at twice the time each (RFC 6762, section 5.2).
func ask(ctx context.Context, conn *net.UDPConn, question []byte) {
	for wait := time.Second; ; wait = min(2*wait, time.Minute) {
		_, _ = conn.WriteToUDP(question, &group) // the network may come back
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

func listen(ctx context.Context, conn *net.UDPConn, service string, found chan<- Collector) {
	buf := make([]byte, 9000)
	for {
		n, err := conn.Read(buf)
		if err != nil {
			return
		}
		for _, c := range collectors(buf[:n], service) {
			select {
			case found <- c:
			case <-ctx.Done():
				return
			}
		}
	}
}

// collectors are those that a message tells all of.
func collectors(data []byte, service string) []Collector {
	var m dnsmessage.Message
	if m.Unpack(data) != nil || !m.Response {
		return nil
	}
	all := append(m.Answers, m.Additionals...)
	var out []Collector
	for _, r := range all {
		ptr, ok := r.Body.(*dnsmessage.PTRResource)
		if !ok || r.Header.TTL == 0 || !strings.EqualFold(r.Header.Name.String(), service) {
			continue
		}
		if c, ok := collector(all, ptr.PTR.String()); ok {
			out = append(out, c)
		}
	}
	return out
}

func collector(all []dnsmessage.Resource, instance string) (Collector, bool) {
	var srv *dnsmessage.SRVResource
	scheme, path, address := "ws", "/", ""
	for _, r := range all {
		if !strings.EqualFold(r.Header.Name.String(), instance) {
			continue
		}
		switch b := r.Body.(type) {
		case *dnsmessage.SRVResource:
			srv = b
		case *dnsmessage.TXTResource:
			for _, s := range b.TXT {
				if p, ok := strings.CutPrefix(s, "path="); ok && strings.HasPrefix(p, "/") {
					path = p
				}
				if s == "tls=1" {
					scheme = "wss"
				}
			}
		}
	}
	if srv == nil {
		return Collector{}, false
	}
	for _, r := range all {
		if a, ok := r.Body.(*dnsmessage.AResource); ok && strings.EqualFold(r.Header.Name.String(), srv.Target.String()) {
			address = netip.AddrFrom4(a.A).String()
		}
	}
	name, _, _ := strings.Cut(instance, ".")
	return Collector{Name: name, URL: fmt.Sprintf("%s://%s:%d%s", scheme, address, srv.Port, path)}, address != ""
}

// gather waits for one, and a little longer for others.
func gather(ctx context.Context, found <-chan Collector) ([]Collector, error) {
	var out []Collector
	var over <-chan time.Time
	for {
		select {
		case c := <-found:
			if over == nil {
				over = time.After(settle)
			}
			if !slices.ContainsFunc(out, func(x Collector) bool { return x.Name == c.Name }) {
				out = append(out, c)
			}
		case <-over:
			slices.SortFunc(out, func(a, b Collector) int { return cmp.Compare(a.Name, b.Name) })
			return out, nil
		case <-ctx.Done():
			return nil, fmt.Errorf("no collector has answered: %w", ctx.Err())
		}
	}
}
