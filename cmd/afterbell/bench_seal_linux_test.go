package main

import (
	"bufio"
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

// aheadDone waits until the collector has read its journal as far as it would have read it at
// the end of a match that lasts not a few seconds but 150: all but the segment it writes. An
// earlier program that does not tell gets time instead.
func aheadDone(b *testing.B, url string, samples int) {
	const untold = 30 * time.Second
	perSegment := 16 << 20 / 20 // a sample takes twenty bytes in the journal
	for began := time.Now(); ; {
		answer, err := http.Get(url + "/healthz")
		require.NoError(b, err)
		var health struct {
			Ahead *int `json:"read_ahead"`
		}
		require.NoError(b, json.NewDecoder(answer.Body).Decode(&health))
		require.NoError(b, answer.Body.Close())
		if health.Ahead != nil && *health.Ahead > samples-perSegment-perSegment/10 || health.Ahead == nil && time.Since(began) > untold {
			time.Sleep(time.Second) // what it has just read is settled then
			return
		}
		require.Less(b, time.Since(began), 5*time.Minute, "it does not read ahead")
		time.Sleep(100 * time.Millisecond)
	}
}

// sealCycles is how many processes of each kind seal their matches, in turns.
const sealCycles = 5

// BenchmarkSeal is from the last sample of a match of seven million to its folder, in processes
// of their own as users have them: cold is the first seal of a process, warm the second. Robots
// with a profile get an analysis and a sheet, the others their samples only, which is the seal.
// Beside them stands the match file alone, written and synced in a process that has written
// many. All take turns; what is told are medians.
//
// AFTERBELL_PEER names another program, of an earlier commit say, that takes its turns too.
func BenchmarkSeal(b *testing.B) {
	m := newLiveMatch(b)
	programs := map[string]string{"": built(b)}
	if peer := os.Getenv("AFTERBELL_PEER"); peer != "" {
		programs["peer-"] = peer
	}
	for b.Loop() {
		got := figures{}
		var load []string
		for range sealCycles {
			for _, kind := range []string{"samples", "sheet"} {
				for name, program := range programs {
					load = append(load, loadAverage(b))
					sealTwice(b, program, m, name+kind, got)
				}
			}
			began := time.Now()
			writeMatchFile(b, filepath.Join(b.TempDir(), schemas.SignalsFile), m.log)
			got.add("file-alone", time.Since(began))
		}
		got.report(b)
		fmt.Printf("load average of the machine meanwhile: %v\n", load)
	}
}

// figures are durations by what they are of, in order of the first.
type figures map[string][]time.Duration

func (f figures) add(of string, took time.Duration) { f[of] = append(f[of], took) }

func (f figures) report(b *testing.B) {
	names := make([]string, 0, len(f))
	for name := range f {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		slices.Sort(f[name])
		median := f[name][len(f[name])/2].Seconds() * 1e3
		fmt.Printf("%-28s median %7.1f ms of %v\n", name, median, f[name]) // the log of a benchmark has ten lines
		if strings.Count(name, "/") < 2 {                                  // not the parts
			b.ReportMetric(median, strings.ReplaceAll(name, "/", "-")+"-ms")
		}
	}
}

// sealTwice starts a collector, sends it two matches, and takes down what their seals took.
func sealTwice(b *testing.B, program string, m *liveMatch, kind string, into figures) {
	dir := b.TempDir()
	data := filepath.Join(dir, "data")
	args := []string{"collect", "--data", data, "--listen", "127.0.0.1:0", "--pages", "off", "--season", "2031", "--event", "millbrook-open", "--max-rate", "100000000"}
	file := schemas.SignalsFile
	robots := []string{"curlew", "bittern"}
	if strings.HasSuffix(kind, "sheet") {
		file = schemas.ReportFile
		for _, robot := range robots {
			path := filepath.Join(dir, robot+".yaml")
			text := strings.Replace(string(m.profile.data), "robot: heron", "robot: "+robot, 1)
			require.NoError(b, os.WriteFile(path, []byte(text), 0o644))
			args = append(args, "--profile", path)
		}
	}
	c := exec.Command(program, args...)
	out, err := c.StdoutPipe()
	require.NoError(b, err)
	said, err := c.StderrPipe()
	require.NoError(b, err)
	require.NoError(b, c.Start())
	defer func() {
		require.NoError(b, c.Process.Signal(os.Interrupt))
		_ = c.Wait() // how it ends is tested elsewhere
	}()
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(b, err)
	url := strings.Replace(strings.TrimSuffix(strings.TrimSpace(strings.TrimPrefix(line, "listening on ")), wire.Path), "ws", "http", 1)
	sealed := make(chan string, 8)
	go func() {
		lines := bufio.NewScanner(said)
		for lines.Scan() {
			if strings.Contains(lines.Text(), "msg=sealed") {
				sealed <- lines.Text()
			}
		}
		_, _ = io.Copy(io.Discard, said)
	}()
	for i, robot := range robots {
		heat := []string{"cold", "warm"}[i]
		conn := dialCollector(b, url, robot, "boot", m)
		last := len(m.messages) - 1
		sendAll(b, conn, m.messages[:last])
		aheadDone(b, url, m.samples)
		id := schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: "q1", Robot: robot}
		path := filepath.Join(data, "season="+id.Season, "event="+id.Event, "match="+id.Match, "robot="+id.Robot, file)
		cpu := cpuTime(b, c.Process.Pid)
		began := time.Now()
		require.NoError(b, conn.WriteMessage(websocket.BinaryMessage, m.messages[last]))
		require.NoError(b, conn.WriteMessage(websocket.TextMessage, wire.Encode(wire.Match{Type: "match", Match: "q1", State: "end"})))
		for {
			if _, err := os.Stat(path); err == nil {
				break
			}
			require.Less(b, time.Since(began), time.Minute, "no match appears")
			time.Sleep(500 * time.Microsecond)
		}
		into.add(kind+"/"+heat, time.Since(began))
		into.add(kind+"/"+heat+"-cpu", cpuTime(b, c.Process.Pid)-cpu)
		for part, took := range partsOf(b, <-sealed) {
			into.add(kind+"/"+heat+"/"+part, took)
		}
		require.NoError(b, conn.Close())
	}
}

