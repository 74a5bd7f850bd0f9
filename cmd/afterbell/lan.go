package main

import (
	"cmp"
	"context"
	"fmt"
	"net"
	"net/http"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"github.com/afterbell/afterbell/viewer"
)

// defaultLan is where other machines find the pages when nobody says otherwise.
const defaultLan = "0.0.0.0:4152"

// lanOptions say whether the pages are shown to other machines.
type lanOptions struct {
	on     bool
	listen string
}

func (o *lanOptions) flags(f *pflag.FlagSet) {
	f.BoolVar(&o.on, "lan", false, "show the pages to other machines in the network too, for reading only, by a link with a token")
	f.StringVar(&o.listen, "lan-listen", defaultLan, "`address` that --lan listens on; port 0 picks a free one")
}

// check says why the pages cannot be shown there.
func (o lanOptions) check(given func(flag string) bool) error {
	if !o.on && given("lan-listen") {
		return usagef("--lan-listen says where --lan listens: give --lan too")
	}
	host, _, err := net.SplitHostPort(o.listen)
	if err != nil || host != "" && net.ParseIP(host) == nil {
		return usagef("--lan-listen %q is not an address: use %s, or an address of this machine", o.listen, defaultLan)
	}
	return nil
}

// openLan binds for other machines, under a token of this run.
func (a *app) openLan(ctx context.Context, p *pages, o lanOptions) error {
	if !o.on {
		return nil
	}
	l, err := net.Listen("tcp", o.listen)
	if err != nil {
		return fmt.Errorf("cannot show the pages on %s: %w; another program may use it, try --lan-listen 0.0.0.0:0", o.listen, err)
	}
	hosts, err := reachable(l.Addr().(*net.TCPAddr))
	if err != nil {
		return cmp.Or(l.Close(), err)
	}
	_, port, _ := net.SplitHostPort(l.Addr().String())
	token := viewer.NewLanToken()
	for _, h := range hosts {
		p.links = append(p.links, viewer.LanLink(net.JoinHostPort(h, port), token))
	}
	p.viewer.ShowLan(p.links)
	p.lanListener = l
	p.lan = &http.Server{
		Handler: p.viewer.Lan(token), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 16 << 10,
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	return nil
}

// sayLan prints the links, and the code of the first where somebody looks.
func (a *app) sayLan(p *pages) {
	if p.lan == nil {
		return
	}
	for _, link := range p.links {
		fmt.Fprintf(a.stdout, "in the network on %s\n", link)
	}
	if isTerminal(a.stderr) {
		if code, err := viewer.QRText(p.links[0]); err == nil {
			fmt.Fprint(a.stderr, "\n"+code+"\n")
		}
	}
	a.say("whoever has this link can read every match here until this is stopped, and change nothing; the pages travel unencrypted")
}

// reachable are the addresses of this machine that others may call it by, the likeliest first.
func reachable(bound *net.TCPAddr) ([]string, error) {
	if !bound.IP.IsUnspecified() {
		return []string{bound.IP.String()}, nil
	}
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil, fmt.Errorf("the networks of this machine cannot be read: %w; name its address with --lan-listen", err)
	}
	first := ""
	if c, err := net.Dial("udp4", "192.0.2.1:9"); err == nil { // sends nothing: it asks which way a packet would go (RFC 5737 address)
		first = c.LocalAddr().(*net.UDPAddr).IP.String()
		_ = c.Close()
	}
	var out []string
	for _, a := range all {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.To4() == nil || !n.IP.IsPrivate() && !n.IP.IsLinkLocalUnicast() {
			continue // an address that the whole world can call is nothing for this
		}
		out = append(out, n.IP.String())
	}
	slices.SortStableFunc(out, func(a, b string) int { return cmp.Compare(rank(a, first), rank(b, first)) })
	if len(out) == 0 {
		return nil, fmt.Errorf("this machine is in no local network that others could reach it by: join one, or name its address with --lan-listen")
	}
	return out, nil
}

func rank(address, first string) int {
	switch {
	case address == first:
		return 0
	case net.ParseIP(address).IsPrivate():
		return 1
	default:
		return 2
	}
}
