package home

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// childDir is set for the copies of this test program that play the other process.
const childDir = "AFTERBELL_TEST_CHILD_DIR"

// TestMain is the other process when it is asked to be: it takes the lock and then
// replaces and updates a match without end, a line for each time that it is done.
func TestMain(m *testing.M) {
	dir := os.Getenv(childDir)
	if dir == "" {
		os.Exit(m.Run())
	}
	h, err := Open(dir)
	if err == nil {
		_, err = h.Lock()
	}
	for n := 1; err == nil; n++ {
		files := map[string]string{}
		for _, name := range []string{"cycles.parquet", "signals.parquet", schemas.ReportFile} {
			files[name] = strings.Repeat(strconv.Itoa(n)+"\n", 2000)
		}
		fmt.Println(n)
		if n%2 == 1 {
			err = h.Publish(q14, true, filled(files))
		} else {
			err = h.Update(q14, writersOf(files))
		}
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

// writer is another process that writes the data folder.
func writer(t *testing.T, dir string) (cmd *exec.Cmd, lines *bufio.Scanner) {
	cmd = exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childDir+"="+dir)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	cmd.Stderr = io.Discard
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return cmd, bufio.NewScanner(out)
}

func TestOneProcessWrites(t *testing.T) {
	h, err := Create(t.TempDir())
	require.NoError(t, err)
	child, lines := writer(t, h.dir)
	require.True(t, lines.Scan())
	_, err = h.Lock()
	taken := (*LockedError)(nil)
	require.ErrorAs(t, err, &taken)
	assert.Equal(t, child.Process.Pid, taken.PID)
	assert.EqualError(t, err, fmt.Sprintf("%s is being written by process %d: wait for it to end or stop it, then try again (reading needs no lock)", h.dir, child.Process.Pid))
	require.NoError(t, child.Process.Kill())
	_ = child.Wait()
	lock, err := h.Lock()
	require.NoError(t, err, "the lock of a killed process is free")
	owner, err := os.ReadFile(filepath.Join(h.dir, lockFile))
	require.NoError(t, err)
	assert.Equal(t, strconv.Itoa(os.Getpid())+"\n", string(owner))
	require.NoError(t, lock.Unlock())
}

func TestOneHomeWrites(t *testing.T) {
	h, err := Create(t.TempDir())
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	taken := (*LockedError)(nil)
	_, err = h.Lock()
	require.ErrorAs(t, err, &taken)
	other, err := Open(h.dir)
	require.NoError(t, err)
	_, err = other.Lock()
	require.ErrorAs(t, err, &taken)
	assert.Equal(t, os.Getpid(), taken.PID)
	require.NoError(t, lock.Unlock())
	lock, err = other.Lock()
	require.NoError(t, err)
	require.NoError(t, lock.Unlock())
}

func TestALockFileWithoutOwnerIsNoLock(t *testing.T) {
	h, err := Create(t.TempDir())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(h.dir, lockFile), []byte("999999999\n"), 0o644))
	lock, err := h.Lock()
	require.NoError(t, err)
	require.NoError(t, lock.Unlock())
}

// A writer killed at moments of its own choosing: whatever it was doing, the match that
// the next writer finds is whole, of one version, and not older than the last one done.
func TestKilledWriters(t *testing.T) {
	h, err := Create(t.TempDir())
	require.NoError(t, err)
	for round := range 12 {
		child, lines := writer(t, h.dir)
		begun := 0
		for begun < 2+round && lines.Scan() {
			begun, err = strconv.Atoi(lines.Text())
			require.NoError(t, err)
		}
		require.NoError(t, child.Process.Kill())
		for lines.Scan() {
			begun, err = strconv.Atoi(lines.Text())
			require.NoError(t, err)
		}
		_ = child.Wait()
		lock, err := h.Lock()
		require.NoError(t, err)
		got := contents(t, h.Dir(q14))
		require.Len(t, got, 3)
		version, _, _ := strings.Cut(got[schemas.ReportFile], "\n")
		for name, text := range got {
			require.Equal(t, strings.Repeat(version+"\n", 2000), text, name)
		}
		n, err := strconv.Atoi(version)
		require.NoError(t, err)
		require.Contains(t, []int{begun - 1, begun}, n)
		require.Empty(t, hiddenNames(t, h.dir))
		require.NoError(t, lock.Unlock())
	}
}