var stepOf = regexp.MustCompile(`steps\.(\S+)=(\S+)`)

// partsOf reads the parts of a seal out of what the log says of it.
func partsOf(b *testing.B, line string) map[string]time.Duration {
	out := map[string]time.Duration{}
	for _, part := range stepOf.FindAllStringSubmatch(line, -1) {
		took, err := time.ParseDuration(part[2])
		require.NoError(b, err)
		out[part[1]] = took
	}
	return out
}

// cpuTime is what a process has used of processors, in user and system mode (proc_pid_stat(5),
// fields 14 and 15, in hundredths of a second on Linux).
func cpuTime(b *testing.B, pid int) time.Duration {
	data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(b, err)
	fields := strings.Fields(string(data[strings.LastIndexByte(string(data), ')')+1:]))
	user, err1 := strconv.Atoi(fields[11])
	system, err2 := strconv.Atoi(fields[12])
	require.NoError(b, cmp.Or(err1, err2))
	return time.Duration(user+system) * 10 * time.Millisecond
}

// loadAverage is how busy the machine was in the last minute.
func loadAverage(b *testing.B) string {
	data, err := os.ReadFile("/proc/loadavg")
	require.NoError(b, err)
	return strings.Fields(string(data))[0]
}

func writeMatchFile(b *testing.B, path string, log *schemas.Log) {
	f, err := os.Create(path)
	require.NoError(b, err)
	_, err = matchfile.Write(f, log, nil)
	require.NoError(b, err)
	require.NoError(b, f.Sync())
	require.NoError(b, f.Close())
}
