package sheet

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

var update = flag.Bool("update", false, "write the golden files anew")

func texted(t *testing.T, m fixture.Match, width int, color bool) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, Text(&b, m.Report, crew.Said{}, width, color))
	return b.String()
}

func TestTextIsAsKept(t *testing.T) {
	for name, m := range fixture.All() {
		got := texted(t, m, 80, false)
		path := filepath.Join("testdata", name+".txt")
		if *update {
			require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err, "write it with -update")
		require.Equal(t, string(want), got, name)
	}
}

func TestTextKeepsToItsWidth(t *testing.T) {
	for name, m := range fixture.All() {
		for _, width := range []int{40, 72, 80, 120} {
			for _, line := range strings.Split(texted(t, m, width, false), "\n") {
				require.LessOrEqual(t, len([]rune(line)), width, "%s at %d: %q", name, width, line)
			}
		}
	}
}

func TestColorChangesNoLetter(t *testing.T) {
	escapes := regexp.MustCompile("\x1b\\[[0-9;]*m")
	for name, m := range fixture.All() {
		colored := texted(t, m, 80, true)
		require.Contains(t, colored, "\x1b[", name)
		require.Equal(t, texted(t, m, 80, false), escapes.ReplaceAllString(colored, ""), name)
	}
}

// A robot names signals and stages; none of them may drive the reader's screen.
func TestTextHoldsNoControlCharacters(t *testing.T) {
	for name, m := range fixture.All() {
		for _, r := range texted(t, m, 80, false) {
			require.False(t, r < 0x20 && r != '\n' || r == 0x7f || r == 0x202e, "%s: %q", name, r)
		}
	}
}

func TestTextKeepsNumbersWithTheirUnits(t *testing.T) {
	require.Equal(t, []string{"down", "to", "6.52 V", "for", "80 ms:", "left", "39 %,"}, unbroken("down to 6.52 V for 80 ms: left 39 %,"))
}
