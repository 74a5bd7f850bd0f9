//go:build unix

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// lap is what one run of a program took.
type lap struct {
	Seconds float64 // from before its process was made to its end
	Peak    int64   // bytes it held in memory at most
}

// stopwatch runs a program, drops what it prints, and prints a lap. It is a process of its
// own because the system counts the memory of the process that starts another towards the
// other's peak (getrusage, ru_maxrss, over fork and exec), and a test holds whole logs.
func stopwatch(args []string) int {
	c := exec.Command(args[0], args[1:]...)
	c.Stderr = os.Stderr
	began := time.Now()
	err := c.Run()
	l := lap{Seconds: time.Since(began).Seconds()}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return exitFailed
	}
	l.Peak = int64(c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss)
	if runtime.GOOS == "linux" {
		l.Peak *= 1024
	}
	if json.NewEncoder(os.Stdout).Encode(l) != nil {
		return exitFailed
	}
	return exitDone
}

// measured runs the program under a stopwatch.
func measured(t testing.TB, program string, args ...string) lap {
	t.Helper()
	c := exec.Command(os.Args[0], append([]string{program}, args...)...)
	c.Env = append(os.Environ(), asStopwatch+"=1")
	c.Stderr = os.Stderr
	out, err := c.Output()
	require.NoError(t, err)
	var l lap
	require.NoError(t, json.Unmarshal(out, &l))
	return l
}

// built is the program as users have it.
func built(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "afterbell")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	require.NoError(t, err, string(out))
	return path
}
