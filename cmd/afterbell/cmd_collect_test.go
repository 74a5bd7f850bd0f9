package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

// collect runs the command until the test ends, and returns the addresses it printed.
func collect(t *testing.T, data string, args ...string) (ws, pages string, stop func() outcome) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out, in := io.Pipe()
	var stderr lockedBuffer
	done := make(chan int, 1)
	go func() {
		all := append([]string{"collect", "--data", data, "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0", "--season", "2031"}, args...)
		done <- run(ctx, all, strings.NewReader(""), in, &stderr)
		in.Close()
	}()
	buf := make([]byte, 4096)
	text := ""
	for strings.Count(text, "\n") < 2 {
		n, err := out.Read(buf)
		require.NoError(t, err, stderr.String())
		text += string(buf[:n])
	}
	go io.Copy(io.Discard, out)
	lines := strings.Split(text, "\n")
	stop = func() outcome {
		cancel()
		return outcome{<-done, text, stderr.String()}
	}
	return strings.TrimPrefix(lines[0], "listening on "), strings.TrimPrefix(lines[1], "serving on "), stop
}

// A stored log goes over the wire, and comes out as the match, the sheet and the board that an
// import of the same log makes.
func TestReplayedMatchIsSealedAndServed(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	ws, pages, stop := collect(t, data, "--profile", sample("heron.yaml"), "--event", "millbrook-open")
	done(t, afterbell("replay", sample("jam-reversed.csv.gz"), "--robot", "heron", "--to", ws, "--speed", "max", "--match", "q11", "--event", "millbrook-open"))
	id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: "q11", Robot: "heron"}
	h, err := home.Open(data)
	require.NoError(t, err)
	require.Eventually(t, func() bool { return h.Exists(id) }, 30*time.Second, 10*time.Millisecond)
	live, err := readReport(h, id)
	require.NoError(t, err)
	var imported schemas.Report
	o := done(t, afterbell("analyze", sample("jam-reversed.csv.gz"), "--profile", sample("heron.yaml"), "--json"))
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &imported))
	require.Equal(t, len(imported.Jams), len(live.Jams))
	require.NotEmpty(t, live.Jams)
	require.InDelta(t, imported.Jams[0].StartS, live.Jams[0].StartS, 1e-9)
	require.Equal(t, imported.Verdict, live.Verdict)
	require.Equal(t, imported.Quality.Samples, live.Quality.Samples)

	board := get(t, pages+"/")
	require.Contains(t, board, "q11")
	require.Contains(t, board, `id="live"`)
	require.Contains(t, get(t, pages+"/m/millbrook-open/q11/heron"), live.Verdict.Text[:20])
	health := get(t, "http"+strings.TrimSuffix(strings.TrimPrefix(ws, "ws"), "/v1/live")+"/healthz")
	require.True(t, json.Valid([]byte(health)))
	require.Contains(t, health, `"ok":true`)
	require.Contains(t, get(t, "http"+strings.TrimSuffix(strings.TrimPrefix(ws, "ws"), "/v1/live")+"/metrics"), "afterbell_seals_total 1")
	o = stop()
	require.Equal(t, exitDone, o.code, o.stderr)
	done(t, afterbell("verify", "--data", data))
}

func get(t *testing.T, url string) string {
	t.Helper()
	res, err := http.Get(url)
	require.NoError(t, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, res.StatusCode, url)
	return string(body)
}

func TestCollectRefusesWhatCannotWork(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	for want, args := range map[string][]string{
		"no token was made":              {"--listen", "0.0.0.0:0"},
		"is not an address":              {"--listen", "here"},
		"go together":                    {"--tls-cert", "cert.pem"},
		"--max-rate 0":                   {"--max-rate", "0"},
		"event \"No\" is not a name":     {"--event", "No"},
		"there is no such file":          {"--profile", "none.yaml"},
		"another profile is for robot":   {"--profile", sample("heron.yaml"), "--profile", sample("heron.yaml")},
		"--pages":                        {"--pages", "0.0.0.0:1"},
		"cert.pem: no such file or dire": {"--tls-cert", "cert.pem", "--tls-key", "key.pem"},
	} {
		o := afterbell(append([]string{"collect", "--data", data}, args...)...)
		require.Equal(t, exitUsage, o.code, "%v: %s", args, o.stderr)
		require.Contains(t, o.stderr, want)
		require.Empty(t, o.stdout)
	}
}

func TestTokenIsShownOnce(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	o := afterbell("collect", "token", "--data", data, "--for", "heron")
	require.Equal(t, exitDone, o.code, o.stderr)
	require.Regexp(t, `^ab_[0-9a-f]{48}\n$`, o.stdout)
}

// lockedBuffer is a buffer that is written by one goroutine and read by another.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// With a certificate of the user's, a token, and an address that others can reach.
func TestCollectOverTLSWithAToken(t *testing.T) {
	dir := t.TempDir()
	data := filepath.Join(dir, "data")
	cert, key, pool := selfSigned(t, dir)
	token := strings.TrimSpace(done(t, afterbell("collect", "token", "--data", data)).stdout)
	ws, _, stop := collect(t, data, "--listen", "0.0.0.0:0", "--no-announce", "--tls-cert", cert, "--tls-key", key)
	require.True(t, strings.HasPrefix(ws, "wss://"), ws)
	_, port, err := net.SplitHostPort(strings.TrimSuffix(strings.TrimPrefix(ws, "wss://"), wire.Path))
	require.NoError(t, err)
	url := "wss://127.0.0.1:" + port + wire.Path
	trust := &tls.Config{RootCAs: pool}
	for _, wrong := range []string{"", "ab_0000"} {
		d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}, TLSClientConfig: trust}
		_, res, err := d.Dial(url, http.Header{"Authorization": {"Bearer " + wrong}})
		require.Error(t, err)
		require.Equal(t, http.StatusUnauthorized, res.StatusCode)
	}
	s, err := sender.New(sender.Config{URL: url, Robot: "heron", Boot: "1", Token: token, TLS: trust, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	s.Signal("power/voltage", schemas.Float64).Record(1, 12.5)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	require.NoError(t, s.Close(ctx)) // on the collector's disk
	require.Equal(t, exitDone, stop().code)
}

// selfSigned makes a certificate for 127.0.0.1, and the pool that trusts it.
func selfSigned(t *testing.T, dir string) (cert, key string, pool *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private)
	require.NoError(t, err)
	secret, err := x509.MarshalECPrivateKey(private)
	require.NoError(t, err)
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	require.NoError(t, os.WriteFile(cert, certPEM, 0o644))
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: secret}), 0o600))
	pool = x509.NewCertPool()
	require.True(t, pool.AppendCertsFromPEM(certPEM))
	return cert, key, pool
}

// On loopback nothing is announced. What is announced where it may be is tested where no packet
// leaves this machine.
func TestNothingIsAnnouncedOnLoopback(t *testing.T) {
	var stderr lockedBuffer
	a := &app{stderr: &stderr}
	for _, at := range []string{"127.0.0.1:4151", "[::1]:4151"} {
		a.announce(net.TCPAddrFromAddrPort(netip.MustParseAddrPort(at)), false)()
	}
	// An address that is none of this machine's (RFC 5737): nobody is told.
	a.announce(net.TCPAddrFromAddrPort(netip.MustParseAddrPort("198.51.100.7:4151")), false)()
	require.Empty(t, stderr.String())
	a.announce(net.TCPAddrFromAddrPort(netip.MustParseAddrPort("[2001:db8::1]:4151")), false)() // RFC 3849
	require.Contains(t, stderr.String(), "IPv4 addresses only")
}
