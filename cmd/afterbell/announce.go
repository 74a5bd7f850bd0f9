package main

import (
	"log/slog"
	"net"
	"net/netip"

	"github.com/afterbell/afterbell/ingest/announce"
	"github.com/afterbell/afterbell/ingest/wire"
)

// announce tells the network where the collector is, unless nobody there can reach it, and
// returns what ends that. Robots with a plain address need none of it, so trouble is only said.
func (a *app) announce(at net.Addr, tls bool) (end func()) {
	address, err := netip.ParseAddrPort(at.String())
	if err != nil || address.Addr().Unmap().IsLoopback() {
		return func() {}
	}
	n, err := announce.Start(announce.Options{
		Port: int(address.Port()), Address: address.Addr(), TLS: tls, Path: wire.Path, Version: version,
		Log: slog.New(slog.NewTextHandler(a.stderr, nil)),
	})
	if err != nil {
		a.say("the network is not told where the collector is, robots need its address: %v", err)
		return func() {}
	}
	return func() { _ = n.Close() } // the program ends
}
