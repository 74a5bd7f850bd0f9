package apart

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// works are what a hostile file makes a reader do.
var works = map[string]Work{
	"copy":  func(in *os.File, out io.Writer) error { _, err := io.Copy(out, in); return err },
	"fails": func(*os.File, io.Writer) error { return errors.New("no such column\nand more") },
	"huge": func(_ *os.File, out io.Writer) error { // one length that was believed
		all := make([]byte, 376<<30)
		_, err := out.Write(all[len(all)-1:])
		return err
	},
	"eats": func(_ *os.File, out io.Writer) error { // ever more, and all of it used
		var all [][]byte
		for i := 0; ; i++ {
			piece := make([]byte, 1<<20)
			for j := range piece {
				piece[j] = byte(i + j)
			}
			all = append(all, piece)
			if i == 1<<20 {
				_, err := out.Write(all[0])
				return err
			}
		}
	},
	"spins": func(*os.File, io.Writer) error {
		for i := 0; ; i++ {
			if i < 0 {
				return nil
			}
		}
	},
	"panics": func(*os.File, io.Writer) error {
		go func() { panic("index out of range\nwith more lines") }() // which no recover catches
		time.Sleep(time.Minute)
		return nil
	},
	"exits": func(*os.File, io.Writer) error { os.Exit(5); return nil },
	"floods": func(_ *os.File, out io.Writer) error {
		for {
			if _, err := out.Write(make([]byte, 1<<16)); err != nil {
				return err
			}
		}
	},
}

func TestMain(m *testing.M) {
	Serve(works)
	os.Exit(m.Run())
}

// do runs a work and returns what it wrote.
func do(ctx context.Context, t *testing.T, work string, limits Limits) (string, error) {
	t.Helper()
	file, err := os.CreateTemp(t.TempDir(), "in")
	require.NoError(t, err)
	defer file.Close()
	_, err = file.WriteString("what is in the file")
	require.NoError(t, err)
	_, err = file.Seek(0, io.SeekStart)
	require.NoError(t, err)
	var got []byte
	err = Run(ctx, work, works, file, limits, func(r io.Reader) (err error) {
		got, err = io.ReadAll(r)
		return err
	})
	return string(got), err
}

func TestWorkIsDoneApart(t *testing.T) {
	got, err := do(t.Context(), t, "copy", Limits{})
	require.NoError(t, err)
	assert.Equal(t, "what is in the file", got)
}

// Whatever a process apart dies of, the one that asked gets one line.
func TestDeaths(t *testing.T) {
	for work, want := range map[string]string{
		"fails": "no such column", "huge": "it takes more than 256 MiB of memory", "eats": "it takes more than 256 MiB of memory",
		"panics": "index out of range", "exits": "its reader ended with exit status 5", "no such": `no work "no such"`,
	} {
		t.Run(work, func(t *testing.T) {
			began := time.Now()
			_, err := do(t.Context(), t, work, Limits{Memory: 256 << 20})
			var died *Error
			require.ErrorAs(t, err, &died)
			require.Equal(t, want, died.What)
			require.Less(t, time.Since(began), time.Minute, "long before its time is over")
		})
	}
}

func TestTimeIsLimited(t *testing.T) {
	for _, work := range []string{"spins", "floods"} {
		_, err := do(t.Context(), t, work, Limits{Time: 200 * time.Millisecond})
		var died *Error
		require.ErrorAs(t, err, &died, work)
		require.Equal(t, "it takes longer than 200ms", died.What)
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(100*time.Millisecond, cancel)
	_, err := do(ctx, t, "spins", Limits{})
	require.ErrorIs(t, err, context.Canceled)
}

// Who reads may have had enough.
func TestTheReaderHasHadEnough(t *testing.T) {
	enough := errors.New("enough")
	file, err := os.CreateTemp(t.TempDir(), "in")
	require.NoError(t, err)
	defer file.Close()
	err = Run(t.Context(), "floods", works, file, Limits{}, func(r io.Reader) error {
		_, err := io.ReadFull(r, make([]byte, 1000))
		require.NoError(t, err)
		return enough
	})
	require.ErrorIs(t, err, enough)
}

// A program that does not serve does the work itself.
func TestHere(t *testing.T) {
	serving.Store(false)
	defer serving.Store(true)
	got, err := do(t.Context(), t, "copy", Limits{})
	require.NoError(t, err)
	assert.Equal(t, "what is in the file", got)
	works["panics here"] = func(*os.File, io.Writer) error { panic(fmt.Sprint("index ", "out of range")) }
	_, err = do(t.Context(), t, "panics here", Limits{})
	require.EqualError(t, err, "index out of range")
	before := runtime.NumGoroutine()
	_, err = do(t.Context(), t, "fails", Limits{})
	require.True(t, strings.HasPrefix(err.Error(), "no such column"))
	require.LessOrEqual(t, runtime.NumGoroutine(), before)
}
