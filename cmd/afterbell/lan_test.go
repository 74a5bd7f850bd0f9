package main

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var lanLine = regexp.MustCompile(`in the network on (http://127\.0\.0\.1:\d+)/enter\?token=(\S+)`)

// servedLines runs a serving command until the test ends, and returns what it printed first.
func servedLines(t *testing.T, lines int, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out, in := io.Pipe()
	var stderr lockedBuffer
	done := make(chan int, 1)
	go func() {
		done <- run(ctx, args, strings.NewReader(""), in, &stderr)
		in.Close()
	}()
	buf, text := make([]byte, 4096), ""
	for strings.Count(text, "\n") < lines {
		n, err := out.Read(buf)
		require.NoError(t, err, stderr.String())
		text += string(buf[:n])
	}
	go io.Copy(io.Discard, out)
	t.Cleanup(func() {
		cancel()
		require.Equal(t, exitDone, <-done, stderr.String())
		require.NotContains(t, stderr.String(), "\x1b[30;47m", "no code where nobody looks")
	})
	return text
}

func status(t *testing.T, c *http.Client, url string) int {
	t.Helper()
	res, err := c.Get(url)
	require.NoError(t, err)
	defer res.Body.Close()
	return res.StatusCode
}

func TestLanServesByItsLink(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	for name, c := range map[string]struct {
		lines int
		args  []string
	}{
		"serve":   {2, []string{"serve", "--data", data, "--listen", "127.0.0.1:0", "--lan", "--lan-listen", "127.0.0.1:0"}},
		"collect": {3, []string{"collect", "--data", data, "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0", "--lan", "--lan-listen", "127.0.0.1:0"}},
	} {
		t.Run(name, func(t *testing.T) {
			m := lanLine.FindStringSubmatch(servedLines(t, c.lines, c.args...))
			require.NotNil(t, m)
			jar, err := cookiejar.New(nil)
			require.NoError(t, err)
			phone := &http.Client{Jar: jar}
			require.Equal(t, http.StatusUnauthorized, status(t, phone, m[1]+"/"))
			require.Equal(t, http.StatusOK, status(t, phone, m[0][len("in the network on "):]))
			require.Equal(t, http.StatusOK, status(t, phone, m[1]+"/"))
			res, err := phone.Post(m[1]+"/m/millbrook-open/q14/curlew/note", "application/x-www-form-urlencoded", strings.NewReader("text=hello"))
			require.NoError(t, err)
			require.NoError(t, res.Body.Close())
			require.Equal(t, http.StatusMethodNotAllowed, res.StatusCode)
			require.GreaterOrEqual(t, len(m[2]), 22, "128 bits at least")
		})
	}
}

// Without --lan nothing but loopback is listened on.
func TestWithoutLanOnlyLoopbackIsServed(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	text := servedLines(t, 1, "serve", "--data", data, "--listen", "127.0.0.1:0")
	require.NotContains(t, text, "in the network")
	for _, address := range []string{"0.0.0.0:0", "192.168.1.5:4150", ":4150"} {
		failed(t, afterbell("serve", "--data", data, "--listen", address), exitUsage, "--lan")
		failed(t, afterbell("collect", "--data", data, "--pages", address), exitUsage, "--lan")
	}
}

func TestLanRefusesWhatCannotWork(t *testing.T) {
	data := dataFolder(t)
	stored(t, data, "rookie.csv.gz", "curlew.yaml")
	failed(t, afterbell("serve", "--data", data, "--lan-listen", "127.0.0.1:0"), exitUsage, "give --lan too")
	failed(t, afterbell("serve", "--data", data, "--lan", "--lan-listen", "somewhere"), exitUsage, `"somewhere" is not an address`)
	failed(t, afterbell("serve", "--data", data, "--lan", "--lan-listen", "laptop.local:80"), exitUsage, "is not an address")
	failed(t, afterbell("collect", "--data", data, "--pages", "off", "--lan"), exitUsage, "--pages off")
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	failed(t, afterbell("serve", "--data", data, "--listen", "127.0.0.1:0", "--lan", "--lan-listen", taken.Addr().String()), exitFailed, "another program may use it")
}

func TestReachableNamesTheBoundAddress(t *testing.T) {
	got, err := reachable(&net.TCPAddr{IP: net.ParseIP("192.168.1.5"), Port: 4152})
	require.NoError(t, err)
	require.Equal(t, []string{"192.168.1.5"}, got)
}
